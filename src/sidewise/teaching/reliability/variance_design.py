"""What a table of marks lets one tell apart: facets kept, and how they are nested or crossed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, IntArray

if TYPE_CHECKING:
    import pandas as pd

FACETS = ("student", "station", "examiner", "session")
CELL = "student_station"
# More crossed columns than this would make each step slow: our judgement.
WIDEST = 3000
# Fewer levels than this tell little of a variance: our judgement.
FEW_LEVELS = 5
# Pell, Homer, Fuller, Patterson, Med Teach 2016: below 50 candidates indices are unstable.
FEW_STUDENTS = 50


@dataclass
class VarianceDesign:
    """Codes of the facets kept, from zero, and what was said on the way. `chain`: from finest to
    coarsest, each nested in the next; `crossed`: the others."""

    response: Array
    chain: dict[str, IntArray]
    crossed: dict[str, IntArray]
    dropped: dict[str, str]
    warnings: list[str]

    @property
    def names(self) -> list[str]:
        """Facets in the order of the model's variances, the residual's left out."""
        return list(self.codes)

    @property
    def codes(self) -> dict[str, IntArray]:
        """The codes of every facet, in that order."""
        return {**self.chain, **self.crossed}


def variance_design(
    scores: pd.DataFrame, facets: tuple[str, ...], cell: bool, response: str
) -> VarianceDesign:
    """The model's facets from a table; UserError as in `fit_variance`."""
    warnings: list[str] = []
    _each_once(facets)
    facets = _present(scores, facets, response, warnings)
    scores = _usable(scores, facets, response, warnings)
    values = scores[response].to_numpy(dtype=float)
    if np.ptp(values) <= 1e-12 * max(1.0, float(np.abs(values).max())):
        raise UserError(response, float(values[0]), "marks that differ",
                        "Every mark is the same: there is no variance to share out.")  # fmt: skip
    codes = {name.split(":")[0]: _codes(scores, name) for name in facets}
    students = int(codes["student"].max()) + 1
    if students < 2:
        raise UserError("student", f"{students} student", "at least two students",
                        "Reliability is about differences between students.")  # fmt: skip
    if cell and "station" in codes:
        codes[CELL] = _pair(codes["student"], codes["station"])
    design = _arrange(values, codes, warnings)
    _check_shape(design, warnings)
    return design


def _each_once(facets: tuple[str, ...]) -> None:
    """ "student:circuit" is a way of labelling students, not a second facet beside "student"."""
    heads = [name.split(":")[0] for name in facets]
    twice = [name for name, head in zip(facets, heads, strict=True) if heads.count(head) > 1]
    if twice:
        raise UserError(
            "facets", ", ".join(twice), f"{twice[0].split(':')[0]} once",
            "Leave one of them out: each would take the other's place.",
        )  # fmt: skip


def _present(
    scores: pd.DataFrame, facets: tuple[str, ...], response: str, warnings: list[str]
) -> tuple[str, ...]:
    if "student" not in facets:
        raise UserError("facets", facets, '"student" among the facets')
    kept = []
    for name in facets:
        missing = [part for part in name.split(":") if part not in scores.columns]
        if not missing:
            kept.append(name)
        elif name in FACETS and name != "student":
            warnings.append(f"There is no column {name}: it was left out of the model.")
        else:
            raise UserError("columns", ", ".join(map(str, scores.columns)),
                            f"a column {missing[0]}")  # fmt: skip
    if response not in scores.columns:
        raise UserError("columns", ", ".join(map(str, scores.columns)), f"a column {response}")
    return tuple(kept)


def _usable(
    scores: pd.DataFrame, facets: tuple[str, ...], response: str, warnings: list[str]
) -> pd.DataFrame:
    """Rows that hold a mark; anything infinite or a mark of nobody is refused."""
    marked = scores[scores[response].notna()]
    if len(marked) < len(scores):
        warnings.append(f"{len(scores) - len(marked)} rows without a mark were left out.")
    if marked.empty:
        raise UserError(response, "no marks", "at least a few marks")
    values = marked[response].to_numpy(dtype=float)
    if not np.isfinite(values).all():
        row = int(np.flatnonzero(~np.isfinite(values))[0])
        raise UserError(f"{response}, row {marked.index[row]}", float(values[row]), "finite marks")
    for part in {part for name in facets for part in name.split(":")}:
        if marked[part].isna().any():
            row = marked.index[marked[part].isna()][0]
            raise UserError(f"{part}, row {row}", None, "a name on every row with a mark",
                            "Fill it in, or leave the facet out.")  # fmt: skip
    return marked


def _codes(scores: pd.DataFrame, name: str) -> IntArray:
    """Level numbers of a facet; "examiner:station" numbers examiners within stations."""
    import pandas as pd

    parts = [pd.factorize(scores[part])[0].astype(np.int64) for part in name.split(":")]
    codes = parts[0]
    for other in parts[1:]:
        codes = _pair(codes, other)
    return codes


def _pair(first: IntArray, second: IntArray) -> IntArray:
    """Number the pairs that occur."""
    import pandas as pd

    key = first * (int(second.max()) + 1) + second
    return pd.factorize(key)[0].astype(np.int64)


def level_count(codes: IntArray) -> int:
    """How many levels codes from zero have."""
    return int(codes.max()) + 1


def _nested(fine: IntArray, coarse: IntArray) -> bool:
    """Whether every group of `fine` lies in one group of `coarse`."""
    first = np.empty(level_count(fine), dtype=np.int64)
    first[fine] = coarse
    return bool(np.array_equal(first[fine], coarse))


def _same(one: IntArray, other: IntArray) -> bool:
    return level_count(one) == level_count(other) and _nested(one, other)


def _arrange(values: Array, codes: dict[str, IntArray], warnings: list[str]) -> VarianceDesign:
    """Drop what cannot be separated, then sort facets into the chain and the crossed."""
    dropped: dict[str, str] = {}
    kept: dict[str, IntArray] = {}
    # Students first, so that a facet that mirrors another gives way to the more useful one.
    order = ["student", "station", "examiner", CELL]
    for name in sorted(codes, key=lambda n: order.index(n) if n in order else len(order)):
        reason = _why_not(codes[name], kept, len(values))
        if reason is None:
            kept[name] = codes[name]
        else:
            dropped[name] = reason
            warnings.append(f"{component_words(name)} {reason}")
    if "student" not in kept:
        raise UserError("student", dropped["student"], "several marks for each student")
    chain = {name: kept.pop(name) for name in (CELL, "student") if name in kept}
    for name in [n for n in kept if n not in ("station", "examiner")]:
        if _nested(list(chain.values())[-1], kept[name]):
            chain[name] = kept.pop(name)
    return VarianceDesign(values, *_widest_first(chain, kept), dropped, warnings)


def _widest_first(
    chain: dict[str, IntArray], crossed: dict[str, IntArray]
) -> tuple[dict[str, IntArray], dict[str, IntArray]]:
    """Chain and crossed facets; where more levels are crossed with students than a matrix should
    have columns, a facet of more levels than there are students takes their place in the chain.

    The likelihood is the same whichever facet is eliminated first.
    """
    if list(chain) != ["student"] or _width(crossed) <= WIDEST:
        return chain, crossed
    widest = max(crossed, key=lambda name: level_count(crossed[name]))
    if level_count(crossed[widest]) <= level_count(chain["student"]):
        return chain, crossed
    others = {name: codes for name, codes in crossed.items() if name != widest}
    return {widest: crossed[widest]}, {**chain, **others}


def _width(crossed: dict[str, IntArray]) -> int:
    return sum(map(level_count, crossed.values()))


def _why_not(codes: IntArray, kept: dict[str, IntArray], rows: int) -> str | None:
    if level_count(codes) == 1:
        return "has one level only: its variance cannot be seen and was left out."
    if level_count(codes) == rows:
        return "has one mark per level: it cannot be told from the residual, which holds both."
    for name, other in kept.items():
        if _same(codes, other):
            return (
                f"cannot be told from {component_words(name)}: the figure of the latter holds both."
            )
    return None


def component_words(name: str) -> str:
    """A facet's name in words."""
    return {CELL: "student by station"}.get(name, name)


def _check_shape(design: VarianceDesign, warnings: list[str]) -> None:
    widest = _width(design.crossed)
    if widest > WIDEST:
        raise UserError("facets", f"{widest} crossed levels", f"at most {WIDEST}",
                        "Analyse one sitting or one site at a time.")  # fmt: skip
    for name, codes in design.codes.items():
        if level_count(codes) < FEW_LEVELS:
            warnings.append(
                f"{component_words(name)} has {level_count(codes)} levels: its variance is little "
                "more than a guess."
            )
    students = level_count(design.codes["student"])
    if students < FEW_STUDENTS:
        warnings.append(f"{students} students: below {FEW_STUDENTS} such figures are unstable.")

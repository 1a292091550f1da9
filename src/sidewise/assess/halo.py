"""Halo: examiners whose item marks on one student move together more than their colleagues'.

An examiner who lets one impression colour every item gives item marks that differ little within
one encounter, after allowing for how easy each item is. Each examiner's spread within encounters
is held against that of all examiners at the same stations. A narrow spread is a reason to look,
not a fault: a student may have been evenly good.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sidewise.assess.naming import holm
from sidewise.errors import UserError

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]

FAMILY_ERROR = 0.05
# Fewer encounters than this give no useful standard error: our judgement.
FEW_ENCOUNTERS = 5
FEW_ITEMS = 3
TOGETHER = "items move together"


@dataclass(frozen=True, slots=True)
class ExaminerHalo:
    """One examiner: `ratio` of the spread (variance) of item marks within encounters to that of
    the others at the same stations (1: alike; below 1: items move together), with standard error;
    `alike` is the share of encounters in which every item got the same share of its marks."""

    examiner: str
    encounters: int
    ratio: float
    standard_error: float
    p: float
    p_adjusted: float
    alike: float
    seen: str


@dataclass(frozen=True)
class Halo:
    """Examiners by name, with what was left out. `look_at` are those whose item marks move together
    more than chance among so many would give: where to look, not what was found."""

    examiners: tuple[ExaminerHalo, ...]
    look_at: tuple[str, ...]
    encounters: int
    warnings: tuple[str, ...]
    sentence: str


def find_halo(marks: pd.DataFrame) -> Halo:
    """Compare within-encounter spread of item marks between examiners.

    `marks`: long table with student, station, examiner, item, mark, maximum. For each item of a
    station, z = (mark/maximum - mean)/SD over students; for each encounter v = variance of its z.
    An examiner's v are compared with v of the other examiners at the same stations:
    ratio = mean v / mean of the others' station means; one-sided t test that it is below 1,
    Holm over examiners.
    """
    from scipy.stats import t as student_t

    warnings: list[str] = []
    table = _encounters(_read(marks), warnings)
    rows = []
    for name, mine in table.groupby("examiner", observed=True, sort=True):
        others = table[table["examiner"] != name]
        rows.append(_compare(str(name), mine, others))
    known = np.array([r[2] > 0 and np.isfinite(r[1]) for r in rows], dtype=bool)
    p = np.ones(len(rows))
    for k, (_, ratio, error, n, _) in enumerate(rows):
        if known[k]:
            p[k] = float(student_t.cdf((ratio - 1) / error, n - 1))
    adjusted = np.ones(len(rows))
    adjusted[known] = holm(p[known])
    result = tuple(
        ExaminerHalo(name, n, ratio, error, float(p[k]), float(adjusted[k]), alike,
                     _seen(bool(known[k]), float(adjusted[k])))
        for k, (name, ratio, error, n, alike) in enumerate(rows)
    )  # fmt: skip
    unknown = [r.examiner for r in result if r.seen == "cannot be told"]
    if unknown:
        warnings.append(f"Too few encounters, or no colleague at the station: {len(unknown)} "
                        "examiners cannot be compared.")  # fmt: skip
    look_at = tuple(r.examiner for r in result if r.seen == TOGETHER)
    return Halo(result, look_at, len(table), tuple(warnings), _sentence(look_at))


def _read(marks: pd.DataFrame) -> pd.DataFrame:
    columns = ["student", "station", "examiner", "item", "mark", "maximum"]
    for column in columns:
        if column not in marks.columns:
            raise UserError("columns", ", ".join(map(str, marks.columns)), f"a column {column}")
    rows = marks[columns].dropna()
    values = rows[["mark", "maximum"]].to_numpy(dtype=float)
    if len(values) == 0 or not np.isfinite(values).all() or (values[:, 1] <= 0).any():
        raise UserError("mark", "no marks, or one that is not finite or has no maximum",
                        "finite marks with a maximum above 0")  # fmt: skip
    return rows.assign(share=values[:, 0] / values[:, 1])


def _encounters(rows: pd.DataFrame, warnings: list[str]) -> pd.DataFrame:
    """One row per student, station and examiner: variance of standardised items, all alike."""
    by_item = rows.groupby(["station", "item"], observed=True)["share"]
    spread = by_item.transform("std")
    rows = rows.assign(z=(rows["share"] - by_item.transform("mean")) / spread)
    rows = rows[spread > 0]
    keys = ["student", "station", "examiner"]
    table = rows.groupby(keys, observed=True).agg(
        v=("z", "var"), items=("z", "size"), low=("share", "min"), high=("share", "max")
    )
    kept = table[table["items"] >= FEW_ITEMS].reset_index()
    if len(kept) < len(table):
        warnings.append(f"{len(table) - len(kept)} encounters with fewer than {FEW_ITEMS} items "
                        "that vary were left out.")  # fmt: skip
    return kept.assign(alike=(kept["low"] == kept["high"]).astype(float))


def _compare(
    name: str, mine: pd.DataFrame, others: pd.DataFrame
) -> tuple[str, float, float, int, float]:
    """Name, ratio, its standard error, encounters, share all alike."""
    stats = others.groupby("station", observed=True)["v"].agg(["mean", "var", "size"])
    mine = mine[mine["station"].isin(stats.index)]
    n = len(mine)
    if n < FEW_ENCOUNTERS:
        return name, float("nan"), float("nan"), n, float(mine["alike"].mean()) if n else 0.0
    share = mine["station"].value_counts() / n
    expected = float((share * stats["mean"].reindex(share.index)).sum())
    noise = float((share**2 * (stats["var"] / stats["size"]).reindex(share.index)).sum())
    ratio = float(mine["v"].mean()) / expected if expected > 0 else float("nan")
    error = float(np.sqrt(mine["v"].var() / n + ratio**2 * noise)) / expected if expected else 0.0
    return name, ratio, error, n, float(mine["alike"].mean())


def _seen(known: bool, adjusted: float) -> str:
    if not known:
        return "cannot be told"
    return TOGETHER if adjusted < FAMILY_ERROR else "as the others"


def _sentence(look_at: tuple[str, ...]) -> str:
    if not look_at:
        return "Nobody's item marks move together more than those of colleagues."
    return (
        "One impression may have coloured several items, or students may have been evenly good: "
        f"the item marks given by {', '.join(look_at)} move together more than those of colleagues "
        "at the same stations. A reason to look at how items are marked; no fault is shown."
    )

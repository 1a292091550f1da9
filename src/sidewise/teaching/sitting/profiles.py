"""A student's profile: every station, domain and stage beside its standard and beside the class.

A stage is a part of the examination (look, feel, move ...) that items of several stations belong
to, named in the table. Its standard is had as a station's is: the line of the stage's share of a
station's marks on the global rating there, at the borderline rating, summed over stations. Lines
are straight, so the stages of a station add up to the station's own pass mark.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from sidewise.ground.arrays import Array, IntArray
from sidewise.teaching.pass_marks.borderline import line_at
from sidewise.teaching.sitting.sitting import Sitting

if TYPE_CHECKING:
    import pandas as pd

PartKind = Literal["station", "domain", "stage"]
PRACTISE, ITEMS = 3, 3
# In a handful the class's figures would show what single fellow students got.
FEWEST_SHOWN = 10
# Stages are practised by name where the table has so many; else stations are.
FEWEST_STAGES = 3
# Losing less than this share of an item beside the class is not worth a word: our judgement.
SMALLEST_LOSS = 0.15


@dataclass(frozen=True, slots=True)
class ProfilePart:
    """One station, domain or stage of one student, percent of its marks; NaN where not known.

    `standard` is its pass mark; `low`, `middle`, `high` the class's quartiles (NaN in a class under
    ten); `error` the standard error of measurement where it can be had (domains).
    """

    kind: PartKind
    name: str
    own: float
    standard: float
    low: float
    middle: float
    high: float
    error: float

    @property
    def standing(self) -> str:
        """Above or below the standard, in words; "" where one of the two is not known."""
        if self.own != self.own or self.standard != self.standard:
            return ""
        return "at or above the standard" if self.own >= self.standard else "below the standard"


@dataclass(frozen=True, slots=True)
class PractisePoint:
    """What to practise: a station or stage, how far below the class's middle (in its standard
    deviations), and the items that lost most beside the class."""

    kind: PartKind
    name: str
    below: float
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StudentProfile:
    """One student's parts, what to practise first, and what examiners wrote."""

    student: str
    parts: tuple[ProfilePart, ...]
    practise: tuple[PractisePoint, ...]
    comments: tuple[str, ...]

    def of(self, kind: PartKind) -> tuple[ProfilePart, ...]:
        """The parts of one kind."""
        return tuple(part for part in self.parts if part.kind == kind)


@dataclass(frozen=True, slots=True)
class _Group:
    """Parts of one kind: names, marks (students, parts), standards and errors (parts)."""

    kind: PartKind
    names: tuple[str, ...]
    marks: Array
    standard: Array
    error: Array


@dataclass(frozen=True, slots=True)
class _Items:
    """Shares of marks by student and item; where each item belongs, and what it is worth."""

    share: Array
    names: tuple[str, ...]
    station: tuple[str, ...]
    stage: tuple[str, ...]
    worth: Array


def student_profiles(e: Sitting) -> tuple[StudentProfile, ...]:
    """Every student's profile, in the order of `e.results`."""
    items = _items(e)
    groups = [_stations(e), *_domains(e), *_stages(e)]
    quartiles = [_quartiles(g.marks) for g in groups]
    stages = groups[-1] if groups[-1].kind == "stage" else None
    unit = stages if stages is not None and len(stages.names) >= FEWEST_STAGES else groups[0]
    comments = _comments(e)
    return tuple(
        StudentProfile(
            name, tuple(p for g, q in zip(groups, quartiles, strict=True) for p in _parts(g, q, i)),
            _practise(i, unit, items), comments.get(name, ()),
        )
        for i, name in enumerate(e.table.students)
    )  # fmt: skip


def _parts(g: _Group, quartiles: Array, i: int) -> list[ProfilePart]:
    """One student's parts of one kind."""
    return [
        ProfilePart(
            g.kind, name, own=float(g.marks[i, k]), standard=float(g.standard[k]),
            low=float(quartiles[0, k]), middle=float(quartiles[1, k]),
            high=float(quartiles[2, k]), error=float(g.error[k]),
        )
        for k, name in enumerate(g.names)
    ]  # fmt: skip


def _quartiles(marks: Array) -> Array:
    """(3, parts): NaN where fewer than ten students have the part."""
    out = np.full((3, marks.shape[1]), np.nan)
    for k in range(marks.shape[1]):
        known = marks[~np.isnan(marks[:, k]), k]
        if known.size >= FEWEST_SHOWN:
            out[:, k] = np.quantile(known, [0.25, 0.5, 0.75])
    return out


def _stations(e: Sitting) -> _Group:
    cuts = np.array([s.line.cut.value for s in e.stations])
    return _Group("station", e.table.stations, e.table.score, cuts, np.full(cuts.size, np.nan))


def _domains(e: Sitting) -> list[_Group]:
    """Means over a domain's stations; its standard the mean of theirs."""
    found = e.fairness.domains
    if found is None:
        return []
    cuts = np.array([s.line.cut.value for s in e.stations])
    places = [[e.table.stations.index(s) for s in f.stations] for f in found.domains]
    return [_Group(
        "domain", tuple(f.domain for f in found.domains),
        np.column_stack([e.table.score[:, p].mean(axis=1) for p in places]),
        np.array([cuts[p].mean() for p in places]),
        np.array([f.sem for f in found.domains]),
    )]  # fmt: skip


# ---------------------------------------------------------------- stages


@dataclass(frozen=True, slots=True)
class _Cells:
    """Codes into the sheet for rows of marks, and what each row earned and could."""

    student: IntArray
    station: IntArray
    part: IntArray
    parts: tuple[str, ...]
    earned: Array
    possible: Array


def _cells(e: Sitting, column: str) -> _Cells:
    """Rows of the sheet's students and stations that name `column`."""
    import pandas as pd

    table = _own_rows(e)
    table = table[table[column].notna()]
    student = pd.Index(e.table.students).get_indexer(pd.Index(table["student"]))
    station = pd.Index(e.table.stations).get_indexer(pd.Index(table["station"]))
    part, parts = pd.factorize(table[column])
    weight = table["weight"].to_numpy(dtype=float)
    earned = weight * table["mark"].to_numpy(dtype=float)
    possible = weight * table["maximum"].to_numpy(dtype=float)
    return _Cells(student, station, part, tuple(map(str, parts)), earned, possible)


def _own_rows(e: Sitting) -> pd.DataFrame:
    table = e.marks.table
    known = table["station"].isin(e.table.stations) & ~table["linking"].astype(bool)
    return table[known & table["student"].isin(e.table.students)]


def _stages(e: Sitting) -> list[_Group]:
    c = _cells(e, "stage")
    if not c.parts:
        return []
    share, most = _share_of_station(e, c)
    cut = _part_cuts(e, share, most)
    counted = np.isfinite(cut)
    with np.errstate(invalid="ignore", divide="ignore"):
        worth = most.sum(axis=1)
        standard = np.where(counted, cut, 0).sum(axis=1) / np.where(counted, most, 0).sum(axis=1)
        met = np.where(most > 0, share, 0.0)
        marks = 100 * met.sum(axis=2) / worth
    none = np.full(len(c.parts), np.nan)
    return [_Group("stage", c.parts, marks, 100 * standard, none)]


def _share_of_station(e: Sitting, c: _Cells) -> tuple[Array, Array]:
    """Percent of a station's marks that lie in each stage: got (students, stages, stations), NaN
    where a mark is blank or the student was not there, and to be had (stages, stations)."""
    shape = (len(e.table.students), len(c.parts), len(e.table.stations))
    at = (c.student * shape[1] + c.part) * shape[2] + c.station
    size = int(np.prod(shape))
    earned = np.bincount(at, c.earned, size).reshape(shape)
    possible = np.bincount(at, c.possible, size).reshape(shape)
    # Two examiners of a performance are taken together: their marks over what both could give.
    whole = possible.sum(axis=1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = 100 * earned / np.where(whole > 0, whole, np.nan)
        most = np.nanmax(np.where(whole > 0, 100 * possible / whole, np.nan), axis=0)
    return share, np.nan_to_num(most)


def _part_cuts(e: Sitting, share: Array, most: Array) -> Array:
    """Each stage's line at the borderline rating, station by station; NaN where a station has no
    pass mark or the stage no marks."""
    scale = e.marks.scale
    border = scale.standing[scale.borderline]
    out = np.full(most.shape, np.nan)
    for j, station in enumerate(e.stations):
        if not station.line.cut.known:
            continue
        rating = scale.at_positions(e.table.rating[:, j])
        for k in np.flatnonzero(most[:, j] > 0):
            out[k, j] = line_at(share[:, k, j], rating, border)
    return out


# ---------------------------------------------------------------- what to practise


def _items(e: Sitting) -> _Items:
    import pandas as pd

    table = _own_rows(e)
    key = table["station"] + "\x1f" + table["item"]
    item, names = pd.factorize(key)
    student = pd.Index(e.table.students).get_indexer(pd.Index(table["student"]))
    shape = (len(e.table.students), len(names))
    at = student * shape[1] + item
    mark = table["mark"].to_numpy(dtype=float)
    top = table["maximum"].to_numpy(dtype=float)
    known = ~np.isnan(mark)
    size = shape[0] * shape[1]
    earned = np.bincount(at[known], mark[known], size)
    possible = np.bincount(at[known], top[known], size)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(possible > 0, earned / possible, np.nan).reshape(shape)
    first = table.iloc[np.unique(item, return_index=True)[1]]
    return _Items(
        share, tuple(str(n).split("\x1f")[1] for n in names), tuple(map(str, first["station"])),
        tuple("" if s is None or s != s else str(s) for s in first["stage"]),
        (first["weight"] * first["maximum"]).to_numpy(dtype=float),
    )  # fmt: skip


def _practise(i: int, unit: _Group, items: _Items) -> tuple[PractisePoint, ...]:
    """The parts furthest below the class, in the class's spreads; none at or above its middle."""
    with np.errstate(invalid="ignore", divide="ignore"):
        place = (unit.marks[i] - np.nanmean(unit.marks, axis=0)) / np.nanstd(unit.marks, axis=0)
    order = [k for k in np.argsort(place) if np.isfinite(place[k]) and place[k] < 0][:PRACTISE]
    belongs = items.stage if unit.kind == "stage" else items.station
    return tuple(
        PractisePoint(unit.kind, unit.names[k], -float(place[k]),
                      _lost_items(i, items, unit.names[k], belongs))
        for k in order
    )  # fmt: skip


def _lost_items(i: int, items: _Items, part: str, belongs: tuple[str, ...]) -> tuple[str, ...]:
    """Items of a part that cost the student most marks beside the class."""
    inside = np.array([name == part for name in belongs])
    if inside.sum() < 2:
        return ()
    with np.errstate(invalid="ignore"):
        loss = np.nanmean(items.share[:, inside], axis=0) - items.share[i, inside]
    which = np.flatnonzero(inside)
    cost = np.where(loss >= SMALLEST_LOSS, loss * items.worth[inside], 0.0)
    best = [k for k in np.argsort(-np.nan_to_num(cost), kind="stable") if cost[k] > 0][:ITEMS]
    many = len({items.station[k] for k in which}) > 1
    return tuple(
        f"{items.station[which[k]]} {items.names[which[k]]}" if many else items.names[which[k]]
        for k in best
    )


def _comments(e: Sitting) -> dict[str, tuple[str, ...]]:
    """What examiners wrote of each student, station first; the same words once."""
    table = _own_rows(e)
    rows = table[table["comment"].str.strip() != ""]
    found: dict[str, dict[str, None]] = {}
    for student, station, comment in zip(
        rows["student"], rows["station"], rows["comment"], strict=True
    ):
        found.setdefault(student, {})[f"{station}: {comment.strip()}"] = None
    return {student: tuple(said) for student, said in found.items()}

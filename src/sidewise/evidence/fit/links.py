"""What is assumed about links and leaks before any study is read: priors of one reading.

Measured link: logit N(0, 1.5). Where findings can only grow with the level (weakness, lag, loss)
the levels of a condition are increments, 1 - q_l = product over k <= l of (1 - i_k), with
logit i_1 ~ N(-0.5, 1.5) and later ones N(-1, 1.5). A condition may say that its first level is pain
alone, a cause of its own: i_1 then has the condition's prior. Judged link: logit
N(logit(guess), 1), on the increments where the reading is monotone. Leak = .01 + .99 logistic(x),
x ~ N(-2, 1.2), or around a guess with sd 0.7 (judged) or 0.5 (by definition). A leak by definition
may be as small as .0005:
.01 would let nobody with a rare condition be found by its sign. Between-study sds: half-normal(1),
half-normal(.3) where the sign defines the condition, since it defines it in every clinic.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sidewise.errors import UserError, UserErrors
from sidewise.evidence.conditions import Condition, Conditions, conditions_of
from sidewise.evidence.studies.groups import PatientGroup
from sidewise.evidence.studies.rows import AccuracyRow
from sidewise.ground.arrays import Array
from sidewise.ground.tables import (
    Cells,
    count_cell,
    probability_cell,
    provenance_mark_cell,
    required_number,
)
from sidewise.knowledge.region import Region
from sidewise.protocol import protocol_of

Kind = Literal["measured", "our judgement", "by definition"]

LEAST_LEAK: Mapping[str, float] = {
    "measured": 0.01,
    "our judgement": 0.01,
    "by definition": 0.0005,
}
SMALLEST_SHARE: Mapping[str, float] = {"our judgement": 1e-3, "by definition": 1e-4}
LEAK_PRIOR = (-2.0, 1.2)
LEAK_SD: Mapping[str, float] = {"our judgement": 0.7, "by definition": 0.5}
MEASURED_PRIOR = (0.0, 1.5)
FIRST_INCREMENT, LATER_INCREMENT = (-0.5, 1.5), (-1.0, 1.5)
JUDGED_SD = 1.0
TAU_SCALE: Mapping[str, float] = {"measured": 1.0, "our judgement": 1.0, "by definition": 0.3}


@dataclass(frozen=True, slots=True)
class JudgedLink:
    """A link (or, with `condition` empty, the leak) that the trade expects."""

    reading: str
    condition: str
    level: int
    guess: float
    kind: Kind
    mark: str
    source: str


@dataclass(frozen=True)
class ReadingPrior:
    """The parameters of one reading: x of the leak, then one for each column in `columns`.

    `blocks` are the stretches of `columns` that belong to one condition; in a monotone reading
    the parameters of a block are increments.
    """

    reading: str
    columns: tuple[int, ...]
    kinds: tuple[Kind, ...]
    leak_kind: Kind
    mean: Array
    sd: Array
    blocks: tuple[slice, ...]
    monotone: bool

    @property
    def least_leak(self) -> float:
        """The smallest leak there can be."""
        return LEAST_LEAK[self.leak_kind]

    @property
    def tau_scale(self) -> float:
        """Scale of the spread between studies."""
        return TAU_SCALE[self.leak_kind]


def parse_links(
    table: list[Cells], conditions: Conditions, readings: Sequence[str]
) -> tuple[JudgedLink, ...]:
    """Every line of links.csv; all complaints at once."""
    found, errors = [], []
    for cells in table:
        try:
            found.append(_parse(cells, conditions, readings))
        except UserError as error:
            errors.append(error)
    if errors:
        raise UserErrors(errors)
    keys = [(link.reading, link.condition, link.level) for link in found]
    if len(set(keys)) != len(keys):
        twice = next(key for key in keys if keys.count(key) > 1)
        raise UserError("links.csv", twice, "each link once")
    return tuple(found)


def _parse(cells: Cells, conditions: Conditions, readings: Sequence[str]) -> JudgedLink:
    place = f"links.csv {cells['reading']} {cells['condition']}"
    level = count_cell(cells, "level", place) or 0
    if cells["reading"] not in readings:
        raise UserError(place, cells["reading"], "a known reading")
    if cells["condition"] and (cells["condition"], level) not in conditions.column_index:
        raise UserError(place, cells["condition"], "a condition of the network and a level of it")
    if cells["kind"] not in ("our judgement", "by definition") or not cells["source"]:
        raise UserError(place, cells["kind"], "our judgement or by definition, with a source")
    guess = required_number(probability_cell(cells, "guess", place), "guess", place)
    kind: Kind = "by definition" if cells["kind"] == "by definition" else "our judgement"
    mark = provenance_mark_cell(cells, "mark", place)
    if not 0 < guess < 1:
        raise UserError(place, guess, "a guess between 0 and 1")
    return JudgedLink(
        cells["reading"], cells["condition"], level, guess, kind, mark, cells["source"]
    )


def links_of(region: Region) -> tuple[JudgedLink, ...]:
    """Links that the trade expects where no study measures them."""
    return region.view(_links)


def _links(region: Region) -> tuple[JudgedLink, ...]:
    readings = [reading.id for reading in protocol_of(region).readings]
    return parse_links(region.part("links"), conditions_of(region), readings)


def measured_columns(
    rows: Sequence[AccuracyRow], groups: Sequence[PatientGroup], conditions: Conditions
) -> frozenset[int]:
    """Columns that some row of the reading looks at: its target, or a named comparison group."""
    found = set()
    for row in rows:
        named = [group.who for group in row.rest if group.who is not None and group.who.alone]
        for levels in (row.target, *named):
            if levels is not None:
                part = conditions.slices[levels.condition]
                found |= {part.start + k - 1 for k in levels.levels if k}
    informed = sum((group.levels for group in groups), np.zeros(len(conditions.columns)))
    return frozenset(column for column in found if informed[column] > 0)


def reading_prior(
    reading: str,
    monotone: bool,
    judged: Sequence[JudgedLink],
    measured: frozenset[int],
    conditions: Conditions,
) -> ReadingPrior:
    """The prior of one reading from its judged links and the columns its rows measure.

    A condition with a measured level has all its levels as parents; those without a guess keep
    the prior of a measured link and are marked as judgement.
    """
    guesses = {(j.condition, j.level): j for j in judged if j.condition}
    parts: list[_Part] = []
    blocks: list[slice] = []
    for condition in conditions.network:
        mine = _of_condition(condition, guesses, measured, monotone, conditions)
        if mine:
            blocks.append(slice(len(parts), len(parts) + len(mine)))
            parts += mine
    leak_kind, leak = _leak(judged, bool(measured))
    return ReadingPrior(
        reading,
        tuple(part.column for part in parts),
        tuple(part.kind for part in parts),
        leak_kind,
        np.array([leak[0], *(part.mean for part in parts)]),
        np.array([leak[1], *(part.sd for part in parts)]),
        tuple(blocks),
        monotone,
    )


@dataclass(frozen=True, slots=True)
class _Part:
    column: int
    kind: Kind
    mean: float
    sd: float


def _of_condition(
    condition: Condition,
    guesses: Mapping[tuple[str, int], JudgedLink],
    measured: frozenset[int],
    monotone: bool,
    conditions: Conditions,
) -> list[_Part]:
    """The parameters of one condition's levels; none where it is no parent."""
    part = conditions.slices[condition.id]
    any_measured = any(column in measured for column in range(part.start, part.stop))
    found, kept = [], 1.0
    for level, column in enumerate(range(part.start, part.stop), start=1):
        guess = guesses.get((condition.id, level))
        if guess is None and not any_measured:
            continue
        vague = _vague(condition, monotone, level)
        kind, mean, sd = _one(guess, column in measured, vague, kept, monotone)
        kept *= 1 - 1 / (1 + math.exp(-mean)) if monotone else 1.0
        found.append(_Part(column, kind, mean, sd))
    return found


def _vague(condition: Condition, monotone: bool, level: int) -> tuple[float, float]:
    if monotone:
        alone = condition.pain_alone_weakens
        if level == 1 and alone is not None:
            return alone.mean, alone.sd
        return FIRST_INCREMENT if level == 1 else LATER_INCREMENT
    known = condition.measured_link_prior
    return (known.mean, known.sd) if known else MEASURED_PRIOR


def _one(
    guess: JudgedLink | None,
    measured: bool,
    vague: tuple[float, float],
    kept: float,
    monotone: bool,
) -> tuple[Kind, float, float]:
    if measured:
        return "measured", *vague
    if guess is None:
        return "our judgement", *vague
    share_ = guess.guess
    if monotone:
        # What this level adds to the ones below it; never quite nothing.
        share_ = max(1 - (1 - guess.guess) / kept, 0.02)
    return guess.kind, math.log(share_ / (1 - share_)), JUDGED_SD


def _leak(judged: Sequence[JudgedLink], measured: bool) -> tuple[Kind, tuple[float, float]]:
    guess = next((j for j in judged if not j.condition), None)
    if guess is None:
        return ("measured" if measured else "our judgement"), LEAK_PRIOR
    least = LEAST_LEAK[guess.kind]
    share_ = max((guess.guess - least) / (1 - least), SMALLEST_SHARE[guess.kind])
    return guess.kind, (math.log(share_ / (1 - share_)), LEAK_SD[guess.kind])

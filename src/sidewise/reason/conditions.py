"""Conditions with their post-test probabilities, and why: the effect of each finding."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sidewise.evidence.conditions import Condition, load_families
from sidewise.evidence.fitted import Fitted, load_fitted
from sidewise.evidence.rows import load_rows
from sidewise.reason.engine.gain import Gains, gains
from sidewise.reason.moved import Moved
from sidewise.reason.net import SIDES, variable_name
from sidewise.reason.observe import Observed, Spoken
from sidewise.reason.result import (
    Because,
    ConditionPosterior,
    LevelPosterior,
    SidePosteriors,
    Source,
    Together,
)
from sidewise.reason.weigh import Weighing
from sidewise.reason.what_next import mind_changer, variables_of_interest

SMALLEST_EFFECT = 0.02
"""Effects below this change odds by less than 2%; they are left out of "because"."""
TELLS_LITTLE = 0.05
"""A link whose 2.5th centile is below this cannot be told from none."""


@dataclass(frozen=True)
class Explained:
    """A weighing with the effects of its findings, worked out once for all conditions."""

    weighing: Weighing
    effects: Moved
    gains: Gains
    spoken: dict[int, Spoken]


def explained(weighing: Weighing, seen: Observed, open_readings: list[int]) -> Explained:
    """Effects of every finding, and what each open reading could tell, on every condition."""
    structure = weighing.layout.structure
    spoken = {structure.reading_index[entry.seat.name]: entry for entry in seen.spoken}
    interest = variables_of_interest(weighing.layout)
    return Explained(
        weighing=weighing,
        effects=weighing.effects,
        gains=gains(weighing.mean, weighing.evidence, open_readings, interest),
        spoken=spoken,
    )


def side_posteriors(told: Explained) -> dict[str, SidePosteriors]:
    """The conditions of each side, in the protocol's order of structures."""
    network = told.weighing.layout.conditions.network
    return {
        side: SidePosteriors(tuple(_posterior(told, c, side) for c in network if c.scope == "side"))
        for side in SIDES
    }


def whole_person(told: Explained) -> SidePosteriors:
    """The conditions of the whole person."""
    network = told.weighing.layout.conditions.network
    return SidePosteriors(tuple(_posterior(told, c, None) for c in network if c.scope == "person"))


def _posterior(told: Explained, condition: Condition, side: str | None) -> ConditionPosterior:
    w = told.weighing
    variable = w.layout.structure.variable_index[variable_name(condition, side)]
    prior = w.prior[variable]
    summary = w.summary
    levels = tuple(
        LevelPosterior(
            level=name,
            prior=float(prior[number]),
            posterior=float(summary.mean[variable, number]),
            low=float(summary.low[variable, number]),
            high=float(summary.high[variable, number]),
        )
        for number, name in enumerate(condition.levels)
        if number
    )
    return ConditionPosterior(
        condition=condition.id,
        label=condition.label,
        side=side,
        levels=levels,
        prior=float(1 - prior[0]),
        posterior=float(summary.present[variable]),
        low=float(summary.present_low[variable]),
        high=float(summary.present_high[variable]),
        because=_because(told, condition, variable),
        together=_together(told, variable),
        mind_changer=mind_changer(w.layout, told.gains, variable),
        prior_sources=w.prior_sources(condition.id),
        note=condition.note,
    )


def _because(told: Explained, condition: Condition, variable: int) -> tuple[Because, ...]:
    column = told.effects.log_odds[:, variable]
    order = np.argsort(-np.abs(column), kind="stable")
    return tuple(
        _one_because(told, condition, told.spoken[told.effects.readings[i]], float(column[i]))
        for i in order
        if abs(column[i]) >= SMALLEST_EFFECT
    )


def _together(told: Explained, variable: int) -> tuple[Together, ...]:
    """What the mechanisms did, the strongest first."""
    column = told.effects.group_log_odds[:, variable]
    return tuple(
        _one_together(told, int(i), float(column[i]))
        for i in np.argsort(-np.abs(column), kind="stable")
        if abs(column[i]) >= SMALLEST_EFFECT
    )


def _one_together(told: Explained, group: int, effect: float) -> Together:
    family, mechanism = told.effects.groups[group]
    spoken = [told.spoken[number] for number in told.effects.members[group]]
    return Together(
        mechanism=mechanism.rpartition(".")[0],
        label=_mechanism_label(told.weighing.region, family, mechanism),
        side=spoken[0].seat.side,
        readings=tuple(entry.seat.reading.id for entry in spoken),
        found=sum(entry.observation is not False for entry in spoken),
        effect=effect,
    )


@lru_cache(maxsize=256)
def _mechanism_label(region: str, family: str, mechanism: str) -> str:
    families = {f.id: f for f in load_families(region).families}
    mine = families[family.rpartition(".")[0]]
    word = next(m.label for m in mine.mechanisms if m.id == mechanism.rpartition(".")[0])
    return f"{mine.label}: {word}"


def _one_because(told: Explained, condition: Condition, spoken: Spoken, effect: float) -> Because:
    seat, w = spoken.seat, told.weighing
    return Because(
        item=seat.reading.item,
        side=seat.side,
        reading=seat.reading.id,
        label=seat.reading.label,
        found=_found_word(spoken),
        effect=effect,
        leans_on=_leans_on(w.region, seat.reading.id, condition.id, w.setting),
        tells_little=_tells_little(w.region, seat.reading.id, condition.id),
        sources=_sources(w.region, seat.reading.id),
    )


def _found_word(spoken: Spoken) -> str:
    if isinstance(spoken.observation, bool):
        return "present" if spoken.observation else "absent"
    return "perhaps present"


def _leans_on(region: str, reading: str, condition: str, setting: str) -> str:
    """What the link rests on; a finding that speaks through other conditions has no own link."""
    return _rests_on(region, setting).get((reading, condition), "through other conditions")


@lru_cache(maxsize=8)
def _rests_on(region: str, setting: str) -> dict[tuple[str, str], str]:
    """For each reading and condition what its link rests on; of several levels the highest."""
    fitted = load_fitted(region)
    highest: dict[tuple[str, str], int] = {}
    for reading, column in zip(fitted.reading_of, fitted.column_of, strict=True):
        condition, level = fitted.conditions.columns[column]
        key = (fitted.readings[reading], condition)
        highest[key] = max(level, highest.get(key, 0))
    marks = {key: fitted.mark(*key, level, setting) for key, level in highest.items()}
    return {key: MARK_WORDS.get(mark, mark) for key, mark in marks.items()}


MARK_WORDS = {"measured": "studies", "leans on judgement": "judgement"}


def _tells_little(region: str, reading: str, condition: str) -> bool:
    """Whether every link of the reading to the condition has an interval that includes zero."""
    low = _lower_limits(region).get((reading, condition))
    return low is not None and low < TELLS_LITTLE


@lru_cache(maxsize=4)
def _lower_limits(region: str) -> dict[tuple[str, str], float]:
    fitted: Fitted = load_fitted(region)
    lows = np.quantile(fitted.link, 0.025, axis=0)
    found: dict[tuple[str, str], float] = {}
    for arc, low in enumerate(lows):
        reading = fitted.readings[fitted.reading_of[arc]]
        condition = fitted.conditions.columns[fitted.column_of[arc]][0]
        found[reading, condition] = max(float(low), found.get((reading, condition), 0.0))
    return found


@lru_cache(maxsize=512)
def _sources(region: str, reading: str) -> tuple[Source, ...]:
    """The studies behind a reading, then the statement it rests on where there is none."""
    from sidewise.protocol import load_protocol

    rows = [row for row in load_rows(region).rows if row.reading == reading and row.use == "fit"]
    studies = dict.fromkeys((f"{row.study} {row.year}", str(row.mark)) for row in rows)
    if studies:
        return tuple(Source(name, mark) for name, mark in studies)
    basis = load_protocol(region).readings_by_id[reading].basis
    return tuple(Source(b.source, b.mark.value, b.note) for b in basis)

"""Conditions with their post-test probabilities, and why: the effect of each finding."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

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
    """A weighing with the effects of its findings, worked out once for all conditions.

    because, together: of each reading seen, and of each mechanism, everything but its effect.
    """

    weighing: Weighing
    effects: Moved
    gains: Gains
    spoken: dict[int, Spoken]
    because: dict[int, Callable[..., Because]]
    together: tuple[Callable[..., Together], ...]


def explained(weighing: Weighing, seen: Observed, open_readings: list[int]) -> Explained:
    """Effects of every finding, and what each open reading could tell, on every condition."""
    structure = weighing.layout.structure
    spoken = {structure.reading_index[entry.seat.name]: entry for entry in seen.spoken}
    interest = variables_of_interest(weighing.layout)
    region, effects = weighing.region, weighing.effects
    return Explained(
        weighing=weighing,
        effects=effects,
        gains=gains(weighing.mean, weighing.evidence, open_readings, interest),
        spoken=spoken,
        because={number: _of_finding(region, entry) for number, entry in spoken.items()},
        together=tuple(
            _of_mechanism(region, group, [spoken[number] for number in members])
            for group, members in zip(effects.groups, effects.members, strict=True)
        ),
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
    w, effects = told.weighing, told.effects
    leans_on, lows = _rests_on(w.region, w.setting), _lower_limits(w.region)
    found = []
    for place, effect in _strongest(effects.log_odds[:, variable]):
        number = effects.readings[place]
        link = (told.spoken[number].seat.reading.id, condition.id)
        found.append(
            told.because[number](
                effect=effect,
                # A finding that speaks through other conditions has no link of its own.
                leans_on=leans_on.get(link, "through other conditions"),
                tells_little=lows.get(link, 1.0) < TELLS_LITTLE,
            )
        )
    return tuple(found)


def _together(told: Explained, variable: int) -> tuple[Together, ...]:
    """What the mechanisms did, the strongest first."""
    strongest = _strongest(told.effects.group_log_odds[:, variable])
    return tuple(told.together[group](effect=effect) for group, effect in strongest)


def _strongest(effects: NDArray[np.float64]) -> list[tuple[int, float]]:
    """Place and size of the effects that matter, the largest first."""
    found = [(i, x) for i, x in enumerate(effects.tolist()) if abs(x) >= SMALLEST_EFFECT]
    return sorted(found, key=lambda effect: -abs(effect[1]))


def _of_finding(region: str, spoken: Spoken) -> Callable[..., Because]:
    """What is the same of a finding whatever the condition."""
    seat = spoken.seat
    return partial(
        Because,
        item=seat.reading.item,
        side=seat.side,
        reading=seat.reading.id,
        label=seat.reading.label,
        found=_found_word(spoken),
        sources=_sources(region, seat.reading.id),
    )


def _of_mechanism(
    region: str, group: tuple[str, str], members: list[Spoken]
) -> Callable[..., Together]:
    """What is the same of a mechanism whatever the condition."""
    family, mechanism = group
    return partial(
        Together,
        mechanism=mechanism.rpartition(".")[0],
        label=_mechanism_label(region, family, mechanism),
        side=members[0].seat.side,
        readings=tuple(entry.seat.reading.id for entry in members),
        found=sum(entry.observation is not False for entry in members),
    )


@lru_cache(maxsize=256)
def _mechanism_label(region: str, family: str, mechanism: str) -> str:
    families = {f.id: f for f in load_families(region).families}
    mine = families[family.rpartition(".")[0]]
    word = next(m.label for m in mine.mechanisms if m.id == mechanism.rpartition(".")[0])
    return f"{mine.label}: {word}"


def _found_word(spoken: Spoken) -> str:
    if isinstance(spoken.observation, bool):
        return "present" if spoken.observation else "absent"
    return "perhaps present"


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


@lru_cache(maxsize=4)
def _lower_limits(region: str) -> dict[tuple[str, str], float]:
    """2.5th centile of the link of a reading to a condition; of several levels the highest."""
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

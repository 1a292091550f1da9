"""Conditions with their post-test probabilities, and why: the effect of each finding."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from sidewise.evidence.conditions import Condition, families_of
from sidewise.evidence.fit.fitted import Fitted, fitted_of
from sidewise.evidence.studies.rows import accuracy_rows_of
from sidewise.ground.arrays import Array
from sidewise.ground.language import mark_text
from sidewise.ground.provenance import Mark, Provenance
from sidewise.knowledge.region import Region
from sidewise.network import Effects, Gains, gains
from sidewise.protocol import protocol_of
from sidewise.reason.judging.flags import Meaningless
from sidewise.reason.judging.observations import Observed, Spoken
from sidewise.reason.result import (
    Because,
    ConditionPosterior,
    LevelPosterior,
    SidePosteriors,
    Together,
)
from sidewise.reason.weighing.layout import SIDES, variable_name
from sidewise.reason.weighing.posterior import Weighing
from sidewise.reason.weighing.suggestions import mind_changer, variables_of_interest

SMALLEST_EFFECT = 0.02
"""Effects below this change odds by less than 2%; they are left out of "because"."""
TELLS_LITTLE = 0.05
"""A link whose 2.5th centile is below this cannot be told from none."""


@dataclass(frozen=True)
class Explanation:
    """A weighing with the effects of its findings, worked out once for all conditions.

    because, together: of each reading seen, and of each mechanism, everything but its effect.
    void: the conditions of which a raised flag lets nothing be said.
    """

    weighing: Weighing
    effects: Effects
    gains: Gains
    spoken: dict[int, Spoken]
    because: dict[int, Callable[..., Because]]
    together: tuple[Callable[..., Together], ...]
    void: Meaningless


def explain_weighing(
    weighing: Weighing, seen: Observed, open_readings: list[int], void: Meaningless
) -> Explanation:
    """Effects of every finding, and what each open reading could tell, on every condition."""
    structure = weighing.layout.structure
    spoken = {structure.reading_index[entry.seat.name]: entry for entry in seen.spoken}
    interest = variables_of_interest(weighing.layout, void)
    region, effects = weighing.region, weighing.effects
    return Explanation(
        weighing=weighing,
        effects=effects,
        gains=gains(weighing.mean, weighing.evidence, open_readings, interest),
        spoken=spoken,
        because={number: _of_finding(region, entry) for number, entry in spoken.items()},
        together=tuple(
            _of_mechanism(region, group, [spoken[number] for number in members])
            for group, members in effects.groups.items()
        ),
        void=void,
    )


def side_posteriors(explanation: Explanation) -> dict[str, SidePosteriors]:
    """The conditions of each side, in the protocol's order of structures."""
    network = explanation.weighing.layout.conditions.network
    return {
        side: SidePosteriors(
            tuple(_posterior(explanation, c, side) for c in network if c.scope == "side")
        )
        for side in SIDES
    }


def whole_person(explanation: Explanation) -> SidePosteriors:
    """The conditions of the whole person."""
    network = explanation.weighing.layout.conditions.network
    return SidePosteriors(
        tuple(_posterior(explanation, c, None) for c in network if c.scope == "person")
    )


def _posterior(
    explanation: Explanation, condition: Condition, side: str | None
) -> ConditionPosterior:
    flag = explanation.void.why_condition(condition.id, side)
    found = _estimated(explanation, condition, side)
    return _withheld(found, flag) if flag else found


def _withheld(found: ConditionPosterior, flag: str) -> ConditionPosterior:
    """The same without any figure that came of the findings, and with the flag that forbids it."""
    bare = (replace(level, posterior=None, low=None, high=None) for level in found.levels)
    return replace(
        found,
        levels=tuple(bare),
        posterior=None,
        low=None,
        high=None,
        because=(),
        together=(),
        mind_changer=None,
        withheld_because=flag,
    )


def _estimated(
    explanation: Explanation, condition: Condition, side: str | None
) -> ConditionPosterior:
    w = explanation.weighing
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
        because=_because(explanation, condition, variable),
        together=_together(explanation, variable),
        mind_changer=mind_changer(w.layout, explanation.gains, variable),
        prior_sources=w.prior_sources(condition.id),
        note=condition.note,
    )


def _because(explanation: Explanation, condition: Condition, variable: int) -> tuple[Because, ...]:
    w, effects = explanation.weighing, explanation.effects
    leans_on = w.region.view(_rests_on, w.setting)
    lows = w.region.view(_lower_limits)
    found = []
    for place, effect in _strongest(effects.log_odds[:, variable]):
        number = effects.readings[place]
        link = (explanation.spoken[number].seat.reading.id, condition.id)
        found.append(
            explanation.because[number](
                effect=effect,
                # A finding that speaks through other conditions has no link of its own.
                leans_on=leans_on.get(link, mark_text("through other conditions")),
                tells_little=lows.get(link, 1.0) < TELLS_LITTLE,
            )
        )
    return tuple(found)


def _together(explanation: Explanation, variable: int) -> tuple[Together, ...]:
    """What the mechanisms did, the strongest first."""
    strongest = _strongest(explanation.effects.together[:, variable])
    return tuple(explanation.together[group](effect=effect) for group, effect in strongest)


def _strongest(effects: Array) -> list[tuple[int, float]]:
    """Place and size of the effects that matter, the largest first."""
    found = [(i, x) for i, x in enumerate(effects.tolist()) if abs(x) >= SMALLEST_EFFECT]
    return sorted(found, key=lambda effect: -abs(effect[1]))


def _of_finding(region: Region, spoken: Spoken) -> Callable[..., Because]:
    """What is the same of a finding whatever the condition."""
    seat = spoken.seat
    return partial(
        Because,
        item=seat.reading.item,
        side=seat.side,
        reading=seat.reading.id,
        label=seat.reading.label,
        found=_found_word(spoken),
        sources=region.view(_sources, seat.reading.id),
    )


def _of_mechanism(
    region: Region, group: tuple[str, str], members: list[Spoken]
) -> Callable[..., Together]:
    """What is the same of a mechanism whatever the condition."""
    family, mechanism = group
    return partial(
        Together,
        mechanism=mechanism.rpartition(".")[0],
        label=region.view(_mechanism_label, family, mechanism),
        side=members[0].seat.side,
        readings=tuple(entry.seat.reading.id for entry in members),
        found=sum(entry.observation is True for entry in members),
        perhaps=sum(_leans(entry) is True for entry in members),
    )


def _mechanism_label(region: Region, family: str, mechanism: str) -> str:
    families = {f.id: f for f in families_of(region).families}
    mine = families[family.rpartition(".")[0]]
    word = next(m.label for m in mine.mechanisms if m.id == mechanism.rpartition(".")[0])
    return f"{mine.label}: {word}"


def _found_word(spoken: Spoken) -> str:
    leans = _leans(spoken)
    if leans is None:
        return mark_text("present") if spoken.observation else mark_text("absent")
    return mark_text("perhaps present") if leans else mark_text("less than asked for")


def _leans(spoken: Spoken) -> bool | None:
    """Whether a finding that is neither plainly there nor plainly absent speaks for the reading."""
    if isinstance(spoken.observation, bool):
        return None
    absent, present = spoken.observation
    return present > absent


def _rests_on(region: Region, setting: str) -> dict[tuple[str, str], str]:
    """For each reading and condition what its link rests on; of several levels the highest."""
    fitted = fitted_of(region)
    highest: dict[tuple[str, str], int] = {}
    for reading, column in zip(fitted.reading_of, fitted.column_of, strict=True):
        condition, level = fitted.conditions.columns[column]
        key = (fitted.readings[reading], condition)
        highest[key] = max(level, highest.get(key, 0))
    marks = {key: fitted.mark(*key, level, setting) for key, level in highest.items()}
    return {key: MARK_WORDS.get(mark, mark) for key, mark in marks.items()}


MARK_WORDS = {"measured": "studies", "leans on judgement": "judgement"}


def _lower_limits(region: Region) -> dict[tuple[str, str], float]:
    """2.5th centile of the link of a reading to a condition; of several levels the highest."""
    fitted: Fitted = fitted_of(region)
    lows = np.quantile(fitted.link, 0.025, axis=0)
    found: dict[tuple[str, str], float] = {}
    for arc, low in enumerate(lows):
        reading = fitted.readings[fitted.reading_of[arc]]
        condition = fitted.conditions.columns[fitted.column_of[arc]][0]
        found[reading, condition] = max(float(low), found.get((reading, condition), 0.0))
    return found


def _sources(region: Region, reading: str) -> tuple[Provenance, ...]:
    """The studies behind a reading, then the statement it rests on where there is none."""
    rows = [
        row for row in accuracy_rows_of(region).rows if row.reading == reading and row.use == "fit"
    ]
    studies = dict.fromkeys((f"{row.study} {row.year}", str(row.mark)) for row in rows)
    if studies:
        return tuple(Provenance(Mark(mark), name) for name, mark in studies)
    return protocol_of(region).readings_by_id[reading].basis

"""An interpretation as the panel shows it: lines from pre-test ring to post-test bar, in order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sidewise.ground.language import mark_text, say_number, say_text, term
from sidewise.ground.percent import percent
from sidewise.note.meaning import (
    called_for_flags,
    effect_words,
    levels_words,
    moves_odds,
    not_estimated,
    not_weighed_words,
    purpose_words,
    shown_and_rest,
    to_state_words,
    together_words,
    with_interval,
)
from sidewise.note.phrases import said_label, said_side
from sidewise.protocol import Protocol
from sidewise.reason.result import Because, ConditionPosterior, Interpretation, Next

WHOSE = {"right": mark_text("patient's right"), "left": mark_text("patient's left")}
NEXT_SHOWN = 4


@dataclass(frozen=True, slots=True)
class Reason:
    """One finding's effect, in words, with the studies behind it."""

    words: str
    sources: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Likely:
    """One condition as a line: all positions are percentages of the width."""

    label: str
    words: str
    prior_words: str
    prior: float
    posterior: float
    low: float
    width: float
    reasons: tuple[Reason, ...]
    prior_sources: tuple[Any, ...]
    changer: str
    together: tuple[str, ...]
    note: str
    levels: str = ""
    unmoved: int = 0

    @property
    def has_interval(self) -> bool:
        """Whether there is a bar to draw."""
        return self.width > 0

    @property
    def line_from(self) -> float:
        """Where the line between ring and bar begins."""
        return min(self.prior, self.posterior)

    @property
    def line_width(self) -> float:
        """How long the line is."""
        return abs(self.posterior - self.prior)


@dataclass(frozen=True, slots=True)
class ConditionsOfSide:
    """The conditions of one side, or of the whole person."""

    title: str
    shown: tuple[Likely, ...]
    rest: str
    not_estimated: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ToDo:
    """An item worth doing next, and where patient and examiner are for it."""

    entry: Next
    words: str
    stage: str
    bits: str = ""

    @property
    def label(self) -> str:
        """The item with its side."""
        return said_side(self.entry.side, said_label(self.entry.label))

    @property
    def is_question(self) -> bool:
        """Whether it is something to ask, not to do."""
        return not self.stage


class Meaning:
    """What the panel shows, from an interpretation."""

    def __init__(
        self, result: Interpretation, protocol: Protocol, complaint: tuple[str, ...] = ()
    ) -> None:
        self.result = result
        self.complaint = complaint
        self.protocol = protocol
        self.raised = [flag for flag in result.red_flags if flag.status == "raised"]
        self.not_excluded = list(called_for_flags(result.red_flags))
        self.not_looked_at = result.not_looked_at
        self.differences = [d for d in result.differences if d.real is not None]
        self.variants = [v for v in result.variants if v.applied]
        self.not_weighed = list(not_weighed_words(result))
        self.to_state = list(to_state_words(result))
        self.withheld = list(dict.fromkeys(entry.reason for entry in result.withheld))

    @property
    def missing(self) -> list[str]:
        """What was not asked or not examined and leaves a flag open."""
        return list(dict.fromkeys(word for flag in self.not_excluded for word in flag.missing))

    @property
    def places(self) -> list[ConditionsOfSide]:
        """The side of the complaint, the other side, then the whole person."""
        order = sorted(("right", "left"), key=lambda side: side not in self.complaint)
        sides = [(term(WHOSE[s]), self.result.sides[s]) for s in order
                 if s in self.result.sides]  # fmt: skip
        groups = [*sides, (say_text("the whole person"), self.result.whole_person)]
        found = (self._where(title, group.conditions) for title, group in groups)
        return [where for where in found if where.shown or where.rest or where.not_estimated]

    def _where(self, title: str, conditions: tuple[ConditionPosterior, ...]) -> ConditionsOfSide:
        shown, rest = shown_and_rest(conditions)
        words = ", ".join(f"{term(c.label)} {percent(c.estimate)}" for c in rest)
        told = tuple(not_estimated(conditions))
        return ConditionsOfSide(title, tuple(self._likely(c) for c in shown), words, told)

    def _likely(self, c: ConditionPosterior) -> Likely:
        low = c.estimate if c.low is None else c.low
        high = c.estimate if c.high is None else c.high
        return Likely(
            term(c.label),
            with_interval(c),
            percent(c.prior),
            c.prior * 100,
            c.estimate * 100,
            low * 100,
            (high - low) * 100,
            tuple(_reason(b, c.side) for b in c.because if moves_odds(b.effect)),
            c.prior_sources,
            self._changer(c),
            tuple(
                together_words(several, c.side)
                for several in c.together
                if moves_odds(several.effect)
            ),
            c.note,
            levels_words(c),
            sum(not moves_odds(b.effect) for b in c.because),
        )

    def _changer(self, c: ConditionPosterior) -> str:
        if c.mind_changer is None:
            return ""
        reading = self.protocol.readings_by_id.get(c.mind_changer.reading)
        label = reading.label if reading else c.mind_changer.item
        return say_text(
            "{reading} {result} would make it {chance}", reading=label,
            result=term(c.mind_changer.result), chance=percent(c.mind_changer.posterior_if),
        )  # fmt: skip

    @property
    def next(self) -> list[ToDo]:
        """What would tell most next."""
        return [self._todo(entry) for entry in self.result.next[:NEXT_SHOWN]]

    def _todo(self, entry: Next) -> ToDo:
        words = purpose_words(entry)
        bits = f"{say_number(entry.bits, '.2f')} bits" if entry.bits is not None else ""
        item = self.protocol.by_id.get(entry.item)
        return ToDo(entry, words, self.protocol.stage_of(item).slug if item else "", bits)


def _reason(because: Because, side: str | None) -> Reason:
    return Reason(effect_words(because, side), because.sources)

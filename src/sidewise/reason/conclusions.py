"""What would be said otherwise now: an earlier conclusion against that of the present knowledge.

A conclusion is kept as the JSON of an interpretation, or in short with a signature, either with
the version of the knowledge it came from. What was signed stays as it was signed; this says which
of it would read differently today.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, Field

from sidewise.errors import UserError
from sidewise.ground.validation import validate_model
from sidewise.kinds.common.numbers import Number
from sidewise.reason.result import INTERPRETATION_FORMAT, ConditionPosterior, Interpretation
from sidewise.reason.view import conditions_of
from sidewise.record import EssentialFigure, Essentials, Record

NOTABLE = 0.10
"""A figure that moved by less is not named (our judgement)."""
LEADING = 5
"""So many conditions of each complaint side are kept with a signature (our judgement)."""


class _Figure(BaseModel):
    label: str
    posterior: Number | None = Field(ge=0, le=1)


class _Flag(BaseModel):
    label: str
    status: str


class _Side(BaseModel):
    conditions: list[_Figure]


class _Conclusion(BaseModel):
    """The part of an interpretation that is compared; the rest of it may be as it was then."""

    record: str
    knowledge_version: str
    red_flags: list[_Flag]
    sides: dict[str, _Side]
    whole_person: _Side


@dataclass(frozen=True, slots=True)
class ConditionChange:
    """A condition of a side whose figure moved; None where a flag withheld it."""

    side: str
    label: str
    before: float | None
    now: float | None


@dataclass(frozen=True, slots=True)
class ConclusionChanges:
    """What would be said otherwise: versions of the knowledge, flags, leads and figures."""

    record: str
    version_before: str
    version_now: str
    flags: tuple[str, ...]
    leads: tuple[str, ...]
    figures: tuple[ConditionChange, ...]

    @property
    def differs(self) -> bool:
        """Whether anything that a reader would notice is different."""
        return bool(self.flags or self.leads or self.figures)

    def lines(self) -> Iterator[str]:
        """In words; what was signed stays as it was signed."""
        if self.version_before == self.version_now:
            versions = f"the same knowledge ({self.version_now})"
        else:
            versions = f"knowledge {self.version_before} then, {self.version_now} now"
        if not self.differs:
            yield f"{self.record}: nothing would be said otherwise; {versions}."
            return
        yield f"{self.record}: would be said otherwise now; {versions}. What was signed stays."
        yield from (f"  {words}" for words in (*self.flags, *self.leads))
        for change in self.figures:
            yield f"  {change.side} {change.label}: {_share(change.before)} then, " + (
                f"{_share(change.now)} now"
            )


def read_conclusion(path: Path) -> Mapping[str, Any]:
    """What is compared of an interpretation that was kept as JSON.

    UserError where it is none, UserErrors with each place where it is damaged.
    """
    expected = f"an interpretation of the format {INTERPRETATION_FORMAT}"
    do = "Make one with `sidewise interpret EXAM --json`."
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise UserError(str(path), error.strerror or "no file", expected, do) from error
    except (ValueError, RecursionError) as error:
        raise UserError(str(path), "no JSON", expected, do) from error
    if not isinstance(data, dict) or data.get("format") != INTERPRETATION_FORMAT:
        got = data.get("format") if isinstance(data, dict) else type(data).__name__
        raise UserError(str(path), got, expected, do)
    return validate_model(_Conclusion, data, path.name).model_dump()


def conclusion_changes(earlier: Mapping[str, Any], now: Interpretation) -> ConclusionChanges:
    """An earlier conclusion (JSON) against the present one of the same record.

    UserError where they are of different records.
    """
    if earlier["record"] != now.record:
        raise UserError("--against", earlier["record"], f"a conclusion on {now.record}")
    return _changes(earlier, now, tuple(_figures(earlier, now)))


def _changes(
    earlier: Mapping[str, Any], now: Interpretation, figures: tuple[ConditionChange, ...]
) -> ConclusionChanges:
    return ConclusionChanges(
        record=now.record,
        version_before=earlier["knowledge_version"],
        version_now=now.knowledge_version,
        flags=tuple(_flags(earlier, now)),
        leads=tuple(_leads(earlier, now)),
        figures=figures,
    )


def said_at_signing(record: Record, now: Interpretation) -> Essentials:
    """What is kept with a signature of what is computed: version, raised flags, what leads.

    The likeliest of each complaint side, and of the whole person those that are notable.
    """
    figures: list[EssentialFigure] = []
    for side in (*record.context.complaint, None):
        here = now.whole_person if side is None else now.sides[side]
        known = sorted((c for c in here.conditions if c.posterior is not None),
                       key=lambda one: -one.estimate)  # fmt: skip
        if side is None:
            known = [one for one in known if one.estimate >= NOTABLE]
        figures += [
            EssentialFigure(
                condition=one.condition, side=side, posterior=round(one.estimate, 4),
                low=round(one.low or 0.0, 4), high=round(one.high or 0.0, 4),
            )
            for one in known[:LEADING]
        ]  # fmt: skip
    flags = tuple(flag.label for flag in now.red_flags if flag.status == "raised")
    return Essentials(knowledge=now.knowledge_version, flags=flags, figures=tuple(figures))


def changes_since_signing(said: Essentials, now: Interpretation) -> ConclusionChanges:
    """What was kept with a signature against the present conclusion of the same record.

    Of conditions that were not among the leading ones then, only that one leads now is told.
    """
    labels = {(where, one.condition): one.label for where, one in conditions_of(now)}
    sides: dict[str, list[dict[str, Any]]] = {side: [] for side in now.sides}
    sides["person"] = []
    for one in said.figures:
        where = one.side or "person"
        label = labels.get((where, one.condition), one.condition)
        sides[where].append({"label": label, "posterior": one.posterior})
    person = sides.pop("person")
    earlier = {
        "record": now.record,
        "knowledge_version": said.knowledge,
        "red_flags": [{"label": label, "status": "raised"} for label in said.flags],
        "sides": {side: {"conditions": figures} for side, figures in sides.items()},
        "whole_person": {"conditions": person},
    }
    kept = {(where, one["label"]) for where, ones in sides.items() for one in ones}
    kept |= {("person", one["label"]) for one in person}
    moved = [one for one in _figures(earlier, now) if (one.side, one.label) in kept]
    return _changes(earlier, now, tuple(moved))


def _flags(earlier: Mapping[str, Any], now: Interpretation) -> Iterator[str]:
    before = {f["label"] for f in earlier["red_flags"] if f["status"] == "raised"}
    after = {f.label for f in now.red_flags if f.status == "raised"}
    yield from (f"flag raised now, and not then: {label}" for label in sorted(after - before))
    yield from (f"flag raised then, and not now: {label}" for label in sorted(before - after))


def _figures_of(found: list[Mapping[str, Any]]) -> dict[str, float | None]:
    return {one["label"]: one["posterior"] for one in found}


def _before(earlier: Mapping[str, Any]) -> dict[str, dict[str, float | None]]:
    sides = {side: _figures_of(one["conditions"]) for side, one in earlier["sides"].items()}
    return {**sides, "person": _figures_of(earlier["whole_person"]["conditions"])}


def _leads(earlier: Mapping[str, Any], now: Interpretation) -> Iterator[str]:
    for side, figures in _before(earlier).items():
        known = {label: p for label, p in figures.items() if p is not None}
        mine: list[ConditionPosterior] = [
            one for where, one in conditions_of(now) if where == side and one.posterior is not None
        ]
        if not known or not mine or side == "person":
            continue
        then = max(known, key=lambda label: known[label])
        lead = max(mine, key=lambda one: one.estimate).label
        if then != lead:
            yield f"{side}: {then} led then, {lead} leads now"


def _figures(earlier: Mapping[str, Any], now: Interpretation) -> Iterator[ConditionChange]:
    before = _before(earlier)
    for side, one in conditions_of(now):
        then = before.get(side, {}).get(one.label)
        if (then is None) != (one.posterior is None) or (
            then is not None and one.posterior is not None and abs(one.posterior - then) >= NOTABLE
        ):
            yield ConditionChange(side, one.label, then, one.posterior)


def _share(probability: float | None) -> str:
    return "not estimated" if probability is None else f"{probability:.0%}"

"""What an interpretation says: one shape for the note, the page, the JSON and the tests.

Places that cannot be filled are None or empty, never invented.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, Literal

INTERPRETATION_FORMAT = "sidewise-interpretation/1"


@dataclass(frozen=True, slots=True)
class Source:
    """A study or statement behind a figure, and how we have it."""

    source: str
    mark: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Because:
    """One finding's effect on one condition: log odds with it minus without it.

    `leans_on` says what the link rests on: "studies", "judgement", "definition" or
    "not studied in this setting"; `tells_little` when the interval of the link includes zero.
    """

    item: str
    side: str
    reading: str
    label: str
    found: str
    effect: float
    leans_on: str
    tells_little: bool
    sources: tuple[Source, ...]


@dataclass(frozen=True, slots=True)
class Together:
    """What several findings of one mechanism did to a condition together."""

    mechanism: str
    label: str
    side: str
    readings: tuple[str, ...]
    found: int
    effect: float


@dataclass(frozen=True, slots=True)
class LevelPosterior:
    """Probability of one level of a condition."""

    level: str
    prior: float
    posterior: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class MindChanger:
    """The unexamined result that would move a condition most."""

    item: str
    side: str
    reading: str
    result: Literal["present", "absent"]
    posterior_if: float


@dataclass(frozen=True, slots=True)
class ConditionPosterior:
    """A condition on one side or of the whole person, with pre-test and post-test probability."""

    condition: str
    label: str
    side: str | None
    levels: tuple[LevelPosterior, ...]
    prior: float
    posterior: float
    low: float | None
    high: float | None
    because: tuple[Because, ...]
    together: tuple[Together, ...]
    mind_changer: MindChanger | None
    prior_sources: tuple[Source, ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class RedFlag:
    """A red flag that is raised, or that cannot be excluded from what was examined."""

    flag: str
    label: str
    status: Literal["raised", "not excluded"]
    urgency: str
    suspect: str
    because: tuple[str, ...]
    missing: tuple[str, ...]
    do: str
    withhold: tuple[str, ...]
    why: str
    sources: tuple[Source, ...]


@dataclass(frozen=True, slots=True)
class Difference:
    """A difference between the sides, left minus right, and whether it is more than error."""

    item: str
    mode: str | None
    label: str
    left: float
    right: float
    difference: float
    threshold: float | None
    unit: str
    real: bool | None
    probability: float | None
    clinical_probability: float | None
    sentence: str
    cautions: tuple[str, ...]
    sources: tuple[Source, ...]


@dataclass(frozen=True, slots=True)
class Norm:
    """A measurement against one table for age and sex."""

    item: str
    mode: str | None
    side: str
    label: str
    value: float
    unit: str
    mean: float | None
    sd: float | None
    z: float | None
    centile: float | None
    sentence: str
    cautions: tuple[str, ...]
    source: Source


@dataclass(frozen=True, slots=True)
class VariantFound:
    """A mild finding that is a normal variant here, and therefore weighs nothing."""

    variant: str
    label: str
    item: str
    sides: tuple[str, ...]
    applied: bool
    why: str
    sources: tuple[Source, ...]


@dataclass(frozen=True, slots=True)
class Next:
    """An unexamined item, what it would tell and what it costs."""

    item: str
    side: str
    label: str
    bits: float | None
    minutes: float
    bits_per_minute: float | None
    soreness: int
    screens_flag: str | None
    patient: str
    examiner: str


@dataclass(frozen=True, slots=True)
class NotDone:
    """An item that was not examined, could not be, or must not be, and why."""

    item: str
    side: str
    label: str
    reason: str
    essential: bool


@dataclass(frozen=True, slots=True)
class SidePosteriors:
    """The conditions of one side, in the order of the structures."""

    conditions: tuple[ConditionPosterior, ...]


@dataclass(frozen=True, slots=True)
class Interpretation:
    """Everything that follows from one record and the published knowledge."""

    record: str
    region: str
    setting: str
    cautions: tuple[str, ...]
    red_flags: tuple[RedFlag, ...]
    sides: dict[str, SidePosteriors]
    whole_person: SidePosteriors
    differences: tuple[Difference, ...]
    norms: tuple[Norm, ...]
    variants: tuple[VariantFound, ...]
    next: tuple[Next, ...]
    withheld: tuple[NotDone, ...]
    not_examined: tuple[NotDone, ...]
    unable: tuple[NotDone, ...]
    conflicts: tuple[NotDone, ...]
    not_asked: tuple[str, ...]
    warnings: tuple[str, ...]
    evidence_percentile: float | None
    knowledge_version: str

    def to_json(self) -> dict[str, Any]:
        """The interpretation as plain data, with its format named first."""
        return {"format": INTERPRETATION_FORMAT, **dataclasses.asdict(self)}

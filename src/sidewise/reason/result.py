"""What an interpretation says: one shape for the note, the page, the JSON and the tests.

Places that cannot be filled are None or empty, never invented.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, Literal

from sidewise.ground.provenance import Provenance
from sidewise.ground.result_view import Shown, View
from sidewise.protocol.visits import FULL

INTERPRETATION_FORMAT = "sidewise-interpretation/1"


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
    sources: tuple[Provenance, ...]


@dataclass(frozen=True, slots=True)
class Together:
    """The joint effect of several findings of one mechanism on a condition.

    found: how many were there; perhaps: how many were equivocal, lie within error of it, or go part
    of the way to it, and speak for it rather than against.
    """

    mechanism: str
    label: str
    side: str
    readings: tuple[str, ...]
    found: int
    effect: float
    perhaps: int = 0


@dataclass(frozen=True, slots=True)
class LevelPosterior:
    """Probability of one level of a condition; None where a raised flag withholds it."""

    level: str
    prior: float
    posterior: float | None
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
    """A condition on one side or of the whole person, with pre-test and post-test probability.

    Where a raised flag makes the figure meaningless, `withheld_because` is the flag's label,
    `posterior`, `low` and `high` are None, and nothing is said of what moved it.
    """

    condition: str
    label: str
    side: str | None
    levels: tuple[LevelPosterior, ...]
    prior: float
    posterior: float | None
    low: float | None
    high: float | None
    because: tuple[Because, ...]
    together: tuple[Together, ...]
    mind_changer: MindChanger | None
    prior_sources: tuple[Provenance, ...]
    note: str = ""
    withheld_because: str | None = None

    @property
    def estimate(self) -> float:
        """The post-test probability; only of a condition that is not withheld."""
        assert self.posterior is not None, "a withheld condition has no figure"
        return self.posterior


@dataclass(frozen=True, slots=True)
class RedFlag:
    """A red flag that is raised, or that cannot be excluded from what was examined.

    `called_for` tells those not excluded for which something speaks, or a core question was not
    asked, from those at which nobody has looked yet. `purpose` is the plain question that it
    answers, `how_fast` the urgency in words. `sides` are those a raised flag speaks of: both where
    it is of the whole person, or where nothing tells. `meaningless` names the readings, families,
    conditions whose percentages a raised flag takes the meaning from.
    """

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
    sources: tuple[Provenance, ...]
    called_for: bool = True
    purpose: str = ""
    how_fast: str = ""
    meaningless: tuple[str, ...] = ()
    sides: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Difference:
    """A difference between the sides, left minus right, and whether it exceeds the error."""

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
    sources: tuple[Provenance, ...]


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
    source: Provenance


@dataclass(frozen=True, slots=True)
class VariantFound:
    """A mild finding that is a normal variant here, and therefore weighs nothing."""

    variant: str
    label: str
    item: str
    sides: tuple[str, ...]
    applied: bool
    why: str
    sources: tuple[Provenance, ...]


@dataclass(frozen=True, slots=True)
class Next:
    """An unexamined item, the information it would add and its cost.

    bits_per_minute: of its time, its soreness and a change of posture from the step before.
    tells: how much it would tell, in words; posture: that of the patient once it is done.
    """

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
    tells: str = ""
    posture: str = ""


@dataclass(frozen=True, slots=True)
class NotDone:
    """An item that was not examined, could not be, or must not be, and why.

    essential: it belongs to every examination of this kind of visit. called_for: why this patient
    needs it, empty where nothing calls for it.
    """

    item: str
    side: str
    label: str
    reason: str
    essential: bool
    called_for: str = ""


@dataclass(frozen=True, slots=True)
class NotWeighed:
    """A finding that was made and weighs nothing while a flag is raised, and the flag's label."""

    item: str
    side: str
    reading: str
    label: str
    withheld_because: str


@dataclass(frozen=True, slots=True)
class FollowedUp:
    """Who follows a flag up that was raised at the signature; `not_arranged`: why nobody does."""

    flag: str
    label: str
    who: str
    by_when: str
    told: str
    not_arranged: str

    @property
    def sentence(self) -> str:
        """The same in one sentence."""
        if self.not_arranged:
            return f"{self.label}: follow-up not arranged, because {self.not_arranged}"
        return (
            f"{self.label}: followed up by {self.who}, by when: {self.by_when}; told: {self.told}"
        )


@dataclass(frozen=True, slots=True)
class ToState:
    """A positive result of which it was not said in which way: to be asked once.

    ways: what it can reproduce, and where; until one is stated the result only leans that way.
    """

    item: str
    side: str
    label: str
    ways: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SidePosteriors:
    """The conditions of one side, in the order of the structures."""

    conditions: tuple[ConditionPosterior, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Interpretation(Shown):
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
    not_looked_at: tuple[str, ...] = ()
    not_weighed: tuple[NotWeighed, ...] = ()
    visit: str = FULL
    followed_up: tuple[FollowedUp, ...] = ()
    to_state: tuple[ToState, ...] = ()
    next_end: str = ""

    def view(self) -> View:
        """What is shown of it in a line, as frames and in a notebook."""
        from sidewise.reason.view import interpretation_view

        return interpretation_view(self)

    def to_json(self) -> dict[str, Any]:
        """The interpretation as plain data, with its format named first."""
        return {"format": INTERPRETATION_FORMAT, **dataclasses.asdict(self)}

"""How the simulated patients of a region move and speak: the part `practice` of its knowledge."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from sidewise.ground.frozen import Frozen
from sidewise.ground.provenance import Provenance
from sidewise.ground.validation import validate_model
from sidewise.kinds.angle import EndFeel
from sidewise.knowledge.region import Region
from sidewise.practice.chances import ChanceGroup

FILE = "practice.yaml"
Pair = tuple[float, float]


class Ages(Frozen):
    """Ages of people who come, years: normal, cut at both ends."""

    mean: float
    sd: float = Field(gt=0)
    low: int
    high: int


class Movement(Frozen):
    """Healthy active range in degrees where no table says, how much further it goes passively,
    and the share of the capsule's loss that it takes."""

    mean: float
    sd: float = Field(gt=0)
    passive_more: float = Field(ge=0)
    loss: float = Field(ge=0, le=1)


class Rungs(Frozen):
    """The level that a healthy hand reaches behind the back, in rungs of the ladder."""

    mean_rung: float
    sd: float = Field(gt=0)


class ConditionPicture(Frozen):
    """One condition: what is left of the capsule's range, by how much the arm is weak, and words.

    keep: share of the healthy range left, from and to. weak: degrees active stays behind passive.
    weeks: how long it has lasted. injury: whether it began with one.
    never_below: age in years under which it is not drawn.
    """

    keep: Pair = (1.0, 1.0)
    weak: Pair = (0.0, 5.0)
    end_feel: EndFeel | None = None
    onset: Literal["sudden", "gradual"]
    weeks: tuple[int, int]
    injury: bool = False
    never_below: int = Field(default=0, ge=0)
    says: tuple[str, ...] = Field(min_length=1)


class Roots(Frozen):
    """Which roots serve each reading of a condition, and how often each root is the one."""

    condition: str
    weights: dict[str, float]
    readings: dict[str, tuple[str, ...]]
    basis: tuple[Provenance, ...] = Field(min_length=1)


class FlagAnswers(Frozen):
    """What raises a flag: answers to questions, and vital signs."""

    history: dict[str, Literal["yes", "no"]] = {}
    vitals: dict[str, float] = {}


class Following(Frozen):
    """What an item shows where the active movement `by` of the same arm ends below so many degrees,
    or below a level behind the back."""

    by: str
    below: float | str
    shows: str


class PatientWays(Frozen):
    """Everything of the part `practice`.

    injured: questions answered with yes where it began with an injury. usual_vitals: from and to,
    where no flag asks for more. follows: by item of which no reading is drawn, the first line that
    holds is shown. shown_by_complaint: by item, what stands on a side that hurts where nothing was
    drawn of it, instead of normal. settings: the share of people who come to each.
    """

    ages: Ages
    basis: tuple[Provenance, ...] = Field(min_length=1)
    movements: dict[str, Movement]
    level: Rungs
    conditions: dict[str, ConditionPicture]
    nothing: ConditionPicture
    roots: Roots | None = None
    flags: dict[str, FlagAnswers] = {}
    injured: tuple[str, ...] = ()
    usual_vitals: dict[str, Pair] = {}
    settings: dict[str, float] = Field(min_length=1)
    works: tuple[str, ...] = Field(min_length=2)
    begins: tuple[str, ...] = Field(min_length=2)
    worst: tuple[str, ...] = Field(min_length=2)
    wants: tuple[str, ...] = Field(min_length=2)
    follows: dict[str, tuple[Following, ...]] = {}
    follows_basis: tuple[Provenance, ...] = ()
    shown_by_complaint: dict[str, str] = {}
    groups: tuple[ChanceGroup, ...] = ()
    groups_basis: tuple[Provenance, ...] = ()
    before_touching: tuple[str, ...] = ()
    follow_the_conditions: tuple[str, ...] = ()


def patient_ways(region: Region) -> PatientWays:
    """The ways of a region's simulated patients; UserError where it has none or they are faulty."""
    return region.view(_ways)


def _ways(region: Region) -> PatientWays:
    data: Any = region.part("practice")
    return validate_model(PatientWays, data, FILE)

"""What was done, what is planned, what tests showed, and totals of questionnaires: as data.

Each is an entry of its own, attributed and undoable like a finding. A field that nobody stated is
None. What must never be left open (the side of an injection, what was asked before it) has no
default.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, get_args

from pydantic import Field, model_validator

from sidewise.ground.frozen import Frozen
from sidewise.ground.language import mark_text
from sidewise.kinds.common.numbers import Degrees, Number

CareSide = Literal["left", "right", "both"]
Answered = Literal["yes", "no", "unsure"]
InvestigationName = Literal[
    "radiograph", "ultrasound", "magnetic resonance", "computed tomography", "bone scan",
    "nerve conduction", "inflammation markers", "full blood count", "glucose", "uric acid",
    "joint fluid", "other blood test", "other imaging",
]  # fmt: skip
Outcome = Literal["normal", "abnormal", "not clear", "awaited"]
StepName = Literal[
    "radiograph", "bloods", "other imaging", "referral", "exercises", "advice", "injection",
    "next visit", "other",
]  # fmt: skip
HowFast = Literal["at once", "today", "within days", "within two weeks", "routine"]
DoseUnit = Literal["mg", "ml", "micrograms", "units"]
Relief = Literal["none", "less than half", "half or more", "all"]

INVESTIGATIONS: tuple[InvestigationName, ...] = get_args(InvestigationName)
OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)
STEPS: tuple[StepName, ...] = get_args(StepName)
SPEEDS: tuple[HowFast, ...] = get_args(HowFast)
DOSE_UNITS: tuple[DoseUnit, ...] = get_args(DoseUnit)
RELIEFS: tuple[Relief, ...] = get_args(Relief)
SAID = (
    *(mark_text("radiograph"), mark_text("ultrasound"), mark_text("magnetic resonance")),
    *(mark_text("computed tomography"), mark_text("bone scan"), mark_text("nerve conduction")),
    *(mark_text("inflammation markers"), mark_text("full blood count"), mark_text("glucose")),
    *(mark_text("uric acid"), mark_text("joint fluid"), mark_text("other blood test")),
    *(mark_text("other imaging"), mark_text("normal"), mark_text("abnormal")),
    *(mark_text("not clear"), mark_text("awaited"), mark_text("bloods"), mark_text("referral")),
    *(mark_text("exercises"), mark_text("advice"), mark_text("injection")),
    *(mark_text("next visit"), mark_text("other"), mark_text("at once"), mark_text("today")),
    *(mark_text("within days"), mark_text("within two weeks"), mark_text("routine")),
    *(mark_text("micrograms"), mark_text("units"), mark_text("none")),
    *(mark_text("less than half"), mark_text("half or more"), mark_text("all")),
    *(mark_text("landmarks"), mark_text("x-ray")),
)
"""The words of the lists above, marked for translation."""
Words = Annotated[str, Field(min_length=1, max_length=500)]


class Investigation(Frozen):
    """One image or laboratory test: its outcome, the words of the report, a number with its unit.

    `taken_on` is the day of the test. An outcome that is awaited has neither words nor number.
    """

    kind: Literal["investigation"]
    name: InvestigationName
    outcome: Outcome
    side: CareSide | None = None
    report: Words | None = None
    number: Number | None = Field(default=None, ge=-1e6, le=1e6)
    unit: str | None = Field(default=None, min_length=1, max_length=20)
    taken_on: date | None = None

    @model_validator(mode="after")
    def _agrees(self) -> Investigation:
        if (self.number is None) != (self.unit is None):
            raise ValueError("a number with its unit, or neither")
        if self.outcome == "awaited" and (self.number is not None or self.report is not None):
            raise ValueError("an outcome that is awaited has no number and no report yet")
        return self


class CareStep(Frozen):
    """One thing done at this visit, or planned: what, for which side, how fast, to whom."""

    kind: Literal["step"]
    state: Literal["done", "planned"]
    name: StepName
    detail: Words | None = None
    side: CareSide | None = None
    to: str | None = Field(default=None, min_length=1, max_length=120)
    how_fast: HowFast | None = None
    in_weeks: Number | None = Field(default=None, ge=0, le=520)

    @model_validator(mode="after")
    def _agrees(self) -> CareStep:
        if self.name == "injection" and self.state == "done":
            raise ValueError("an injection that was given is recorded with its dose and its side")
        if self.name == "referral" and (self.to is None or self.how_fast is None):
            raise ValueError("a referral says to whom and how fast")
        if self.name == "next visit" and self.in_weeks is None and self.detail is None:
            raise ValueError("a next visit says in how many weeks, or when in words")
        if self.name == "other" and self.detail is None:
            raise ValueError("say in words what it is")
        return self


class Substance(Frozen):
    """What was injected: its generic name, the dose and the dose's unit."""

    name: str = Field(min_length=2, max_length=80)
    dose: Number = Field(gt=0, le=10_000)
    unit: DoseUnit


class InjectionResponse(Frozen):
    """What the injection changed: relief, and one movement before and after, in degrees."""

    relief: Relief
    after_minutes: Number = Field(ge=0, le=1440)
    movement: str | None = Field(default=None, min_length=2, max_length=80)
    degrees_before: Degrees | None = None
    degrees_after: Degrees | None = None

    @model_validator(mode="after")
    def _both_or_neither(self) -> InjectionResponse:
        said = (self.movement, self.degrees_before, self.degrees_after)
        if any(one is not None for one in said) and None in said:
            raise ValueError("which movement, and its degrees before and after, or none of them")
        return self


class Injection(Frozen):
    """An injection that was given: the side said twice, and what was asked before the needle.

    `despite` says in words why it was given although allergy or infection was not answered no;
    `flags` names the raised flags that speak against it and that the clinician has acknowledged.
    """

    kind: Literal["injection"]
    substances: tuple[Substance, ...] = Field(min_length=1, max_length=5)
    place: str = Field(min_length=2, max_length=80)
    side: Literal["left", "right"]
    side_again: Literal["left", "right"]
    consent: bool
    allergy: Answered
    blood_thinner: Answered
    diabetes: Answered
    infection: Answered
    guided_by: Literal["landmarks", "ultrasound", "x-ray"] | None = None
    despite: Words | None = None
    flags: tuple[str, ...] = ()
    response: InjectionResponse | None = None
    note: Words | None = None

    @model_validator(mode="after")
    def _safe_to_record(self) -> Injection:
        if self.side != self.side_again:
            raise ValueError("the same side twice: look at the patient, then say it twice alike")
        if not self.consent:
            raise ValueError("consent given before the injection")
        if {self.allergy, self.infection} != {"no"} and self.despite is None:
            raise ValueError("why it was given although allergy or infection was not answered no")
        return self


class Score(Frozen):
    """The total of a questionnaire that is licensed: its name, the total and the ends of it."""

    kind: Literal["score"]
    name: str = Field(min_length=2, max_length=80)
    total: Number = Field(ge=-10_000, le=10_000)
    low: Number = Field(ge=-10_000, le=10_000)
    high: Number = Field(ge=-10_000, le=10_000)
    better: Literal["higher", "lower"] | None = None

    @model_validator(mode="after")
    def _inside(self) -> Score:
        if not self.low < self.high:
            raise ValueError("the lowest total below the highest")
        if not self.low <= self.total <= self.high:
            raise ValueError(f"a total from {self.low:g} to {self.high:g}")
        return self


CareEntry = Annotated[Investigation | CareStep | Injection | Score, Field(discriminator="kind")]
CARE_KINDS = ("investigation", "step", "injection", "score")
"""What `kind` says of an entry."""

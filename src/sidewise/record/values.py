"""What was found, as typed values: a closed set that checks itself when made."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from sidewise.protocol.kinds import ASPECTS, Frozen

Instrument = Literal[
    "goniometer", "inclinometer", "phone", "photograph", "eye", "tape", "dynamometer"
]
EndFeel = Literal["firm", "soft", "hard", "springy", "empty", "spasm", "not reached"]

# From the lowest place the thumb can reach to the highest; a ladder, not degrees.
LEVELS = (
    "thigh", "buttock", "sacrum", "L5", "L4", "L3", "L2", "L1",
    "T12", "T11", "T10", "T9", "T8", "T7", "T6", "T5", "T4", "T3", "T2", "T1", "C7",
)  # fmt: skip
# From no contraction to normal power; ordered, never averaged.
MRC_GRADES = ("0", "1", "2", "3", "4-", "4", "4+", "5")
# Not a clinical range: beyond this a typing slip is certain. NaN fails here too.
Degrees = Annotated[float, Field(ge=-180, le=360, description="degrees")]


class SignValue(Frozen):
    """Absent, present, or one of the item's own grades."""

    kind: Literal["sign"]
    grade: str
    place: str | None = None


class NormalByEye(Frozen):
    """A movement looked at and judged normal, without a number."""

    kind: Literal["normal_by_eye"]


class Tenderness(Frozen):
    """0 none, 1 says so, 2 winces, 3 withdraws; `familiar` if it is the patient's own pain."""

    kind: Literal["tenderness"]
    grade: int = Field(ge=0, le=3)
    familiar: bool | None = None


class AngleValue(Frozen):
    """A joint angle in degrees, how it was read, and what stopped it."""

    kind: Literal["angle"]
    degrees: Degrees
    pain: bool | None = None
    end_feel: EndFeel | None = None
    instrument: Instrument | None = None
    position: str | None = None
    sd: float | None = Field(default=None, ge=0, le=90)


class ArcValue(Frozen):
    """The painful part of raising the arm, in degrees; or painless throughout."""

    kind: Literal["arc"]
    start: Degrees | None = Field(default=None, alias="from")
    end: Degrees | None = Field(default=None, alias="to")
    painless: bool = False

    @model_validator(mode="after")
    def _whole(self) -> ArcValue:
        given = (self.start is not None, self.end is not None)
        if self.painless == any(given) or (not self.painless and not all(given)):
            raise ValueError("either from and to, or painless: true")
        if self.start is not None and self.end is not None and self.start > self.end:
            raise ValueError("from must not be above to")
        return self


class LevelValue(Frozen):
    """The highest vertebra the thumb reaches behind the back."""

    kind: Literal["level"]
    level: Literal[LEVELS]  # type: ignore[valid-type]
    pain: bool | None = None


class LengthValue(Frozen):
    """A length in centimetres."""

    kind: Literal["length"]
    cm: float = Field(ge=0, le=300)


class SecondsValue(Frozen):
    """Seconds until symptoms came, or `none` if none came in the whole time held."""

    kind: Literal["seconds"]
    seconds: float | None = Field(default=None, ge=0, le=3600)
    none: bool = False

    @model_validator(mode="after")
    def _one_of_two(self) -> SecondsValue:
        if self.none == (self.seconds is not None):
            raise ValueError("either seconds, or none: true")
        return self


class CountValue(Frozen):
    """A whole number."""

    kind: Literal["count"]
    count: int = Field(ge=0, le=1000)


class MrcValue(Frozen):
    """Power, MRC grade; `limited_by_pain` when pain stopped the effort, which is not weakness."""

    kind: Literal["mrc"]
    grade: Literal[MRC_GRADES]  # type: ignore[valid-type]
    limited_by_pain: bool = False


class ForceValue(Frozen):
    """Isometric force in newtons."""

    kind: Literal["force"]
    newtons: float = Field(ge=0, le=5000)
    limited_by_pain: bool = False
    instrument: Instrument | None = "dynamometer"


class ResultValue(Frozen):
    """A manoeuvre's result and what it reproduced; a criterion not stated is not examined."""

    kind: Literal["result"]
    result: Literal["negative", "positive", "equivocal"]
    pain: bool | None = None
    where: str | None = None
    weakness: bool | None = None
    lag: bool | None = None
    lag_degrees: float | None = Field(default=None, ge=0, le=180)
    apprehension: bool | None = None
    click: bool | None = None
    relief: bool | None = None
    tingling: bool | None = None
    wing: bool | None = None

    @model_validator(mode="after")
    def _agrees(self) -> ResultValue:
        stated = [getattr(self, aspect) for aspect in ASPECTS]
        if self.result == "negative" and (any(stated) or self.lag_degrees):
            raise ValueError("a negative result reproduces nothing; record it as positive")
        if self.result == "positive" and all(value is False for value in stated):
            raise ValueError("a positive result must have reproduced something")
        return self


class ChoiceValue(Frozen):
    """One of the item's list, or several where the item allows it."""

    kind: Literal["choice"]
    choice: str | tuple[str, ...]

    @property
    def chosen(self) -> tuple[str, ...]:
        """What was chosen, always as a tuple."""
        return (self.choice,) if isinstance(self.choice, str) else self.choice


class PlaceValue(Frozen):
    """A mark on the figure: what is there, on which view, where (0 to 1 from top left)."""

    kind: Literal["place"]
    what: str = Field(min_length=2, max_length=80)
    view: Literal["front", "back", "left side", "right side", "raised arm"] | None = None
    x: float | None = Field(default=None, ge=0, le=1)
    y: float | None = Field(default=None, ge=0, le=1)
    structure: str | None = None


class ReflexValue(Frozen):
    """A tendon reflex."""

    kind: Literal["reflex"]
    reflex: Literal["absent", "reduced", "normal", "brisk", "brisk with spread"]


class SensationValue(Frozen):
    """Feeling compared with a place known to be normal."""

    kind: Literal["sensation"]
    sensation: Literal["normal", "reduced", "absent", "heightened"]
    to: Literal["light touch", "pinprick"] | None = None


class PulseValue(Frozen):
    """A pulse."""

    kind: Literal["pulse"]
    pulse: Literal["normal", "weak", "absent"]


class VitalValue(Frozen):
    """A vital sign, in the item's unit."""

    kind: Literal["vital"]
    number: float = Field(ge=0, le=400)


class TextValue(Frozen):
    """The examiner's own words."""

    kind: Literal["text"]
    text: str = Field(min_length=1, max_length=2000)


Value = Annotated[
    SignValue
    | NormalByEye
    | Tenderness
    | AngleValue
    | ArcValue
    | LevelValue
    | LengthValue
    | SecondsValue
    | CountValue
    | MrcValue
    | ForceValue
    | ResultValue
    | ChoiceValue
    | PlaceValue
    | ReflexValue
    | SensationValue
    | PulseValue
    | VitalValue
    | TextValue,
    Field(discriminator="kind"),
]

VALUE_MODELS: dict[str, Any] = {
    "sign": SignValue,
    "normal_by_eye": NormalByEye,
    "tenderness": Tenderness,
    "angle": AngleValue,
    "arc": ArcValue,
    "level": LevelValue,
    "length": LengthValue,
    "seconds": SecondsValue,
    "count": CountValue,
    "mrc": MrcValue,
    "force": ForceValue,
    "result": ResultValue,
    "choice": ChoiceValue,
    "place": PlaceValue,
    "reflex": ReflexValue,
    "sensation": SensationValue,
    "pulse": PulseValue,
    "vital": VitalValue,
    "text": TextValue,
}

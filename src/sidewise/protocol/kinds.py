"""What kinds of value an item may take: a closed set, each with the limits the item sets."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

ASPECTS = ("pain", "weakness", "lag", "apprehension", "click", "relief", "tingling", "wing")
"""What a manoeuvre can reproduce, besides being positive or negative as a whole."""

Aspect = Literal["pain", "weakness", "lag", "apprehension", "click", "relief", "tingling", "wing"]


class Frozen(BaseModel):
    """A value object: immutable, and an unknown field is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class SignKind(Frozen):
    """Seen or not seen, or the item's own ordered grades; the first grade is the normal one."""

    kind: Literal["sign"] = "sign"
    grades: tuple[str, ...] = ("absent", "present")
    places: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _two_grades(self) -> SignKind:
        if len(set(self.grades)) < 2 or len(set(self.grades)) != len(self.grades):
            raise ValueError("grades: at least two different words, mildest first")
        return self


class NormalByEyeKind(Frozen):
    """A movement judged normal without a number."""

    kind: Literal["normal_by_eye"] = "normal_by_eye"


class TendernessKind(Frozen):
    """Tenderness 0 none, 1 said, 2 winces, 3 withdraws."""

    kind: Literal["tenderness"] = "tenderness"


class AngleKind(Frozen):
    """A joint angle in degrees, within what the joint can do at all."""

    kind: Literal["angle"] = "angle"
    low: float = 0
    high: float = 180


class ArcKind(Frozen):
    """From one angle to another while the arm is raised, in degrees; or no painful part."""

    kind: Literal["arc"] = "arc"
    low: float = 0
    high: float = 180


class LevelKind(Frozen):
    """The highest spinal level reached behind the back; the ladder stands in the record package."""

    kind: Literal["level"] = "level"


class LengthKind(Frozen):
    """A length in centimetres."""

    kind: Literal["length"] = "length"
    low: float = 0
    high: float = 60


class SecondsKind(Frozen):
    """Time in seconds until symptoms came, or that none came within `high`."""

    kind: Literal["seconds"] = "seconds"
    high: float = 180


class CountKind(Frozen):
    """A whole number from 0 to `high`."""

    kind: Literal["count"] = "count"
    high: int


class MrcKind(Frozen):
    """Power, Medical Research Council grade 0 to 5 with 4-, 4, 4+."""

    kind: Literal["mrc"] = "mrc"


class ForceKind(Frozen):
    """Isometric force in newtons."""

    kind: Literal["force"] = "force"
    high: float = 1500


class ResultKind(Frozen):
    """A manoeuvre: negative, positive or equivocal, with what it can reproduce."""

    kind: Literal["result"] = "result"
    aspects: tuple[Aspect, ...]
    places: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _has_aspects(self) -> ResultKind:
        if not self.aspects:
            raise ValueError("aspects: name what the manoeuvre can reproduce")
        return self


class ChoiceKind(Frozen):
    """One (or, with `several`, more) of the item's own list; `normal` names the healthy ones."""

    kind: Literal["choice"] = "choice"
    options: tuple[str, ...]
    normal: tuple[str, ...] = ()
    several: bool = False

    @model_validator(mode="after")
    def _normal_is_listed(self) -> ChoiceKind:
        unknown = set(self.normal) - set(self.options)
        if unknown or len(set(self.options)) < 2:
            raise ValueError(f"options: at least two; normal ones must be listed (got {unknown})")
        return self


class PlaceKind(Frozen):
    """A place on the figure with what is there (a scar, a swelling, the pain)."""

    kind: Literal["place"] = "place"


class ReflexKind(Frozen):
    """A tendon reflex: absent, reduced, normal, brisk, with spread."""

    kind: Literal["reflex"] = "reflex"


class SensationKind(Frozen):
    """Light touch or pinprick: normal, reduced, absent, heightened."""

    kind: Literal["sensation"] = "sensation"


class PulseKind(Frozen):
    """A pulse: normal, weak, absent."""

    kind: Literal["pulse"] = "pulse"


class VitalKind(Frozen):
    """A vital sign with its unit."""

    kind: Literal["vital"] = "vital"
    unit: str
    low: float
    high: float


class TextKind(Frozen):
    """Words of the examiner's own."""

    kind: Literal["text"] = "text"


Kind = Annotated[
    SignKind
    | NormalByEyeKind
    | TendernessKind
    | AngleKind
    | ArcKind
    | LevelKind
    | LengthKind
    | SecondsKind
    | CountKind
    | MrcKind
    | ForceKind
    | ResultKind
    | ChoiceKind
    | PlaceKind
    | ReflexKind
    | SensationKind
    | PulseKind
    | VitalKind
    | TextKind,
    Field(discriminator="kind"),
]

KIND_NAMES = (
    "sign", "normal_by_eye", "tenderness", "angle", "arc", "level", "length", "seconds", "count",
    "mrc", "force", "result", "choice", "place", "reflex", "sensation", "pulse", "vital", "text",
)  # fmt: skip

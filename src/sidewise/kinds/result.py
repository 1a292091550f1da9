"""A manoeuvre: negative, positive or equivocal, and what it reproduced.

What a manoeuvre can reproduce (its aspects) are the region's own words. In a file each is a yes or
no of its own beside the result; an aspect that is not stated was not examined.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field, model_validator

from sidewise.errors import UserError
from sidewise.ground.language import say_degrees, say_text, term
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value
from sidewise.kinds.common.line import (
    Lag,
    Meant,
    Options,
    Said,
    Shorthand,
    exact_number,
    fixed_names,
    one_meaning,
    place_said,
    plain_number,
    two_meanings,
    word_with_text,
)
from sidewise.kinds.common.touches import Now, Touch
from sidewise.kinds.common.vocabulary import Vocabulary, Words

LAG = "lag"
"""The one aspect that may carry a number of degrees."""


class ResultLimits(Limits):
    """A manoeuvre: negative, positive or equivocal, with what it can reproduce.

    `said_as` holds every aspect of the region with its word; the item's own are among them.
    """

    kind: Literal["result"] = "result"
    aspects: tuple[str, ...]
    places: tuple[str, ...] = ()
    said_as: Words = ()

    @model_validator(mode="after")
    def _has_aspects(self) -> ResultLimits:
        if not self.aspects:
            raise ValueError("aspects: name what the manoeuvre can reproduce")
        return self

    @cached_property
    def region_aspects(self) -> tuple[str, ...]:
        """Every aspect of the region, in the order in which they are said."""
        return tuple(name for name, _ in self.said_as)

    def word(self, aspect: str) -> str:
        """The word for an aspect in a sentence."""
        return dict(self.said_as).get(aspect, aspect)


def _yes_or_no(given: Any) -> Any:
    # A name that no field has may be an aspect of some region, and those are yes or no.
    if given is None or isinstance(given, bool | str) or given in (0, 1):
        return given
    raise ValueError("true or false for what was reproduced, or the name of another field")


class ResultValue(Value):
    """A manoeuvre's result and what it reproduced; a criterion not stated is not examined."""

    model_config = ConfigDict(frozen=True, extra="allow")
    __pydantic_extra__: dict[str, Annotated[bool | None, BeforeValidator(_yes_or_no)]]

    kind: Literal["result"]
    result: Literal["negative", "positive", "equivocal"]
    where: str | None = None
    lag_degrees: float | None = Field(default=None, ge=0, le=180)

    @model_validator(mode="before")
    @classmethod
    def _stated_only(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        # In one order, so that equal results are equal texts; null says the same as nothing.
        aspects = {name for name in data if name not in cls.model_fields and data[name] is not None}
        own = {name: given for name, given in data.items() if name in cls.model_fields}
        return {**own, **{name: data[name] for name in sorted(aspects, key=str)}}

    @model_validator(mode="after")
    def _agrees(self) -> ResultValue:
        if self.result == "negative" and (any(self.aspects.values()) or self.lag_degrees):
            raise ValueError("a negative result reproduces nothing; record it as positive")
        return self

    @property
    def aspects(self) -> dict[str, bool | None]:
        """What was stated to have been reproduced (True) or not (False)."""
        return dict(self.__pydantic_extra__ or {})

    def stated(self, aspect: str) -> bool | None:
        """Whether an aspect was reproduced; None if that was not stated."""
        return (self.__pydantic_extra__ or {}).get(aspect)


def _check(value: ResultValue, limits: ResultLimits) -> UserError | None:
    return _unknown_aspect(value, limits) or _impossible(value, limits) or _unlikely(value, limits)


def _unknown_aspect(value: ResultValue, limits: ResultLimits) -> UserError | None:
    for aspect in value.aspects:
        if aspect not in limits.region_aspects:
            known = ", ".join(limits.region_aspects)
            return UserError(aspect, value.stated(aspect), f"one of {known}",
                             "Check the spelling; these are what can be reproduced.")  # fmt: skip
    return None


def _impossible(value: ResultValue, limits: ResultLimits) -> UserError | None:
    possible = ", ".join(limits.aspects)
    for aspect in limits.region_aspects:
        if value.stated(aspect) and aspect not in limits.aspects:
            return UserError(aspect, True, f"only {possible} for this manoeuvre")
    if value.lag_degrees is not None and LAG not in limits.aspects:
        return UserError("lag_degrees", value.lag_degrees, "no lag for this manoeuvre")
    if value.where and limits.places and value.where not in limits.places:
        return UserError("where", value.where, f"one of {', '.join(limits.places)}")
    return None


def _unlikely(value: ResultValue, limits: ResultLimits) -> UserError | None:
    if value.result == "positive" and all(value.stated(a) is False for a in limits.region_aspects):
        return UserError("result", "positive", "something reproduced",
                         "A positive result must have reproduced something.")  # fmt: skip
    return None


def _misfit(limits: ResultLimits, words: Vocabulary) -> str | None:
    unknown = [aspect for aspect in limits.aspects if aspect not in words.aspect_names]
    return f"aspects {unknown} not among {list(words.aspect_names)}" if unknown else None


def _schema(schema: dict[str, Any], words: Vocabulary) -> dict[str, Any]:
    yes_no = {"anyOf": [{"type": "boolean"}, {"type": "null"}], "default": None}
    aspects = {name: {**yes_no, "title": name.capitalize()} for name in words.aspect_names}
    properties = {**schema["properties"], **aspects}
    return {**schema, "properties": properties, "additionalProperties": False}


def _phrase(value: ResultValue, limits: ResultLimits) -> str:
    if value.result == "negative":
        return say_text("negative")
    there = [limits.word(a) for a in limits.region_aspects if value.stated(a)]
    absent = [limits.word(a) for a in limits.region_aspects if value.stated(a) is False]
    lag = []
    if value.lag_degrees is not None:
        there = [word for word in there if word != LAG]
        lag = [say_text("lag {degrees}", degrees=say_degrees(value.lag_degrees))]
    where = f" ({term(value.where)})" if value.where else ""
    details = ", ".join([*map(term, there), *lag, *map(_said_absent, absent)])
    return f"{term(value.result)}{where}" + (f": {details}" if details else "")


def _said_absent(aspect: str) -> str:
    return say_text("no {aspect}", aspect=term(aspect))


def _said(limits: ResultLimits) -> frozenset[str]:
    denied = ("DENIED",) if LAG in limits.aspects else ()
    return frozenset(("RESULT", "AT", "options", "number", *denied, *limits.region_aspects))


def _read(said: Said, limits: ResultLimits) -> Options | None:
    where = place_said(said, list(said.get("options", ())), limits.places)
    lag = _lag(said, limits)
    if where is False or lag is False:
        return None
    if "DENIED" in said:
        return one_meaning("result", result="negative") if len(said) == 1 else None
    aspects = {name: said[name] for name in limits.region_aspects if name in said and name != LAG}
    value = {"kind": "result", **aspects, **lag} | ({"where": where} if where else {})
    if "RESULT" in said:
        return Options((Meant({**value, "result": said["RESULT"]}),))
    if "lag_degrees" in lag:
        return _by_degrees(value)
    if not value.keys() - {"kind"}:
        return None
    if not any(value.get(name) for name in limits.region_aspects):
        return _three_results(value)
    return two_meanings(value, "positive", "equivocal")


def _three_results(value: dict[str, Any]) -> Options:
    """Only what was not reproduced was said ("no pain"): most often it was negative."""
    words = ("negative", "positive", "equivocal")
    meant = [Meant({**value, "result": word}, word) for word in words]
    return Options(tuple(meant), "negative, positive or equivocal")


def _lag(said: Said, limits: ResultLimits) -> Any:
    """What was said of a lag, as fields; False if it does not fit."""
    lag: Lag | None = said.get("lag")
    degrees = said.get("number")
    if lag is not None and degrees is not None:
        return False
    if lag is not None:
        known = {} if lag.degrees is None else {"lag_degrees": lag.degrees}
        return {LAG: lag.there, **known}
    if degrees is None:
        return {}
    number = plain_number(degrees, None, "degrees")
    return {"lag_degrees": number} if LAG in limits.aspects and number is not None else False


def _by_degrees(value: dict[str, Any]) -> Options:
    """A lag sign with its degrees alone: some degrees are a positive sign, none a negative."""
    if value["lag_degrees"] > 0 and value.get(LAG) is not False:
        return Options((Meant({**value, LAG: True, "result": "positive"}),))
    if value["lag_degrees"] == 0 and not value.get(LAG):
        return Options((Meant({**value, "result": "negative"}),))
    return two_meanings(value, "positive", "negative")


def _write(value: ResultValue, limits: ResultLimits) -> Iterator[str]:
    yield value.result
    # What was reproduced first: "no pain weakness" would be read as two things denied.
    for aspect in sorted(limits.region_aspects, key=lambda name: value.stated(name) is False):
        state = value.stated(aspect)
        if aspect == LAG:
            yield from _lag_words(value)
        elif state is not None:
            yield aspect if state else f"no {aspect}"
    yield from word_with_text("at", value.where)


def _lag_words(value: ResultValue) -> Iterator[str]:
    degrees = None if value.lag_degrees is None else exact_number(value.lag_degrees)
    if (lag := value.stated(LAG)) is not None:
        yield ("lag" if lag else "no lag") + (f" {degrees}" if degrees else "")
    elif degrees:
        yield f"{degrees} degrees"


def _touches(limits: ResultLimits, now: Now) -> Iterator[Touch]:
    result = now.get("result")
    negative = {"kind": "result", "result": "negative"}
    yield Touch("negative", negative, "", result == "negative", True)
    base = now if result in ("positive", "equivocal") else {"kind": "result", "result": "positive"}
    for aspect in limits.aspects:
        there = base.get(aspect) is True
        label = f"+ {term(limits.word(aspect))}"
        said = say_text("{label}, positive", label=label)
        yield Touch(label, {**base, aspect: None if there else True}, said, there)
    equivocal = {"kind": "result", "result": "equivocal"}
    yield Touch("equivocal", equivocal, "", result == "equivocal")
    if result in ("positive", "equivocal"):
        yield from _details(limits, now)


def _details(limits: ResultLimits, now: Now) -> Iterator[Touch]:
    # What was not stated was not examined, so "no" has to be said.
    for aspect in limits.aspects if len(limits.aspects) > 1 else ():
        if now.get(aspect) is not True:
            absent = now.get(aspect) is False
            value = {**now, aspect: None if absent else False}
            yield Touch(_said_absent(limits.word(aspect)), value, "", absent)
    for place in limits.places:
        there = now.get("where") == place
        yield Touch(place, {**now, "where": None if there else place}, "", there)


def _normal(_limits: ResultLimits) -> dict[str, Any]:
    return {"result": "negative"}


KIND = Kind(
    limits=ResultLimits,
    value=ResultValue,
    check=_check,
    is_normal=lambda value, _limits: value.result == "negative",
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("RESULT", "ASPECT", "LAG", "UNIT", "AT"),
        said=_said,
        read=_read,
        write=_write,
        words=lambda limits: limits.places,
    ),
    bedside=TouchEntry(touches=_touches, normal=_normal),
    criteria=("result",),
    supplied=lambda words: {"said_as": words.aspects},
    misfit=_misfit,
    schema=_schema,
    columns=lambda words: words.aspect_names,
    normal_said=lambda _limits: "negative",
)

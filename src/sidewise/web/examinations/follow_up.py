"""Who follows a raised red flag up, by when, and who was told: asked at the signature."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import QueryDict
from pydantic import ValidationError

from sidewise.errors import UserError
from sidewise.ground.validation import user_errors
from sidewise.reason.result import RedFlag
from sidewise.record import FlagFollowUp

PARTS = ("who", "by_when", "told", "not_arranged")


@dataclass(frozen=True, slots=True)
class AskedFlag:
    """A raised flag on the page before the signature, with what was typed of its follow-up."""

    flag: RedFlag
    ticked: bool
    who: str
    by_when: str
    told: str
    not_arranged: str

    @property
    def is_answered(self) -> bool:
        """Whether the three are filled in, or why it is not arranged, and not both."""
        arranged = (self.who, self.by_when, self.told)
        return not any(arranged) if self.not_arranged else all(arranged)


def asked_flags(raised: tuple[RedFlag, ...], posted: QueryDict) -> tuple[AskedFlag, ...]:
    """Each raised flag, as the form was filled in."""
    ticked = posted.getlist("flag")
    return tuple(
        AskedFlag(
            flag, flag.flag in ticked, *(posted.get(f"{p}.{flag.flag}", "").strip() for p in PARTS)
        )
        for flag in raised
    )


def follow_up_of(asked: tuple[AskedFlag, ...]) -> tuple[FlagFollowUp, ...]:
    """What a signature says of each raised flag; UserError where it is left open."""
    if open_ones := [one.flag.label for one in asked if not one.is_answered]:
        raise UserError("the signature", "; ".join(open_ones),
                        "who follows it up, by when, and who was told; or why it is not arranged",
                        "Fill in the three fields of the flag, or the reason alone, then sign."
                        )  # fmt: skip
    return tuple(_made(one) for one in asked)


def _made(one: AskedFlag) -> FlagFollowUp:
    said = {part: getattr(one, part) for part in PARTS}
    try:
        return FlagFollowUp.model_validate({"flag": one.flag.flag, **said})
    except ValidationError as error:
        first = user_errors(error)[0]
        raise UserError(f"{one.flag.label}: {first.where}", first.got, first.expected,
                        "Say it in fewer words.") from None  # fmt: skip

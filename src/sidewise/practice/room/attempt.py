"""One learner's way through one case: steps, and what came of each, in the order they were taken.

What was found stands beside the step, so that an attempt reads the same for ever, whatever the
knowledge of a later version would make of the case.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator

from sidewise.ground.frozen import Frozen
from sidewise.protocol.criteria import Mode
from sidewise.record import Finding

HINT_LEVELS = ("none", "some", "many")
HintLevel = Literal["none", "some", "many"]
LookedSide = Literal["left", "right", "both", ""]
Chances = dict[str, float]


class Ask(Frozen):
    """A question of the history by its id, or how it began ("onset")."""

    do: Literal["ask"] = "ask"
    question: str = Field(min_length=1, max_length=60)


class Measure(Frozen):
    """A vital sign by its id."""

    do: Literal["measure"] = "measure"
    vital: str = Field(min_length=1, max_length=60)


class Examine(Frozen):
    """An item looked at, felt, moved, tested or seen to.

    side: "" for what has no sides. mode: None for every mode that a full examination asks for.
    place: one of the item's places, None for all of them.
    """

    do: Literal["look", "feel", "move", "test", "see to"]
    item: str = Field(min_length=1, max_length=60)
    side: LookedSide = ""
    mode: Mode | None = None
    place: str | None = Field(default=None, max_length=80)


class State(Frozen):
    """What the learner thinks now: chances from 0 to 1 by group, and the words they were said in.

    next_item, because: what they would do next and why. not_to_miss: flags they have in mind.
    """

    do: Literal["state"] = "state"
    chances: Chances = {}
    words: dict[str, str] = {}
    next_item: str = Field(default="", max_length=60)
    because: str = Field(default="", max_length=500)
    not_to_miss: tuple[str, ...] = ()

    @field_validator("chances")
    @classmethod
    def _from_0_to_1(cls, value: Chances) -> Chances:
        return _chances(value)


class Hint(Frozen):
    """Help asked for: what to do next, or what must not be missed."""

    do: Literal["hint"] = "hint"
    kind: Literal["next", "flags"]


class Finish(Frozen):
    """The end: how likely each group is, the flags that stand, and what is to be done."""

    do: Literal["finish"] = "finish"
    chances: Chances = {}
    flags: tuple[str, ...] = ()
    plan: str = Field(default="", max_length=2000)

    @field_validator("chances")
    @classmethod
    def _from_0_to_1(cls, value: Chances) -> Chances:
        return _chances(value)


def _chances(value: Chances) -> Chances:
    for group, chance in value.items():
        # NaN fails here too.
        if not 0 <= chance <= 1:
            raise ValueError(f"{group}: a chance from 0 to 1")
    return value


Step = Annotated[Ask | Measure | Examine | State | Hint | Finish, Field(discriminator="do")]


class Taken(Frozen):
    """A step and what came of it.

    seconds: of the patient's time. soreness: 0 to 3, halves where one side alone was done.
    findings: as in an examination. answer: of a question or a measurement. said: in words.
    """

    step: Step
    seconds: int = Field(default=0, ge=0)
    soreness: float = Field(default=0, ge=0)
    findings: tuple[Finding, ...] = ()
    answer: str = ""
    said: str = ""


class Attempt(Frozen):
    """An attempt at a case. Append-only: `take_step` gives a longer one."""

    case: str
    case_hash: str
    region: str
    knowledge_version: str
    program_version: str
    hints: HintLevel = "none"
    taken: tuple[Taken, ...] = ()

    @property
    def end(self) -> Finish | None:
        """The last step, once it is the end."""
        last = self.taken[-1].step if self.taken else None
        return last if isinstance(last, Finish) else None

    @property
    def finished(self) -> bool:
        """Whether the attempt has ended."""
        return self.end is not None

    @property
    def seconds(self) -> int:
        """Of the patient's time so far."""
        return sum(one.seconds for one in self.taken)

    @property
    def soreness(self) -> float:
        """What it hurt so far, degrees of soreness added up."""
        return sum(one.soreness for one in self.taken)

    @property
    def stated(self) -> Chances:
        """The latest chance stated of each group."""
        found: Chances = {}
        for one in self.taken:
            if isinstance(one.step, State | Finish):
                found |= one.step.chances
        return found

    def until(self, count: int) -> Attempt:
        """The attempt as it stood after so many steps."""
        return self.model_copy(update={"taken": self.taken[:count]})

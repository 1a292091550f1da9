"""A station: the candidate's task, what the examiner and the actor are told, and what is marked."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from sidewise.errors import UserError
from sidewise.ground.frozen import Frozen
from sidewise.teaching.tables.columns import RatingScale

STATION_FORMAT = "sidewise-station/1"

Text = Annotated[str, Field(min_length=1, max_length=20_000)]
Short = Annotated[str, Field(min_length=1, max_length=300)]
Code = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$")]
"""What a station or a step is called in files, tables and on paper."""
StepKind = Literal["step", "both sides", "manner"]
Answer = Literal["fully", "partly", "none"]

ANSWER_WORDS: dict[StepKind, dict[Answer, str]] = {
    "step": {"fully": "done", "partly": "partly", "none": "not done"},
    "both sides": {"fully": "both sides, compared", "partly": "one side only", "none": "not done"},
    "manner": {"fully": "throughout", "partly": "at times", "none": "not seen"},
}
"""What an examiner reads beside the boxes of each kind of step."""
ROUNDING = 1e-9


class SheetStep(Frozen):
    """One line of a mark sheet.

    kind: a thing that is done, one that is done on both sides and compared, or a manner that shows
    throughout. weight: points for doing it fully. partly: share of the weight for doing it
    partly; None where there is no such box. item: of the region, where it examines one. stage: of
    the examination. skill: what it shows, for the blueprint.
    """

    id: Code
    text: Short
    kind: StepKind = "step"
    weight: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] = 1.0
    partly: Annotated[float, Field(gt=0, lt=1, allow_inf_nan=False)] | None = 0.5
    item: str = ""
    stage: str = ""
    skill: str = ""

    @property
    def words(self) -> dict[Answer, str]:
        """The boxes of the line, best first."""
        every = ANSWER_WORDS[self.kind]
        return {key: word for key, word in every.items() if key != "partly" or self.partly}

    def points(self, answer: Answer) -> float:
        """Points for an answer, from 0 to the weight."""
        share = {"fully": 1.0, "partly": self.partly or 0.0, "none": 0.0}[answer]
        return self.weight * share


class GlobalRating(Frozen):
    """The teacher's own words for the whole performance, lowest first, and the borderline one."""

    words: tuple[Short, ...] = RatingScale().words
    borderline: Short = "borderline"

    @property
    def scale(self) -> RatingScale:
        """As the analysis of marks knows it; UserError where it is none."""
        folded = [word.casefold() for word in self.words]
        if self.borderline.casefold() not in folded:
            raise UserError("rating.borderline", self.borderline,
                            f"one of {', '.join(self.words)}")  # fmt: skip
        return RatingScale(self.words, folded.index(self.borderline.casefold()))


class Station(Frozen):
    """One station of a practical examination, whole, in one version.

    minutes: before the examiner. preparation: minutes of reading before. strain: how much each
    candidate tires or hurts the actor, 0 (not at all) to 3. examiners: how many sit there. domain:
    of the examination, one for each station. good: what a good performance shows. total: what the
    weights of the steps add up to, stated by the author so that a slip is seen.
    """

    format: Literal["sidewise-station/1"] = "sidewise-station/1"
    id: Code
    version: Annotated[int, Field(ge=1, le=9999)] = 1
    title: Short
    region: str = ""
    domain: str = ""
    minutes: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)]
    preparation: Annotated[float, Field(ge=0, le=60, allow_inf_nan=False)] = 0.0
    examiners: Literal[1, 2] = 1
    strain: Annotated[int, Field(ge=0, le=3)] = 0
    candidate: Text
    examiner: Text
    actor: Annotated[str, Field(max_length=20_000)] = ""
    good: tuple[Short, ...] = ()
    conditions: tuple[str, ...] = ()
    skills: tuple[Short, ...] = ()
    equipment: tuple[Short, ...] = ()
    total: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    steps: tuple[SheetStep, ...]
    critical: tuple[Short, ...] = ()
    rating: GlobalRating = GlobalRating()

    def step(self, name: str) -> SheetStep | None:
        """The step of this name."""
        return next((one for one in self.steps if one.id == name), None)

    @property
    def weights(self) -> float:
        """What the weights of the steps add up to."""
        return sum(one.weight for one in self.steps)

    @property
    def adds_up(self) -> bool:
        """Whether the weights are those that the author meant."""
        return abs(self.weights - self.total) <= ROUNDING * max(1.0, self.total)

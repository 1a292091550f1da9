"""The protocol: what can be examined, how, and what each way of finding it is called."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any, Literal

from pydantic import Field, model_validator

from sidewise.errors import UserError
from sidewise.ground.frozen import Frozen
from sidewise.ground.provenance import Provenance
from sidewise.kinds import AnyLimits, Limits, Vocabulary, kind_of
from sidewise.protocol.criteria import Criterion, Mode
from sidewise.protocol.region_words import lend_words, vocabulary_of
from sidewise.protocol.visits import VisitBook


class Stage(Frozen):
    """A stage of the examination: where patient and examiner are, and what it is for.

    sets_up: nothing is examined for itself (preparing, closing); its items take the stage's own
    position, and what is normal is not worth a line in a note. reads_angles: the instrument is
    chosen at its head. done: how a look of it is said to have been taken ("seen", "felt").
    """

    id: str = Field(min_length=2)
    label: str = ""
    patient: str
    examiner: str
    purpose: str
    sets_up: bool = False
    reads_angles: bool = False
    done: str = "examined"

    def __str__(self) -> str:
        return self.label or self.id

    @property
    def slug(self) -> str:
        """The stage as it stands in an address."""
        return self.id.replace(" ", "-")


class PretestQuestion(Frozen):
    """Questions whose answers move the pre-test figures.

    Any yes applies the factors called `yes`; all no those called `no`. Where the factors `unless`
    apply, these are not multiplied in as well.
    """

    questions: tuple[str, ...] = Field(min_length=1)
    yes: str
    no: str = ""
    unless: str = ""


class AnatomicalStructure(Frozen):
    """An anatomical structure or body system that items speak about, in the order it is felt."""

    id: str
    label: str
    group: str


class NeededWhen(Frozen):
    """What calls for an item that is not part of every examination, and the reason in plain words.

    `rule` has the plain form of a rule as the flags have it (`sidewise.reason.judging.rules`). That
    is a layer above this one, so it is kept here as it stands in the file and judged there.
    """

    rule: dict[str, Any] = Field(min_length=1)
    because: str = Field(min_length=10)

    def __hash__(self) -> int:
        # A mapping has no hash, and an item that cannot be a key of a cache is of little use.
        return hash(self.because)


class Item(Frozen):
    """One thing that can be examined, with all that a student needs to do it.

    `not_offered` names kinds of value that older records may carry here and that nobody is to be
    asked for any more.
    `role` says whether every full examination has it: *essential*, and *flag* for a screening look
    that is always taken; an *optional* item is wanted only by choice, or where `needed_when` calls
    for it. `needed_modes` are the modes that a full examination asks for (none named: all).
    `normal_words` say what was found where it is normal, if the label alone, or a "no" before it,
    would mislead ("passive movement not agonising").
    `alone`: never recorded with others by one touch, as only the patient can answer it.
    `seconds` is the patient's time for both sides and the needed modes together: the essential and
    flag items of a region add up to at most 12 minutes when nothing more is called for.
    """

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    label: str = Field(min_length=3)
    stage: str
    group: str = Field(min_length=2)
    paired: bool
    kinds: tuple[AnyLimits, ...] = Field(min_length=1)
    not_offered: tuple[str, ...] = ()
    normal_words: str = ""
    alone: bool = False
    modes: tuple[Mode, ...] = ()
    structures: tuple[str, ...] = ()
    patient: str = Field(min_length=3)
    examiner: str = Field(min_length=3)
    how: str = Field(min_length=20)
    say: str = Field(min_length=3)
    abnormal: str = Field(min_length=10)
    mistakes: tuple[str, ...] = Field(min_length=1)
    seconds: int = Field(ge=1, le=300)
    soreness: int = Field(ge=0, le=3)
    role: Literal["essential", "optional", "flag"]
    needed_when: NeededWhen | None = None
    needed_modes: tuple[Mode, ...] = ()
    basis: tuple[Provenance, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _kinds_once(self) -> Item:
        names = [kind.kind for kind in self.kinds]
        if len(set(names)) != len(names):
            raise ValueError("kinds: each kind of value once")
        return self

    @model_validator(mode="after")
    def _called_for_or_always(self) -> Item:
        if self.needed_when and self.role != "optional":
            raise ValueError(f"needed_when: only an optional item, not one that is {self.role}")
        if unknown := set(self.needed_modes) - set(self.modes):
            raise ValueError(f"needed_modes: {sorted(unknown)} not among the modes of the item")
        if not set(self.not_offered) < {kind.kind for kind in self.kinds}:
            raise ValueError("not_offered: some, but not all, of the item's own kinds")
        return self

    @property
    def offered(self) -> tuple[AnyLimits, ...]:
        """The kinds of value that somebody may be asked for."""
        return tuple(kind for kind in self.kinds if kind.kind not in self.not_offered)

    def kind(self, name: str) -> Limits | None:
        """The item's limits for values of kind `name`, or None if it does not take them."""
        return next((kind for kind in self.kinds if kind.kind == name), None)


class HistoryItem(Frozen):
    """A question whose answer changes the odds or raises a flag: yes, no, unsure, not asked."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    label: str = Field(min_length=3)
    group: str = Field(min_length=2)
    say: str = Field(min_length=5)
    why: str = Field(min_length=5)
    core: bool = False
    basis: tuple[Provenance, ...] = Field(min_length=1)


class VitalSign(Frozen):
    """A vital sign of the whole person: what it is, its unit and the possible range."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    label: str
    unit: str
    low: float
    high: float
    basis: tuple[Provenance, ...] = Field(min_length=1)


class Requirement(Frozen):
    """Something that must hold before a reading can be interpreted."""

    item: str
    criterion: Criterion
    because: str


class FollowedScale(Frozen):
    """A total that is followed from visit to visit: its name, its ends and which way is better."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    label: str = Field(min_length=3)
    low: float
    high: float
    better: Literal["higher", "lower"]


class AbnormalResult(Frozen):
    """A test that, when abnormal, answers a question of the history with yes, whoever was asked."""

    name: str
    question: str


class Reading(Frozen):
    """One way an item can speak: an item, a criterion with its threshold, and its mechanism."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    item: str
    label: str
    criterion: Criterion
    family: str | None = None
    mechanism: str | None = None
    painful: bool = False
    monotone: bool = False
    defining_for: tuple[str, ...] = ()
    interpretable_when: tuple[Requirement, ...] = ()
    basis: tuple[Provenance, ...] = Field(min_length=1)


class Protocol(Frozen):
    """Everything that can be examined in one region.

    stages: in the order of the examination. ladder: the places a hand can reach behind the back,
    from the lowest. aspects: what a manoeuvre can reproduce, in the order in which it is said;
    aspect_words gives the word of an aspect where that is not its name. cautions: what is said
    beside every interpretation, after the program's own. views: on which a place can be marked.
    scales: totals that can be stated; scale_questions: in our own words, those
    that are one question. injection_places: where an injection can go (none named: said
    in words). abnormal_results: tests that answer questions when they are abnormal.
    visits: the kinds of visit, the full one first.
    """

    region: str
    label: str
    stages: tuple[Stage, ...] = Field(min_length=1)
    structures: tuple[AnatomicalStructure, ...]
    views: tuple[str, ...] = ()
    pretest_questions: tuple[PretestQuestion, ...] = ()
    cautions: tuple[str, ...] = ()
    items: tuple[Item, ...]
    history: tuple[HistoryItem, ...]
    vitals: tuple[VitalSign, ...]
    readings: tuple[Reading, ...]
    scales: tuple[FollowedScale, ...] = ()
    scale_questions: dict[str, str] = {}
    injection_places: tuple[str, ...] = ()
    abnormal_results: tuple[AbnormalResult, ...] = ()
    ladder: tuple[str, ...] = ()
    aspects: tuple[str, ...] = ()
    aspect_words: tuple[tuple[str, str], ...] = ()
    visits: VisitBook = VisitBook()

    @model_validator(mode="before")
    @classmethod
    def _words_lent(cls, data: Any) -> Any:
        return lend_words(data) if isinstance(data, dict) else data

    @model_validator(mode="after")
    def _names_resolve(self) -> Protocol:
        _once([item.id for item in self.items] + [entry.id for entry in self.history], "items")
        _once([reading.id for reading in self.readings], "readings")
        _once([stage.slug for stage in self.stages], "stages")
        known = {structure.id for structure in self.structures}
        for item in self.items:
            if unknown := set(item.structures) - known:
                raise ValueError(f"item {item.id}: unknown structures {sorted(unknown)}")
            for limits in item.kinds:
                if problem := kind_of(limits).misfit(limits, self.vocabulary):
                    raise ValueError(f"item {item.id}: {problem}")
            if item.stage not in self.stages_by_id:
                raise ValueError(f"item {item.id}: unknown stage {item.stage}")
        names = {item.id for item in self.items} | {entry.id for entry in self.history}
        for reading in self.readings:
            needed = {reading.item} | {need.item for need in reading.interpretable_when}
            if unknown := needed - names:
                raise ValueError(f"reading {reading.id}: unknown items {sorted(unknown)}")
        if unknown := set(self.scale_questions) - {scale.id for scale in self.scales}:
            raise ValueError(f"scale_questions: unknown scales {sorted(unknown)}")
        for answered in self.abnormal_results:
            if answered.question not in self.history_by_id:
                raise ValueError(f"abnormal_results: unknown question {answered.question}")
        for question in self.pretest_questions:
            if unknown := set(question.questions) - {entry.id for entry in self.history}:
                raise ValueError(f"pretest_questions: unknown questions {sorted(unknown)}")
        return self

    @cached_property
    def stages_by_id(self) -> Mapping[str, Stage]:
        """Stages by their id."""
        return {stage.id: stage for stage in self.stages}

    def items_of(self, stage: Stage) -> tuple[Item, ...]:
        """The items of one stage, in order."""
        return tuple(item for item in self.items if item.stage == stage.id)

    def stage_of(self, item: Item) -> Stage:
        """The stage in which an item is examined."""
        return self.stages_by_id[item.stage]

    @cached_property
    def vocabulary(self) -> Vocabulary:
        """The words that the region lends to its kinds of value."""
        return vocabulary_of(self.ladder, self.aspects, self.aspect_words, self.views)

    @cached_property
    def by_id(self) -> Mapping[str, Item]:
        """Items by their id."""
        return {item.id: item for item in self.items}

    @cached_property
    def history_by_id(self) -> Mapping[str, HistoryItem]:
        """History items by their id."""
        return {entry.id: entry for entry in self.history}

    @cached_property
    def vitals_by_id(self) -> Mapping[str, VitalSign]:
        """Vital signs by their id."""
        return {vital.id: vital for vital in self.vitals}

    @cached_property
    def scales_by_id(self) -> Mapping[str, FollowedScale]:
        """Scales by their id."""
        return {scale.id: scale for scale in self.scales}

    @cached_property
    def readings_by_id(self) -> Mapping[str, Reading]:
        """Readings by their id."""
        return {reading.id: reading for reading in self.readings}

    @cached_property
    def readings_by_item(self) -> Mapping[str, tuple[Reading, ...]]:
        """Every reading of each item that has one."""
        found: dict[str, tuple[Reading, ...]] = {}
        for reading in self.readings:
            found[reading.item] = (*found.get(reading.item, ()), reading)
        return found

    @cached_property
    def order(self) -> Mapping[str, int]:
        """The place of each item in the examination."""
        return {item.id: place for place, item in enumerate(self.items)}

    def item(self, name: str) -> Item:
        """The item called `name`; UserError with the nearest names if there is none."""
        try:
            return self.by_id[name]
        except KeyError:
            raise UserError(
                "item", name, "an item of the protocol", nearest_names(name, self.by_id)
            ) from None


def nearest_names(name: str, names: Mapping[str, object]) -> str:
    """A remedy that names the most similar known words."""
    from difflib import get_close_matches

    close = get_close_matches(name, list(names), n=3, cutoff=0.5)
    if close:
        return f"Did you mean {' or '.join(close)}?"
    return "See `sidewise sources` for the list of items."


def _once(names: list[str], what: str) -> None:
    if len(set(names)) != len(names):
        twice = sorted({name for name in names if names.count(name) > 1})
        raise ValueError(f"{what}: named twice: {twice}")

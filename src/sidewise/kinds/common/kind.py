"""The shape of one kind of value: everything that any room of the house asks of it.

Each file beside this folder fills it in for one kind. What has no default must be thought about;
what has one is the same for most kinds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from sidewise.errors import UserError
from sidewise.ground.frozen import Frozen
from sidewise.kinds.common.line import Shorthand
from sidewise.kinds.common.touches import Now, Touch
from sidewise.kinds.common.vocabulary import Vocabulary


class Limits(Frozen):
    """What the protocol sets for values of one kind of one item."""

    kind: str


class Value(Frozen):
    """What was found, as a value of one kind; it checks itself when made."""

    kind: str


def no_complaint(_value: Any, _limits: Any) -> None:
    """For a kind whose values need no limits of the item."""


def same_schema(schema: dict[str, Any], _words: Vocabulary) -> dict[str, Any]:
    """For a kind whose published schema needs nothing of a region."""
    return schema


def _nothing(_words: Vocabulary) -> dict[str, Any]:
    return {}


def _no_columns(_words: Vocabulary) -> tuple[str, ...]:
    return ()


def _no_misfit(_limits: Any, _words: Vocabulary) -> str | None:
    return None


def _mild_by_being_listed(_value: Any, _limits: Any, _most: str | float) -> bool:
    return True


def _always(_value: Any) -> bool:
    return True


def _none_shared(_limits: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    return iter(())


@dataclass(frozen=True, slots=True, kw_only=True)
class TouchEntry:
    """How a kind of value is entered by touch, as data; the page adds one template.

    touches: from the limits and the value that stands to the buttons; none where it is typed.
    normal: what one touch on "normal" records (without its kind); None where there is no such.
    measured: someone must look at it singly: it is never recorded with the rest of a stage.
    read_off: its value is neither normal nor abnormal by itself.
    word: what one touch on normal is called; `listed` the same in a list of items to confirm.
    shared: touches for values that both sides often share, each with its label.
    folds: a long list of buttons folds away, but for the normal ones.
    """

    touches: Callable[[Any, Now], Iterator[Touch]]
    normal: Callable[[Any], dict[str, Any] | None]
    measured: bool = False
    read_off: bool = False
    word: str = "normal"
    listed: str = ""
    shared: Callable[[Any], Iterator[tuple[str, dict[str, Any]]]] = _none_shared
    folds: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A kind whose values are numbers that sides and visits are compared by.

    quantity, unit: as the tables of error and norms name them; `words` the unit in a sentence.
    number: from a value and its limits. way: how it is read, where there is only one way.
    of: whether a value is such a number at all.
    suffix: what tells it from another measure of the same item.
    """

    quantity: str
    unit: str
    words: str
    number: Callable[[Any, Any], float]
    way: str | None = None
    suffix: str = ""
    of: Callable[[Any], bool] = _always


NormalSaid = Literal["plain", "no", "negative"]


def _plainly(_limits: Any) -> NormalSaid:
    return "plain"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of value.

    limits, value: the two models; the name of the kind is their field `kind`.
    check: what is wrong with a value under the item's limits, or None.
    is_normal: whether a value is the item's normal; None where that needs norms.
    phrase: the value in the trade's words, with its unit.
    line: how it is typed. bedside: how it is touched.
    criteria: which criteria of a reading, flag or variant can be asked of it.
    supplied: the fields of the limits that the region fills in. misfit: why limits cannot stand
    in a region, or None. schema: the value's published JSON Schema, completed by regions' words.
    columns: columns of the long table besides the fields of the value. cells: for a column whose
    text is not the field itself, how a cell becomes the field. empty: for a field that is taken
    for something where a file leaves it out, what an empty cell means.
    field_words: what a form calls a field when it has to complain about it.
    group: values of one group stand in for each other at a place (default: the kind alone).
    slot: values with one slot and one place contradict each other if they differ (default: the
    kind). adds_up: several values at one place stand side by side.
    measure: how it is compared as a number. brief: how it stands in a line of quiet
    ranges; None for a value that does not.
    normal_said: how its normal is said of a label: "plain" (normal: gait), "no" (no bruising) or
    "negative" (negative: Speed).
    words: the words of a value that `one_of` looks for. mild: whether it is no more than a most.
    """

    limits: type[Limits]
    value: type[Value]
    check: Callable[[Any, Any], UserError | None]
    is_normal: Callable[[Any, Any], bool | None]
    phrase: Callable[[Any, Any], str]
    line: Shorthand
    bedside: TouchEntry
    criteria: tuple[str, ...]
    supplied: Callable[[Vocabulary], dict[str, Any]] = _nothing
    misfit: Callable[[Any, Vocabulary], str | None] = _no_misfit
    schema: Callable[[dict[str, Any], Vocabulary], dict[str, Any]] = same_schema
    columns: Callable[[Vocabulary], tuple[str, ...]] = _no_columns
    cells: Mapping[str, Callable[[Any], Any]] = field(default_factory=dict)
    empty: Mapping[str, Any] = field(default_factory=dict)
    field_words: Mapping[str, str] = field(default_factory=dict)
    group: str = ""
    slot: Callable[[Any], str] | None = None
    adds_up: bool = False
    measure: Measure | None = None
    brief: Callable[[Any], str | None] | None = None
    normal_said: Callable[[Any], NormalSaid] = _plainly
    words: Callable[[Any], tuple[str, ...]] | None = None
    mild: Callable[[Any, Any, str | float], bool] = _mild_by_being_listed

    def __post_init__(self) -> None:
        given = self.value.model_fields["kind"].annotation
        assert self.name in getattr(given, "__args__", ()), f"{self.name}: two names of one kind"

    @property
    def name(self) -> str:
        """The name of the kind, as it stands in files."""
        name: str = self.limits.model_fields["kind"].default
        return name

    @property
    def group_name(self) -> str:
        """The group its values belong to."""
        return self.group or self.name

    def slot_of(self, value: Any) -> str:
        """What else a value must share, besides its place, to contradict another."""
        return self.slot(value) if self.slot else self.name

    def table_columns(self, words: Vocabulary) -> tuple[str, ...]:
        """The columns of the long table that a value of this kind fills."""
        fields = self.value.model_fields.items()
        own = (given.alias or name for name, given in fields if name != "kind")
        return (*own, *self.columns(words))

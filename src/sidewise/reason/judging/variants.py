"""Normal variants: mild findings that weigh nothing here, and say why.

They apply to mild findings of the listed kinds with both sides examined and alike. With the other
side not examined the finding is soft evidence; where both sides complain none is applied.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import Field, model_validator

from sidewise.errors import UserError
from sidewise.ground.frozen import Frozen
from sidewise.ground.provenance import Provenance
from sidewise.ground.validation import validate_model
from sidewise.kinds import kind_of
from sidewise.knowledge.region import Region
from sidewise.protocol import Protocol, protocol_of
from sidewise.protocol.criteria import Criterion
from sidewise.protocol.fits import misfit
from sidewise.reason.judging.judge import Judge, State
from sidewise.reason.result import VariantFound
from sidewise.record import OTHER, Context


class Mildest(Frozen):
    """The most that still counts as mild: a grade, a word or a number."""

    at_most: str | float


class Variant(Frozen):
    """A normal variant as data; with `applies: no` it is listed with the reason why not."""

    id: str
    label: str
    applies: bool
    why_not: str = ""
    items: tuple[str, ...] = ()
    criterion: Criterion | None = Field(default=None, alias="kinds_of_finding")
    mildest: Mildest | None = None
    needs: Literal["equal", "dominant_side", "none"] = "equal"
    found_on: Literal["dominant", "other"] | None = None
    only_if: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    clean: tuple[str, ...] = ()
    note: str
    common: str
    basis: tuple[Provenance, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _whole(self) -> Variant:
        if self.applies and (self.criterion is None or not self.items):
            raise ValueError(f"{self.id}: an applied variant names items and the kind of finding")
        if not self.applies and not self.why_not:
            raise ValueError(f"{self.id}: say why it is not applied")
        return self


FILE = "variants.yaml"
Weight = Literal["nothing", "soft"]


@dataclass(frozen=True, slots=True)
class Variants:
    """The variants found, and how much the finding of an item and side may still weigh."""

    found: tuple[VariantFound, ...]
    weights: dict[tuple[str, str], Weight]


def variants_of(region: Region) -> tuple[Variant, ...]:
    """The variants a region lists; UserError if one speaks of what the protocol does not have."""
    return region.view(_variants)


def _variants(region: Region) -> tuple[Variant, ...]:
    if not region.has("variants"):
        return ()
    listed = enumerate(region.part("variants"))
    found = tuple(validate_model(Variant, entry, f"{FILE}[{place}]") for place, entry in listed)
    protocol = protocol_of(region)
    for variant in found:
        if variant.applies:
            _check(variant, protocol)
    return found


def _check(variant: Variant, protocol: Protocol) -> None:
    assert variant.criterion is not None, "checked when it was made"
    for name in variant.items:
        item = protocol.item(name)
        if problem := misfit(variant.criterion, item):
            raise UserError(f"{FILE}: {variant.id}", f"{name}: {problem}", "a fit")


def variants(judge: Judge, listed: Sequence[Variant]) -> Variants:
    """Every variant of the judge's record, of those its region lists."""
    context = judge.record.context
    if len(context.complaint) == 2:
        return Variants((), {})
    found: list[VariantFound] = []
    weights: dict[tuple[str, str], Weight] = {}
    for variant in listed:
        if variant.applies and _history_allows(variant, context):
            for item in variant.items:
                _apply(variant, item, judge, found, weights)
    return Variants(tuple(found), weights)


def _history_allows(variant: Variant, context: Context) -> bool:
    needed = all(context.answer(name) == "yes" for name in variant.only_if)
    return needed and not any(context.answer(name) == "yes" for name in variant.unless)


def _apply(
    variant: Variant,
    item: str,
    judge: Judge,
    found: list[VariantFound],
    weights: dict[tuple[str, str], Weight],
) -> None:
    sides = ("right", "left") if judge.protocol.item(item).paired else ("midline",)
    mild = [side for side in sides if _mild(variant, item, side, judge)]
    verdicts = {side: _excused(variant, item, side, mild, judge) for side in mild}
    excused = tuple(side for side, weight in verdicts.items() if weight is not None)
    if not excused:
        return
    soft = any(verdicts[side] == "soft" for side in excused)
    for side in excused:
        weights[(item, side)] = verdicts[side] or "nothing"
    why = "the other side was not examined: weighs softly" if soft else variant.note
    found.append(
        VariantFound(variant.id, variant.label, item, excused, not soft, why, variant.basis)
    )


def _mild(variant: Variant, item: str, side: str, judge: Judge) -> bool:
    assert variant.criterion is not None, "only applied variants come here"
    if judge.criterion(variant.criterion, item, side).state is not State.MET:
        return False
    values = [finding.value for finding in judge.found(item, side)]
    return all(_within(value, variant, item, judge.protocol) for value in values)


def _within(value: Any, variant: Variant, item: str, protocol: Protocol) -> bool:
    """Whether the value is no more than the mildest; words of a list are mild by being listed."""
    if variant.mildest is None:
        return True
    limits = protocol.item(item).kind(value.kind)
    return kind_of(value).mild(value, limits, variant.mildest.at_most)


def _excused(
    variant: Variant, item: str, side: str, mild: list[str], judge: Judge
) -> Weight | None:
    if not all(_clean(name, side, judge) for name in variant.clean):
        return None
    if variant.needs == "none" or side == "midline":
        return "nothing"
    there = judge.found(item, OTHER[side])
    if variant.needs == "dominant_side":
        return "nothing" if there and _dominance_fits(variant, side, mild, judge) else None
    if not there:
        return "soft"
    return "nothing" if OTHER[side] in mild and _alike(item, side, judge) else None


def _clean(item: str, side: str, judge: Judge) -> bool:
    from sidewise.protocol.criteria import AllNormal

    return judge.criterion(AllNormal(test="normal"), item, side).state is State.MET


def _dominance_fits(variant: Variant, side: str, mild: list[str], judge: Judge) -> bool:
    dominant = judge.record.context.dominant
    if dominant not in ("left", "right") or len(mild) == 2:
        return False
    wanted = dominant if variant.found_on != "other" else OTHER[dominant]
    return side == wanted


def _alike(item: str, side: str, judge: Judge) -> bool:
    here, there = (
        {f.value.model_dump_json(exclude={"familiar"}) for f in judge.found(item, s) if f.value}
        for s in (side, OTHER[side])
    )
    return here == there

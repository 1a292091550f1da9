"""A visit that follows an earlier one: which visit that is, and what was found then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sidewise.kinds import Value, kind_of
from sidewise.knowledge.region import Region
from sidewise.note.phrases import finding_phrase
from sidewise.protocol import Item, Protocol
from sidewise.protocol.visits import VisitKind
from sidewise.record import Finding, Follows
from sidewise.web.accounts.models import User
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import folded
from sidewise.web.patients.access import patients_of
from sidewise.web.patients.models import Patient

Place = tuple[str, str, str | None]
"""Item, side and mode."""


def kinds_offered(protocol: Protocol, *, can_follow: bool) -> tuple[VisitKind, ...]:
    """The kinds of visit to choose from; those that follow another only where one is there."""
    return tuple(kind for kind in protocol.visits.kinds if can_follow or not kind.follows)


def earlier_visit(patient: Patient, region: Region, before: datetime) -> Examination | None:
    """The patient's last visit of this region before a time, unless it was discarded."""
    visits = patient.examinations.exclude(state=Examination.State.DISCARDED)
    return visits.filter(region=region.id, examined_at__lt=before).order_by("-examined_at").first()


@dataclass(frozen=True, slots=True)
class Then:
    """What was found at a place at the earlier visit.

    value: as plain data, where it is a judgement that may be found the same again; a measurement
    never is, it is read anew.
    """

    words: str
    value: Mapping[str, Any] | None


def values_then(follows: Follows, record_id: str, protocol: Protocol) -> Mapping[Place, Then]:
    """What was found at the earlier visit, by place; nothing if it is no visit of the same patient
    (any more).
    """
    same = Examination.objects.filter(pk=record_id).values("patient")
    earlier = Examination.objects.filter(pk=follows.record, patient__in=same).first()
    if earlier is None:
        return {}
    return {
        place: _then(found, protocol.by_id[place[0]])
        for place, found in folded(earlier).record.settled.items()
        if place[0] in protocol.by_id
    }


def _then(found: Sequence[Finding], item: Item) -> Then:
    words = ", ".join(finding_phrase(finding, item) for finding in found)
    (first, *others) = found
    if others or first.value is None or not _may_be_the_same(first.value, item):
        return Then(words, None)
    return Then(words, first.value.model_dump(mode="json", by_alias=True, exclude_none=True))


def _may_be_the_same(value: Value, item: Item) -> bool:
    bedside = kind_of(value).bedside
    offered = value.kind in {limits.kind for limits in item.offered}
    return offered and not bedside.measured and not bedside.read_off


def last_setting(user: User) -> str:
    """Where the person examined last, so that it need not be said again; "" if nowhere yet."""
    visits = Examination.objects.filter(patient__in=patients_of(user), created_by=user)
    last = visits.order_by("-examined_at").first()
    return (folded(last).record.context.setting or "") if last else ""

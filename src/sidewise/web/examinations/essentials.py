"""What was said when a visit was signed, against what the knowledge says now."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from sidewise.reason.conclusions import changes_since_signing, said_at_signing
from sidewise.reason.interpretation import knowledge_version
from sidewise.record import Essentials
from sidewise.regions import region_of_record
from sidewise.web.examinations.models import Examination, LedgerEntry
from sidewise.web.examinations.state import Current
from sidewise.web.examinations.weighing import weighed


def said_of_signature(examination: Examination, now: Current) -> Essentials | None:
    """What a signature of this state keeps; None where the ledger has grown in the meantime."""
    newest = weighed(examination)
    if newest.length != now.length:
        return None
    return said_at_signing(newest.record, newest.interpretation())


def said_otherwise(now: Current) -> tuple[str, ...]:
    """The lines that say so, where another knowledge was signed by; nothing otherwise."""
    signed = now.record.signed
    said = signed.said if signed else None
    if said is None or said.knowledge == knowledge_version(now.region):
        return ()
    return tuple(changes_since_signing(said, now.interpretation()).lines())


def signed_by_other_knowledge(visits: Iterable[Examination]) -> frozenset[UUID]:
    """Which signed visits were signed by another knowledge than the present one.

    One query, and nothing is weighed: what would be said otherwise stands on the visit's own page.
    """
    present = {
        visit.pk: knowledge_version(region_of_record(visit))
        for visit in visits
        if visit.state == Examination.State.SIGNED
    }
    signatures = LedgerEntry.objects.filter(examination__in=present, deed__do="sign")
    last = dict(signatures.values_list("examination_id", "deed__said__knowledge"))
    return frozenset(key for key, version in last.items() if version not in (None, present[key]))

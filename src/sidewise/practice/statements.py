"""Finished cases as statements of the Experience API, in a file for a learning record store.

Actor, verb, object, result as the Experience API 1.0.3 has them (the specification's own verb and
activity type; recalled, not read for this page). A Brier score is no `score`, where more is better:
it stands among the extensions.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import NAMESPACE_URL, uuid5

COMPLETED = "http://adlnet.gov/expapi/verbs/completed"
SIMULATION = "http://adlnet.gov/expapi/activities/simulation"


@dataclass(frozen=True, slots=True)
class FinishedCase:
    """A finished attempt. student: their code; attempt, case: keys; outcome: as it was kept."""

    student: str
    attempt: str
    case: str
    title: str
    at: datetime
    outcome: Mapping[str, Any]


def completed_statement(one: FinishedCase, site: str) -> dict[str, Any]:
    """One statement; the same attempt has the same id each time. site: its address, with a /."""
    own = f"{site}practice/extensions/"
    missed = one.outcome.get("flags_missed", [])
    result: dict[str, Any] = {
        "completion": True,
        "duration": f"PT{one.outcome.get('minutes', 0)}M",
        "extensions": {
            f"{own}brier": one.outcome.get("brier"),
            f"{own}brier-of-perfect-reading": one.outcome.get("perfect"),
            f"{own}flags-missed": list(missed),
        },
    }
    if missed:
        # A missed flag is never a success; its absence alone does not make one.
        result["success"] = False
    return {
        "id": str(uuid5(NAMESPACE_URL, f"{site}practice/{one.attempt}/")),
        "actor": {"objectType": "Agent", "account": {"homePage": site, "name": one.student}},
        "verb": {"id": COMPLETED, "display": {"en": "completed"}},
        "object": {
            "objectType": "Activity",
            "id": f"{site}practice/cases/{one.case}/",
            "definition": {
                "type": SIMULATION,
                "name": {"en": one.title},
                "description": {"en": "A simulated patient for practice: not a patient."},
            },
        },
        "result": result,
        "timestamp": one.at.isoformat(),
    }

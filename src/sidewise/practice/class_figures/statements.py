"""Finished cases as statements of the Experience API, for a school's learning record store.

Experience API (xAPI) 1.0.3, Part Two: Data, Advanced Distributed Learning Initiative. The verb
and the type of activity are of that initiative's vocabulary. Files only; nothing is sent.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Sequence
from typing import Any
from urllib.parse import quote, urlsplit

from sidewise.errors import UserError
from sidewise.practice.class_figures.one_case import PlayedCase

VERB = "http://adlnet.gov/expapi/verbs/completed"
ACTIVITY = "http://adlnet.gov/expapi/activities/simulation"


def statement_of(one: PlayedCase, home: str) -> dict[str, Any]:
    """One case as a statement. home: the address of the school's site, by which its accounts and
    cases are named; UserError where it is none.

    There is no `score`: a store averages scores, and an average makes up for a flag missed.
    `success` says that none was; both Brier scores stand among the extensions.
    """
    base = _address(home)
    case = f"{base}/practice/cases/{quote(one.case, safe='')}"
    name = f"{case} {one.student} {one.at.isoformat()}"
    return {
        # The same case is the same statement whenever it is written out: none counts twice.
        "id": str(uuid.uuid5(uuid.NAMESPACE_URL, name)),
        "actor": {"objectType": "Agent", "account": {"homePage": base, "name": one.student}},
        "verb": {"id": VERB, "display": {"en": "completed"}},
        "object": {
            "objectType": "Activity",
            "id": case,
            "definition": {
                "type": ACTIVITY,
                "name": {"en": one.title or f"Simulated patient {one.case}"},
                "description": {"en": "A simulated patient for practice; no patient."},
            },
        },
        "result": {
            "completion": True,
            "success": not one.flags,
            "duration": f"PT{one.seconds}S",
            "extensions": {
                f"{base}/practice/terms/brier": one.brier,
                f"{base}/practice/terms/brier-of-perfect-reading": one.perfect,
                f"{base}/practice/terms/flags-missed": list(one.flags),
                f"{base}/practice/terms/soreness": one.soreness,
                f"{base}/practice/terms/hints": one.hints,
            },
        },
        "context": {
            "platform": "sidewise",
            "extensions": {f"{base}/practice/terms/simulated": True},
        },
        "timestamp": one.at.isoformat(),
    }


def statements_text(played: Sequence[PlayedCase], home: str) -> str:
    """All cases as one JSON array of statements, in the order of time."""
    rows = sorted(played, key=lambda case: (case.at, case.student))
    return json.dumps([statement_of(one, home) for one in rows], indent=1, ensure_ascii=False)


def _address(home: str) -> str:
    parts = urlsplit(home)
    if parts.scheme not in ("http", "https") or not parts.netloc or parts.query or parts.fragment:
        raise UserError("home", home, "an address such as https://school.example",
                        "Accounts in a learning record store are named by it.")  # fmt: skip
    return home.rstrip("/")

"""An attempt as a file: what was done and what was found, so that it reads the same for ever."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sidewise.errors import UserError
from sidewise.ground.validation import validate_model
from sidewise.knowledge.region import Region, known_name
from sidewise.practice.case_file import NOTICE, read_document
from sidewise.practice.room.attempt import Attempt
from sidewise.reason.interpretation import knowledge_version

ATTEMPT_FORMAT = "sidewise-attempt/1"
OWN = ("format", "simulated", "notice")


@dataclass(frozen=True)
class OpenedAttempt:
    """An attempt as it was read, and what to take care of."""

    attempt: Attempt
    warnings: tuple[str, ...]


def attempt_document(attempt: Attempt) -> dict[str, Any]:
    """The attempt as plain data."""
    body = attempt.model_dump(mode="json", by_alias=True)
    steps = body.pop("taken")
    head = {"format": ATTEMPT_FORMAT, "simulated": True, "notice": NOTICE}
    return {**head, **body, "steps": steps}


def attempt_text(attempt: Attempt) -> str:
    """The attempt as it stands in its file."""
    return json.dumps(attempt_document(attempt), indent=1, ensure_ascii=False) + "\n"


def parse_attempt(document: Mapping[str, Any], name: str = "attempt") -> Attempt:
    """The attempt of a document; UserErrors with everything that is wrong in it."""
    if document.get("format") != ATTEMPT_FORMAT:
        raise UserError(f"{name}: format", document.get("format"), f'"{ATTEMPT_FORMAT}"')
    body = {key: value for key, value in document.items() if key not in OWN}
    if "taken" in body or "steps" not in body:
        raise UserError(f"{name}: steps", None, "the list of steps")
    body["taken"] = body.pop("steps")
    return validate_model(Attempt, body, name)


def read_attempt(path: Path, regions: Mapping[str, Region]) -> OpenedAttempt:
    """An attempt from its file. One of another knowledge version opens, and says so."""
    attempt = parse_attempt(read_document(path), path.name)
    region = regions[known_name(regions, attempt.region)]
    return OpenedAttempt(attempt, attempt_warnings(attempt, region))


def attempt_warnings(attempt: Attempt, region: Region) -> tuple[str, ...]:
    """What must be read beside an attempt."""
    now = knowledge_version(region)
    if attempt.knowledge_version == now:
        return ()
    return (
        f"Played with knowledge {attempt.knowledge_version}; {now} is used now. What was found "
        "stands as it was; what is said of it may differ.",
    )

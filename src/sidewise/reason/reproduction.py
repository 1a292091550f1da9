"""An interpretation kept with what it was made of, so that it can be made again and compared.

The file holds the record, the setting asked for, the number of draws, the versions and the whole
result. Made again with the same knowledge the result is the same, figure by figure: chance is
seeded by the record's number. With other knowledge that is said, and what differs is shown.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sidewise import __version__
from sidewise.errors import UserError
from sidewise.knowledge.region import Region
from sidewise.reason.interpretation import interpret, knowledge_version
from sidewise.reason.result import Interpretation
from sidewise.record import Record, parse_record
from sidewise.record.reading import LIMIT_BYTES, record_document

FORMAT = "sidewise-evidence/1"
NEEDED = ("record", "setting", "draws", "knowledge_version", "interpretation")
MOST_SHOWN = 20
TOLERANCE = 1e-9
"""Figures differ by this much between processors, and not by more."""


@dataclass(frozen=True, slots=True)
class Reproduction:
    """An old interpretation beside the new one. differences: places that are not the same."""

    record: str
    then: str
    now: str
    differences: tuple[str, ...]

    @property
    def is_same(self) -> bool:
        """Whether everything came out as it was."""
        return not self.differences

    def lines(self) -> Iterator[str]:
        """The same in words."""
        if self.is_same:
            yield f"{self.record}: made again as it was, figure by figure (knowledge {self.now})."
            return
        other = self.then != self.now
        why = f"knowledge {self.then} then, {self.now} now" if other else "of the same knowledge"
        yield f"{self.record}: {len(self.differences)} figures or words differ; {why}."
        yield from (f"  {place}" for place in self.differences[:MOST_SHOWN])
        if len(self.differences) > MOST_SHOWN:
            yield f"  and {len(self.differences) - MOST_SHOWN} more"
        if other:
            yield f"To make it as it was, use sidewise with the knowledge {self.then}."


def evidence_file(
    record: Record, result: Interpretation, draws: int, setting: str | None = None
) -> str:
    """What is kept, as JSON text. draws, setting: as given to `interpret`."""
    document = {
        "format": FORMAT,
        "sidewise": __version__,
        "knowledge_version": result.knowledge_version,
        "setting": setting,
        "draws": draws,
        "record": record_document(record),
        "interpretation": result.to_json(),
    }
    return json.dumps(document, indent=1, ensure_ascii=False)


def reproduce(path: Path, regions: Mapping[str, Region]) -> Reproduction:
    """Make the interpretation in a file again; UserError where the file is none of these."""
    document = _document(path)
    record = parse_record(json.dumps(document["record"]), regions)
    region = regions[record.region]
    made = interpret(record, region, setting=document["setting"], draws=document["draws"])
    new = json.loads(json.dumps(made.to_json()))
    differ = tuple(_differences(document["interpretation"], new, ""))
    return Reproduction(record.id, document["knowledge_version"], knowledge_version(region), differ)


def _document(path: Path) -> dict[str, Any]:
    try:
        with path.open("rb") as file:
            data = file.read(4 * LIMIT_BYTES + 1)
        document = json.loads(data)
    except OSError as error:
        raise UserError(path.name, error.strerror, "a file that can be read") from None
    except (ValueError, RecursionError) as error:
        raise UserError(path.name, str(error), "whole JSON") from None
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        do = "Write one with: sidewise note EXAM --as evidence -o FILE.json"
        raise UserError(f"{path.name}: format", "another document", f'"{FORMAT}"', do)
    for name in NEEDED:
        if name not in document:
            raise UserError(f"{path.name}: {name}", None, "a value")
    setting = document["setting"]
    if setting is not None and not isinstance(setting, str):
        raise UserError(f"{path.name}: setting", setting, "the name of a setting, or null")
    draws = document["draws"]
    if not isinstance(draws, int) or isinstance(draws, bool) or not 100 <= draws <= 2000:
        raise UserError(f"{path.name}: draws", draws, "a whole number from 100 to 2000")
    return document


def _differences(then: Any, now: Any, place: str) -> Iterator[str]:
    if isinstance(then, dict) and isinstance(now, dict):
        for name in (*then, *(n for n in now if n not in then)):
            yield from _differences(then.get(name), now.get(name), f"{place}.{name}".lstrip("."))
    elif isinstance(then, list) and isinstance(now, list):
        if len(then) != len(now):
            yield f"{place}: {len(then)} then, {len(now)} now"
        for number, (one, other) in enumerate(zip(then, now, strict=False)):
            yield from _differences(one, other, f"{place}[{number}]")
    elif not _is_same(then, now):
        yield f"{place}: {_short(then)} then, {_short(now)} now"


def _is_same(then: Any, now: Any) -> bool:
    numbers = isinstance(then, int | float) and isinstance(now, int | float)
    if numbers and not isinstance(then, bool) and not isinstance(now, bool):
        return bool(abs(then - now) <= TOLERANCE * max(1.0, abs(then), abs(now)))
    return bool(then == now)


def _short(value: Any) -> str:
    text = f"{value:.4g}" if isinstance(value, float) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."

"""The table of what the program says of the examples: `python -m tests.docs.examples_read`."""

from __future__ import annotations

from pathlib import Path

from sidewise.ground.percent import percent
from sidewise.note.meaning import with_interval
from sidewise.reason import interpret
from sidewise.record import read_record
from tests.shoulder import REGIONS, SHOULDER

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs/examples-read.md"
SHOWN: dict[str, tuple[tuple[str, str], ...]] = {
    "frozen": (("left", "frozen"), ("left", "gh_arthritis"), ("left", "cuff")),
    "full-tear": (("right", "cuff"), ("right", "biceps")),
    "painful-arc": (("right", "cuff"), ("right", "acj")),
    "ac-joint": (("left", "acj"), ("left", "cuff")),
    "anterior-instability": (("right", "anterior_instability"), ("right", "superior_labrum")),
    "subscapularis": (("left", "subscapularis"), ("left", "cuff")),
    "winging": (("right", "long_thoracic_nerve"), ("right", "accessory_nerve")),
    "both-stiff-over-60": (
        ("left", "gh_arthritis"),
        ("left", "frozen"),
        ("right", "gh_arthritis"),
        ("whole person", "polymyalgia"),
    ),
    "hot-joint": (("left", "frozen"), ("left", "gh_arthritis")),
    "normal-shoulder-exertion": (("left", "cuff"), ("left", "acj")),
    "neck-root": (("right", "neck_root"), ("right", "cuff")),
}


def table() -> list[str]:
    """The rows as they should stand in the page."""
    return [row for name, wanted in SHOWN.items() for row in _rows(name, wanted)]


def _rows(name: str, wanted: tuple[tuple[str, str], ...]) -> list[str]:
    result = interpret(read_record(ROOT / "examples" / f"{name}.json", REGIONS), SHOULDER)
    rows = []
    for side, condition in wanted:
        group = result.sides.get(side, result.whole_person)
        found = next(c for c in group.conditions if c.condition == condition)
        flag = found.withheld_because
        after = f"not estimated: {flag}" if flag else with_interval(found)
        rows.append(f"| {name} | {side} | {found.label} | {after} | {percent(found.prior)} |")
    return rows


def rewrite() -> None:
    """Put the present rows into the page."""
    text = PAGE.read_text(encoding="utf-8")
    head, rest = text.split("| --- | --- | --- | --- | --- |\n", 1)
    tail = rest[rest.index("\n\n## Where it differed") :]
    rows = "\n".join(table())
    PAGE.write_text(f"{head}| --- | --- | --- | --- | --- |\n{rows}{tail}", encoding="utf-8")


if __name__ == "__main__":
    rewrite()

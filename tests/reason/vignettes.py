"""Published presentations as records, with the diagnosis their source accepts.

Two collections in `tests/data/held_out/`: `vignettes.yaml`, and `vignettes_2.yaml`, gathered
after the first had been looked at. Either holds the seed that chose its half held out.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from sidewise.reason import interpret
from sidewise.reason.result import ConditionPosterior, Interpretation
from sidewise.record import OTHER, Context, Finding, Record
from tests.shoulder import SHOULDER

FOLDER = Path(__file__).parents[1] / "data" / "held_out"
FIRST, SECOND = FOLDER / "vignettes.yaml", FOLDER / "vignettes_2.yaml"
AMONG = 3
"""The expected condition is to be among the first so many."""


@dataclass(frozen=True)
class Vignette:
    """One presentation: its record, and what is expected of it."""

    id: str
    record: Record
    expect: str
    level: str | None
    why: str
    held_out: bool


@dataclass(frozen=True)
class Placed:
    """Where the expected condition came out; `rank` from 1, None where a flag withholds it."""

    vignette: Vignette
    rank: int | None
    found: ConditionPosterior
    leading: tuple[ConditionPosterior, ...]


def vignettes(file: Path = FIRST) -> tuple[Vignette, ...]:
    """All of a file, in its order."""
    data = yaml.safe_load(file.read_text(encoding="utf-8"))
    ids = [entry["id"] for entry in data["vignettes"]]
    out = set(random.Random(data["seed"]).sample(ids, len(ids) // 2))
    return tuple(_vignette(entry, entry["id"] in out) for entry in data["vignettes"])


def _vignette(entry: dict[str, Any], held_out: bool) -> Vignette:
    side = entry.get("side", "right")
    sides = ("right", "left") if side == "both" else (side,)
    context = {
        "patient": "DUNLIN-1", "examined_at": "2026-05-04T09:00:00+00:00", "examiner": "E1",
        "complaint": list(sides), **entry["context"],
    }  # fmt: skip
    findings = [_finding(row, here) for row in entry["findings"] for here in sides]
    record = Record(
        id=entry["id"],
        region="shoulder",
        context=Context.model_validate(context),
        findings=tuple(findings),
    )
    return Vignette(
        entry["id"], record, entry["expect"], entry.get("level"), entry["why"], held_out
    )


def _finding(row: list[Any], side: str) -> Finding:
    item, mode, kind, value, *where = row
    place = OTHER[side] if where == ["other"] else side
    data = {"item": item, "side": place, "mode": mode, "value": {"kind": kind, **value}}
    return Finding.model_validate(data)


def place(vignette: Vignette) -> Placed:
    """Weighs one presentation and finds the expected condition among the others."""
    return placed(vignette, interpret(vignette.record, SHOULDER))


def placed(vignette: Vignette, told: Interpretation) -> Placed:
    """The best place of the expected condition on a side that complains."""
    best: Placed | None = None
    for side in vignette.record.context.complaint:
        these = (*told.sides[side].conditions, *told.whole_person.conditions)
        order = sorted((c for c in these if c.posterior is not None), key=lambda c: -c.estimate)
        found = next(c for c in these if c.condition == vignette.expect)
        rank = order.index(found) + 1 if found in order else None
        here = Placed(vignette, rank, found, tuple(order[:AMONG]))
        if best is None or (rank or 99) < (best.rank or 99):
            best = here
    assert best is not None, "every presentation complains of a side"
    return best


def main() -> None:
    """Prints the places of the half that may be looked at, or of the other: `held-out`.

    With `second` those of the second collection.
    """
    import sys

    wanted = "held-out" in sys.argv
    mine = [v for v in vignettes(SECOND if "second" in sys.argv else FIRST) if v.held_out is wanted]
    hits = 0
    for vignette in mine:
        here = place(vignette)
        hits += here.rank is not None and here.rank <= AMONG
        one = here.found
        figure = (
            "withheld"
            if one.posterior is None
            else (f"{one.prior:.3f} -> {one.posterior:.3f} ({one.low:.3f} to {one.high:.3f})")
        )
        levels = ", ".join(
            f"{l.level} {l.posterior:.2f}"
            for l in one.levels
            if len(one.levels) > 1 and l.posterior is not None
        )
        first = "; ".join(f"{c.condition} {c.estimate:.2f}" for c in here.leading)
        print(f"{vignette.id:28} rank {here.rank}  {figure}  {levels} | {first}")
    print(f"{hits} of {len(mine)} among the first {AMONG}")


if __name__ == "__main__":
    main()

"""Registers for the tests of a batch: short examples as tables and documents, and its answers."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd

from sidewise.record import Record, read_record, record_json
from sidewise.record.table import contexts_frame, findings_frame
from tests.shoulder import REGIONS, WORDS

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(ROOT.glob("examples/*.json"))
# A handful of items keeps these tests short; the whole examinations are weighed in a slow one.
FEW = {"hawkins_kennedy", "neer", "external_rotation_at_side", "empty_can", "painful_arc"}
DRAWS = 100


def short(path: Path) -> Record:
    """An example with a handful of its findings."""
    whole_record = read_record(path, REGIONS)
    some = tuple(finding for finding in whole_record.findings if finding.item in FEW)
    return whole_record.model_copy(update={"findings": some})


def tables(records: list[Record], folder: Path, form: str = "parquet") -> Path:
    """The records as the two long tables."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in (
        ("findings", findings_frame(records, WORDS)),
        ("contexts", contexts_frame(records)),
    ):
        write(frame, folder / f"{name}.{form}")
    return folder


def write(frame: pd.DataFrame, path: Path) -> None:
    if path.suffix == ".csv":
        frame.to_csv(path, index=False)
    else:
        frame.to_parquet(path, index=False)


def documents(records: list[Record], folder: Path) -> Path:
    """The records as one JSON each."""
    folder.mkdir(parents=True, exist_ok=True)
    for one in records:
        (folder / f"{one.id}.json").write_text(record_json(one))
    return folder


def answers(out: Path) -> pd.DataFrame:
    """Every part of an output, in an order that does not depend on the chunks."""
    parts = [pd.read_parquet(path) for path in sorted(out.glob("part-*.parquet"))]
    found = pd.concat([part.astype(dict.fromkeys(WORD_COLUMNS, str)) for part in parts])
    return found.sort_values(["record", "condition", "side"]).reset_index(drop=True)


WORD_COLUMNS = ["region", "setting", "condition", "side", "figures", "flags_raised",
                "flags_not_excluded", "warnings"]  # fmt: skip


def reasons(out: Path) -> list[dict[str, str]]:
    with (out / "set_aside.csv").open(newline="") as file:
        return list(csv.DictReader(file))

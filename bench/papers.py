"""Papers and tables: a PDF beside the note as HTML; an export, and the memory that it takes.

python bench/papers.py [--quick]
"""

from __future__ import annotations

import argparse
import json
import resource
import tempfile
from collections.abc import Iterator
from pathlib import Path
from time import perf_counter
from typing import Any

from bench.measure import median_ms
from bench.shoulder import REGIONS

from sidewise.documents.papers import letter_pdf, note_pdf
from sidewise.exchange.fhir.bundle import bundle_json
from sidewise.exchange.tables.export import ExportWish, export_tables
from sidewise.note import note_html
from sidewise.reason import interpret
from sidewise.record import Record, read_record

EXAM = Path(__file__).parents[1] / "examples" / "frozen.json"


def paper_rows(record: Record, runs: int) -> Iterator[dict[str, Any]]:
    """Each paper beside the note as HTML, of one full examination."""
    region = REGIONS[record.region]
    result = interpret(record, region)
    html = median_ms(lambda: note_html(record, result, region), runs)
    made = {
        "note as PDF": (lambda: note_pdf(record, result, region), {"required": "ratio <= 10"}),
        "letter as PDF": (lambda: letter_pdf(record, result, region), {}),
        "FHIR document": (lambda: bundle_json(record, result, region), {}),
    }
    for what, (make, bar) in made.items():
        ours = median_ms(make, runs)
        yield {"work": f"papers: {what}", "ours": ours, "unit": "ms", "peer": "note as HTML",
               "theirs": html, "ratio": ours / html, **bar}  # fmt: skip


def peak_mb() -> float:
    """The most memory that this process has had."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def export_rows(record: Record, sizes: tuple[int, int]) -> Iterator[dict[str, Any]]:
    """An export of a few records and of many: the memory must not grow with them."""
    peaks = {}
    for number in sizes:
        many = (record.model_copy(update={"id": f"r{n}"}) for n in range(number))
        with tempfile.TemporaryDirectory() as folder:
            start = perf_counter()
            export_tables(many, Path(folder) / "out", REGIONS, ExportWish())
            seconds = perf_counter() - start
        peaks[number] = peak_mb()
        yield {"work": f"export: {number:,} full records as CSV", "ours": round(seconds, 1),
               "unit": "s", "note": f"peak {peaks[number]:.0f} MB"}  # fmt: skip
    few, many_records = sizes
    yield {"work": f"export: peak memory, {many_records:,} records beside {few:,}",
           "ours": round(peaks[many_records]), "unit": "MB", "peer": f"{few:,} records",
           "theirs": round(peaks[few]), "ratio": peaks[many_records] / peaks[few],
           "required": "ratio <= 1.5"}  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer runs, fewer records")
    quick = parser.parse_args().quick
    exam = read_record(EXAM, REGIONS)
    found = [*export_rows(exam, (100, 400) if quick else (1_000, 10_000))]
    print(json.dumps([*paper_rows(exam, 5 if quick else 15), *found]))

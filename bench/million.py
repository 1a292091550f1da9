"""A register of a million short examinations weighed in one batch: time and largest memory.

    python bench/million.py [--records N]

The examples' short forms (five items each) repeated under other ids and ages, written in stretches
so that making the input costs no memory either. Prints a JSON list of one row. Mean parameters.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench.interpret import EXAMPLES, MEASURED, SHORT
from bench.shoulder import REGIONS, WORDS

STRETCH = 20_000


def write_register(folder: Path, count: int) -> None:
    """contexts.parquet and findings.parquet of so many records."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    from sidewise.record import read_record
    from sidewise.record.table import contexts_frame, findings_frame

    examples = [read_record(path, REGIONS) for path in EXAMPLES]
    short = [
        r.model_copy(update={"findings": tuple(f for f in r.findings if f.item in SHORT)})
        for r in examples
    ]
    frames = {"contexts": contexts_frame(short), "findings": findings_frame(short, WORDS)}
    schemas = {name: pa.Table.from_pandas(f).schema for name, f in frames.items()}
    writers = {n: pq.ParquetWriter(folder / f"{n}.parquet", s) for n, s in schemas.items()}
    for start in range(0, count, STRETCH):
        for name, frame in frames.items():
            some = _repeated(frame, start, min(STRETCH, count - start), len(short))
            writers[name].write_table(
                pa.Table.from_pandas(some, schema=schemas[name], preserve_index=False)
            )
    for writer in writers.values():
        writer.close()


def _repeated(frame: Any, start: int, count: int, of: int) -> Any:
    import pandas as pd

    ids = {record: place for place, record in enumerate(dict.fromkeys(frame["record"]))}
    parts = []
    for turn in range(-(-count // of)):
        number = start + turn * of + frame["record"].map(ids)
        part = frame[number < start + count].copy()
        kept = number[number < start + count]
        part["record"] = part["record"] + "-" + kept.astype(str)
        if "age" in part:
            part["age"] = (30 + kept % 51).astype(frame["age"].dtype)
        parts.append(part)
    return pd.concat(parts, ignore_index=True)


def measured(count: int) -> dict[str, Any]:
    """The row of the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "in").mkdir()
        write_register(folder / "in", count)
        command = [sys.executable, "-c", MEASURED, str(folder / "in"), str(folder / "out")]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
    records, seconds, peak = json.loads(done.stdout)
    assert records == count, f"{records} of {count} records weighed"
    return {
        "work": f"batch, mean parameters, five items each, {count:,} records",
        "ours": round(seconds / 60, 1),
        "unit": "min",
        "memory": round(peak),
        "required": "memory < 1000 MB",
        "note": f"largest memory {peak:.0f} MB",
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=int, default=1_000_000)
    print(json.dumps([measured(parser.parse_args().records)]))

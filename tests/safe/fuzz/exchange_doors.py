"""The doors of what comes from other programs and from a teacher's desk.

Tables and FHIR documents taken in, evidence made again, a leaflet's edited text, stations, circuits
and sheets typed from paper.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from sidewise.record import Record
from sidewise.record.reading import parse_record
from tests.safe.fuzz.door import EXAMPLES, Door, Take, from_file, text_of
from tests.shoulder import REGIONS, SHOULDER


@cache
def record() -> Record:
    """An example cut down to one finding of each kind."""
    data: dict[str, Any] = json.loads((EXAMPLES / "frozen.json").read_text())
    kinds = {f.get("value", {}).get("kind", f["status"]): f for f in data["findings"]}
    return parse_record(json.dumps({**data, "findings": list(kinds.values())}), REGIONS)


@cache
def tables(form: str, shape: str) -> dict[str, bytes]:
    """The record as exported tables, by file."""
    from sidewise.exchange.tables.export import ExportWish, export_tables

    folder = Path(tempfile.mkdtemp(prefix="tables")) / "out"
    export_tables([record()], folder, REGIONS, ExportWish(form, shape))
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def table_door(form: str, shape: str, name: str) -> Callable[[], Take]:
    """`import` of a folder of tables, one of which is given; a record set aside was refused."""

    def build() -> Take:
        from sidewise.errors import UserError
        from sidewise.exchange.tables.record_source import record_source

        folder = Path(tempfile.mkdtemp(prefix="door"))
        for other, content in tables(form, shape).items():
            (folder / other).write_bytes(content)

        def take(data: bytes) -> object:
            (folder / name).write_bytes(data)
            taken = list(record_source([folder]).entries(REGIONS))
            if not all(isinstance(one, Record) for one in taken):
                raise UserError("tables", "a record set aside", "records")
            return taken

        return take

    return build


def table_seeds(form: str, shape: str, name: str) -> Callable[[], list[bytes]]:
    """The table as it was exported."""
    return lambda: [tables(form, shape)[name]]


def fhir_door() -> Take:
    """`import` of a FHIR document, first asked whether it is one."""
    from sidewise.errors import UserError
    from sidewise.exchange.fhir.reading import is_bundle, read_bundle

    def read(path: Path) -> object:
        if not is_bundle(path):
            raise UserError(path.name, "no FHIR resource", "a Bundle")
        return read_bundle(path, SHOULDER)

    return from_file(read, ".json")


@cache
def interpreted() -> Any:
    """What the record may mean, of few draws."""
    from sidewise.reason import interpret

    return interpret(record(), SHOULDER, draws=100)


def fhir_seeds() -> list[bytes]:
    """Our own document, and a published one."""
    from sidewise.exchange.fhir.bundle import bundle_json

    own = bundle_json(record(), interpreted(), SHOULDER).encode()
    others = sorted((EXAMPLES.parent / "tests" / "data" / "hl7_r4").glob("*.json"))
    return [own, *(path.read_bytes() for path in others)]


def evidence_door() -> Take:
    """`interpret FILE --again`."""
    from sidewise.reason.reproduction import reproduce

    return from_file(lambda path: reproduce(path, REGIONS), ".json")


def evidence_seeds() -> list[bytes]:
    """The record with what it was said to mean."""
    from sidewise.reason.reproduction import evidence_file

    return [evidence_file(record(), interpreted(), 100).encode()]


def leaflet_door() -> Take:
    """A leaflet that a clinician has edited, from a file or from its page."""
    from sidewise.documents.leaflet import parse_leaflet

    return lambda data: parse_leaflet(text_of(data))


def leaflet_seeds() -> list[bytes]:
    """A draft, and one whose gaps are filled."""
    from sidewise.documents.leaflet import draft_leaflet

    draft = draft_leaflet(record(), SHOULDER).text
    filled = "\n".join(
        "Said." if line.lstrip("- ").startswith("[") else line for line in draft.splitlines()
    )
    return [draft.encode(), filled.encode()]


def station_door() -> Take:
    """`stations`: one station."""
    from sidewise.teaching.stations.station_file import read_station

    return from_file(lambda path: read_station(path, SHOULDER), ".yaml")


def circuits_door() -> Take:
    """`timetable`: a sitting to be planned."""
    from sidewise.teaching.circuits.request_file import read_circuit_request

    return from_file(read_circuit_request, ".json")


def station_seeds() -> list[bytes]:
    """The shipped stations, as YAML."""
    return [path.read_bytes() for path in sorted((EXAMPLES / "stations").glob("*.yaml"))]


def circuits_seeds() -> list[bytes]:
    """The shipped sitting, as JSON: documents of both kinds have one reader."""
    import yaml

    texts = [path.read_text() for path in sorted((EXAMPLES / "circuits").glob("*.yaml"))]
    return [json.dumps(yaml.safe_load(text), default=str).encode() for text in texts]


@cache
def station() -> Any:
    """One of the shipped stations."""
    from sidewise.teaching.stations.station_file import read_station

    return read_station(sorted((EXAMPLES / "stations").glob("*.yaml"))[0], SHOULDER)


def typed_door() -> Take:
    """`stations --typed`: mark sheets typed from paper."""
    from sidewise.teaching.stations.paper_marks import typed_sheets

    return lambda data: typed_sheets(station(), text_of(data), "typed.csv")


def typed_seeds() -> list[bytes]:
    """The empty table of a station, and one with a sheet."""
    from sidewise.teaching.stations.paper_marks import entry_table

    rows = [["S1", "E1", *[""] * 10]]
    return [entry_table(station()).encode(), entry_table(station(), rows).encode()]


WORDS = ("left", "right", "flexion", "degrees", "null", "true", "[]", "{}", "1e999", "NaN", "-1")
FHIR_WORDS = ("resourceType", "Bundle", "Observation", "status", "valueQuantity", "code", "coding",
              "system", "reference", "bodySite", *WORDS)  # fmt: skip
TABLES = (
    ("csv", "long", "contexts.csv"), ("csv", "long", "findings.csv"), ("csv", "wide", "wide.csv"),
    ("parquet", "wide", "wide.parquet"), ("xlsx", "long", "examinations.xlsx"),
)  # fmt: skip
EXCHANGE_DOORS: tuple[Door, ...] = (
    *(Door(f"import: {one[2]}", table_door(*one), table_seeds(*one), WORDS, 4) for one in TABLES),
    Door("FHIR document", fhir_door, fhir_seeds, FHIR_WORDS, cost=4),
    Door("evidence", evidence_door, evidence_seeds, WORDS, cost=20),
    Door("leaflet", leaflet_door, leaflet_seeds, ("# ", "## ", "- ", "[Clinician", "]")),
    Door("station", station_door, station_seeds, ("steps", "weight", "done", *WORDS), 4),
    Door("circuits", circuits_door, circuits_seeds, ("students", "not_by", *WORDS), 4),
    Door("typed mark sheets", typed_door, typed_seeds, ("done", "partly", ",", '"', *WORDS)),
)

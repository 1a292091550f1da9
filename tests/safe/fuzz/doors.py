"""One table of every place where text or bytes from outside are read, with examples to start from.

A door takes what it was given or refuses it with a `UserError`; anything else that comes out is a
bug. Nothing of ours is imported before a door is built, so that the runner may instrument it.
"""

from __future__ import annotations

import io
import json
import tempfile
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path
from typing import Any

from sidewise.practice.room import Room
from sidewise.regions import regions
from tests.safe.fuzz.door import EXAMPLES, Door, Take, from_file, text_of
from tests.safe.fuzz.exchange_doors import EXCHANGE_DOORS
from tests.shoulder import REGIONS, SHOULDER, WORDS

# ---------------------------------------------------------------- examinations


@cache
def small_record() -> dict[str, Any]:
    """An example cut down to one finding of each kind."""
    data: dict[str, Any] = json.loads((EXAMPLES / "frozen.json").read_text())
    kinds = {f.get("value", {}).get("kind", f["status"]): f for f in data["findings"]}
    data["findings"] = list(kinds.values())
    return data


def record_seeds() -> list[bytes]:
    """A small examination; one without findings; the shapes that are none."""
    data = small_record()
    bare = {key: part for key, part in data.items() if key != "findings"}
    given: tuple[object, ...] = (data, bare, [], {}, "x")
    return [json.dumps(one, ensure_ascii=False).encode() for one in given]


def record_words() -> tuple[str, ...]:
    """Every name and word of the small examination."""
    found: dict[str, None] = {}

    def walk(value: Any) -> None:
        if isinstance(value, dict):
            for key, part in value.items():
                found[key] = None
                walk(part)
        elif isinstance(value, list):
            for part in value:
                walk(part)
        elif isinstance(value, str) and len(value) < 30:
            found[value] = None

    walk(small_record())
    return tuple(found)


def record_door() -> Take:
    """`check`, `interpret`, `note`, `follow`, `batch`: one examination."""
    from sidewise.record.reading import read_record

    return from_file(partial(read_record, regions=REGIONS), ".json")


def csv_cells(data: bytes) -> list[dict[str, Any]]:
    """Rows as a table's reader hands them on: text, or a number where a cell is one."""
    import csv

    rows = csv.DictReader(io.StringIO(text_of(data).replace("\x00", "")))
    cells: list[dict[str, Any]] = []
    try:
        for row in rows:
            cells.append({str(k): _cell(v) for k, v in row.items() if isinstance(v, str)})
    except csv.Error:
        return cells
    return cells


def _cell(text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return text


def rows_door(kind: str) -> Callable[[], Take]:
    """`batch`, and every table written by the program: rows of findings or of contexts."""

    def build() -> Take:
        from sidewise.record.table import context_from_row, finding_from_row

        read = partial(finding_from_row, words=WORDS) if kind == "findings" else context_from_row
        return lambda data: [read(row) for row in csv_cells(data)]

    return build


def table_seeds(kind: str) -> Callable[[], list[bytes]]:
    """The small examination as a long table."""

    def seeds() -> list[bytes]:
        from sidewise.record.reading import parse_record
        from sidewise.record.table import contexts_frame, findings_frame

        record = parse_record(json.dumps(small_record()), REGIONS)
        frame = findings_frame([record], WORDS) if kind == "findings" else contexts_frame([record])
        return [frame.to_csv(index=False).encode(), frame.head(1).to_csv(index=False).encode()]

    return seeds


def batch_door(kind: str, suffix: str) -> Callable[[], Take]:
    """`batch`: the folder with its two tables or its examinations, up to the records read."""

    def build() -> Take:
        from sidewise.reason.batch.records import read_chunk
        from sidewise.reason.batch.source import deal_into_chunks, dealt_chunk, find_source

        def take(data: bytes) -> object:
            with tempfile.TemporaryDirectory(prefix="door") as name:
                folder = Path(name)
                (folder / "in").mkdir()
                (folder / "parts").mkdir()
                other = {"contexts": "findings", "findings": "contexts"}.get(kind)
                if other:
                    (folder / "in" / f"{other}.csv").write_bytes(table_seeds(other)()[0])
                (folder / "in" / f"{kind}{suffix}").write_bytes(data)
                deal_into_chunks(find_source(folder / "in", WORDS), folder / "parts", 1)
                return read_chunk(dealt_chunk(folder / "parts", 0), REGIONS)

        return take

    return build


def parquet_seeds() -> list[bytes]:
    """The findings of the small examination as Parquet."""
    from sidewise.record.reading import parse_record
    from sidewise.record.table import findings_frame

    raw = io.BytesIO()
    findings_frame([parse_record(json.dumps(small_record()), REGIONS)], WORDS).to_parquet(raw)
    return [raw.getvalue()]


@cache
def finished_run() -> Path:
    """A batch of one record that came to its end, and its input beside it."""
    from sidewise.reason.batch.run import run_batch

    place = Path(tempfile.mkdtemp(prefix="door"))
    (place / "in").mkdir()
    (place / "in" / "one.json").write_text(json.dumps(small_record()))
    run_batch(place / "in", place / "out", regions)
    return place


NOTES_OF_A_RUN = ("batch.json", "summary.json")


def earlier_run_door() -> Take:
    """`batch` into a folder with a finished run: its two notes, one after the other."""
    from sidewise.reason.batch.run import run_batch

    place = finished_run()

    def take(data: bytes) -> object:
        for name, content in zip(NOTES_OF_A_RUN, (data + b"\0").split(b"\0"), strict=False):
            (place / "out" / name).write_bytes(content)
        return run_batch(place / "in", place / "out", regions)

    return take


@cache
def earlier_run_seeds() -> list[bytes]:
    """What the run wrote itself."""
    return [b"\0".join((finished_run() / "out" / n).read_bytes() for n in NOTES_OF_A_RUN)]


def line_door() -> Take:
    """`read-line` and the typed line of the page: read, and every finding written again."""
    from sidewise.record.line import read_line, write_line
    from sidewise.record.line.display import line_json, line_text

    def take(data: bytes) -> object:
        reading = read_line(text_of(data)[:1000], SHOULDER)
        for finding in reading.findings:
            write_line(finding, SHOULDER)
        return line_json(reading), line_text(reading, SHOULDER)

    return take


LINES = (
    "Neer L pos; ER passive R 15 by goniometer pain firm", "hawkins R neg; empty can L pos weak",
    'flexion both 170; acj tenderness L 2 familiar note "sore"', "painful arc L 60 to 120",
    'neer L unable "asleep"; er lag L 20 degrees; deltoid power R 4- pain reading 2',
    'scars L place "scar" view front x 0.5 y 0.25; ir L T7',
)  # fmt: skip


# ---------------------------------------------------------------- marks


def marks_door() -> Take:
    """`marks` and `check`: a table of marks."""
    from sidewise.teaching.tables.marks_table import check_marks, read_marks

    return from_file(lambda path: (read_marks(path), check_marks(path)), ".csv")


def hands_door() -> Take:
    """`agree`: findings of several examiners."""
    from sidewise.teaching.tables.findings_table import read_findings

    return from_file(read_findings, ".csv")


def judges_door() -> Take:
    """`marks --angoff`: the judges' table."""
    from sidewise.teaching.pass_marks.judges_table import read_angoff
    from sidewise.teaching.tables.marks_table import read_marks

    marks = read_marks(EXAMPLES / "marks" / "teaching_week_marks.csv")
    return from_file(lambda path: read_angoff(path, marks), ".csv")


def conclusion_door() -> Take:
    """`interpret --against`: an earlier conclusion, against one of the same examination."""
    from sidewise.reason import interpret
    from sidewise.reason.conclusions import conclusion_changes, read_conclusion
    from sidewise.record.reading import parse_record

    now = interpret(parse_record(json.dumps(small_record()), REGIONS), SHOULDER)
    return from_file(
        lambda path: list(conclusion_changes(read_conclusion(path), now).lines()), ".json"
    )


def conclusion_seeds() -> list[bytes]:
    """What is compared, of a conclusion on the small examination; the shapes that are none."""
    kept = {
        "format": "sidewise-interpretation/1",
        "record": small_record()["id"],
        "knowledge_version": "earlier",
        "red_flags": [{"label": "an old flag", "status": "raised"}],
        "sides": {"left": {"conditions": [{"label": "frozen shoulder", "posterior": 0.9}]}},
        "whole_person": {"conditions": [{"label": "fibromyalgia", "posterior": None}]},
    }
    given: tuple[object, ...] = (kept, {"format": kept["format"]}, [], "x")
    return [json.dumps(one).encode() for one in given]


CONCLUSION_WORDS = ("format", "record", "knowledge_version", "red_flags", "sides", "whole_person",
                    "conditions", "label", "posterior", "status", "raised", "NaN", "1e999",
                    "null", "true", "[]", "{}")  # fmt: skip


@cache
def simulated() -> tuple[bytes, bytes]:
    """A simulated case and its truth, as they stand in files."""
    from sidewise.practice import practice_case
    from sidewise.practice.case_file import case_text, truth_text

    made = practice_case(SHOULDER, 7)
    return case_text(made).encode(), truth_text(made, SHOULDER).encode()


def case_door() -> Take:
    from sidewise.practice.case_file import read_case

    return from_file(lambda path: read_case(path, REGIONS), ".json")


def truth_door() -> Take:
    from sidewise.practice.case_file import check_truth

    case = Path(tempfile.mkdtemp()) / "case.json"
    case.write_bytes(simulated()[0])
    return from_file(lambda path: check_truth(path, case), ".json")


@cache
def simulated_room() -> Room:
    """The room of one simulated patient."""
    from sidewise.practice import practice_case
    from sidewise.practice.case_file import case_file
    from sidewise.practice.room import open_room

    return open_room(SHOULDER, case_file(practice_case(SHOULDER, 7)))


def attempt_seeds() -> list[bytes]:
    """An attempt that has just begun, as it stands in its file."""
    from sidewise.practice.room import attempt_text, begin_attempt

    return [attempt_text(begin_attempt(simulated_room(), "none")).encode()]


def attempt_door() -> Take:
    from sidewise.practice.room import read_attempt

    return from_file(lambda path: read_attempt(path, REGIONS), ".json")


def room_line_door() -> Take:
    from sidewise.practice.room.line import parse_line

    return lambda data: parse_line(simulated_room(), data.decode(errors="replace"))


def bank_door() -> Take:
    """`marks --keep-in-bank`: the bank of stations, read and added to."""
    from sidewise.teaching.tables.station_bank import add_to_bank

    return from_file(lambda path: add_to_bank(path, ()), ".csv")


def bank_seeds() -> list[bytes]:
    """A bank of two sittings, one with figures that are not known; the columns alone."""
    from sidewise.teaching.tables.station_bank import NAMES

    columns = ",".join(NAMES)
    rows = ("spring,A,40,61.5,9.2,0.4,0.5,8.1,52,6,8,53,62",
            "autumn,A,38,63,8.8,,,,,5,8,,61.2")  # fmt: skip
    return ["\n".join((columns, *rows)).encode(), columns.encode(), b""]


def option_door(name: str) -> Callable[[], Take]:
    """An option of the command line that is taken apart."""

    def build() -> Take:
        from sidewise.teaching.sitting.options import hofstee_box, row_numbers
        from sidewise.teaching.tables.columns import rating_scale
        from sidewise.web.keeping.verification import noted_seal

        read: dict[str, Callable[[str], object]] = {
            "hofstee": hofstee_box, "rows": row_numbers, "seal": noted_seal,
            "scale": lambda text: rating_scale(*text.partition("/")[::2]),
        }  # fmt: skip
        return lambda data: read[name](text_of(data))

    return build


def marks_seeds(name: str, rows: int) -> Callable[[], list[bytes]]:
    """Some rows of an example, as text, spreadsheet and Parquet."""

    def seeds() -> list[bytes]:
        import pandas as pd

        whole = pd.read_csv(EXAMPLES / "marks" / name, dtype=str, keep_default_na=False)
        # Not the first rows: a file of findings begins with those of the reference alone.
        frame = whole.iloc[:: max(1, len(whole) // rows)].head(rows)
        book, parquet = io.BytesIO(), io.BytesIO()
        frame.to_excel(book, index=False)
        frame.to_parquet(parquet)
        return [frame.to_csv(index=False).encode(), book.getvalue(), parquet.getvalue()]

    return seeds


# ---------------------------------------------------------------- measuring


def sent_sheet_door() -> Take:
    """A sheet that is dropped on the page: opened, understood, its rows told apart."""
    from sidewise.teaching.report.marks_apart import open_sheet

    return lambda data: open_sheet("week.csv", data)


def sent_sheet_seeds() -> list[bytes]:
    """Small sheets in several layouts, as text and as a workbook."""
    from sidewise.teaching.tables.template import template_bytes

    names = ("wide_sheet", "merged_sheet", "fraction_sheet")
    texts = [(EXAMPLES / "marks" / "telling" / f"{name}.csv").read_bytes() for name in names]
    return [*texts, template_bytes("csv"), template_bytes("xlsx"), _as_parquet(texts[0])]


def _as_parquet(table: bytes) -> bytes:
    import pandas

    raw = io.BytesIO()
    pandas.read_csv(io.BytesIO(table), dtype=str).to_parquet(raw)
    return raw.getvalue()


def landmarks_door(suffix: str) -> Callable[[], Take]:
    """Digitised landmarks."""

    def build() -> Take:
        from sidewise.measure.motion.landmarks import read_landmarks

        return from_file(lambda path: read_landmarks(path, side="left"), suffix)

    return build


def landmark_seeds() -> list[bytes]:
    """Two landmarks over two frames."""
    head = "frame,landmark,x,y,z,unit,side\n"
    rows = [f"{f},{c},1.5,{n},-3e2,mm,left\n" for f in (1, 2) for n, c in enumerate(("IJ", "PX"))]
    return [(head + "".join(rows)).encode()]


def c3d_seeds() -> list[bytes]:
    """The same as C3D, written by the library that reads it."""
    import ezc3d
    import numpy as np

    file = ezc3d.c3d()
    file["parameters"]["POINT"]["UNITS"]["value"] = ["mm"]
    file["parameters"]["POINT"]["RATE"]["value"] = [100.0]
    file["parameters"]["POINT"]["LABELS"]["value"] = ["IJ", "PX"]
    file["data"]["points"] = np.ones((4, 2, 3))
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "seed.c3d"
        file.write(str(path))
        return [path.read_bytes()]


# ---------------------------------------------------------------- the web and its store


def touches_door() -> Take:
    """Touches as a script sends them, and the queue of a tablet."""
    from sidewise.web.examinations.entries import entries_from_json
    from sidewise.web.examinations.queue import _sent, _storable

    def take(data: bytes) -> object:
        for entry in _sent(data):
            json.dumps(_storable(entry))
        return entries_from_json(data, "E2", "E1")

    return take


def touch_seeds() -> list[bytes]:
    """A finding, a correction, an undo; an answer and other fields of the context."""
    finding = {"item": "neer", "side": "left", "value": {"kind": "result", "result": "positive"}}
    at = "2026-03-02T09:41:00Z"
    deeds = [
        {"do": "found", "finding": finding}, {"do": "undo", "entries": ["a"]},
        {"do": "found", "finding": {**finding, "note": "again"}, "replaces": ["a"]},
        {"do": "state", "field": "history.fever", "value": "yes", "replaces": ["a"]},
        {"do": "state", "field": "known.left", "value": ["tear"]},
        {"do": "state", "field": "complaint", "value": "left right"},
    ]  # fmt: skip
    entries = [{"id": f"a{n}", "at": at, "deed": deed} for n, deed in enumerate(deeds)]
    return [json.dumps({"entries": part}).encode() for part in (entries, entries[:1])]


def form_door() -> Take:
    """The plain form of a touch."""
    from urllib.parse import parse_qsl

    from sidewise.record.ledger import Folded
    from sidewise.record.reading import parse_record
    from sidewise.web.examinations.entries import entries_from_form
    from sidewise.web.examinations.statements import ShownField, seen_by

    fresh = {"age": ShownField("age", ("58",), ())}
    folded = Folded(record=parse_record(json.dumps(small_record()), REGIONS), holders={})

    def take(data: bytes) -> object:
        form = dict(parse_qsl(text_of(data), keep_blank_values=True))
        if "states" in form:
            return seen_by(form["states"], fresh)
        return entries_from_form(form, folded, "E2", "E1")

    return take


FORMS = (
    b"places=neer+left&value=%7B%22kind%22%3A%22result%22%2C%22result%22%3A%22positive%22%7D",
    b"places=flexion+left+active;flexion+right+active&kind=angle&angle.degrees=120&note=x",
    b"places=neer+left&status=unable&reason=asleep",
    b"findings=%5B%7B%22item%22%3A%22neer%22%2C%22side%22%3A%22left%22%7D%5D",
    b"undo=a+b",
    b"states=%7B%22age%22%3A%7B%22was%22%3A%5B%2258%22%5D%2C%22replaces%22%3A%5B%22a%22%5D%7D%7D",
)


def backup_door() -> Take:
    """`restore` and `verify --backup`: the file, before anything is touched."""
    from sidewise.web.keeping.backup import check

    return from_file(check, ".backup")


def backup_seeds() -> list[bytes]:
    """Whole backups of two small tables, packed and not."""
    import hashlib
    import zipfile

    tables = {"audit.auditline": [], "patients.patient": ['{"id": 1}\n', '{"id": 2}\n']}
    about = {
        name: {"rows": len(rows), "sha256": hashlib.sha256("".join(rows).encode()).hexdigest()}
        for name, rows in tables.items()
    }
    manifest = {"format": "sidewise-backup/1", "made_at": "2026-03-02T09:41:00+00:00",
                "version": "0.1.0", "migrations": {"audit": ["0001_initial"]}, "tables": about,
                "audit_lines": 0, "audit_seal": ""}  # fmt: skip
    made = []
    for packing in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raw = io.BytesIO()
        with zipfile.ZipFile(raw, "w", packing) as archive:
            for name, rows in tables.items():
                archive.writestr(f"{name}.jsonl", "".join(rows))
            archive.writestr("manifest.json", json.dumps(manifest))
        made.append(raw.getvalue())
    return made


def manifest_door() -> Take:
    """What a backup says of itself, in an archive that is whole."""
    import zipfile

    from sidewise.web.keeping.backup import check

    inside = from_file(check, ".backup")

    def take(data: bytes) -> object:
        raw = io.BytesIO()
        with zipfile.ZipFile(raw, "w") as archive:
            archive.writestr("manifest.json", data)
        return inside(raw.getvalue())

    return take


def manifest_seeds() -> list[bytes]:
    """A manifest without tables, and that of a whole backup."""
    import zipfile

    with zipfile.ZipFile(io.BytesIO(backup_seeds()[0])) as archive:
        whole = json.loads(archive.read("manifest.json"))
    return [json.dumps({**whole, "tables": {}}).encode(), json.dumps(whole).encode()]


def stored_row_door() -> Take:
    """A row of a backup, for every table there is."""
    from django.apps import apps

    from sidewise.errors import UserError
    from sidewise.web.keeping.tables import kept_models, row_of

    models = {m._meta.label_lower: m for m in kept_models(apps)}

    def take(data: bytes) -> object:
        name, _, text = text_of(data).partition("\n")
        try:
            return row_of(models.get(name) or models["patients.patient"], text)
        except ValueError as error:  # What `restore` says in its own words.
            raise UserError(name, str(error), "a row") from None

    return take


def stored_row_seeds() -> list[bytes]:
    """An empty row of each table."""
    from django.apps import apps

    from sidewise.web.audit.rows import line
    from sidewise.web.keeping.tables import kept_models

    empty = {m: line({f.attname: None for f in m._meta.concrete_fields}) for m in kept_models(apps)}
    return [f"{model._meta.label_lower}\n{text}".encode() for model, text in empty.items()]


def notes_door() -> Take:
    """Files of the data folder that a restore brings along: what was erased, the seals noted."""
    from sidewise.web.audit import anchors
    from sidewise.web.home import home
    from sidewise.web.keeping import erasure

    def take(data: bytes) -> object:
        (home() / "erased").write_bytes(data)
        (home() / "audit-anchors").write_bytes(data)
        return anchors.noted(), list(erasure.noted_outside())

    return take


NOTES = (b"patient 4f7a1f0e-52a1-4d62-8c8c-3a1b2c3d4e5f\nstudent 7\n", b"100 " + b"ab" * 32 + b"\n")


def stolen_door() -> Take:
    """The operator's list of stolen passwords."""
    from sidewise.web.accounts.breached_passwords import listed

    return from_file(lambda path: listed(path, "AB" * 20), ".txt")


def _texts(texts: tuple[str, ...]) -> Callable[[], list[bytes]]:
    return lambda: [text.encode() for text in texts]


def _bytes(texts: tuple[bytes, ...]) -> Callable[[], list[bytes]]:
    return lambda: list(texts)


MARK_WORDS = ("student", "station", "examiner", "item", "mark", "maximum", "global_rating",
              "pass", "fail", "borderline", "NaN", "inf", "-1", "1e309", "0,5")  # fmt: skip
ROW_WORDS = ("item", "side", "kind", "value", "left", "right", "angle", "tenderness", "sign",
             "result", "mrc", "grade", "degrees", "history.", "vitals.", "known.left", "nan",
             "1e400", "[]", "{}", "true", "null")  # fmt: skip
LINE_WORDS = ("Neer", "hawkins", "ER", "L", "R", "both", "pos", "neg", "passive", "active", "pain",
              "no", "unable", "not examined", "lag", "degrees", "by eye", "reading", "note", '"',
              ";", "4-", "cm", "place", "view", "1e999", "٣", "to", "together")  # fmt: skip

NUMBERS = ("NaN", "inf", "-1", "²", "٣", "9999999999")

ROOM_LINES = ("ask fever", "move both external rotation", "chances frozen 85%, rest 5%",
              "finish plan rest")  # fmt: skip
DOORS: tuple[Door, ...] = (
    Door("examination", record_door, record_seeds, record_words()),
    Door("rows of findings", rows_door("findings"), table_seeds("findings"), ROW_WORDS),
    Door("rows of contexts", rows_door("contexts"), table_seeds("contexts"), ROW_WORDS),
    Door("batch: findings.csv", batch_door("findings", ".csv"), table_seeds("findings"), ROW_WORDS),
    Door("batch: contexts.csv", batch_door("contexts", ".csv"), table_seeds("contexts"), ROW_WORDS),
    Door("batch: findings.parquet", batch_door("findings", ".parquet"), parquet_seeds),
    Door("batch: examination", batch_door("one", ".json"), record_seeds, record_words()),
    Door("batch: earlier run", earlier_run_door, earlier_run_seeds, ("null", "[]", "{}", "1e999")),
    Door("typed line", line_door, _texts(LINES), LINE_WORDS),
    Door("marks", marks_door, marks_seeds("teaching_week_marks.csv", 8), MARK_WORDS),
    Door("sent sheet", sent_sheet_door, sent_sheet_seeds, MARK_WORDS, cost=4),
    Door("findings of hands", hands_door, marks_seeds("teaching_week_findings.csv", 8), MARK_WORDS),
    Door("judges", judges_door, marks_seeds("teaching_week_judges.csv", 500), MARK_WORDS),
    Door("option: hofstee", option_door("hofstee"), _texts(("50,66,4,40",)), (",", *NUMBERS)),
    Door("option: rows", option_door("rows"), _texts(("17,45-50",)), ("-", ",", *NUMBERS)),
    Door("option: seal", option_door("seal"), _texts(("1:" + "ab" * 32,)), (":", *NUMBERS)),
    Door("option: scale", option_door("scale"), _texts(("fail, borderline, pass/borderline",)),
         (",", "/", "fail", "pass", *NUMBERS)),
    Door("landmarks: csv", landmarks_door(".csv"), landmark_seeds, ("mm", "left", "nan", "inf")),
    Door("landmarks: c3d", landmarks_door(".c3d"), c3d_seeds, ("POINT", "LABELS", "UNITS"),
         cost=20),
    Door("touches", touches_door, touch_seeds, record_words()),
    Door("form of a touch", form_door, _bytes(FORMS), (*record_words(), "places=", "value=")),
    Door("backup", backup_door, backup_seeds, ("PK\x03\x04", "PK\x01\x02", "PK\x05\x06")),
    Door("backup: manifest", manifest_door, manifest_seeds, ("format", "tables", "rows", "sha256")),
    Door("backup: row", stored_row_door, stored_row_seeds, ("null", "true", "[]", "{}", "1e999")),
    Door("notes of the data folder", notes_door, _bytes(NOTES), ("patient", "student", " ", "\n")),
    Door("stolen passwords", stolen_door, _texts(("AA" * 20 + ":3\n" + "AB" * 20 + ":1\n", "")),
         (":", "\n")),
    Door("earlier conclusion", conclusion_door, conclusion_seeds, CONCLUSION_WORDS),
    Door("simulated case", case_door, lambda: [simulated()[0]], record_words(), cost=20),
    Door("truth of a case", truth_door, lambda: [simulated()[1]], ("seal", "case_hash"), cost=4),
    Door("attempt", attempt_door, attempt_seeds, ("taken", "step", "null", "[]"), cost=4),
    Door("line of the room", room_line_door, _texts(ROOM_LINES), ("both", "left", "rest", "%")),
    Door("bank of stations", bank_door, bank_seeds, ("spring", "autumn", ",", '"', *NUMBERS)),
    *EXCHANGE_DOORS,
)  # fmt: skip

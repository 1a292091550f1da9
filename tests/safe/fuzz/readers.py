"""Which functions of the program read what comes from outside: found in its text, and at work.

Found in the text: a function that calls something which opens or takes apart files or requests.
Found at work: what runs while a door takes its examples. A reader that no door reaches is a door
that was forgotten, or one of `OWN`, each with its reason.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from types import FrameType
from typing import Any

from sidewise.errors import UserError
from tests.safe.fuzz.door import ROOT, Door

SOURCE = ROOT / "src"
READS = {
    "ParquetFile", "ZipFile", "DictReader", "c3d", "fromstring", "load", "load_workbook", "loads",
    "model_validate_json", "open", "open_csv", "parse_qsl", "read_bytes", "read_csv", "read_excel",
    "read_metadata", "read_parquet", "read_schema", "read_text", "reader", "safe_load",
    "unpackb", "unpack_archive",
}  # fmt: skip
FROM_OUTSIDE = {"body", "FILES", "stdin"}

KNOWLEDGE = "a file of the program itself"
WRITTEN = "what this program has just written or checked"
OWN = {
    "sidewise.teaching.report.page.report_style": KNOWLEDGE,
    "sidewise.teaching.report.marks_apart.main": "takes its task from the process that starts it",
    "sidewise.teaching.thresholds._data": KNOWLEDGE,
    "sidewise.commands.read_line._text": "standard input, handed to the door of the typed line",
    "sidewise.evidence.fit.fitted._loaded": KNOWLEDGE,
    "sidewise.ground.tables.parse_table": KNOWLEDGE,
    "sidewise.ground.tables.read_table": KNOWLEDGE,
    "sidewise.knowledge.pack._read": "refused unless it has the key and the hash it names",
    "sidewise.knowledge.pack.checked_key": KNOWLEDGE,
    "sidewise.knowledge.pack._noted": WRITTEN,
    "sidewise.knowledge.reading.fingerprint_of": KNOWLEDGE,
    "sidewise.knowledge.reading.read_yaml": KNOWLEDGE,
    "sidewise.measure.motion.c3d_apart._read": "runs in the process that `read_apart` starts",
    "sidewise.reason.batch.run._counts": WRITTEN,
    "sidewise.reason.batch.run._gather_aside": WRITTEN,
    "sidewise.reason.batch.source._parquet_rows": "after the columns of the same file were read",
    "sidewise.network.compiled.jit._kept_in": KNOWLEDGE,
    "sidewise.record.line.clauses._parser": KNOWLEDGE,
    "sidewise.web.examinations.views.touch.touch": "hands the body to `entries_from_json`",
    "sidewise.face.examinations.Note._repr_html_": KNOWLEDGE,
    "sidewise.face.registers._noted": WRITTEN,
    "sidewise.figure.atlas._record": KNOWLEDGE,
    "sidewise.figure.sheets.fingerprint": KNOWLEDGE,
    "sidewise.note.plates.plates_style": KNOWLEDGE,
    "sidewise.note.blank_page.blank_html": KNOWLEDGE,
    "sidewise.note.page.note_html": KNOWLEDGE,
    "sidewise.plan.pocket_card.printed_page": KNOWLEDGE,
    "sidewise.web.tablet.steps.steps_application": KNOWLEDGE,
    "sidewise.web.tablet.authority._read": "this machine's own root; a damaged one is refused",
    "sidewise.start_up._begins_as_parquet": "the first bytes of a table, which has a door",
    "sidewise.commands.practise._lines": "lines, each handed to the door of the room",
    "sidewise.web.practice.store.keep_case": "after the door of a simulated case took it",
    "sidewise.web.practice.store.truth_of": WRITTEN,
    "sidewise.web.practice.views.cases.cases": "hands the file to `keep_case`",
    "sidewise.ground.entry_points._content": "what an installer wrote beside an installed package",
    "sidewise.knowledge.pack.PackedParts.__getitem__": "of a pack with the key and hash it names",
    "sidewise.schemas.__init__.schema_of": KNOWLEDGE,
    "sidewise.schemas.build.main": KNOWLEDGE,
    # Of a command; the one that is sent is read by `sheet_upload`, which has a door.
    "sidewise.teaching.tables.sheet_grid._fullest_sheet": "a sheet that a teacher proposes",
    "sidewise.web.audit.head.advance": WRITTEN,
    "sidewise.web.audit.head.noted": WRITTEN,
    "sidewise.web.home._kept": "taken as it is: any text is a key",
    "sidewise.web.keeping.place._held": WRITTEN,
    "sidewise.web.keeping.export._columns": WRITTEN,
    "sidewise.web.demo.load_marks": "the examples, handed to the door of a sent sheet",
    "sidewise.web.marks.views.sittings.marks": "hands the file to the door of a sent sheet",
    "sidewise.web.marks.views.settling.replace": "hands the file to the door of a sent sheet",
    "sidewise.web.keeping.restore._load_and_prove": "after `backup.check` has read it whole",
    "sidewise.web.keeping.views.offline": KNOWLEDGE,
    "sidewise.commands.note._write_leaflet": "hands the text to the door of a leaflet",
    "sidewise.commands.writing.read_text": "any text; whoever asks for it has a door",
    "sidewise.documents.printing.count_pages": WRITTEN,
    "sidewise.exchange.fhir.definitions._structures": KNOWLEDGE,
    "sidewise.exchange.tables.export._Export._wide": WRITTEN,
    "sidewise.ground.language._read": KNOWLEDGE,
    "sidewise.ground.version.newest_changes": KNOWLEDGE,
    "sidewise.knowledge.kept_views.KeptViews._read": "of a file with the hash that its head names",
    "sidewise.knowledge.kept_views.kept_views": "of whoever owns its folder, with the key it names",
    "sidewise.teaching.report.printed_sheets.sheets_page": KNOWLEDGE,
    "sidewise.web.keeping.records_export._packed": WRITTEN,
    "sidewise.web.supervised.forms._pressed": "a button's value; the pages are fuzzed apart",
    "sidewise.web.examinations.views.queue.take_queue": "hands the body to `_sent`",
}


@cache
def in_the_text() -> set[str]:
    """Every function of the program in which something is read, as module.function."""
    found: set[str] = set()
    for path in sorted(SOURCE.rglob("*.py")):
        module = ".".join(path.relative_to(SOURCE).with_suffix("").parts)
        found |= {f"{module}{name}" for name in _readers(ast.parse(path.read_text()), "")}
    return found


def _readers(node: ast.AST, name: str) -> Iterator[str]:
    for part in ast.iter_child_nodes(node):
        if isinstance(part, ast.FunctionDef | ast.ClassDef):
            yield from _readers(part, f"{name}.{part.name}")
            continue
        if _reads(part):
            yield name
        yield from _readers(part, name)


def _reads(node: ast.AST) -> bool:
    if isinstance(node, ast.Attribute) and node.attr in FROM_OUTSIDE:
        return True
    if not isinstance(node, ast.Call):
        return False
    called = node.func
    name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
    return name in READS and not _writes(node)


def _writes(call: ast.Call) -> bool:
    """Opened for writing: the mode, or the flags of the system call, say so."""
    words = ast.unparse(call)
    modes = [a.value for a in (*call.args, *(k.value for k in call.keywords))
             if isinstance(a, ast.Constant) and isinstance(a.value, str)]  # fmt: skip
    return "O_WRONLY" in words or any(set(m) <= set("wabxt+") for m in modes if m)


@dataclass(frozen=True, slots=True)
class Examples:
    """What became of a door's own examples."""

    door: str
    taken: int
    refused: int
    reached: list[str]


def at_work(door: Door) -> Examples:
    """Give a door its examples and note which readers of the program ran meanwhile."""
    take, seeds, taken, refused = door.build(), door.seeds(), 0, 0
    reached: set[str] = set()
    readers = in_the_text()

    def note(frame: FrameType, event: str, _: Any) -> None:
        module = frame.f_globals.get("__name__", "")
        if event == "call" and module.startswith("sidewise."):
            reached.add(f"{module}.{frame.f_code.co_qualname.replace('.<locals>', '')}")

    for seed in seeds:
        sys.setprofile(note)
        try:
            take(seed)
            taken += 1
        except UserError:
            refused += 1
        finally:
            sys.setprofile(None)
    return Examples(door.name, taken, refused, sorted(reached & readers))

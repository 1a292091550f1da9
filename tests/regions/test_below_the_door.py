"""Below the door nothing fetches knowledge by name: it is handed a region, or a view of one."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import sidewise
from sidewise.knowledge.region import shipped_folders

SOURCE = Path(sidewise.__file__).parent
BELOW = (
    "ground",
    "network",
    "kinds",
    "protocol",
    "record",
    "measure",
    "evidence",
    "reason",
    "teaching",
)
TREES = {
    path.relative_to(SOURCE).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
    for path in sorted(SOURCE.rglob("*.py"))
    if "migrations" not in path.parts
}
OPENERS = {"open_region", "load_region", "shipped_folders", "regions", "every_region",
           "region_of_record", "found_folders", "read_parts", "home_folder"}  # fmt: skip
MAY_OPEN = {"evidence/build.py"}
"""The fit's own build is a door too: it opens the folder that it writes into."""
OWN_FILES = {
    "ground/language.py",
    "ground/version.py",
    "record/line/words.py",
    "record/line/clauses.py",
    "network/compiled/jit.py",
}
"""Files of the program itself are read by these; none of them is a region's."""


def below() -> dict[str, ast.Module]:
    return {name: tree for name, tree in TREES.items() if name.split("/")[0] in BELOW}


def calls(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield getattr(node.func, "id", "") or getattr(node.func, "attr", "")


def test_no_region_is_opened_below_the_door() -> None:
    swept = below()
    found = {name: set(calls(tree)) & OPENERS for name, tree in swept.items()}
    assert {name for name, used in found.items() if used} == MAY_OPEN
    assert len(swept) > 140


def test_no_function_takes_a_region_by_its_name() -> None:
    swept = 0
    named: list[str] = []
    for name, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef):
                swept += 1
                arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
                named += [
                    f"{name}: {node.name}"
                    for argument in arguments
                    if argument.arg == "region"
                    and ast.unparse(argument.annotation or node) == "str"
                ]
    # The door of each command, a ledger that begins; records for a plan, a case, a warm-up.
    assert named == [
        "commands/blank_form.py: blank_form",
        "commands/case.py: case",
        "commands/import_.py: import_",
        "commands/plan.py: plan",
        "commands/practise.py: practise",
        "commands/practise.py: _room",
        "commands/read_line.py: read_line",
        "commands/sources.py: sources",
        "commands/stations.py: stations",
        "commands/stations.py: _print_draft",
        "plan/presentation.py: presentation",
        "practice/possible_values.py: blank_record",
        "reason/weighing/warm_up.py: _nothing_found",
        "web/examinations/store.py: open_examination",
    ]
    assert swept > 2_500


def _is_a_name(argument: ast.arg) -> bool:
    typed = argument.annotation
    return argument.arg == "region" and isinstance(typed, ast.Name) and typed.id == "str"


def test_no_module_finds_its_own_way_to_the_knowledge() -> None:
    near = {
        name
        for name, tree in below().items()
        if any(isinstance(node, ast.Name) and node.id == "__file__" for node in ast.walk(tree))
    }
    assert near == OWN_FILES


def test_no_word_of_a_region_stands_in_the_code() -> None:
    words = {word for folder in shipped_folders().values() for word in _ids(folder)}
    found = {
        f"{name}: {node.value}"
        for name, tree in TREES.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value in words
    }
    assert {hit for hit in found if not hit.startswith(ALLOWED)} == set()
    assert len(words) > 650


ALLOWED = (
    # What is done in a practice room: verbs, in whatever region.
    "practice/room/attempt.py: look", "practice/room/attempt.py: feel",
    "practice/room/attempt.py: move", "practice/room/place.py: look",
    "practice/room/place.py: feel", "practice/room/place.py: move",
    "practice/room/turn.py: feel", "practice/room/turn.py: move",
    "practice/room/line.py: look", "practice/room/line.py: feel", "practice/room/line.py: move",
    "practice/room/line.py: prepare",
    # Published landmarks of a motion file, and the invented teaching week.
    "measure/motion/", "teaching/examples/",
    # The stations of the sheet that a teacher downloads as a pattern are called as stages are.
    "teaching/tables/template.py: look", "teaching/tables/template.py: move",
    # Every body has a skin: it is a layer of any figure, and a structure of the shoulder.
    "figure/compose.py: skin", "figure/paint.py: skin", "figure/sheets.py: skin",
    # What FHIR calls an addition of one's own.
    "exchange/fhir/bundle.py: extension", "exchange/fhir/observation.py: extension",
    # An attribute of SVG.
    "figure/paint.py: stroke", "ground/svg/shapes.py: stroke",
    # What a manoeuvre can reproduce, in the closed set of kinds of value.
    "kinds/", "note/phrases.py", "practice/findings.py: weakness",
    "practice/actor_sheet/acting.py: weakness", "practice/actor_sheet/acting.py: apprehension",
    "practice/actor_sheet/acting.py: tingling",
    # A criterion of the closed set is called as a stage is.
    "protocol/criteria.py: power", "protocol/fits.py: power", "reason/judging/judge.py: power",
    "reason/judging/grading.py: power",
    # The kind of visit that every region has, under this id: the loader refuses one without.
    "protocol/visits.py: full",
    # A field of the interpretation, which is there for any region.
    "reason/conclusions.py: whole_person",
    # What is asked before any injection, and what can be ordered: closed sets of the record.
    "record/care.py: radiograph", "note/care.py: diabetes", "note/care.py: infection",
    # The deed that moves a visit to its right patient, and its page, are called as a stage is.
    "record/ledger.py: move", "web/examinations/urls.py: move",
    "web/examinations/views/repair.py: move",
    # What one does at a simulated patient, a closed set of verbs; and a typed line of the room.
    "practice/room/",
    # A student is moved to another group; and the invented class's case, as its teacher typed it.
    "web/classes/views/members.py: move", "web/demo_class.py: ",
    # A layer of any figure, and a group of what a learner can think of.
    "figure/compose.py: nerve", "figure/paint.py: nerve", "figure/sheets.py: nerve",
    "figure/under.py: nerve", "web/anatomy/explanation.py: nerve",
)  # fmt: skip


def _ids(folder: Path) -> Iterator[str]:
    """Every id of items, questions, readings, stages, conditions and flags of a region."""
    import yaml

    for path in sorted(folder.rglob("*.yaml")):
        yield from _ids_in(yaml.safe_load(path.read_text(encoding="utf-8")))


def _ids_in(data: object) -> Iterator[str]:
    if isinstance(data, dict):
        if isinstance(data.get("id"), str):
            yield data["id"]
        for part in data.values():
            yield from _ids_in(part)
    elif isinstance(data, list):
        for part in data:
            yield from _ids_in(part)

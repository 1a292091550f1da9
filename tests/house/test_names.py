"""Names: one public name, one meaning; modules are nouns; what nobody calls has a reason."""

from __future__ import annotations

import ast
from pathlib import Path

from tests.house.measures import (
    Function,
    functions,
    is_participle,
    public_names,
    repeated_names,
    trees,
    uncalled_functions,
)

MODULES = trees()

COMMANDS = "a command bears the name of the function that it calls"
VIEWS = "a view bears the verb of its address"
ENGINE = "the engine's own, never seen without `engine.` or its folder"
TWINS = "the same step in the plain and the compiled folder"
SITE = "the site's: a second factor, a bucket of tries, an audit line are words of its own trade"
DRAWING = "words of drawing: a place, a sign, a letter on a sheet of paper"
FINGERPRINT = (
    "its representation enters the hash of the shipped fit; a new name would make it stale"
)
RULES = "a rule's, beside the page's or the study's: no module needs both"
FACE = "the face lends researchers a room's own function, under its own name"
KEEPING = "of keeping and the audit: a row, a seal or a hold is a word of its own trade there"
RESULTS = "of results shown as tables and views, beside those of a page"
SUMMED = "of the typed line, where a name may sum up several, beside the engine's or a page's"
ROOM = "a step of the practice room, named by what is done; nobody there needs the other"
REPEATED = {
    "Ask": ROOM, "Measure": ROOM, "State": ROOM, "Taken": ROOM,
    "Bound": KEEPING, "Difference": KEEPING, "Opened": KEEPING, "Table": RESULTS,
    "Drawing": FACE, "agree": FACE, "marks": KEEPING, "read_findings": FACE, "read_marks": FACE,
    "read_record": FACE, "cell_text": RESULTS, "conditions_of": RESULTS, "gathered": KEEPING,
    "held": KEEPING, "in_words": KEEPING, "marks_of": KEEPING, "noted": KEEPING,
    "noted_outside": KEEPING, "settle": SITE,
    "Answer": RULES, "Block": ENGINE, "Bucket": SITE, "Choice": DRAWING, "Claim": RULES,
    "Figure": FINGERPRINT, "Letter": DRAWING, "Mark": FINGERPRINT, "Outcome": SITE,
    "Place": DRAWING, "Reading": ENGINE, "Signed": DRAWING, "Steps": ENGINE,
    "Verdict": SITE, "Words": DRAWING, "add": SITE, "buckets": SITE, "check": COMMANDS,
    "confirm": VIEWS, "digest": SITE, "follow": COMMANDS, "greedy": TWINS, "interpret": COMMANDS,
    "label_of": RULES, "line": VIEWS, "main": "what `python -m` calls", "note": VIEWS,
    "path": DRAWING, "read_line": COMMANDS, "restore": COMMANDS, "row_of": SITE,
    "serve": COMMANDS, "share": VIEWS, "sign": VIEWS, "sign_in": VIEWS, "svg": DRAWING,
    "take": ROOM, "begin": ROOM, "practise": COMMANDS, "LeftOut": RESULTS,
    "classes": VIEWS, "join": VIEWS, "members": VIEWS, "room": VIEWS, "withdraw": VIEWS,
    "opened": KEEPING, "Summary": SUMMED, "known_item": SUMMED, "two_readers": COMMANDS,
    "verify": COMMANDS,
}  # fmt: skip
"""Public names in two modules, and why each stays."""


def test_no_public_name_stands_in_two_modules_without_a_reason() -> None:
    assert set(repeated_names(MODULES)) == set(REPEATED)
    assert sum(len(list(public_names(tree))) for tree in MODULES.values()) > 1_500


def test_no_module_imports_two_things_of_one_repeated_name() -> None:
    """Where a name has two homes, whoever needs both must say which: none does by accident."""
    swept = 0
    for path, tree in MODULES.items():
        seen: dict[str, str] = {}
        for node in ast.walk(tree):
            if not isinstance(node, ast.ImportFrom):
                continue
            for alias in node.names:
                if alias.name in REPEATED and not alias.asname:
                    swept += 1
                    assert seen.setdefault(alias.name, str(node.module)) == node.module, path
    assert swept > 60


FACE = "for use from Python and in notebooks"
PUBLISHED = "a published formula beside the one used; its worked example is tested"
PICTURES = "makes the pictures of the manual"
MOTION = "motion, photograph and tilt in Python; the script of the page is held to these"
SERVICE = "called by the server's configuration or by the tests' set-up"
TEACHER = "for the practice pages, which choose the next case and show a learner all of theirs"
UNCALLED = {
    "complaint_shift": "a figure that the benchmark prints",
    "read_register": FACE, "write_note": FACE, "count_failure": "counted by hand in tests",
    "pool_normal": PUBLISHED, "exact_share": PUBLISHED, "post_test": PUBLISHED,
    "krippendorff_alpha": PUBLISHED, "fleiss_by_category": PUBLISHED, "light_kappa": PUBLISHED,
    "repeatability": PUBLISHED, "corrected_sd": PUBLISHED, "sem_from_icc": PUBLISHED,
    "sem_from_mdc": PUBLISHED, "agreement_weights": PUBLISHED, "fit_local_level": PUBLISHED,
    "crossed_mean_squares": PUBLISHED, "nested_mean_squares": PUBLISHED,
    "three_way_mean_squares": PUBLISHED, "three_way_components": PUBLISHED,
    "limits_with_repeats": PUBLISHED,
    "crossed_components": PUBLISHED, "nested_components": PUBLISHED, "method_one": PUBLISHED,
    "change_picture": PICTURES,
    "humerus_frame_by_forearm": MOTION, "forearm_frame": MOTION, "joint_angles": MOTION,
    "planar_angles": MOTION, "scapulohumeral_rhythm": MOTION, "centre_by_regression": MOTION,
    "read_landmarks": MOTION, "angle_at_joint": MOTION, "angle_from_vertical": MOTION,
    "angle_from_plumb_line": MOTION, "angle_from_picture": MOTION,
    "angle_from_tilt": MOTION, "in_plane": MOTION, "compose_yxy": MOTION,
    "compose_yxz": MOTION, "angle_from_hanging": MOTION, "angle_between": MOTION,
    "with_placement": MOTION,
    "structures_at": "for the practice of landmarks, which is not there yet",
    "read_measurement_table": "one table by itself, for tests of its rules",
    "solve_records": FACE, "turn_on": SERVICE,
    "findings_frame": FACE, "contexts_frame": FACE, "forget_regions": SERVICE,
    "import_": "a command whose name is a word of the language",
}  # fmt: skip
"""Public functions that the program itself never names, and why each stays."""


def test_a_public_function_that_nobody_calls_has_a_reason() -> None:
    assert {entry.split(": ")[1] for entry in uncalled_functions()} == set(UNCALLED)


BELOW = ("ground", "kinds", "protocol", "network", "record", "measure", "evidence", "teaching",
         "reason", "note")  # fmt: skip


def test_nothing_below_the_door_is_called_load() -> None:
    """Knowledge is handed down as a value; `x_of(region)` is a view of it, and loads nothing."""
    below = [tree for path, tree in MODULES.items() if path.split("/")[0] in BELOW]
    loaders = [name for name in functions(dict(enumerate(below))) if name.startswith("load_")]
    assert loaders == []
    assert len(below) > 240


VERBS = frozenset(
    [
        "apply",
        "build",
        "check",
        "choose",
        "compose",
        "compute",
        "draw",
        "explain",
        "fetch",
        "find",
        "fit",
        "follow",
        "gather",
        "get",
        "handle",
        "judge",
        "load",
        "make",
        "parse",
        "process",
        "read",
        "run",
        "send",
        "show",
        "solve",
        "sort",
        "sum",
        "trace",
        "weigh",
        "write",
    ]
)
NOUNS_AS_WELL = {
    "commands": "a module bears the name of its command",
    "evidence/build.py": "its path is the documented command",
    "schemas/build.py": "its path is the documented command",
    "figure/choose.py": "the figure is being worked on", "figure/compose.py": "the figure is",
    "reason/judging/judge.py": "who judges", "record/check.py": "a check",
    "reason/batch/run.py": "a run", "teaching/pass_marks/judged.py": "marks that were judged",
    "evidence/fit/fitted.py": "the fitted figures, `Fitted`",
}  # fmt: skip
"""Modules with the name of a verb or participle, and why."""


def test_modules_are_nouns_of_the_trade() -> None:
    odd = {
        path
        for path in MODULES
        if (stem := Path(path).stem) in VERBS or is_participle(stem)
        if path.split("/")[0] != "commands"
    }
    assert odd <= set(NOUNS_AS_WELL)
    assert not [path for path in NOUNS_AS_WELL if path.endswith(".py") and path not in odd]
    assert len(MODULES) > 380


PARTICIPLES = {
    # The engine, the site, the figure and the marks have their owners; none is new.
    "network": {"compiled", "gathered", "inlined", "lowered", "observed", "ordered", "signed",
                "summed", "unexamined"},
    "web": {"allowed", "applied", "checked", "confirmed", "damaged", "failed", "folded",
            "gathered", "held", "listed", "noted", "opened", "required", "taken", "weighed"},
    "figure": {"chosen", "cramped", "filled", "turned"},
    "ground": {"wrapped"},
    "reason": {"excepted", "unresolved"},
    "teaching": {"moderated"},
}  # fmt: skip


def test_no_new_public_function_is_one_participle() -> None:
    found: dict[str, set[str]] = {}
    for path, tree in MODULES.items():
        for node in public_names(tree):
            if isinstance(node, Function) and is_participle(node.name):
                found.setdefault(path.split("/")[0], set()).add(node.name)
    assert found == PARTICIPLES

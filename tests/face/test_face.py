"""`import sidewise`: the names that stay, that nothing heavy is imported for them, its errors."""

from __future__ import annotations

import ast
import pickle
import subprocess
import sys
from pathlib import Path

import pytest

import sidewise
from sidewise.errors import UserError, UserErrors

PACKAGE = Path(sidewise.__file__).parent
EXAMPLES = Path(__file__).parents[2] / "examples"


def test_the_names_of_the_face_are_pinned() -> None:
    assert sidewise.__all__ == [
        "UserError",
        "UserErrors",
        "__version__",
        "agree",
        "analyse_marks",
        "follow",
        "interpret",
        "pictures",
        "read_batch",
        "read_findings",
        "read_marks",
        "read_record",
        "read_register",
        "region",
        "schema_of",
        "write_note",
    ]


def test_each_name_is_there_and_says_what_it_does() -> None:
    for name in sidewise.__all__:
        found = getattr(sidewise, name)
        assert name == "__version__" or (found.__name__ == name and found.__doc__)
    assert dir(sidewise) == sidewise.__all__


def test_type_checkers_are_told_of_the_same_names() -> None:
    tree = ast.parse((PACKAGE / "__init__.pyi").read_text(encoding="utf-8"))
    imported = {name.asname for node in tree.body if isinstance(node, ast.ImportFrom)
                for name in node.names}  # fmt: skip
    assert imported | {"__version__"} == set(sidewise.__all__)


def test_no_name_is_that_of_a_package_which_would_take_its_place() -> None:
    packages = {path.name.partition(".")[0] for path in PACKAGE.iterdir()}
    assert len(packages) > 15
    assert not packages & set(sidewise.__all__)


def test_another_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="'sidewise' has no attribute 'diagnose'"):
        sidewise.diagnose  # type: ignore[attr-defined]  # noqa: B018


HEAVY = ("numpy", "scipy", "pandas", "pyarrow", "pydantic", "typer", "yaml", "django")


@pytest.mark.parametrize("code", ["import sidewise", "import sidewise; sidewise.UserError"])
def test_nothing_heavy_is_imported_for_the_face_alone(code: str) -> None:
    words = f"{code}\nimport sys; print([m for m in {HEAVY} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_record_that_cannot_be_used_is_an_error_with_its_parts(tmp_path: Path) -> None:
    path = tmp_path / "heron.json"
    path.write_text('{"format": "sidewise-examination/9"}')
    with pytest.raises(UserError) as caught:
        sidewise.read_record(path)
    error = caught.value
    assert (error.where, error.got) == ("heron.json: format", "sidewise-examination/9")
    assert error.expected == '"sidewise-examination/1"'
    assert error.do.startswith("This is not an examination")


def test_every_mistake_of_a_table_is_an_error_of_its_own() -> None:
    with pytest.raises(UserErrors) as caught:
        sidewise.read_marks(EXAMPLES / "marks" / "broken" / "above_maximum_marks.csv")
    assert len(caught.value.errors) >= 1
    assert all(error.where and error.expected for error in caught.value.errors)


def test_errors_keep_their_parts_between_processes() -> None:
    one = UserError("angle", 1650, "degrees from -180 to 360", "Check the decimal point.")
    back = pickle.loads(pickle.dumps(one))
    assert (back.where, back.got, back.expected, back.do) == (one.where, 1650, one.expected, one.do)
    both = pickle.loads(pickle.dumps(UserErrors([one, one])))
    assert [error.got for error in both.errors] == [1650, 1650]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sidewise.region("knee"), r'region: got "knee", expected one of'),
        (lambda: sidewise.follow([]), "records: got .none., expected two or more visits"),
        (lambda: sidewise.schema_of("x"), 'format: got "x", expected one of'),
        (lambda: sidewise.read_register(EXAMPLES / "no"), "expected a folder of tables"),
        (lambda: sidewise.read_batch(EXAMPLES), "no summary.json that can be read"),
        (lambda: sidewise.read_record(EXAMPLES), "examples: got .a folder., expected a file"),
        (lambda: sidewise.pictures(3), "result: got .int., expected what follow or"),
        (lambda: sidewise.analyse_marks(EXAMPLES / "marks" / "teaching_week_marks.csv", wish=1),
         "wish: got 1, expected one of the options method"),
        (lambda: sidewise.interpret(sidewise.read_record(EXAMPLES / "frozen.json"), draws=9),
         "draws: got 9, expected 100 to 2000"),
        (lambda: sidewise.interpret(sidewise.read_record(EXAMPLES / "frozen.json"), setting="sea"),
         'setting: got "sea", expected one of'),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_said(call, message: str) -> None:
    with pytest.raises(UserError, match=message):
        call()

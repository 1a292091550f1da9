"""The files of the kinds are all alike, stand alone, and none is left out."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import sidewise.kinds
from sidewise.errors import UserError
from sidewise.kinds import KINDS, NAMES, Kind
from sidewise.kinds.common.line import Shorthand, fixed_names, fixed_set
from sidewise.kinds.common.touches import no_normal, no_touches
from sidewise.kinds.count import CountLimits, CountValue
from sidewise.kinds.sign import KIND as SIGN
from sidewise.kinds.sign import SignLimits
from sidewise.protocol import Protocol
from sidewise.protocol.criteria import TESTS
from sidewise.record import check_finding
from tests.builders import found, positive

FOLDER = Path(sidewise.kinds.__file__).parent
BELOW = ("sidewise.kinds.common.", "sidewise.errors", "sidewise.ground.language")
"""What every kind may use: errors, what the kinds share, and the language in which it speaks."""
FILES = sorted(path for path in FOLDER.glob("*.py") if path.name != "__init__.py")


def test_every_file_is_a_kind_and_every_kind_a_file() -> None:
    assert {path.stem for path in FILES} == set(NAMES) == set(KINDS)
    assert len(FILES) == 20


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_kind_knows_no_other_kind_and_nothing_above(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imports = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    ours = [name for node in imports if (name := str(node.module)).startswith("sidewise")]
    assert ours
    assert all(name.startswith(BELOW) for name in ours)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_file_has_limits_then_a_value_then_the_kind(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    classes = [node.name for node in tree.body if isinstance(node, ast.ClassDef)]
    kind = KINDS[path.stem]
    assert classes == [kind.limits.__name__, kind.value.__name__]
    assert ast.unparse(tree.body[-1]).startswith("KIND = Kind(")


def test_every_criterion_of_a_kind_is_one_there_is() -> None:
    named = {test for kind in KINDS.values() for test in kind.criteria}
    assert named == set(TESTS) - {"answer", "normal"}
    assert len(named) == 19


def test_a_kind_cannot_leave_out_what_every_kind_has() -> None:
    with pytest.raises(TypeError, match=r"missing .* 'check', 'is_normal', 'phrase', 'line'"):
        Kind(limits=SignLimits, value=SIGN.value)  # type: ignore[call-arg]


def test_limits_of_one_kind_and_a_value_of_another_are_no_kind() -> None:
    line = Shorthand(
        names=fixed_names(), said=fixed_set(), read=SIGN.line.read, write=SIGN.line.write
    )
    bedside = sidewise.kinds.TouchEntry(touches=no_touches, normal=no_normal)
    with pytest.raises(AssertionError, match="sign: two names"):
        Kind(limits=SignLimits, value=CountValue, check=SIGN.check, is_normal=SIGN.is_normal,
             phrase=SIGN.phrase, line=line, bedside=bedside, criteria=())  # fmt: skip
    assert CountLimits.model_fields["kind"].default == "count"


def test_the_region_lends_its_ladder_and_its_aspects(gate: Protocol) -> None:
    assert gate.item("gate_level").kind("level").ladder == ("post", "T7", "beam")  # type: ignore[union-attr]
    assert gate.item("gate_result").kind("result").region_aspects == ("pain", "lag", "creak")  # type: ignore[union-attr]


def test_an_aspect_that_the_region_does_not_have_names_those_it_has(gate: Protocol) -> None:
    with pytest.raises(UserError, match=r"value.tingling: got True, expected one of pain, lag, cr"):
        check_finding(positive("gate_result", "left", tingling=True), gate)


def test_an_aspect_of_the_region_that_the_item_cannot_show_names_those_it_can(
    gate: Protocol,
) -> None:
    with pytest.raises(UserError, match=r"value.creak: got True, expected only pain, lag for this"):
        check_finding(positive("gate_result", "left", creak=True), gate)


def test_a_level_of_another_ladder_names_the_rungs(gate: Protocol) -> None:
    with pytest.raises(UserError, match=r'value.level: got "T8", expected one of post, T7, beam'):
        check_finding(found("gate_level", "left", "level", level="T8"), gate)

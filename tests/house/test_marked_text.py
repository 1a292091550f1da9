"""Every text of the pages is ready for translation; what is not yet is named, and only shrinks."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from tests.house.unmarked_text import unmarked

ROOT = Path(__file__).resolve().parents[2]
WEB = ROOT / "src" / "sidewise" / "web"
NOT_YET = frozenset({"today.html"})
"""Templates whose texts are not marked yet. Take one out when it is; add none."""
ROOMS_NOT_YET = frozenset({"practice", "classes", "supervised", "tablet"})
"""Rooms being built beside this one, whose templates follow."""
BOUND = re.compile(r"\bpluralize\b")


def _templates() -> dict[str, str]:
    return {
        path.relative_to(WEB).as_posix(): path.read_text(encoding="utf-8")
        for path in sorted(WEB.rglob("*.html"))
        if not ROOMS_NOT_YET & set(path.relative_to(WEB).parts[:-1])
    }


def test_every_text_of_a_template_is_marked() -> None:
    found = {
        name: texts
        for name, template in _templates().items()
        if name.rpartition("/")[2] not in NOT_YET and (texts := list(unmarked(template)))
    }
    assert len(_templates()) > 100
    assert found == {}


def test_a_template_named_as_not_marked_yet_has_unmarked_text() -> None:
    """The list shrinks: who has marked one takes its name out."""
    names = {name.rpartition("/")[2]: text for name, text in _templates().items()}
    assert [name for name in NOT_YET if not list(unmarked(names.get(name, "")))] == []


@pytest.mark.parametrize(
    ("planted", "found"),
    [
        ("<p>tender to touch</p>", ["tender to touch"]),
        ('<p>{% translate "tender" %} here</p>', ["here"]),
        ("<b>{{ side }}</b>: not examined", [": not examined"]),
        ("{% if left %}left{% else %}right{% endif %}", ["left right"]),
        ('<a href="{% url \'stage\' 1 %}" aria-label="close {{ name }}">x</a>', ["close"]),
        ('<img alt="the course">', ["the course"]),
        ('<input placeholder="code">', ["code"]),
        ('{{ names|default:"nothing" }}', ["nothing"]),
        ("<script>const word = 'code';</script><p>read</p>", ["read"]),
        ('<p class="quiet" data-side="left">{{ number }} / 12 cm</p>', []),
        ("{% blocktranslate with n=a.b %}all {{ n }} of them{% endblocktranslate %}", []),
        ('{{ names|default:_("nothing") }}{# of nothing #}', []),
        ('<p aria-label="{% translate "right" %}">&amp; sidewise</p>', []),
    ],
)
def test_a_planted_text_is_found_and_a_marked_one_is_not(planted: str, found: list[str]) -> None:
    assert list(unmarked(planted)) == found


def test_no_plural_is_made_by_hanging_a_letter_on_a_word() -> None:
    """Few languages add an s: a text with a number has one form for one and another for many."""
    assert [name for name, text in _templates().items() if BOUND.search(text)] == []


SHOWN = ("label", "help_text")


def _plain_texts(path: Path) -> list[str]:
    """Labels and helps of fields that are plain literals with a word in them."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [
        f"{path.relative_to(WEB)}:{word.value.lineno}"
        for call in ast.walk(tree)
        if isinstance(call, ast.Call) and _is_field(call)
        for word in call.keywords
        if word.arg in SHOWN and isinstance(word.value, ast.Constant) and word.value.value
    ]


def _is_field(call: ast.Call) -> bool:
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    return name.endswith(("Field", "PlainText"))


def test_every_label_and_help_of_a_form_is_marked() -> None:
    # A migration holds what was true when it was written, and is shown to nobody.
    away = ROOMS_NOT_YET | {"migrations"}
    paths = [p for p in WEB.rglob("*.py") if not away & set(p.relative_to(WEB).parts[:-1])]
    assert [line for path in sorted(paths) for line in _plain_texts(path)] == []


def test_a_planted_label_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.house.test_marked_text.WEB", tmp_path)
    planted = tmp_path / "forms.py"
    marked = 'sex = forms.CharField(label=_("Sex"))'
    planted.write_text(f'age = forms.IntegerField(label="Age")\n{marked}')
    assert _plain_texts(planted) == ["forms.py:1"]

"""Every page is given a frozen dataclass in which each field says what it is."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.test import RequestFactory

import sidewise.web
from sidewise.web import pages
from tests.web.cast import tender, touch

WEB = Path(sidewise.web.__file__).parent
VIEWS = sorted(
    [
        *WEB.glob("examinations/**/*.py"),
        *WEB.glob("patients/*.py"),
        *WEB.glob("anatomy/*.py"),
    ]
)
RENDERERS = {"render", "render_to_string", "TemplateResponse", "get_template"}
KEPT_PIECES = WEB / "examinations" / "pieces.py"
ENDINGS = ("Page", "Piece", "Context", "TouchAnswer")
PARTS = (
    "stage/look/", "stage/look/?stand=behind", "row/neer/", "item/neer/", "item/neer/?how=1",
    "about/", "history/", "figure/", "figure/?spot=trapezius&side=left&view=back",
    "figure/?mark=scars", "meaning/", "care/", "note/", "rest/feel/", "sign/", "discard/", "amend/",
)  # fmt: skip


def _trees():
    return {path: ast.parse(path.read_text(encoding="utf-8")) for path in VIEWS}


def _called(tree):
    calls = (node.func for node in ast.walk(tree) if isinstance(node, ast.Call))
    return {f.id if isinstance(f, ast.Name) else getattr(f, "attr", "") for f in calls}


def test_a_page_is_shown_in_one_way_only():
    trees = _trees()
    assert len(trees) > 25
    others = {path.name for path, tree in trees.items() if _called(tree) & RENDERERS}
    assert others == {KEPT_PIECES.name}
    assert sum("show" in _called(tree) for tree in trees.values()) >= 8


def test_every_field_of_a_context_says_what_it_is():
    swept = 0
    for path, tree in _trees().items():
        for node in ast.walk(tree):
            if not (isinstance(node, ast.ClassDef) and node.name.endswith(ENDINGS)):
                continue
            for part, after in zip(node.body, [*node.body[1:], None], strict=True):
                if isinstance(part, ast.AnnAssign):
                    assert _is_text(after), f"{path.name}: {node.name}.{part.target.id}"
                    swept += 1
    assert swept > 90


def _is_text(node):
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


@dataclass
class Changeable:
    """A dataclass that is not frozen."""

    error: str = ""


@pytest.mark.parametrize("context", [{"error": ""}, Changeable()])
def test_nothing_else_can_be_shown(context):
    request = RequestFactory().get("/")
    with pytest.raises(TypeError, match="a page is given a frozen dataclass"):
        pages.show(request, "examinations/flags.html", context)
    with pytest.raises(TypeError, match="a page is given a frozen dataclass"):
        pages.piece(request, "examinations/flags.html", context)


def test_every_view_shows_a_context_that_is_one(cast, monkeypatch):
    given, real = [], pages.checked_values

    def noted(context):
        given.append(type(context).__name__)
        return real(context)

    monkeypatch.setattr(pages, "checked_values", noted)
    client = cast.client("owner")
    touch(client, cast.examination, tender(2))
    touch(client, cast.examination, {**tender(2), "item": "nothing"})
    for part in PARTS:
        answer = client.get(f"/examinations/{cast.examination.pk}/{part}")
        assert answer.status_code in (200, 302), part
    key, one = cast.patient.key, cast.examination.pk
    whose = f"patients/{key}/"
    for address in ("", "patients/", "patients/new/", whose, f"{whose}examine/",
                    f"{whose}compare/?a={one}&b={one}"):  # fmt: skip
        assert client.get(f"/{address}").status_code == 200, address
    assert set(given) >= {
        "TouchAnswer", "StagePage", "ItemPage", "AboutPage", "HistoryPage",
        "FigurePage", "MeaningPage", "NotePage", "RestPage", "SignPage", "ReasonPage",
        "TodayPage", "PatientsPage", "NewPatientPage", "PatientPage", "NewExaminationPage",
        "ComparePage",
    }  # fmt: skip

"""Every kind of value has its way of entry, in any region: an invented one has an item of each."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.template.loader import get_template

from sidewise.kinds import NAMES
from sidewise.regions import forget_regions
from sidewise.web.examinations.state import current
from tests.gate import write_gate
from tests.web.cast import touch

FORMS = {
    "sign": {"value": '{"kind":"sign","grade":"present"}'},
    "normal_by_eye": {"value": '{"kind":"normal_by_eye"}'},
    "reduced_by_eye": {"value": '{"kind":"reduced_by_eye","range":"about half"}'},
    "tenderness": {"value": '{"kind":"tenderness","grade":3}'},
    "angle": {"kind": "angle", "angle.degrees": "41.5", "angle.instrument": "phone"},
    "arc": {"kind": "arc", "arc.from": "60", "arc.to": "110"},
    "level": {"kind": "level", "level.level": "T7", "level.pain": "true"},
    "length": {"kind": "length", "length.cm": "1.5"},
    "seconds": {"kind": "seconds", "seconds.seconds": "20"},
    "count": {"kind": "count", "count.count": "12"},
    "mrc": {"value": '{"kind":"mrc","grade":"4-"}'},
    "force": {"kind": "force", "force.newtons": "85", "force.limited_by_pain": "true"},
    "result": {"value": '{"kind":"result","result":"positive","pain":true,"where":"above"}'},
    "choice": {"value": '{"kind":"choice","choice":"odd"}'},
    "place": {"kind": "place", "place.what": "scar", "place.view": "front"},
    "reflex": {"value": '{"kind":"reflex","reflex":"brisk"}'},
    "sensation": {"value": '{"kind":"sensation","sensation":"reduced"}'},
    "pulse": {"value": '{"kind":"pulse","pulse":"weak"}'},
    "vital": {"kind": "vital", "vital.number": "128"},
    "text": {"kind": "text", "text.text": "Moves like a gate."},
}


@pytest.fixture
def gate(cast, tmp_path, monkeypatch):
    """A region in which there is an item of every kind; nothing of it stands in code."""
    write_gate(tmp_path / "gate")
    monkeypatch.setattr("sidewise.knowledge.region.SHIPPED", tmp_path)
    forget_regions()
    opened = cast.open()
    opened.region = "gate"
    opened.save()
    first = opened.entries.get()
    changed = {**first.deed, "region": "gate"}
    # The ledger is append-only in the database too, so this one is written anew.
    cast.examination = _again(cast, opened, changed)
    yield cast
    forget_regions()


def _again(cast, opened, deed):
    from datetime import UTC, datetime
    from uuid import uuid4

    from sidewise.record import Context
    from sidewise.web.examinations.store import open_examination

    context = Context.model_validate(deed["context"])
    return open_examination(
        cast.patient, cast.owner, "gate", context, uuid4().hex, datetime.now(UTC)
    )


def test_each_kind_has_one_template_and_no_template_is_of_none():
    templates = [get_template(f"examinations/kinds/{kind}.html") for kind in NAMES]
    folder = Path(templates[0].origin.name).parent
    assert {path.stem for path in folder.glob("*.html")} == set(NAMES)
    assert len(templates) == 20


@pytest.mark.parametrize("kind", NAMES)
def test_a_value_of_each_kind_is_entered_and_comes_back_from_the_file(gate, kind):
    client = gate.client("owner")
    form = {"places": f"gate_{kind} left", **FORMS[kind]}
    answer = client.post(f"/examinations/{gate.examination.pk}/record/", form)
    assert answer.status_code == 302, answer.content.decode()
    file = json.loads(client.get(f"/examinations/{gate.examination.pk}/file/").content)
    (found,) = file["findings"]
    assert (found["item"], found["side"], found["value"]["kind"]) == (f"gate_{kind}", "left", kind)


@pytest.mark.parametrize("kind", NAMES)
def test_every_button_of_each_kind_records(gate, kind):
    client, pressed = gate.client("owner"), 0
    client.post(f"/examinations/{gate.examination.pk}/record/",
                {"places": f"gate_{kind} left", **FORMS[kind]})  # fmt: skip
    from sidewise.web.examinations.rows import cell_of

    now = current(gate.examination)
    cell = cell_of(now, now.protocol.item(f"gate_{kind}"), "left", None)
    for button in cell.widgets[0].buttons:
        value = {name: part for name, part in button.value.items() if part is not None}
        finding = {"item": f"gate_{kind}", "side": "left", "value": value}
        live = list(current(gate.examination).holders)
        answer = touch(client, gate.examination, finding, replaces=live)
        assert answer.status_code == 200, (button, answer.content.decode())
        pressed += 1
    assert pressed >= (0 if kind in FORM_ONLY else 1)


FORM_ONLY = {"angle", "level", "length", "count", "force", "place", "vital", "text"}


def test_a_page_of_every_kind_is_shown_and_has_a_field_or_a_button_for_each(gate):
    page = gate.client("owner").get(f"/examinations/{gate.examination.pk}/stage/look/")
    text = page.content.decode()
    for kind in NAMES:
        row = text[text.index(f'id="row-gate_{kind}"') :]
        row = row[: row.index("</article>")]
        assert "data-touch" in row, kind


def test_a_region_without_a_figure_links_to_none(gate):
    client = gate.client("owner")
    for part in ("stage/look/", "item/gate_place/"):
        page = client.get(f"/examinations/{gate.examination.pk}/{part}").content.decode()
        assert f"/examinations/{gate.examination.pk}/figure/" not in page, part
        assert 'name="place.what"' in page, part


def test_a_region_with_a_figure_links_to_it(cast):
    page = cast.client("owner").get(f"/examinations/{cast.examination.pk}/stage/look/")
    assert f"/examinations/{cast.examination.pk}/figure/" in page.content.decode()

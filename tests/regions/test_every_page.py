"""Every page of an examination on the invented region, and the choice of a region at its start."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import django
import pytest

from sidewise.web.home import home

(home() / "static").mkdir(exist_ok=True)
django.setup()

from tests.regions.conftest import Install  # noqa: E402
from tests.regions.shelf import FINDINGS, absent_groups  # noqa: E402

ABSENT = {
    name: parts
    for name, parts in absent_groups().items()
    if name in ("nothing", "figure", "weighing", "every optional")
}
ADDRESSES = {
    "examination": "", "stage": "stage/shake-and-tap/", "row": "row/shake/?open=shake",
    "item": "item/swing_out/", "rest": "rest/look/", "about": "about/", "history": "history/",
    "meaning": "meaning/", "held": "held/", "note": "note/", "file": "file/", "sign": "sign/",
    "discard": "discard/", "figure": "figure/?spot=wick&side=left",
    "movement": "figure/movement/", "care": "care/", "mirror": "mirror/", "move": "move/",
    "visit-plan": "plan/", "leaflet": "leaflet/", "print-paper": "paper/fhir.json/",
}  # fmt: skip
BY_TOUCH = {
    "since",
    "queue",
    "line",
    "touch",
    "record",
    "instrument",
    "answer",
    "vitals",
    "revision",
    "amend",
}
"""Addresses that are posted to, or that a signed examination has: each is tried below."""


@pytest.fixture
def clinic(db: None, settings: Any) -> Any:
    """The cast of the pages, whose own examination is of the other region."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    from tests.web.cast import Cast

    return Cast()


def begun(cast: Any) -> str:
    """An examination of the lantern joint begun on the page; its address."""
    from sidewise.web.examinations.models import Examination

    form = {"region": "lantern", "age": "61", "complaint": ["left"], "dominant": "right"}
    address = f"/patients/{cast.patient.key}/examine/"
    answer = cast.client("owner").post(address, form)
    assert answer.status_code == 302
    assert answer["Location"].endswith("/history/#core")
    examination = Examination.objects.filter(region="lantern").get()
    cast.examination = examination
    return f"/examinations/{examination.pk}/"


def test_every_address_of_an_examination_is_swept() -> None:
    from sidewise.web.examinations.urls import of_an_examination

    names = {pattern.name for pattern in of_an_examination}
    assert names == set(ADDRESSES) | BY_TOUCH
    assert len(names) == 31


@pytest.mark.parametrize("absent", ABSENT)
def test_every_page_opens(absent: str, install: Install, clinic: Any) -> None:
    from tests.web.cast import touch

    install(ABSENT[absent])
    base, client = begun(clinic), clinic.client("owner")
    assert touch(client, clinic.examination, *FINDINGS).status_code == 200
    swept = 0
    for name, part in ADDRESSES.items():
        answer = client.get(f"{base}{part}", follow=True)
        # No atlas: places as a list, and no movement is drawn.
        none = name == "figure" and absent in ("figure", "every optional")
        wanted = 404 if none or name == "movement" else 200
        assert answer.status_code == wanted, (name, part)
        swept += 1
    assert swept == 21
    for page in ("/", f"/patients/{clinic.patient.key}/"):
        assert "lantern" in client.get(page).content.decode()


@pytest.mark.parametrize("absent", ABSENT)
def test_every_stage_has_its_page_in_the_regions_order(
    absent: str, install: Install, clinic: Any
) -> None:
    install(ABSENT[absent])
    base, client = begun(clinic), clinic.client("owner")
    titles = ["greeting", "look", "swing", "shake and tap", "parting"]
    for slug, title in zip(("greet", "look", "swing", "shake-and-tap", "part"), titles,
                           strict=True):  # fmt: skip
        page = client.get(f"{base}stage/{slug}/").content.decode()
        assert f"HERON-1: {title}" in page
        assert ("angles are read with" in page) == (slug == "swing")
    strip = client.get(f"{base}stage/look/").content.decode()
    places = [strip.index(f'data-stage="{slug}"') for slug in ("greet", "swing", "part")]
    assert places == sorted(places)


def test_a_region_without_an_atlas_has_the_list_of_its_places(
    install: Install, clinic: Any
) -> None:
    install()
    base, client = begun(clinic), clinic.client("owner")
    page = client.get(f"{base}figure/?spot=wick&side=left").content.decode()
    assert '<svg class="fig' not in page
    assert 'aria-label="left wick swelling: not examined"' in page
    assert 'aria-label="right wick swelling: not examined"' in page
    assert 'id="spot-glass_tenderness"' in page
    assert client.get("/anatomy/lantern/").status_code == 404
    assert "movement as measured" not in page
    note = client.get(f"{base}note/").content.decode()
    assert "note-plates" not in note


def test_what_is_posted_is_kept(install: Install, clinic: Any) -> None:
    install()
    base, client = begun(clinic), clinic.client("owner")
    shake = {"places": "shake left", "value": '{"kind":"result","result":"positive","pain":true}'}
    assert client.post(f"{base}record/", shake)["Location"].endswith("shake-and-tap/#row-shake")
    answer = {"state": "history.glows_at_night", "answer": "no"}
    assert client.post(f"{base}history/answer/", answer).status_code == 302
    vitals = {"temperature": "37", "states": "{}"}
    assert client.post(f"{base}history/vitals/", vitals).status_code == 302
    read_with = client.post(f"{base}instrument/", {"instrument": "goniometer"})
    assert read_with["Location"].endswith("/stage/swing/")
    line = client.post(f"{base}line/", {"text": "swing passive L 40 R 70"})
    assert "outward swing" in line.content.decode()
    seen = re.search(r'name="seen" value="([^"]*)"', client.get(f"{base}sign/").content.decode())
    assert seen
    form = {"impression": "wick", "plan": "", "sign": "1", "seen": seen[1]}
    assert client.post(f"{base}sign/", form).status_code == 302
    assert client.get(f"{base}amend/").status_code == 200
    assert client.post(f"{base}amend/", {"reason": "a second look"}).status_code == 302
    assert "lantern joint" in client.get(f"{base}revisions/1/").content.decode()


def test_a_region_is_chosen_and_never_taken_for_granted(install: Install, clinic: Any) -> None:
    install()
    address = f"/patients/{clinic.patient.key}/examine/"
    client = clinic.client("owner")
    page = client.get(address).content.decode()
    assert '<option value="" selected>choose</option>' in page
    assert '<option value="lantern">lantern</option>' in page
    refused = client.post(address, {"age": "61"})
    assert refused.status_code == 422
    odd = client.post(address, {"age": "61", "region": "elbow"})
    assert odd.status_code == 422


def test_with_one_region_nothing_is_asked(clinic: Any, tmp_path: Path,
                                          monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    from sidewise.web.examinations.models import Examination

    monkeypatch.setenv("SIDEWISE_HOME", str(tmp_path))
    address = f"/patients/{clinic.patient.key}/examine/"
    client = clinic.client("owner")
    assert "What is examined" not in client.get(address).content.decode()
    assert client.post(address, {"age": "61"})["Location"].endswith("/history/#core")
    assert set(Examination.objects.values_list("region", flat=True)) == {"shoulder"}


def test_a_broken_region_is_refused_with_its_reason(install: Install, clinic: Any) -> None:
    folder = install()
    (folder / "readings.yaml").unlink()
    address = f"/patients/{clinic.patient.key}/examine/"
    answer = clinic.client("owner").post(address, {"age": "61", "region": "lantern"})
    assert answer.status_code == 422
    assert "readings.yaml: got" in answer.content.decode()


def test_visits_of_a_course_are_of_one_region(install: Install, clinic: Any) -> None:
    install()
    begun(clinic)
    page = clinic.client("owner").get(f"/patients/{clinic.patient.key}/").content.decode()
    assert "No course can be drawn" in page

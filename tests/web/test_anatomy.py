"""The anatomy page, for everybody with an account, and the sheets browsers keep."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from sidewise.figure.sheets import fingerprint, sheet_names
from sidewise.protocol.figure import atlas_of, figure_of
from tests.shoulder import SHOULDER

PAGE = "/anatomy/shoulder/"


@pytest.fixture
def student(db, client):
    from sidewise.web.accounts.models import Role, User

    client.force_login(User.objects.create_user("s1", password="x" * 12, role=Role.STUDENT))
    return client


def test_a_student_sees_a_manoeuvre_with_posture_and_positions(student):
    page = student.get(f"{PAGE}?item=apprehension").content.decode()
    item = "Lying on the back, shoulder at the edge of the couch, elbow bent."
    assert item in page
    assert "front-rotation-at-90-90.svg" in page
    assert "External rotation" not in page
    assert "Holzbaur" in page


def test_every_item_with_a_posture_has_its_plate(student):
    swept = 0
    postures = figure_of(SHOULDER).postures
    assert postures is not None
    for item, posture in postures.items.items():
        answer = student.get(f"{PAGE}?item={item}")
        assert answer.status_code == 200, item
        if posture.note:
            assert posture.note in answer.content.decode()
        swept += 1
    assert swept == 29


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("item=handstand", "an item of the protocol"),
        ("view=above", "one of front"),
        ("movement=leap&at=3", "one of abduction"),
        ("movement=flexion&at=much", "a number of degrees"),
        ("movement=flexion", "degrees, or a level"),
        ("movement=flexion&at=nan", "a number of degrees"),
        ("movement=hand+behind+back&at=C1", ""),
    ],
)
def test_what_there_is_not_is_said_and_the_hanging_arm_is_shown(student, query, message):
    answer = student.get(f"{PAGE}?{query}")
    page = answer.content.decode()
    assert answer.status_code == (422 if message else 200)
    assert message in page
    assert '<svg class="fig' in page


def test_an_angle_beyond_the_atlas_shows_the_last_posture_and_the_number(student):
    page = student.get(f"{PAGE}?movement=extension&at=80").content.decode()
    assert "80 degrees, drawn at 60, the last posture there is" in page


def test_every_muscle_is_named_with_what_attaches_and_which_nerve(student):
    page = student.get(PAGE).content.decode()
    atlas = atlas_of(SHOULDER)
    assert atlas is not None
    for muscle in atlas.muscles.values():
        for words in (muscle.label, muscle.origin, muscle.insertion, muscle.nerve):
            assert words in page
    assert len(atlas.muscles) == 17


def test_a_sheet_is_kept_by_the_browser_for_a_year(student):
    atlas = atlas_of(SHOULDER)
    assert atlas is not None
    digest = fingerprint(atlas)
    answer = student.get(f"{PAGE}sheets/{digest}/back-abduction-90.svg")
    assert answer["Content-Type"] == "image/svg+xml"
    assert answer["Cache-Control"] == "private, max-age=31536000, immutable"
    assert answer.content.decode() == sheet_names(atlas)["back-abduction-90"]()


@pytest.mark.parametrize(
    "part", ["{digest}/front-cartwheel-0.svg", "0123456789abcdef/front-rest-0.svg"]
)
def test_a_sheet_of_another_name_or_state_is_not_there(student, part):
    atlas = atlas_of(SHOULDER)
    assert atlas is not None
    assert student.get(f"{PAGE}sheets/{part.format(digest=fingerprint(atlas))}").status_code == 404


def test_a_region_without_drawings_has_no_page(student):
    assert student.get("/anatomy/lantern/").status_code == 404
    assert student.get(reverse("anatomy"))["Location"] == PAGE


def test_an_item_links_to_its_anatomy(cast):
    page = cast.client("owner").get(f"/examinations/{cast.examination.pk}/item/neer/?how=1")
    text = page.content.decode()
    assert f'href="{PAGE}?item=neer"' in text
    assert "the thumb points down, which is not drawn" in text
    assert "right-flexion" not in text
    assert re.search(r"side-flexion-150\.svg#over", text)


def test_a_touch_never_draws_a_plate(cast, monkeypatch):
    """A touch of a row answers with rows alone; what is drawn is asked for by itself."""
    from sidewise.web.examinations import figure
    from tests.web.cast import tender, touch

    monkeypatch.setattr(figure, "compose", lambda *_a, **_k: pytest.fail("a plate was composed"))
    assert touch(cast.client("owner"), cast.examination, tender(2)).status_code == 200

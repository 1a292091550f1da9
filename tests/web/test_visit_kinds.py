"""The kind of visit on the pages: chosen at the start, changed later, followed by a next one."""

from __future__ import annotations

from typing import Any

from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.rows import cell_of, stage_groups
from sidewise.web.examinations.state import current
from sidewise.web.examinations.together import open_places
from sidewise.web.patients.models import Patient
from tests.shoulder import PROTOCOL
from tests.web.cast import sign, tender, touch


def begin(cast: Any, **fields: Any) -> Examination:
    """A new examination begun by its form; the page must have taken it."""
    before = set(Examination.objects.values_list("pk", flat=True))
    address = f"/patients/{cast.patient.key}/examine/"
    answer = cast.client("owner").post(address, fields)
    assert answer.status_code == 302, answer.content.decode()
    return Examination.objects.exclude(pk__in=before).get()


def page(cast: Any, where: str, examination: Any = None) -> str:
    chosen = examination or cast.examination
    return cast.client("owner").get(f"/examinations/{chosen.pk}/{where}").content.decode()


def test_the_kind_is_chosen_when_a_visit_begins(cast):
    visit = begin(cast, visit="short")
    assert current(visit).record.context.visit == "short"
    assert "<b>short examination</b>, not a full one" in page(cast, "history/", visit)
    assert "not a full one" not in page(cast, "history/")


def test_an_unknown_kind_is_refused_and_nothing_is_begun(cast):
    answer = cast.client("owner").post(f"/patients/{cast.patient.key}/examine/", {"visit": "quick"})
    assert answer.status_code == 422
    assert Examination.objects.count() == 1


def test_the_kind_can_be_changed_under_about(cast):
    about = f"/examinations/{cast.examination.pk}/about/"
    assert cast.client("owner").post(about, {"visit": "injured"}).status_code == 302
    assert cast.record.context.visit == "injured"
    assert cast.client("owner").post(about, {"visit": ""}).status_code == 302
    assert cast.record.context.visit is None


def test_a_stage_opens_with_what_the_kind_has_and_names_the_rest(cast):
    now = current(begin(cast, visit="short"))
    (move,) = [stage for stage in PROTOCOL.stages if stage.slug == "move"]
    groups = stage_groups(now, move)
    rows = {item.id for group in groups for item in group.rows}
    more = {item.id for group in groups for item in group.more}
    assert rows == {"painful_arc", "external_rotation_at_side"}
    assert rows | more == {item.id for item in PROTOCOL.items_of(move)}


def test_one_touch_for_the_rest_records_nothing_that_the_kind_leaves_out(cast):
    now = current(begin(cast, visit="short"))
    own = {kind.id: kind for kind in PROTOCOL.visits.kinds}["short"].items
    rest = {place.item.id for stage in PROTOCOL.stages for place in open_places(now, stage)}
    assert rest
    assert rest <= set(own)


def test_the_page_before_the_signature_names_the_kind_and_what_it_left_out(cast):
    shown = page(cast, "sign/", begin(cast, visit="stiff"))
    assert "<b>examination of a stiff shoulder</b>, not a full one" in shown
    _, said, left_out = shown.partition("Not part of it and not examined:")
    assert said
    assert "shoulder height" in left_out.partition("</p>")[0]


def test_a_follow_up_is_offered_only_where_there_is_a_visit_to_follow(cast):
    alone = Patient.objects.create(code="DUNLIN-4", owner=cast.owner)
    for patient, offered in ((alone, False), (cast.patient, True)):
        address = f"/patients/{patient.key}/examine/"
        shown = cast.client("owner").get(address).content.decode()
        assert ('value="follow_up"' in shown) is offered
    answer = cast.client("owner").post(f"/patients/{alone.key}/examine/", {"visit": "follow_up"})
    assert answer.status_code == 422


def followed(cast: Any) -> Examination:
    """A follow-up of a visit at which a sore coracoid process was found and signed."""
    touch(cast.client("owner"), cast.examination, tender(2))
    assert sign(cast.client("owner"), cast.examination).status_code == 302
    return begin(cast, visit="follow_up", pain_0_10="3")


def test_a_follow_up_carries_what_lasts_and_says_so_on_every_page(cast):
    visit = followed(cast)
    context = current(visit).record.context
    assert (context.sex, context.dominant, context.complaint) == ("female", "right", ("left",))
    assert context.pain_0_10 == 3
    assert context.follows.record == str(cast.examination.pk)
    for where in ("history/", "stage/feel/", "sign/", "about/"):
        assert "Carried from there, not asked again: age" in page(cast, where, visit), where


def test_a_follow_up_examines_nothing_by_itself_and_shows_what_was_found_then(cast):
    visit = followed(cast)
    now = current(visit)
    assert now.record.findings == ()
    assert "coracoid_tenderness" in now.completeness.called
    cell = cell_of(now, PROTOCOL.item("coracoid_tenderness"), "left", None)
    assert cell.is_open
    assert cell.last.startswith("2 Mar 2026: tender (2")
    shown = page(cast, "stage/feel/", visit)
    assert "last time, 2 Mar 2026: tender (2" in shown
    assert "last time" not in page(cast, "stage/feel/")


def test_what_was_found_then_is_asked_for_once_not_at_every_touch(
    cast, django_assert_max_num_queries
):
    visit = followed(cast)
    assert current(visit).last_time
    touch(cast.client("owner"), visit, tender(1))
    with django_assert_max_num_queries(1):
        assert current(visit).last_time


def test_a_visit_of_another_patient_is_never_shown_as_last_time(cast):
    visit = followed(cast)
    other = Patient.objects.create(code="DUNLIN-4", owner=cast.owner)
    Examination.objects.filter(pk=cast.examination.pk).update(patient=other)
    current_of = current(Examination.objects.get(pk=visit.pk))
    current_of.__dict__.pop("last_time", None)
    current_of._last_before = None
    assert current_of.last_time == {}


def test_after_the_core_questions_one_line_says_what_nobody_has_looked_at(cast):
    """Neither twenty open flags nor none: ten answers of no are not a look."""
    assert "Not looked at or asked yet" not in page(cast, "history/")
    core = {question.id: "no" for question in PROTOCOL.history if question.core}
    asked = cast.open(history=core)
    for where in ("history/", "stage/look/"):
        shown = page(cast, where, asked)
        (line,) = [text for text in shown.split("<p") if "Not looked at or asked yet" in text]
        assert "skin" in line
        assert "pulse and hand" in line
    pulse = {"kind": "pulse", "pulse": "normal"}
    touch(cast.client("owner"), asked, {"item": "radial_pulse", "side": "left", "value": pulse})
    (line,) = [t for t in page(cast, "history/", asked).split("<p") if "Not looked at or" in t]
    assert "pulse and hand" not in line

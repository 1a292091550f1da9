"""Nothing of a de-identified export says whose it is; intervals between visits stay true."""

from __future__ import annotations

import csv
from itertools import count
from pathlib import Path

import pytest

from sidewise.exchange.tables.deidentification import MOST_DAYS, Deidentifier
from sidewise.exchange.tables.export import ExportWish, export_tables
from sidewise.exchange.tables.record_source import record_source
from sidewise.exchange.tables.small_groups import FEWEST, GroupCounts
from sidewise.record import Record, read_record
from sidewise.record.model import Conclusion
from sidewise.record.table import care_from_row
from tests.builders import angle, found, record, unable
from tests.shoulder import PROTOCOL, REGIONS

ROOT = Path(__file__).parents[2]
SECRET = "Sanderling of the north quay"
CARE = (
    {"kind": "step", "state": "planned", "name": "referral", "to": SECRET, "how_fast": "routine",
     "detail": SECRET},
    {"kind": "investigation", "name": "radiograph", "outcome": "normal", "report": SECRET,
     "taken_on": "2026-02-20"},
    {"kind": "injection", "substances": [{"name": SECRET, "dose": 40, "unit": "mg"}],
     "place": SECRET, "side": "left", "side_again": "left", "consent": True, "allergy": "no",
     "blood_thinner": "no", "diabetes": "no", "infection": "no", "note": SECRET,
     "response": {"relief": "all", "after_minutes": 10, "movement": SECRET, "degrees_before": 10,
                  "degrees_after": 20}},
    {"kind": "score", "name": SECRET, "total": 5, "low": 0, "high": 10},
)  # fmt: skip


def full_of_secrets(**context: object) -> Record:
    care = care_from_row({"care": __import__("json").dumps(CARE)})
    one = record(
        angle("flexion", "left", 90, "active", position=SECRET).model_copy(
            update={"note": SECRET, "examiner": SECRET}
        ),
        unable("neer", "left", SECRET),
        found("scars", "midline", "text", text=SECRET)
        if "scars" in PROTOCOL.by_id and PROTOCOL.by_id["scars"].kind("text")
        else unable("hawkins_kennedy", "left", SECRET),
        examiner=SECRET, mechanism=SECRET, **{"patient": "SANDERLING-7", **context},
    )  # fmt: skip
    words = Conclusion(impression=SECRET, plan=(SECRET,))
    return one.model_copy(update={"id": "SANDERLING-7-visit", "care": care, "conclusion": words})


@pytest.mark.parametrize("shape", ["long", "wide"])
def test_no_name_and_no_text_is_left(shape: str, tmp_path: Path) -> None:
    wish = ExportWish("csv", shape, deidentified=True)
    export_tables([full_of_secrets()], tmp_path / "out", REGIONS, wish)
    files = list((tmp_path / "out").iterdir())
    assert len(files) >= 4
    for path in files:
        text = path.read_text(encoding="utf-8")
        for word in ("Sanderling", "SANDERLING", "2026-03-02", "2026-02-20", "09:40"):
            assert word not in text, path.name


def test_text_stays_when_it_is_asked_for_and_that_is_said(tmp_path: Path) -> None:
    wish = ExportWish(deidentified=True, free_text=True)
    export_tables([full_of_secrets()], tmp_path / "out", REGIONS, wish)
    told = (tmp_path / "out" / "contexts.csv").read_text()
    assert SECRET in told
    assert "SANDERLING-7" not in told
    assert "FREE TEXT IS KEPT" in (tmp_path / "out" / "about.txt").read_text()


def test_what_was_measured_stays_as_it_was() -> None:
    hidden = Deidentifier().deidentified(full_of_secrets(), PROTOCOL)
    first = hidden.findings[0]
    assert first.value is not None
    assert getattr(first.value, "degrees") == 90  # noqa: B009
    assert getattr(first.value, "position") is None  # noqa: B009
    assert hidden.findings[1].status == "unable"
    assert hidden.findings[1].reason == "left out"


def test_words_of_the_protocol_are_no_free_text() -> None:
    paths = sorted((ROOT / "examples").glob("*.json"))
    kept = 0
    for path in paths:
        one = read_record(path, REGIONS)
        hidden = Deidentifier().deidentified(one, PROTOCOL)
        for before, after in zip(one.findings, hidden.findings, strict=True):
            if before.value is not None and before.value.kind not in ("text", "place"):
                assert after.value == before.value
                kept += 1
    assert kept > 1_500


@pytest.mark.parametrize(("age", "told"), [(89, 89), (90, 90), (91, 90), (104, 90), (None, None)])
def test_ninety_stands_for_ninety_or_older(age: int | None, told: int | None) -> None:
    hidden = Deidentifier().deidentified(record(age=age), PROTOCOL)
    assert hidden.context.age == told


def test_all_visits_of_a_patient_move_together_and_those_of_others_otherwise() -> None:
    hide = Deidentifier(days=iter((40, -3)).__next__, number=map(str, count()).__next__)
    days = ["2026-03-02T09:40:00+00:00", "2026-04-13T16:00:00+00:00"]
    one, two = (
        hide.deidentified(record(examined_at=day).model_copy(update={"id": day}), PROTOCOL)
        for day in days
    )
    other = hide.deidentified(record(patient="PLOVER-2", examined_at=days[0]), PROTOCOL)
    assert (two.context.examined_at - one.context.examined_at).days == 42
    assert one.context.examined_at.isoformat() == "2026-04-11T12:00:00+00:00"
    assert one.context.patient == two.context.patient != other.context.patient
    assert other.context.examined_at.isoformat() == "2026-02-27T12:00:00+00:00"


def test_every_patient_is_moved_and_none_too_far() -> None:
    drawn = [Deidentifier().days() for _ in range(2_000)]
    assert 0 not in drawn
    assert max(map(abs, drawn)) <= MOST_DAYS
    assert min(drawn) < 0 < max(drawn)


def test_numbers_follow_from_nothing() -> None:
    made = {Deidentifier().deidentified(record(), PROTOCOL).context.patient for _ in range(50)}
    assert len(made) == 50


def test_the_order_of_records_tells_nothing() -> None:
    paths = sorted((ROOT / "examples").glob("*.json"))
    source = record_source(paths)
    orders = {
        tuple(r.id for r in source.mixed_entries(REGIONS) if isinstance(r, Record))
        for _ in range(2)
    }
    assert len(orders) == 2  # by chance alike once in 13!
    assert len({frozenset(order) for order in orders}) == 1


def test_why_a_record_was_set_aside_stays_out_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "bad.json").write_text('{"format": "sidewise-examination/1", "id": "SANDERLING"}')
    source = record_source([tmp_path / "bad.json", ROOT / "examples" / "frozen.json"])
    wish = ExportWish(deidentified=True)
    done = export_tables(source.entries(REGIONS), tmp_path / "out", REGIONS, wish)
    assert len(done.set_aside) == 1
    assert not (tmp_path / "out" / "set_aside.csv").exists()


def test_small_groups_are_counted_by_patient() -> None:
    groups = GroupCounts()
    for number in range(FEWEST - 1):
        for _ in range(3):
            groups.add(record(patient=f"GULL-{number}"))
    assert [g.patients for g in groups.small()] == [FEWEST - 1]
    assert groups.exposed() == FEWEST - 1
    groups.add(record(patient="GULL-99"))
    assert groups.small() == ()
    assert groups.exposed() == 0


def test_the_dictionary_says_what_was_done(tmp_path: Path) -> None:
    export_tables([record(age=97)], tmp_path / "out", REGIONS, ExportWish(deidentified=True))
    told = (tmp_path / "out" / "about.txt").read_text()
    assert "age 90 stands for 90 or older" in told
    assert "1 patients are alike with fewer than 5" in told
    with (tmp_path / "out" / "contexts.csv").open() as file:
        assert next(csv.DictReader(file))["age"] == "90"

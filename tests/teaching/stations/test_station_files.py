"""Stations from files: what is accepted, what is refused and how, what a reviewer is asked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from sidewise.errors import UserError, UserErrors
from sidewise.ground.documents import parse_document
from sidewise.teaching.stations.station import Station
from sidewise.teaching.stations.station_cautions import set_cautions, station_cautions
from sidewise.teaching.stations.station_draft import draft_station
from sidewise.teaching.stations.station_file import parse_station, station_text
from sidewise.teaching.stations.station_set import read_stations
from tests.shoulder import REGIONS, SHOULDER

EXAMPLES = sorted((Path(__file__).parents[3] / "examples" / "stations").glob("*.yaml"))


def plain(**changes: Any) -> str:
    """A small valid station with some fields changed, as YAML."""
    fields: dict[str, Any] = {
        "format": "sidewise-station/1", "id": "turn", "title": "Turning the arm", "minutes": 8,
        "candidate": "Examine how the arms turn.", "examiner": "Watch.", "total": 3,
        "steps": [
            {"id": "a", "text": "Both arms turned out", "kind": "both sides", "weight": 2},
            {"id": "b", "text": "Gentle throughout", "kind": "manner", "weight": 1},
        ],
    }  # fmt: skip
    return yaml.safe_dump(fields | changes)


def test_every_example_is_a_station_and_is_written_back_the_same() -> None:
    found = read_stations(EXAMPLES, REGIONS)
    assert [parse_station(station_text(one), "again.yaml") for one in found] == list(found)
    assert len(found) == 3


def test_a_station_without_steps_is_refused() -> None:
    with pytest.raises(UserErrors, match=r"turn.steps: got \"none\", expected at least one step"):
        parse_station(plain(steps=[]), "turn.yaml")


@pytest.mark.parametrize(("total", "fits"), [(2.999, False), (3, True), (3.001, False)])
def test_weights_that_do_not_add_up_are_refused(total: float, fits: bool) -> None:
    if fits:
        assert parse_station(plain(total=total), "turn.yaml").adds_up
        return
    with pytest.raises(UserErrors, match="weights that add up to 3"):
        parse_station(plain(total=total), "turn.yaml")


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"format": "another/1"}, "format: got"),
        ({"colour": "blue"}, "only the fields of the format"),
        ({"minutes": float("nan")}, "minutes"),
        ({"minutes": 0}, "minutes"),
        ({"rating": {"words": ["fail", "pass"], "borderline": "doubtful"}}, "one of fail, pass"),
        ({"rating": {"words": ["fail", "pass"], "borderline": "pass"}}, "a better one above it"),
        ({"steps": [{"id": "a", "text": x, "weight": 1.5} for x in "xy"]}, "a twice"),
        ({"id": "../x"}, "id"),
    ],
)
def test_what_is_wrong_is_said_at_its_place(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(UserError, match=message):
        parse_station(plain(**changes), "turn.yaml")


def test_items_stages_and_conditions_are_those_of_the_region() -> None:
    steps = [{"id": "a", "text": "x", "item": "no_item", "stage": "no stage", "weight": 3}]
    with pytest.raises(UserErrors) as refused:
        parse_station(plain(steps=steps, conditions=["no_condition"]), "t.yaml", SHOULDER)
    assert len(refused.value.errors) == 3


def test_both_sides_are_not_asked_of_what_has_no_sides() -> None:
    item = next(i for i in draft_items() if not i.paired)
    steps = [{"id": "a", "text": "x", "item": item.id, "kind": "both sides", "weight": 3}]
    with pytest.raises(UserErrors, match="an item that has two sides"):
        parse_station(plain(steps=steps), "t.yaml", SHOULDER)


def draft_items() -> Any:
    from sidewise.protocol import protocol_of

    return protocol_of(SHOULDER).items


def test_a_bomb_of_aliases_is_refused() -> None:
    bomb = "a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n"
    with pytest.raises(UserError, match="every value written out"):
        parse_document(bomb, "bomb.yaml")


@pytest.mark.parametrize("text", ["[1, 2]", "", "1: a", "{", "a: [", "[" * 100_000])
def test_what_is_no_document_is_refused(text: str) -> None:
    for name in ("x.yaml", "x.json"):
        with pytest.raises(UserError):
            parse_document(text, name)


def test_faults_of_several_files_come_together(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text(plain(steps=[]))
    (tmp_path / "b.yaml").write_text(plain(total=9))
    with pytest.raises(UserErrors) as refused:
        read_stations(sorted(tmp_path.iterdir()), REGIONS)
    assert [error.where[:6] for error in refused.value.errors] == ["a.yaml", "b.yaml"]


def test_a_draft_of_every_item_of_every_stage_is_a_valid_station() -> None:
    swept = 0
    for stage in {item.stage for item in draft_items()}:
        names = [item.id for item in draft_items() if item.stage == stage][:20]
        made = draft_station(SHOULDER, names, name="draft")
        assert parse_station(station_text(made), "draft.yaml", SHOULDER) == made
        assert {step.item for step in made.steps} - {""} == set(names)
        swept += 1
    assert swept == 10


def test_a_draft_asks_for_both_sides_of_what_is_paired() -> None:
    items = draft_items()
    pair, single = next(i for i in items if i.paired), next(i for i in items if not i.paired)
    made = draft_station(SHOULDER, [pair.id, single.id], name="draft")
    kinds = {step.item: step.kind for step in made.steps}
    assert (kinds[pair.id], kinds[single.id]) == ("both sides", "step")


def test_a_draft_of_an_unknown_item_is_refused() -> None:
    with pytest.raises(UserError, match="items of the shoulder"):
        draft_station(SHOULDER, ["no_item"], name="draft")


# Before the first run a teacher was imagined who reviews a colleague's station; each line is what
# that teacher would ask (our judgement).
@pytest.mark.parametrize(
    ("changes", "asked"),
    [
        ({"candidate": "He has a frozen shoulder.", "conditions": ["frozen shoulder"]},
         "names the condition"),
        ({"steps": [{"id": "a", "text": "x", "weight": 2}, {"id": "b", "text": "y", "weight": 1}]},
         "the manner towards the patient"),
        ({}, "no critical error"),
        ({}, "a good performance shows is not written down"),
        ({}, "carries 67% of the points"),
    ],
)  # fmt: skip
def test_a_reviewer_is_asked(changes: dict[str, Any], asked: str) -> None:
    station = parse_station(plain(**changes), "turn.yaml")
    assert any(asked in line for line in station_cautions(station))


def test_an_item_of_two_sides_without_a_comparison_is_asked_about() -> None:
    pair = next(i for i in draft_items() if i.paired and i.soreness)
    steps = [{"id": "a", "text": "x", "item": pair.id, "weight": 3}]
    station = parse_station(plain(steps=steps), "turn.yaml", SHOULDER)
    asked = "\n".join(station_cautions(station, SHOULDER))
    assert "no step asks that both are compared" in asked
    assert "will not spare the actor" in asked


def test_two_scales_in_one_sitting_are_said() -> None:
    one = parse_station(plain(), "a.yaml")
    rating = {"words": ["no", "perhaps", "yes"], "borderline": "perhaps"}
    other = parse_station(plain(id="other", rating=rating, minutes=10), "b.yaml")
    assert len(set_cautions([one, other])) == 2
    assert set_cautions([one, one]) == ()


def test_a_station_is_read_as_json_too() -> None:
    station = parse_station(plain(), "turn.yaml")
    assert parse_station(station.model_dump_json(), "turn.json") == station
    assert isinstance(station, Station)

"""Conditions, families, readings and links as data: sweeps that count what they swept."""

import csv

import pytest
import yaml

from sidewise.errors import UserError, UserErrors
from sidewise.evidence.conditions import Conditions, families_of
from sidewise.evidence.fit.case_mix import case_mixes_of
from sidewise.evidence.fit.links import links_of, parse_links
from sidewise.ground.tables import read_table
from sidewise.ground.validation import validate_model
from tests.shoulder import CONDITIONS, FOLDER, PROTOCOL, SHOULDER

REGION = SHOULDER
READINGS = PROTOCOL.readings
MARKS = {"read", "memory", "common practice", "our judgement", "computed"}


def test_every_condition_of_the_network_has_levels_and_a_complaint_link():
    conditions = CONDITIONS
    assert len(conditions.network) == 20
    assert len(conditions.columns) == 23
    assert all(c.basis for c in conditions.conditions)


def test_flags_have_no_probability_to_show():
    flags = [c for c in CONDITIONS.conditions if c.flag_only]
    assert len(flags) == 8
    assert all(not c.levels and not c.complaint_link for c in flags)


def test_every_reading_of_a_family_is_in_its_list_and_nowhere_else():
    place = families_of(REGION).place
    stated = {r.id: (r.family, r.mechanism) for r in READINGS if r.family}
    assert place == stated
    listed = [r for f in families_of(REGION).families for m in f.mechanisms for r in m.readings]
    assert len(listed) == len(set(listed)) == len(stated)


def test_readings_of_one_look_belong_to_one_item():
    item = {reading.id: reading.item for reading in READINGS}
    witnesses = families_of(REGION).witnesses
    assert len(witnesses) == 36
    assert all(item[r] == w.item for w in witnesses for r in w.readings)


def test_every_item_with_several_readings_says_which_of_them_is_the_witness():
    group = families_of(REGION).witness_group
    by_item: dict[str, list[str]] = {}
    for reading in READINGS:
        by_item.setdefault(reading.item, []).append(reading.id)
    several = [r for mine in by_item.values() if len(mine) > 1 for r in mine]
    assert len(several) > 50
    assert [r for r in several if r not in group] == []


def test_a_sign_that_defines_a_condition_has_a_link_by_definition():
    links = {(x.reading, x.condition): x.kind for x in links_of(REGION)}
    defining = [(r.id, c) for r in READINGS for c in r.defining_for]
    assert len(defining) >= 15
    assert [pair for pair in defining if links.get(pair) != "by definition"] == []


def test_every_judged_link_has_a_source_and_one_mark():
    table = read_table(FOLDER / "links.csv")
    assert len(table) == len(links_of(REGION)) == 866
    assert all(row["mark"] in MARKS and row["source"] for row in table)


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ({"reading": "no_such_sign"}, "a known reading"),
        ({"condition": "gout"}, "a condition of the network"),
        ({"guess": "1"}, "between 0 and 1"),
        ({"kind": "read"}, "our judgement or by definition"),
        ({"source": ""}, "with a source"),
    ],
)
def test_a_judged_link_that_cannot_be_is_refused(cells, message):
    table = read_table(FOLDER / "links.csv")
    names = [reading.id for reading in READINGS]
    with pytest.raises(UserErrors, match=message):
        parse_links([table[0] | cells], CONDITIONS, names)


def test_a_link_given_twice_is_refused():
    table = read_table(FOLDER / "links.csv")[:1] * 2
    with pytest.raises(UserError, match="each link once"):
        parse_links(table, CONDITIONS, [reading.id for reading in READINGS])


def test_a_condition_without_a_link_for_each_level_is_refused():
    data = yaml.safe_load((FOLDER / "conditions.yaml").read_text(encoding="utf-8"))
    data["conditions"][0]["complaint_link"] = [0.5]
    with pytest.raises(UserError, match="one complaint link for each"):
        validate_model(Conditions, data, "conditions.yaml")


def test_an_unknown_setting_is_refused():
    with pytest.raises(UserError, match='got "ward"'):
        case_mixes_of(REGION).mix("ward")


def test_every_case_mix_is_named_and_possible():
    mixes = case_mixes_of(REGION).mixes
    assert len(mixes) == 10
    for mix in mixes.values():
        for part in CONDITIONS.slices.values():
            assert 0 <= mix[part].sum() < 1


def test_criteria_of_readings_speak_of_values_their_items_take():
    protocol = PROTOCOL
    checked = 0
    for reading in READINGS:
        item, criterion = protocol.by_id.get(reading.item), reading.criterion
        if item is None or criterion.test != "result":
            continue
        kind = item.kind("result")
        assert kind is not None, reading.id
        assert set(criterion.aspect) <= set(kind.aspects), reading.id
        assert set(criterion.where) <= set(kind.places), reading.id
        checked += 1
    assert checked > 70


def test_grades_of_signs_are_words_of_their_items():
    protocol, checked = PROTOCOL, 0
    for reading in READINGS:
        item, criterion = protocol.by_id.get(reading.item), reading.criterion
        if item is None or criterion.test != "sign":
            continue
        kind = item.kind("sign")
        assert kind is not None, reading.id
        assert criterion.at_least is None or criterion.at_least in kind.grades, reading.id
        checked += 1
    assert checked > 20


def test_every_table_of_evidence_carries_marks_from_the_closed_list():
    swept = 0
    for name in ("accuracy.csv", "combinations.csv", "pretest.csv", "links.csv"):
        with (FOLDER / name).open(newline="", encoding="utf-8") as handle:
            for row in csv.DictReader(handle):
                swept += 1
                assert row["mark"] in MARKS, (name, row)
    assert swept == 480 + 39 + 238 + 866

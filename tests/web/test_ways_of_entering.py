"""A touch and a typed line of the same thing leave the same record, whatever stood there."""

from __future__ import annotations

import html
import json
import re

import pytest

from sidewise.kinds import KINDS, NAMES
from sidewise.record import Finding
from sidewise.record.line import read_line
from sidewise.web.examinations.entries import places_text
from sidewise.web.examinations.state import current
from tests.shoulder import SHOULDER

# What is entered first and what second, as lines.
PAIRS = [
    ("ER passive L 15", "ER passive L 20"),
    ("ER passive L 15 by goniometer", "ER passive L 20 by phone"),
    ("ER passive L 15", "ER passive L normal by eye"),
    ("ER passive L normal by eye", "ER passive L 15 pain firm"),
    ('ER passive L unable "sore"', "ER passive L 15"),
    ("ER passive L 15", 'ER passive L unable "sore"'),
    ("ER passive L 15", "ER passive R 15"),
    ("ER passive L 15", "ER active L 15"),
    ("Neer L pos", "Neer L neg"),
    ("Neer L neg", "Neer L not examined"),
    ("acj tenderness L 2", "acj tenderness L 1 familiar"),
    ('scars L place "scar" view front', 'scars L place "graft" view back'),
    ('scars L place "scar" view front', "scars L not examined"),
]


def _typed(cast, text):
    client, address = cast.client("owner"), f"/examinations/{cast.examination.pk}/line/"
    page = client.post(address, {"text": text}).content.decode()
    seen = html.unescape(re.search(r'name="seen" value="([^"]*)"', page)[1])
    assert client.post(address, {"text": text, "seen": seen, "record": "1"}).status_code == 302


def _touched(cast, text):
    """The same findings by the plain form of the buttons."""
    for finding in read_line(text, SHOULDER).findings:
        form = {"places": places_text([finding.place])}
        if finding.value:
            form["value"] = finding.value.model_dump_json(by_alias=True, exclude_none=True)
        else:
            form |= {"status": finding.status, "reason": finding.reason or ""}
        address = f"/examinations/{cast.examination.pk}/record/"
        assert cast.client("owner").post(address, form).status_code == 302


def _all_at_once(cast, text):
    """The same findings by a button that lists them."""
    found = read_line(text, SHOULDER).findings
    listed = [json.loads(f.model_dump_json(by_alias=True, exclude_none=True)) for f in found]
    address = f"/examinations/{cast.examination.pk}/record/"
    assert cast.client("owner").post(address, {"findings": json.dumps(listed)}).status_code == 302


@pytest.mark.parametrize(("first", "second"), PAIRS)
def test_touch_and_line_leave_the_same_record(cast, first, second):
    left = []
    for way in (_typed, _touched, _all_at_once):
        cast.examination = cast.open()
        way(cast, first)
        way(cast, second)
        folded = current(cast.examination).folded
        left.append((folded.record.findings, folded.record.conflicts))
    assert left[0] == left[1] == left[2]
    assert left[0][0]
    assert not left[0][1]


@pytest.mark.parametrize(("first", "second"), PAIRS)
def test_the_ways_may_be_mixed(cast, first, second):
    left = []
    for one, other in ((_typed, _touched), (_touched, _typed)):
        cast.examination = cast.open()
        one(cast, first)
        other(cast, second)
        left.append(current(cast.examination).record.findings)
    assert left[0] == left[1]


def test_enough_pairs_were_entered():
    assert len(PAIRS) == 13


def found(kind):
    # What stands in the value does not matter here, only of which kind it is.
    return Finding.model_construct(item="neer", value=KINDS[kind].value.model_construct(kind=kind))


def test_the_page_tells_its_scripts_which_values_stand_in_for_each_other(cast):
    address = f"/examinations/{cast.examination.pk}/stage/look/"
    page = cast.client("owner").get(address).content.decode()
    told = json.loads(html.unescape(re.search(r'name="value-groups" content="([^"]*)"', page)[1]))
    held = [found(kind) for kind in NAMES]
    alike = {f.value.kind for f in held if f.group != f.value.kind}
    assert told["groups"].keys() == alike == {"angle", "normal_by_eye", "reduced_by_eye", "level"}
    assert told["addUp"] == [f.group for f in held if not f.takes_the_place_of(f)] == ["place"]

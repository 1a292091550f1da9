"""The best examination for the time, on the page of an examination."""

from __future__ import annotations

import re

import pytest

pytest.importorskip("ortools")


def address(cast, minutes=""):
    query = f"?minutes={minutes}" if minutes != "" else ""
    return f"/examinations/{cast.examination.pk}/plan/{query}"


def test_without_minutes_the_page_asks_for_them(cast):
    page = cast.client("reader").get(address(cast))
    assert page.status_code == 200
    assert "The best examination for the time" in page.content.decode()


def test_the_plan_names_items_in_the_order_of_an_examination_each_with_its_page(cast):
    page = cast.client("owner").get(address(cast, 6)).content.decode()
    planned = page[page.index('<ol class="planned">') :]
    items = re.findall(r"/item/([a-z_0-9]+)/", planned)
    assert len(items) > 3
    one = f"/examinations/{cast.examination.pk}/item/{items[0]}/"
    assert cast.client("owner").get(one).status_code == 200
    assert planned.index("<b>look</b>") < planned.index("screens a flag: a screening look")
    assert "counting half of the one before" in planned


@pytest.mark.parametrize("minutes", ["0", "61", "-3", "half", "1e3"])
def test_minutes_that_are_none_are_refused_in_words(cast, minutes):
    page = cast.client("owner").get(address(cast, minutes))
    assert page.status_code == 422
    assert 'class="error"' in page.content.decode()


def test_too_few_minutes_for_what_every_visit_has_are_told_so(cast):
    page = cast.client("owner").get(address(cast, 1)).content.decode()
    assert "expected" in page

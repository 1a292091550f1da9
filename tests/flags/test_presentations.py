"""Every presentation judged by the rules: what must be raised, open, withheld, and quiet.

The expectations and their sources stand in `presentations/`; they were written before the rules.
"""

from __future__ import annotations

import pytest

from tests.flags.judged import PROTOCOL, flags, kept_back
from tests.flags.reading import Presentation, Raised, presentations, record_of

EVERY = presentations()
each = pytest.mark.parametrize("one", EVERY, ids=[one.id for one in EVERY])


def test_none_is_left_out_for_want_of_a_word() -> None:
    words = {*PROTOCOL.by_id, *PROTOCOL.history_by_id, "disputed_context"}
    assert {need for one in EVERY for need in one.needs} - words == set()
    assert len(EVERY) >= 220


@each
def test_what_must_be_raised_is_raised_and_as_fast_as_it_must(one: Presentation) -> None:
    found = flags(record_of(one))
    loud = {name for name, flag in found.items() if flag.status == "raised"}
    assert set(one.expect.must_raise) - loud == set()
    for wanted in one.expect.raised:
        if isinstance(wanted, Raised) and wanted.urgency:
            assert found[wanted.flag].urgency == wanted.urgency


@each
def test_what_may_not_be_silent_is_shown_by_itself(one: Presentation) -> None:
    found = flags(record_of(one))
    for name in (*one.expect.not_excluded, *one.expect.never_silent):
        assert name in found
        assert found[name].called_for
    for name in one.expect.not_excluded:
        assert found[name].status == "not excluded"


@each
def test_what_everyday_life_explains_is_not_raised(one: Presentation) -> None:
    found = flags(record_of(one))
    loud = {name for name, flag in found.items() if flag.status == "raised"}
    assert loud & set(one.expect.silent) == set()
    if one.expect.nothing_else:
        assert loud - set(one.expect.must_raise) == set()


@each
def test_what_must_be_withheld_is_withheld(one: Presentation) -> None:
    back = kept_back(flags(record_of(one)))
    assert [item for item in one.withheld if not back.wholly(PROTOCOL.item(item))] == []

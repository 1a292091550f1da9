"""The script that plays whole visits and counts them really plays one, and counts what it did."""

from __future__ import annotations

from typing import Any

import pytest

pytest.importorskip("playwright.sync_api")

from bench.visits import DEVICES, SECONDS, VISITS, Player, played

from tests.browser.hand import Hand

pytestmark = pytest.mark.browser


def test_a_short_visit_is_played_to_its_signature_and_every_operator_is_counted(
    chromium: Any, site: str, signed_in: Any
) -> None:
    """Published operators (Card, Moran, Newell 1980; from memory): P 1.1 s, H 0.4 s, M 1.35 s."""
    assert (SECONDS["P"], SECONDS["H"], SECONDS["M"]) == (1.10, 0.40, 1.35)
    (tablet,) = (device for device in DEVICES if device.name == "tablet")
    (short,) = (visit for visit in VISITS if visit.name == "short")
    (counted,) = played(chromium, site, signed_in, tablet, (short,))
    did = counted.player
    assert did.operators["P"] == did.touches > 10
    assert did.operators["K"] == did.touches + did.keys
    assert did.operators["S"] == did.screens
    assert did.operators["H"] == 0
    words = len(("61 60 95 " + short.impression).split())
    typed = did.operators["M"] - did.touches
    # Words typed are decided one by one; a closed list is two touches and one decision.
    assert words - 1 <= typed <= words
    record = Hand(chromium.new_context(storage_state=signed_in).new_page(), site).file(
        counted.address
    )
    assert record.signed is not None
    assert record.context.visit == "short"
    found = {(f.item, f.side): f.value for f in record.findings}
    arc = found["painful_arc", "left"]
    assert (arc.start, arc.end) == (60, 95)
    assert found["painful_arc", "right"].painless


def test_a_hand_that_leaves_the_mouse_for_the_keys_is_counted_there_and_back(
    open_page: Any,
) -> None:
    (laptop,) = (device for device in DEVICES if not device.by_touch)
    page = open_page(has_touch=False)
    page.set_content("<input id=one><p style='height: 3000px'></p><button>far</button>")
    player = Player(page, laptop)
    player.write("#one", "two words")
    player.touch("button")
    assert player.operators["H"] == 2
    assert (player.touches, player.keys) == (2, 9)
    assert player.screens >= 3000 // page.viewport_size["height"]

"""The tablet's own scripts, run by node: what they do when something goes wrong on the device."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent / "tablet"
SCRIPTS = Path(__file__).parents[2] / "src/sidewise/web/static/sidewise"

pytestmark = pytest.mark.skipif(shutil.which("node") is None, reason="no node here")


def played(scene: str) -> Any:
    """The outcome of one scene, in a process of its own."""
    command = ["node", "--experimental-default-type=module", str(HERE / "scenes.mjs")]
    done = subprocess.run(
        [*command, str(SCRIPTS), scene], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return json.loads(done.stdout)


def test_one_row_that_cannot_be_opened_is_set_aside_and_the_others_go_on() -> None:
    outcome = played("one_bad_row")
    assert (outcome["online"], outcome["offline"]) == (200, 202)
    assert [sent["entries"] for sent in outcome["posted"]] == [["a"], ["b"]]
    # It stays on the device, and the page says which and why.
    assert outcome["left"] == [1]
    assert any("entry 1 is set aside: it cannot be opened" in line for line in outcome["lines"])


def test_a_device_without_room_says_that_nothing_was_saved() -> None:
    outcome = played("no_room")
    assert outcome["status"] == 507
    assert "this device has no room" in outcome["text"]


def test_a_page_blanks_when_somebody_else_has_signed_in() -> None:
    assert "Somebody else has signed in on this device" in played("another_person")["blank"]
    assert played("the_same_person")["blank"] == ""


def test_a_page_that_never_got_an_answer_blanks_in_time() -> None:
    outcome = played("no_first_answer")
    assert outcome["before"] == ""
    assert "Your session has ended" in outcome["blank"]


def test_a_clock_that_was_set_back_blanks_the_page() -> None:
    assert "Your session has ended" in played("clock_set_back")["blank"]


@pytest.mark.django_db
def test_the_page_and_the_session_name_the_person(cast: Any) -> None:
    client = cast.client("owner")
    page = client.get(f"/examinations/{cast.examination.pk}/sign/").content.decode()
    assert f'data-account="{cast.owner.pk}"' in page
    assert 'data-idle="1800"' in page
    assert client.get("/session/").json()["account"] == str(cast.owner.pk)

"""The two browser modules in a real Chromium: right angles, no photograph leaves the page."""

from __future__ import annotations

import io
import os
import threading
from collections.abc import Iterator
from dataclasses import asdict
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sidewise.measure.motion.photo import Point, angle_at_joint, angle_from_vertical
from sidewise.measure.motion.tilt import Tilt, angle_between, angle_from_hanging
from sidewise.measure.motion.turn import (
    angle_from_picture,
    angle_from_tilt,
    gravity_turn,
    picture_turn,
)
from tests.measure.test_turn import limits_of, moved, phone, places
from tests.setup_browser import FLAGS, find_browser

pytestmark = [pytest.mark.browser, pytest.mark.filterwarnings("ignore:Gimbal lock")]

PAGE = Path(__file__).parent / "pages" / "angle_modules.html"
STATIC = Path(__file__).parents[2] / "src" / "sidewise" / "web" / "static"
ICON = b'<svg xmlns="http://www.w3.org/2000/svg"/>'


class Handler(SimpleHTTPRequestHandler):
    """The static folder, and the test page at /."""

    def do_GET(self) -> None:
        if self.path in ("/", "/icon.svg"):
            body = PAGE.read_bytes() if self.path == "/" else ICON
            self.send_response(200)
            self.send_header("Content-Type", "text/html" if self.path == "/" else "image/svg+xml")
            self.end_headers()
            self.wfile.write(body)
        else:
            super().do_GET()

    def log_message(self, *_: Any) -> None:
        """Quiet: the log is not what is tested."""


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(Handler, directory=str(STATIC)))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    path = find_browser()
    if path is None:
        if os.environ.get("CI") == "true":
            pytest.fail("no Chromium: in CI the browser tests must run")
        print("skipped: no Chromium found")
        pytest.skip("no Chromium found")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield chromium
        chromium.close()


@pytest.fixture
def page(browser: Any, address: str) -> Iterator[Any]:
    context = browser.new_context(has_touch=True, viewport={"width": 900, "height": 1200})
    page = context.new_page()
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("console", lambda said: problems.append(said.text) if said.type == "error" else None)
    page.goto(address)
    page.wait_for_selector("#between button")
    page.evaluate(
        """() => { window.told = [];
        document.addEventListener("change", (e) => {
            if (e.detail && typeof e.detail === "object") window.told.push([e.target.id, e.detail]);
        }); }"""
    )
    yield page
    context.close()
    assert problems == []


def _photograph(width: int = 400, height: int = 400) -> dict[str, Any]:
    import numpy as np
    from matplotlib.image import imsave

    data = io.BytesIO()
    imsave(data, np.full((height, width, 3), 200, np.uint8), format="png")
    return {"name": "arm.png", "mimeType": "image/png", "buffer": data.getvalue()}


def _open(page: Any, tool: str) -> None:
    page.set_input_files(f"#{tool} input[type=file]", _photograph())
    page.wait_for_selector(f"#{tool} [data-point=joint]:visible")


def _place(page: Any, tool: str, name: str) -> Point:
    """Where a point stands, as its own label says."""
    label = page.get_attribute(f"#{tool} [data-point={name}]", "aria-label")
    across, down = (float(word) for word in label.split() if word.isdigit())
    return Point(across, down)


def _drag(page: Any, tool: str, name: str, x: float, y: float) -> None:
    box = page.locator(f"#{tool} canvas").bounding_box()
    at = page.locator(f"#{tool} [data-point={name}]").bounding_box()
    page.mouse.move(at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + x, box["y"] + y, steps=4)
    page.mouse.up()


def _last(page: Any, tool: str) -> dict[str, Any]:
    told = [detail for target, detail in page.evaluate("window.told") if target == tool]
    assert told, f"{tool} told nothing"
    return told[-1]


def test_photographed_angle_is_that_of_the_domain(page: Any) -> None:
    _open(page, "trunk")
    for name, x, y in (("proximal", 150, 340), ("joint", 160, 120), ("distal", 330, 70)):
        _drag(page, "trunk", name, x, y)
    told = _last(page, "trunk")
    points = [_place(page, "trunk", name) for name in ("proximal", "joint", "distal")]
    expected = angle_at_joint(*points)
    # Labels are rounded to whole pixels: half a pixel over 170 is 0.2 degrees at each end.
    assert told["degrees"] == pytest.approx(expected.degrees, abs=0.5)
    assert told["sd"] == pytest.approx(expected.sd, rel=0.01)
    assert told["instrument"] == "photograph"


def test_both_languages_give_the_same_numbers(page: Any) -> None:
    points = {"proximal": (150.0, 340.0), "joint": (160.0, 120.0), "distal": (330.0, 70.0)}
    script = """async (points) => { const { photoAngle } = await import("/sidewise/photo_angle.js");
        return [photoAngle(points, "trunk", 3, 1), photoAngle(points, "vertical", 3, 1)]; }"""
    trunk, vertical = page.evaluate(script, {n: {"x": x, "y": y} for n, (x, y) in points.items()})
    own = {name: Point(*place) for name, place in points.items()}
    against_trunk = angle_at_joint(own["proximal"], own["joint"], own["distal"])
    against_vertical = angle_from_vertical(own["joint"], own["distal"])
    for found, expected in ((trunk, against_trunk), (vertical, against_vertical)):
        assert found["degrees"] == pytest.approx(expected.degrees, abs=1e-9)
        assert found["sd"] == pytest.approx(expected.sd, abs=1e-9)


def test_every_movement_is_read_alike_in_both_languages(page: Any) -> None:
    asked, expected = [], []
    for item, side in places():
        limits = limits_of(item)
        assert limits.sightlines
        of_phone = gravity_turn(limits.sightlines, side, limits.low, limits.high)
        of_picture = picture_turn(limits.sightlines, side, limits.low, limits.high)
        for degrees in (limits.low, (limits.low + limits.high) / 3, limits.high):
            reading = phone(*moved(item, side, degrees))
            hip = Point(470.0, 610.0) if limits.sightlines.against == "trunk" else None
            limb = Point(500 + 2 * degrees, 500.0 - degrees)
            asked.append([asdict(reading), asdict(of_phone), asdict(of_picture), asdict(limb),
                          hip and asdict(hip)])  # fmt: skip
            seen = angle_from_picture(Point(500, 400), limb, hip, of_picture)
            expected.append([angle_from_tilt(reading, of_phone).degrees, seen])
    found = page.evaluate(
        """async (asked) => {
        const { angleOfTurn } = await import("/sidewise/tilt_angle.js");
        const { photoAngle } = await import("/sidewise/photo_angle.js");
        return asked.map(([reading, phone, picture, distal, proximal]) => [
            angleOfTurn(reading, phone).degrees,
            photoAngle({ joint: { x: 500, y: 400 }, distal, proximal },
                       proximal ? "trunk" : "vertical", 3, 1, picture).degrees]); }""",
        asked,
    )
    assert len(found) == 3 * 26
    assert np.allclose(found, expected, atol=1e-9)


def test_nothing_is_sent_or_stored(page: Any) -> None:
    requests: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    _open(page, "trunk")
    _drag(page, "trunk", "distal", 300, 60)
    _last(page, "trunk")
    page.wait_for_timeout(300)
    assert requests == []
    kept = page.evaluate(
        """async () => [localStorage.length, sessionStorage.length, document.cookie,
        (await indexedDB.databases()).length, (await caches.keys()).length,
        document.querySelectorAll('img, [src^="blob:"], [src^="data:"]').length]"""
    )
    assert kept == [0, 0, "", 0, 0, 0]


def test_points_move_by_arrow_keys(page: Any) -> None:
    _open(page, "trunk")
    before = _place(page, "trunk", "distal")
    page.focus("#trunk [data-point=distal]")
    for key in ("ArrowRight", "ArrowRight", "ArrowUp", "Shift+ArrowDown"):
        page.keyboard.press(key)
    after = _place(page, "trunk", "distal")
    assert (after.x - before.x, after.y - before.y) == (2, 9)
    assert len(page.evaluate("window.told")) == 4


def test_points_move_by_touch(page: Any) -> None:
    _open(page, "trunk")
    before = _place(page, "trunk", "joint")
    at = page.locator("#trunk [data-point=joint]").bounding_box()
    x, y = at["x"] + at["width"] / 2, at["y"] + at["height"] / 2
    touch = page.context.new_cdp_session(page)
    steps = (("touchStart", x, y), ("touchMove", x + 15, y + 5), ("touchMove", x + 30, y + 10))
    for kind, px, py in steps:
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": px, "y": py}]})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    after = _place(page, "trunk", "joint")
    assert (after.x - before.x, after.y - before.y) == pytest.approx((30, 10), abs=1)


def test_points_as_first_put_are_no_measurement(page: Any) -> None:
    _open(page, "trunk")
    assert page.evaluate("window.told") == []


def test_points_on_one_place_are_refused(page: Any) -> None:
    _open(page, "trunk")
    joint = _place(page, "trunk", "joint")
    _drag(page, "trunk", "distal", joint.x + 2, joint.y + 2)
    assert "too close together" in page.inner_text("#trunk output")


def test_file_that_is_no_picture_is_refused(page: Any) -> None:
    page.set_input_files(
        "#trunk input[type=file]",
        {"name": "a.txt", "mimeType": "text/plain", "buffer": b"words"},
    )
    page.wait_for_selector("#trunk output:has-text('not a picture that the browser can show')")
    assert page.locator("#trunk [data-point=joint]").is_hidden()


def _tilt(page: Any, beta: float, gamma: float = 0.0) -> None:
    page.evaluate(
        """([beta, gamma]) => window.dispatchEvent(
        new DeviceOrientationEvent("deviceorientation", { alpha: 40, beta, gamma }))""",
        [beta, gamma],
    )


def _begin(page: Any, tool: str) -> None:
    page.click(f"#{tool} button >> nth=0")
    page.wait_for_selector(f"#{tool} :text('Waiting for the sensor.')")


def test_tilt_against_gravity(page: Any) -> None:
    _begin(page, "hanging")
    _tilt(page, -25, 10)
    page.click("text=Take reading")
    told = _last(page, "hanging")
    expected = angle_from_hanging(Tilt(-25, 10))
    assert told["degrees"] == pytest.approx(expected.degrees)
    assert told["sd"] == expected.sd
    assert told["instrument"] == "phone"


def test_tilt_between_two_readings(page: Any) -> None:
    _begin(page, "between")
    _tilt(page, 80, 5)
    page.click("text=Take first reading")
    _tilt(page, -10, -20)
    page.click("text=Take second reading")
    told = _last(page, "between")
    expected = angle_between(Tilt(80, 5), Tilt(-10, -20))
    assert told["degrees"] == pytest.approx(expected.degrees)
    assert told["sd"] == pytest.approx(expected.sd)


def test_sensor_that_is_refused_leaves_the_hand_entry(page: Any) -> None:
    page.evaluate("DeviceOrientationEvent.requestPermission = async () => 'denied'")
    page.click("#hanging button >> nth=0")
    page.wait_for_selector("text=The sensor was not allowed. Type the degrees instead.")
    page.keyboard.type("95")
    page.keyboard.press("Tab")
    assert _last(page, "hanging") == {"degrees": 95, "sd": None, "instrument": None}


def test_permission_is_asked_before_listening(page: Any) -> None:
    page.evaluate(
        """() => { window.asked = 0; DeviceOrientationEvent.requestPermission = async () => {
            window.asked += 1; return "granted"; }; }"""
    )
    _begin(page, "hanging")
    _tilt(page, 0)
    page.wait_for_selector("text=Take reading")
    assert page.evaluate("window.asked") == 1


def test_sensor_that_stays_silent_is_said(page: Any) -> None:
    page.click("#hanging button >> nth=0")
    page.wait_for_selector("text=No reading came from the sensor.", timeout=4000)


def test_impossible_degrees_by_hand_are_refused(page: Any) -> None:
    page.fill("#hanging input", "400")
    page.keyboard.press("Tab")
    assert "Degrees from -90 to 190" in page.inner_text("#hanging [role=status]")
    assert page.evaluate("window.told") == []


def test_replaced_part_of_the_page_starts_again(page: Any) -> None:
    page.evaluate(
        """() => { const old = document.querySelector("#hanging");
        const fresh = old.cloneNode(false); old.replaceWith(fresh);
        fresh.dispatchEvent(new CustomEvent("htmx:load", { bubbles: true })); }"""
    )
    assert page.locator("#hanging button").count() == 2


def test_page_passes_the_accessibility_sweep(page: Any) -> None:
    from axe_playwright_python.sync_playwright import Axe

    _open(page, "trunk")
    found = Axe().run(page)
    assert found.response["violations"] == []
    assert len(found.response["passes"]) > 10

"""Six whole visits played in a real browser on a tablet, a phone and a laptop, and counted.

From "New patient" to the signed note: touches, keys, screens scrolled, and the seconds they take by
the keystroke-level model (Card, Moran and Newell, Commun ACM 1980;23:396-410). The model counts the
hand and the thought before it, not the examination itself; `docs/benchmarks.md` has the table.

    python -m bench visits      all of them, about ten minutes
    python -m bench.visits [--quick] [--device tablet] [--visit short]

Operators, in seconds. The first four are recalled from the paper (from memory, to be verified):

    K  0.28  a key, or the press that ends a pointing (an average person who is not a typist)
    P  1.10  pointing at a target; a touch is taken as a pointing and a press
    H  0.40  the hand from the mouse to the keyboard or back; none where one touches
    M  1.35  making up one's mind, before every touch and before every word typed
    S  1.10  a screen scrolled by: not in the paper; taken as one pointing (our assumption)

The wait for the machine (R) is taken as nothing: every touch is saved while the hand goes on.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

SECONDS = {"K": 0.28, "P": 1.10, "H": 0.40, "M": 1.35, "S": 1.10}
MOST_SCREENS = 80
PATIENCE_MS = 15_000


@dataclass(frozen=True)
class Device:
    """What is held in the hand."""

    name: str
    width: int
    height: int
    by_touch: bool

    @property
    def options(self) -> dict[str, Any]:
        """As a browser is opened."""
        size = {"width": self.width, "height": self.height}
        return {"viewport": size, "has_touch": self.by_touch}


DEVICES = (
    Device("tablet", 834, 1112, by_touch=True),
    Device("phone", 390, 844, by_touch=True),
    Device("laptop", 1366, 768, by_touch=False),
)


@dataclass(frozen=True)
class Step:
    """A touch of the row of an item; with a text, a field that is typed into."""

    selector: str
    text: str = ""


@dataclass(frozen=True)
class Visit:
    """A visit as it is played: its kind, what is answered yes, what is found, what is written."""

    name: str
    kind: str = ""
    yes: tuple[str, ...] = ()
    found: Mapping[str, tuple[Step, ...]] = field(default_factory=dict)
    impression: str = ""
    stops_at_emergency: bool = False
    goniometer: bool = False


def _chip(word: str, side: str = "left") -> Step:
    return Step(f".{side} .chip:text-is('{word}')")


BOTH = Step(".one-touch")
"""The other side, normal: the touch that is left once one side has a finding."""


def _angles(active: int, passive: int) -> tuple[Step, ...]:
    """A stiff left side in degrees, the right full by eye."""
    steps: list[Step] = []
    for mode, degrees in (("active", active), ("passive", passive)):
        form = f".left .cell:has(.mode:text-is('{mode}')) form.number"
        steps += [
            Step(f"{form} input[name='angle.degrees']", str(degrees)),
            Step(f"{form} .record"),
        ]
    return (*steps, BOTH)


ARC = (
    Step(".left input[name='arc.from']", "60"), Step(".left input[name='arc.to']", "95"),
    Step(".left .record"), BOTH,
)  # fmt: skip
SORE = (_chip("2"), BOTH)
PAINFUL = (_chip("+ pain"), BOTH)
STIFF = Visit(
    "stiff", "stiff", yes=("night_pain",), goniometer=True, impression="Frozen shoulder, left.",
    found={"abduction": _angles(70, 75), "external_rotation_at_side": _angles(10, 15)},
)  # fmt: skip
VISITS = (
    Visit("full, normal", impression="Normal shoulders."),
    Visit(
        "full, abnormal", yes=("night_pain",), goniometer=True,
        impression="Stiff, sore left shoulder.",
        found={"acj_tenderness": SORE, "groove_tenderness": SORE,
               "flexion": _angles(95, 100), "external_rotation_at_side": _angles(10, 15),
               "painful_arc": ARC, "neer": PAINFUL, "hawkins_kennedy": PAINFUL,
               "abduction_power": (_chip("4"), BOTH)},
    ),
    Visit("short", "short", impression="Painful arc, left.",
          found={"acj_tenderness": SORE, "painful_arc": ARC}),
    STIFF,
    Visit("follow-up", "follow_up", goniometer=True, impression="Better.",
          found={"abduction": _angles(110, 115), "external_rotation_at_side": _angles(35, 40)}),
    Visit("injured, an emergency", "injured", yes=("injury",), stops_at_emergency=True,
          impression="Skin threatened; surgeon called.",
          found={"skin_threatened": (_chip("present"),)}),
)  # fmt: skip


class Player:
    """A person at one device: does what a visit says and counts every operator."""

    def __init__(self, page: Any, device: Device) -> None:
        self.page, self.device = page, device
        self.touches = self.keys = self.screens = 0
        self.operators: Counter[str] = Counter()
        self._at_keys = False

    @property
    def seconds(self) -> float:
        """By the keystroke-level model."""
        return sum(SECONDS[name] * times for name, times in self.operators.items())

    def did(self, operators: str) -> None:
        """Add operators, one letter each."""
        self.operators.update(operators)

    def touch(self, selector: str, *, saves: bool = False) -> None:
        """Reach, decide, point, press; where it saves, until the answer stands on the page."""
        target = self.reach(selector)
        self._hand(at_keys=False)
        self.touches += 1
        self.did("MPK")
        press = target.tap if self.device.by_touch else target.click
        if not saves:
            press()
            return
        with self.page.expect_response(lambda r: r.url.endswith("/touch/")) as answer:
            press()
        if answer.value.status != 200:
            raise RuntimeError(f"{selector}: not saved, status {answer.value.status}")
        self.settle()

    def write(self, selector: str, text: str) -> None:
        """A touch of a field, then one key for each letter."""
        self.touch(selector)
        self._hand(at_keys=True)
        words = len(text.split())
        self.keys += len(text)
        self.did("M" * words + "K" * len(text))
        field_ = self.page.locator(selector).first
        field_.press("Control+a")
        field_.press_sequentially(text)

    def choose(self, selector: str, value: str) -> None:
        """A closed list: one touch opens it, one chooses."""
        self.reach(selector)
        self._hand(at_keys=False)
        self.touches += 2
        self.did("MPKPK")
        self.page.select_option(selector, value)

    def reach(self, selector: str) -> Any:
        """Scroll, screen by screen, until it stands in sight and nothing lies over it."""
        for _ in range(MOST_SCREENS):
            target = self.page.locator(selector).first
            away = target.evaluate(WHERE) if target.count() else 1
            if not away:
                return target
            self.screens += 1
            self.did("S")
            self._scroll(away)
        raise RuntimeError(f"{selector}: not found in {MOST_SCREENS} screens of {self.page.url}")

    def settle(self) -> None:
        """Until nothing waits for an answer."""
        self.page.locator("[aria-busy=true]").first.wait_for(state="detached")

    def _scroll(self, away: int) -> None:
        """One screen, less what one keeps in sight so as not to lose the line."""
        self.page.mouse.move(self.device.width / 2, self.device.height / 2)
        step = self.device.height - 160
        self.page.mouse.wheel(0, max(-step, min(step, away)) if abs(away) > 1 else step)
        self.page.wait_for_timeout(120)  # The next stage comes under the foot as it is reached.

    def _hand(self, *, at_keys: bool) -> None:
        if not self.device.by_touch and at_keys != self._at_keys:
            self.did("H")
        self._at_keys = at_keys


# 0 where the middle of the element can be hit, else how far away it is (1: in sight but covered).
WHERE = """element => {
  const box = element.getBoundingClientRect();
  const [x, y] = [box.left + Math.min(box.width, 300) / 2, box.top + Math.min(box.height, 60) / 2];
  const hit = document.elementFromPoint(x, y);
  if (hit && (element.contains(hit) || hit.contains(element))) return 0;
  return Math.round(y - window.innerHeight / 2) || 1;
}"""
ROWS = """slug => [...document.querySelectorAll('[data-row]')]
  .filter(row => row.closest('section.stage')?.dataset.stage === slug
    && !row.closest('details.more'))
  .map(row => row.id.slice(4))"""


def play(player: Player, site: str, visit: Visit, patient: str = "") -> str:
    """A whole visit, from the page of today to the signed note; returns the patient's address."""
    address = begin(player, site, visit, patient)
    for question in visit.yes:
        player.touch(f"#q-{question} button[value=yes]", saves=True)
    player.touch("#none-of-these .sweep", saves=True)
    for stage in _stages():
        _stage(player, visit, stage)
        if visit.stops_at_emergency and player.page.locator("[data-alarm]").count():
            break
    sign(player, visit)
    return address


def begin(player: Player, site: str, visit: Visit, patient: str) -> str:
    """A new patient and about; of a follow-up the patient's page and the kind of visit."""
    page = player.page
    page.goto(patient or f"{site}/")
    player.touch(
        "main a:text-is('New examination')" if patient else "main a:text-is('New patient')"
    )
    if not patient:
        page.wait_for_url("**/patients/new/")
        if not page.locator("#id_code").input_value():
            player.write("#id_code", "AVOCET-1")
        player.touch("main button.main")
    page.wait_for_url("**/examine/")
    address: str = page.url.split("examine/")[0]
    if visit.kind:
        player.choose("#id_visit", visit.kind)
    if not patient:
        player.write("#id_age", "61")
        for name, value in (("sex", "male"), ("dominant", "left"), ("complaint", "left")):
            player.touch(f"label:has(input[name={name}][value={value}])")
    player.touch("main button.main")
    page.wait_for_url("**/history/**")
    return address


def _stages() -> Iterator[str]:
    from tests.shoulder import PROTOCOL

    for stage in PROTOCOL.stages:
        yield stage.slug


def _stage(player: Player, visit: Visit, slug: str) -> None:
    """What was found and what is recorded singly, as the page has it; then the rest at its foot."""
    page = player.page
    player.reach(f"#stage-{slug} h2")
    goniometer = f"#stage-{slug} > .stage-head .instrument .chip[value=goniometer]"
    if visit.goniometer and page.locator(f"{goniometer}[aria-pressed=false]").count():
        player.touch(f"{goniometer}[aria-pressed=false]")
        page.locator(f"{goniometer}[aria-pressed=true]").wait_for()
    for item in page.evaluate(ROWS, slug):
        _row(player, visit, item)
        if visit.stops_at_emergency and page.locator("[data-alarm]").count():
            return
    if page.locator(f"#foot-{slug} .sweep").count():
        player.touch(f"#foot-{slug} .sweep", saves=True)


def _row(player: Player, visit: Visit, item: str) -> None:
    row = f"#row-{item}"
    for step in visit.found.get(item, ()):
        selector = f"{row} {step.selector}"
        if not player.page.locator(selector).count():
            player.touch(f"{row} .left [data-opens]")
        if step.text:
            player.write(selector, step.text)
        else:
            player.touch(selector, saves=True)
    if item not in visit.found and player.page.locator(f"{row}.blank[data-singly]").count():
        player.touch(f"{row} .one-touch", saves=True)


def sign(player: Player, visit: Visit) -> None:
    """The clinician's words, who follows up what was raised, and the signature."""
    page = player.page
    player.touch("#head .doing a.main")
    page.wait_for_url("**/sign/")
    player.write("#id_impression", visit.impression)
    for flag in page.locator(".follow-up").evaluate_all("all => all.map(one => one.dataset.flag)"):
        player.touch(f".follow-up[data-flag='{flag}'] input[name=flag]")
        for name, words in (("who", "CURLEW"), ("by_when", "now"), ("told", "surgeon on call")):
            player.write(f"[id='{name}-{flag}']", words)
    player.touch("button[name=sign]")
    page.wait_for_url("**/note/")


@dataclass(frozen=True)
class Counted:
    """A visit that was played, and what it took."""

    visit: Visit
    device: Device
    player: Player
    address: str
    """Of the examination, as it was signed."""

    def row(self) -> dict[str, Any]:
        """For the table of figures."""
        one = self.player
        work = f"visit, {self.visit.name}, {self.device.name}"
        operators = " ".join(f"{name} {one.operators[name]}" for name in SECONDS)
        counts = f"{one.touches} touches, {one.keys} keys, {one.screens} screens scrolled"
        note = f"{counts}; operators {operators}"
        return {"work": work, "ours": round(one.seconds), "unit": "s", "note": note}


def played(
    browser: Any, site: str, kept: Any, device: Device, visits: tuple[Visit, ...]
) -> Iterator[Counted]:
    """The visits one after the other on one device; a follow-up follows the stiff one."""
    stiff = ""
    for visit in visits:
        context = browser.new_context(storage_state=kept, **device.options)
        context.set_default_timeout(PATIENCE_MS)
        if visit.kind == "follow_up" and not stiff:
            stiff = play(Player(context.new_page(), device), site, STIFF)
        player = Player(context.new_page(), device)
        patient = play(player, site, visit, stiff if visit.kind == "follow_up" else "")
        stiff = patient if visit is STIFF else stiff
        address = player.page.url.split("note/")[0]
        context.close()
        yield Counted(visit, device, player, address)


def rows(devices: tuple[Device, ...], visits: tuple[Visit, ...]) -> list[dict[str, Any]]:
    """Serve the bedside, sign in, play, count."""
    from playwright.sync_api import sync_playwright
    from tests.browser.conftest import serve, sign_in
    from tests.setup_browser import FLAGS, find_browser

    counted: list[dict[str, Any]] = []
    for site in serve():
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=find_browser(), args=list(FLAGS))
            kept = sign_in(browser, site, "owner")
            for device in devices:
                for one in played(browser, site, kept, device, visits):
                    counted.append(one.row())
                    print(counted[-1]["work"], file=sys.stderr, flush=True)
            browser.close()
    return counted


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="the short visit on a tablet alone")
    parser.add_argument("--device", help="this one alone")
    parser.add_argument("--visit", help="this one alone, by how its name begins")
    given = parser.parse_args()
    if given.quick:
        given.device, given.visit = "tablet", "short"
    devices = tuple(d for d in DEVICES if given.device in (None, d.name))
    visits = tuple(v for v in VISITS if v.name.startswith(given.visit or ""))
    print(json.dumps(rows(devices, visits)))


if __name__ == "__main__":
    main()

"""From a touch to what is saved and to what it means, in a real browser, as ratios in one run.

Beside each touch the same browser asks the same server for the smallest answer it has (its icon):
times vary with the machine, the ratio less so. "Saved" is when the row has its answer on the page,
"meaning" when the panel shows a meaning of as many entries as the page has. The panel waits a
quarter of a second for a next touch before it asks; that wait is in the figure.

    python -m bench page        or    python -m bench.page [--quick]
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

ROWS = "[id^=row-][id$=_tenderness]:has(.left)"
TABLET = {"viewport": {"width": 1024, "height": 768}, "has_touch": True}
PATIENCE_MS = 30_000
BARE = """async () => {
  const start = performance.now();
  await (await fetch(document.querySelector("link[rel=icon]").href, {cache: "no-store"})).text();
  return performance.now() - start;
}"""


def timed(page: Any, row: str, word: str) -> tuple[float, float]:
    """Milliseconds from the touch to the answer on the row, and to the meaning in the panel."""
    chip = page.locator(f"#{row} .left .chip:text-is('{word}')")
    if not chip.count():
        page.locator(f"#{row} .left [data-opens]").tap()
    length = int(page.locator("#head").get_attribute("data-length"))
    start = time.perf_counter()
    chip.tap()
    page.locator(f"#head[data-length='{length + 1}']").wait_for()
    saved = time.perf_counter()
    page.locator(f"#meaning-body [data-length='{length + 1}']").wait_for()
    return (saved - start) * 1000, (time.perf_counter() - start) * 1000


def measured(page: Any, touches: int) -> tuple[list[float], list[float], list[float]]:
    """Bare answers, saved touches and meanings, in milliseconds."""
    bare, saved, meant = [], [], []
    rows = page.locator(ROWS).evaluate_all("all => all.map((one) => one.id)")
    for number in range(touches):
        bare.append(page.evaluate(BARE))
        word = ("1", "2")[number // len(rows) % 2]
        one, two = timed(page, rows[number % len(rows)], word)
        saved.append(one)
        meant.append(two)
    return bare, saved, meant


def rows(touches: int) -> list[dict[str, Any]]:
    """Serve the bedside with its real weighing, touch, and set each beside the bare answer."""
    from playwright.sync_api import sync_playwright
    from tests.browser.conftest import serve, sign_in
    from tests.browser.hand import Hand
    from tests.setup_browser import FLAGS, find_browser

    for site in serve(REAL_WEIGHING="1"):
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=find_browser(), args=list(FLAGS))
            kept = sign_in(browser, site, "owner")
            page = browser.new_context(storage_state=kept, **TABLET).new_page()
            page.set_default_timeout(PATIENCE_MS)
            page.goto(f"{Hand(page, site).begin('KNOT-1')}stage/feel/")
            page.locator("#meaning-body [data-length]").wait_for()
            bare, saved, meant = measured(page, touches)
            browser.close()
    return [_row("saved", saved, bare), _row("meaning", meant, bare)]


def _row(what: str, times: list[float], bare: list[float]) -> dict[str, Any]:
    ours, theirs = statistics.median(times), statistics.median(bare)
    high = sorted(times)[int(0.95 * (len(times) - 1))]
    return {"work": f"in the browser, touch to {what}", "ours": round(ours, 1),
            "p95": round(high, 1), "unit": "ms", "peer": "a bare answer",
            "theirs": round(theirs, 1), "ratio": round(ours / theirs, 1),
            "note": f"{len(times)} touches"}  # fmt: skip


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="six touches")
    print(json.dumps(rows(6 if parser.parse_args().quick else 60)))


if __name__ == "__main__":
    main()

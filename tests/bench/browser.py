"""From an edit to its new price, in a real browser over the whole service."""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from playwright.sync_api import Page, expect

from tests.served import ROOT, Served, chromium, served, signed_in

ROUNDS = 15
TARGET = 150.0


def lines() -> Iterator[str]:
    """Type a number, leave the box, wait until the sum has changed; and until the ready day has come after it."""
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as shop, chromium() as browser:
        uid, steps = _enlarged(shop)
        context, page = signed_in(browser, shop, "desk")
        page.goto(f"{shop.address}/restorations/")
        page.locator("main a", has_text="500 Bramble").first.click()
        yield _told("the largest demo restoration", _edits(page, "Centre stand"))
        page.goto(f"{shop.address}/restorations/{uid}/")
        yield _told(f"a restoration of {steps} steps", _edits(page, "Part 7"))
        context.close()


def _enlarged(shop: Served) -> tuple[str, str]:
    """A large restoration beside those of the demo: its uid and number of steps."""
    environment = dict(os.environ) | {"BAREFRAME_HOME": str(shop.home)}
    command = [sys.executable, "-m", "tests.bench.large"]
    said = subprocess.run(command, cwd=ROOT, env=environment, check=True, capture_output=True, text=True).stdout
    uid, steps = said.split()[-2:]
    return uid, f"{int(steps):,}"


def _edits(page: Page, part: str) -> tuple[list[float], list[float]]:
    page.locator("summary", has_text=part).first.click()
    expect(page.locator("details[open] .panel").get_by_label("Pieces")).to_be_visible()
    _until_planned(page)
    both = [_edit(page, str(2 + number % 2)) for number in range(ROUNDS)][2:]
    return [price for price, _day in both], [day for _price, day in both]


def _told(what: str, measured: tuple[list[float], list[float]]) -> str:
    prices, days = measured
    return (
        f"{what}, in the browser: edit to new price with its contingency median {statistics.median(prices):.0f} ms, worst of "
        f"{len(prices)} {max(prices):.0f} ms (target {TARGET:.0f} ms); to its ready day {statistics.median(days) / 1000:.2f} s"
    )


def _until_planned(page: Page) -> None:
    expect(page.locator("#ready form")).to_have_count(0, timeout=60_000)


def _edit(page: Page, value: str) -> tuple[float, float]:
    """Milliseconds until the price, by the page's own clock, seen by a mutation observer; and until the ready day."""
    page.locator("details[open] .panel").get_by_label("Pieces").fill(value)
    page.evaluate(
        """() => {
        window.newPrice = new Promise((done) => {
          const start = performance.now();
          const old = document.querySelector("#total .sum").textContent;
          new MutationObserver((_, seen) => {
            const sum = document.querySelector("#total .sum");
            if (sum && sum.textContent !== old) { seen.disconnect(); done(performance.now() - start); }
          }).observe(document.body, { childList: true, subtree: true });
        });
        document.activeElement.blur();
      }"""
    )
    start = time.perf_counter()
    elapsed: float = page.evaluate("window.newPrice")
    _until_planned(page)
    return elapsed, (time.perf_counter() - start) * 1000

"""The pages of the floor on a slow tablet: cold, at a quarter of this processor's speed, until a card can be tapped."""

import statistics
import tempfile
from collections.abc import Iterator
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.served import Served, chromium, served, signed_in

ROUNDS = 5
SLOWER = 4
TARGET = 1000.0


def lines() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as shop, chromium() as browser:
        address = _own_page(browser, shop)
        measured = [_cold(browser, shop, address) for _ in range(ROUNDS)]
        usable, sent, unpacked = (list(column) for column in zip(*measured, strict=True))
    yield (
        f"the tasks of a mechanic, cold, processor {SLOWER} times slower: a card can be tapped after median "
        f"{statistics.median(usable):.0f} ms, worst of {ROUNDS} {max(usable):.0f} ms (target {TARGET:.0f} ms); "
        f"{max(sent) / 1000:.0f} kB sent, {max(unpacked) / 1000:.0f} kB unpacked (target 150 kB)"
    )


def _own_page(browser: Browser, shop: Served) -> str:
    context, page = signed_in(browser, shop, "mechanic")
    expect(page.locator(".job .take").first).to_be_visible()
    context.close()
    return page.url


def _cold(browser: Browser, shop: Served, address: str) -> tuple[float, float, float]:
    """Milliseconds from asking for the page, by its own clock; bytes of all that came with it, as sent and unpacked."""
    context, page = signed_in(browser, shop, "mechanic", viewport={"width": 1024, "height": 600})
    session = context.new_cdp_session(page)
    session.send("Network.clearBrowserCache")
    session.send("Network.setCacheDisabled", {"cacheDisabled": True})
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    page.goto(address, wait_until="commit")
    page.wait_for_function("document.querySelector('.job .take')?.checkVisibility()", polling="raf")
    usable: float = page.evaluate("performance.now()")
    page.wait_for_load_state("load")
    sizes = page.evaluate(
        """() => [...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
          .reduce(([sent, whole], one) => [sent + one.transferSize, whole + one.decodedBodySize], [0, 0])"""
    )
    context.close()
    return usable, sizes[0], sizes[1]

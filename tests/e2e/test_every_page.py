"""Every page of the shop in a real browser, as every role: accessible, whole on a phone, without an error, and light."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page

from tests.served import ROOT, Served, served, signed_in

#: Long: with the floor it is a walk of more than ten minutes on two cores. ``check.py --long`` runs it.
pytestmark = [pytest.mark.browser, pytest.mark.long]

# Source: WCAG 2.2, level AA, as the rules of axe-core name it.
WCAG = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}
#: What alone can differ in the dark.
CONTRAST = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
DESKTOP, PHONE = 1280, 390
#: Bytes that come over the line for HTML, CSS and scripts when nothing is kept yet, without fonts and pictures. Styles and
#: scripts come compressed as the service sends them; pages are not compressed, since they hold what nobody may guess.
HEAVIEST = 150_000
ROLES = ("desk", "manager", "mechanic")

WATCH = """
for (const name of ["responseError", "sendError", "swapError", "targetError", "oobErrorNoTarget", "onLoadError"])
  document.addEventListener(`htmx:${name}`, () => console.error(`htmx: ${name}`));
document.addEventListener("securitypolicyviolation", (event) => console.error(`policy: ${event.violatedDirective}`));
"""
OPEN = """() => {
  let parts = 0;
  for (const one of document.querySelectorAll("main details:not([open])"))
    if (!one.matches(".part") || (parts += 1) <= 2) one.open = true;
}"""
WEIGHT = """() => [...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")]
  .filter(({ name, entryType }) => entryType === "navigation" || /\\.(css|js)$/.test(new URL(name).pathname))
  .map(({ name, encodedBodySize, decodedBodySize }) => [new URL(name).pathname, encodedBodySize, decodedBodySize])"""
WIDER = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@dataclass
class Crawl:
    """What was seen: pages by role, their bytes as sent and as read, and what is wrong with them, by what kind of wrong."""

    seen: dict[str, set[str]] = field(default_factory=dict)
    weights: dict[str, tuple[int, int]] = field(default_factory=dict)
    wrong: dict[str, list[str]] = field(default_factory=dict)

    def say(self, kind: str, where: str, *what: str) -> None:
        self.wrong.setdefault(kind, []).extend(f"{where}: {one}" for one in what)


@dataclass(frozen=True)
class Visit:
    crawl: Crawl
    role: str
    page: Page
    shots: Path | None

    def look(self, name: str, address: str, path: str) -> None:
        page, where = self.page, f"{self.role} {path}"
        said: list[str] = []
        page.on("console", hear := lambda one: said.append(one.text) if one.type == "error" else None)
        page.on("pageerror", broke := lambda error: said.append(str(error)))
        page.emulate_media(color_scheme="light")
        page.set_viewport_size({"width": DESKTOP, "height": 900})
        page.goto(address + path)
        page.wait_for_load_state("networkidle")
        self.weigh(name, where)
        page.evaluate(OPEN)
        page.wait_for_load_state("networkidle")
        for width in (DESKTOP, PHONE):
            page.set_viewport_size({"width": width, "height": 900})
            if over := page.evaluate(WIDER):
                self.crawl.say("wide", where, f"{over} px beyond {width}")
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
                rules = WCAG if scheme == "light" else CONTRAST
                self.crawl.say("axe", f"{where} {scheme} {width}", *violations(page, rules))
                self.shoot(name, f"{scheme}-{width}")
        page.remove_listener("console", hear)
        page.remove_listener("pageerror", broke)
        self.crawl.say("error", where, *said)
        self.crawl.seen.setdefault(self.role, set()).add(name)

    def weigh(self, name: str, where: str) -> None:
        sizes = self.page.evaluate(WEIGHT)
        whole = sum(sent for _, sent, _ in sizes)
        self.crawl.weights[where] = (whole, sum(read for _, _, read in sizes))
        if whole > HEAVIEST:
            self.crawl.say("heavy", where, f"{whole:,} bytes")

    def shoot(self, name: str, how: str) -> None:
        if self.shots:
            file = f"{name.replace(':', '-')}-{self.role}-{len(self.crawl.weights)}-{how}.png"
            self.page.screenshot(path=self.shots / file, full_page=True)


def violations(page: Page, rules: dict[str, Any]) -> list[str]:
    found = Axe().run(page, options=rules).response["violations"]
    return sorted({f"{one['id']} {node['target']}" for one in found for node in one["nodes"]})


def furnished(shop: Served) -> list[dict[str, str]]:
    environment = dict(os.environ) | {"BAREFRAME_HOME": str(shop.home)}
    environment.pop("BAREFRAME_DATABASE", None)
    command = [sys.executable, "-m", "tests.every_page"]
    ran = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    return list(json.loads(ran.stdout.splitlines()[-1]))


def is_page(context: BrowserContext, address: str) -> int | str:
    """Why there is no page of one's own at an address: its status, its kind of content, or that it is a part of one."""
    answer = context.request.get(address, max_redirects=0)
    if answer.status != 200:
        return answer.status
    kind = answer.headers["content-type"].split(";")[0]
    if kind != "text/html":
        return kind
    return "" if answer.text().lstrip().lower().startswith("<!doctype html>") else "fragment"


def crawled(browser: Browser, shop: Served, shots: Path | None = None) -> Crawl:
    """Each page once as the first role that may see it, every role's own first page, and the customer's pages."""
    crawl = Crawl()
    every = furnished(shop)
    rest = [one for one in every if not one["enter"]]
    for role in ROLES:
        context, page = signed_in(browser, shop, role)
        page.add_init_script(WATCH)
        rest = _looked_at(Visit(crawl, role, page, shots), shop, rest)
        context.close()
    for one in rest:
        if one["path"] != "/":
            crawl.say("no sample", one["name"], f"nobody may see {one['path']}")
    for one in every:
        if one["enter"]:
            context = browser.new_context()
            page = context.new_page()
            page.add_init_script(WATCH)
            page.goto(shop.address + one["enter"])
            _looked_at(Visit(crawl, "customer", page, shots), shop, [one])
            context.close()
    return crawl


def _looked_at(visit: Visit, shop: Served, addresses: list[dict[str, str]]) -> list[dict[str, str]]:
    """Look at what this role may see; gives back what is left for others."""
    left = []
    for one in addresses:
        why = is_page(visit.page.context, shop.address + one["path"])
        if not why:
            visit.look(one["name"], shop.address, one["path"])
        elif why == 404 or (isinstance(why, int) and why >= 500):
            visit.crawl.say("no sample", f"{visit.role} {one['name']}", f"{why} at {one['path']}")
        if why == 403 or one["path"] == "/":
            left.append(one)
    return left


@pytest.fixture(scope="module")
def crawl(browser: Browser, tmp_path_factory: Any) -> Iterator[Crawl]:
    """A shop of its own: what is added to it would be in the way of the other tests."""
    with served(tmp_path_factory.mktemp("every-page")) as shop:
        yield crawled(browser, shop)


def test_every_address_has_something_to_show(crawl: Crawl) -> None:
    """A new page needs a sample in tests/every_page.py."""
    assert crawl.wrong.get("no sample", []) == []
    assert {role: len(names) for role, names in crawl.seen.items() if len(names) < 1} == {}
    assert len(set.union(*crawl.seen.values())) > 25


@pytest.mark.parametrize(
    ("kind", "what"),
    [
        ("axe", "breaks WCAG 2.2 AA, in light or dark, at 1280 or 390 px"),
        ("wide", "is wider than the screen"),
        ("error", "says an error in the console, of the policy or of htmx"),
        ("heavy", f"is heavier than {HEAVIEST:,} bytes"),
    ],
)
def test_no_page(crawl: Crawl, kind: str, what: str) -> None:
    assert crawl.wrong.get(kind, []) == [], f"This {what}."


@pytest.mark.control
def test_what_is_wrong_with_a_page_would_be_noticed(browser: Browser, shop: Served) -> None:
    context, page = signed_in(browser, shop, "desk")
    page.add_init_script(WATCH)
    crawl = Crawl()
    visit = Visit(crawl, "desk", page, None)
    page.route(
        "**/restorations/",
        lambda route: route.fulfill(
            content_type="text/html",
            body='<!doctype html><html lang="en"><title>t</title><main><h1>t</h1><button></button>'
            '<div style="width:2000px">x</div><script>console.error("broken")</script>' + "x" * HEAVIEST,
        ),
    )
    visit.look("desk:restorations", shop.address, "/restorations/")
    context.close()
    assert {kind for kind, found in crawl.wrong.items() if found} == {"axe", "wide", "error", "heavy"}

"""Every page of the shop in a real browser, as every role: accessible, whole on a phone, without an error, and light."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Request

from tests.e2e.conftest import copied
from tests.guidelines import CONTRAST, GLOVE, WCAG, too_small, violations
from tests.served import ROOT, Served, signed_in

pytestmark = pytest.mark.browser

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
#: What a page asks for by itself begins within two frames.
TWO_FRAMES = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done))))"
ANSWER_LIMIT = 30.0  # s
WIDER = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@dataclass
class Crawl:
    """What was seen: pages by role, their bytes as sent and as read, and what is wrong with them, by what kind of wrong."""

    seen: dict[str, set[str]] = field(default_factory=dict)
    weights: dict[str, tuple[int, int]] = field(default_factory=dict)
    wrong: dict[str, list[str]] = field(default_factory=dict)

    def say(self, kind: str, where: str, *what: str) -> None:
        self.wrong.setdefault(kind, []).extend(f"{where}: {one}" for one in what)


@dataclass
class Visit:
    crawl: Crawl
    role: str
    page: Page
    said: list[str] = field(default_factory=list)
    asked: set[Request] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.page.add_init_script(WATCH)
        self.page.on("console", lambda one: self.said.append(one.text) if one.type == "error" else None)
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda one: self.asked.add(one))
        self.page.on("requestfinished", lambda one: self.asked.discard(one))
        self.page.on("requestfailed", lambda one: self.asked.discard(one))

    def look(self, name: str, address: str, path: str) -> None:
        """The rules once for each width, what darkness changes once; contrast in the dark does not depend on the width."""
        page, where = self.page, f"{self.role} {path}"
        self.said.clear()
        self.show("light", DESKTOP)
        page.goto(address + path)
        self.settle()
        self.weigh(where)
        page.evaluate(OPEN)
        self.settle()
        for scheme, width, rules in (("light", DESKTOP, WCAG), ("dark", DESKTOP, CONTRAST), ("light", PHONE, WCAG)):
            self.show(scheme, width)
            if over := page.evaluate(WIDER):
                self.crawl.say("wide", where, f"{over} px beyond {width}")
            self.crawl.say("axe", f"{where} {scheme} {width}", *violations(page, rules))
        if name.startswith("floor:"):
            self.crawl.say("small", where, *too_small(page, GLOVE))
        self.crawl.say("error", where, *self.said)
        self.crawl.seen.setdefault(self.role, set()).add(name)

    def show(self, scheme: Literal["light", "dark"], width: int) -> None:
        self.page.emulate_media(color_scheme=scheme)
        self.page.set_viewport_size({"width": width, "height": 900})

    def settle(self) -> None:
        """Wait until all is answered that the page asked for."""
        until = time.monotonic() + ANSWER_LIMIT
        while time.monotonic() < until:
            self.page.evaluate(TWO_FRAMES)
            if not self.asked:
                return
        self.said.extend(f"no answer: {one.url}" for one in self.asked)

    def weigh(self, where: str) -> None:
        sizes = self.page.evaluate(WEIGHT)
        whole = sum(sent for _, sent, _ in sizes)
        self.crawl.weights[where] = (whole, sum(read for _, _, read in sizes))
        if whole > HEAVIEST:
            self.crawl.say("heavy", where, f"{whole:,} bytes")


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


def crawled(browser: Browser, shop: Served) -> Crawl:
    """Each page once as the first role that may see it, every role's own first page, and the customer's pages."""
    crawl = Crawl()
    every = furnished(shop)
    rest = [one for one in every if not one["enter"]]
    for role in ROLES:
        context, page = signed_in(browser, shop, role)
        rest = _looked_at(Visit(crawl, role, page), shop, rest)
        context.close()
    for one in rest:
        if one["path"] != "/":
            crawl.say("no sample", one["name"], f"nobody may see {one['path']}")
    for one in every:
        if one["enter"]:
            context = browser.new_context()
            page = context.new_page()
            page.goto(shop.address + one["enter"])
            _looked_at(Visit(crawl, "customer", page), shop, [one])
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
def crawl(browser: Browser, begun: Served, tmp_path_factory: Any) -> Iterator[Crawl]:
    """A shop of its own: what is added to it would be in the way of the other tests."""
    with copied(begun, tmp_path_factory.mktemp("every-page") / "home") as shop:
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
        ("small", f"of the floor has something to tap that a glove misses, under {GLOVE} px"),
        ("heavy", f"is heavier than {HEAVIEST:,} bytes"),
    ],
)
def test_no_page(crawl: Crawl, kind: str, what: str) -> None:
    assert crawl.wrong.get(kind, []) == [], f"This {what}."


@pytest.mark.control
def test_what_is_wrong_with_a_page_would_be_noticed(browser: Browser, shop: Served) -> None:
    context, page = signed_in(browser, shop, "desk")
    crawl = Crawl()
    visit = Visit(crawl, "desk", page)
    page.route(
        "**/restorations/",
        lambda route: route.fulfill(
            content_type="text/html",
            body='<!doctype html><html lang="en"><title>t</title><main><h1>t</h1><button></button>'
            '<div style="width:2000px">x</div><script>console.error("broken")</script>' + "x" * HEAVIEST,
        ),
    )
    visit.look("floor:home", shop.address, "/restorations/")
    context.close()
    assert {kind for kind, found in crawl.wrong.items() if found} == {"axe", "wide", "small", "error", "heavy"}

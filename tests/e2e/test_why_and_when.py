"""The ready day follows an edit by itself; why, days and versions can be read by anybody."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.guidelines import violations
from tests.served import Served, signed_in

pytestmark = pytest.mark.browser
#: Hundreds of parts are priced and planned many times over, on a machine that does other things as well [ms].
LONG = 60_000
BEING = "The ready day is being worked out"


@pytest.fixture(params=[1280])
def at(request: pytest.FixtureRequest, browser: Browser, shop: Served) -> Iterator[Page]:
    """A restoration open at the desk; whatever the console complains of, refused content too, fails the test."""
    context, page = signed_in(browser, shop, "desk", viewport={"width": request.param, "height": 900})
    page.set_default_timeout(LONG)
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{shop.address}/restorations/")
    page.get_by_role("link", name=re.compile("500 Bramble")).first.click()
    expect(page.locator("#total")).to_be_visible()
    yield page
    context.close()
    assert complaints == []


def ready(page: Page) -> None:
    """Wait for both days."""
    expect(page.locator("#ready dt", has_text="Can be promised")).to_be_visible(timeout=LONG)
    expect(page.locator("#ready [role=status]")).to_have_count(0, timeout=LONG)
    expect(page.locator("#ready s")).to_have_count(0)


def set_pieces(page: Page, count: int) -> None:
    pieces = page.locator("details[open] .panel").get_by_label("Pieces")
    with page.expect_response(lambda answer: answer.request.method == "POST" and "/parts/" in answer.url):
        pieces.fill(str(count))
        pieces.press("Tab")


def test_the_ready_day_follows_an_edit_without_a_reload(at: Page) -> None:
    at.evaluate("window.stillTheSamePage = true")
    ready(at)
    held: list[Route] = []
    at.route("**/ready-day/", lambda route: held.append(route) if not held else route.continue_())
    at.locator("summary", has_text="Centre stand").first.click()
    with at.expect_request("**/ready-day/"):
        set_pieces(at, 7)
    expect(at.locator("#ready")).to_contain_text(BEING)
    expect(at.locator("#ready s")).to_have_count(2)  # the old days, struck out
    held[0].continue_()
    ready(at)
    assert at.evaluate("window.stillTheSamePage")


def test_a_second_edit_while_the_first_is_worked_out_ends_with_its_own_day(at: Page) -> None:
    ready(at)
    held: list[Route] = []
    at.route("**/ready-day/", lambda route: held.append(route) if not held else route.continue_())
    at.locator("summary", has_text="Centre stand").first.click()
    with at.expect_request("**/ready-day/"):
        set_pieces(at, 8)
    set_pieces(at, 9)
    held[0].continue_()
    ready(at)
    at.wait_for_timeout(500)
    assert at.locator("#ready").count() == 1


@pytest.mark.parametrize("at", [360, 1280], indirect=True)
def test_why_loads_what_moves_it_and_has_no_barriers(at: Page) -> None:
    at.get_by_role("link", name="Why", exact=True).click()
    expect(at.get_by_role("heading", name="What moves it most")).to_be_visible()
    swung = at.locator("section[aria-labelledby=what-moves] figure.picture")
    expect(swung).to_have_count(3, timeout=LONG)
    at.locator("section[aria-labelledby=lines] a").first.click()
    expect(at.locator("details.sheet-part[id^=line-][open]")).to_have_count(1)
    assert violations(at) == []
    assert at.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


@pytest.mark.parametrize("at", [360, 1280], indirect=True)
def test_days_have_no_barriers(at: Page) -> None:
    at.goto(at.url.split("?")[0].rstrip("/") + "/days/")
    expect(at.get_by_role("heading", name="When it is ready")).to_be_visible()
    assert violations(at) == []
    assert at.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


@pytest.mark.parametrize("at", [360, 1280], indirect=True)
def test_versions_are_compared_without_barriers(at: Page) -> None:
    at.goto(at.url.split("?")[0].rstrip("/") + "/compare/?before=draft&after=draft")
    expect(at.get_by_role("rowheader", name="Before")).to_be_visible(timeout=LONG)
    assert violations(at) == []
    assert at.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")

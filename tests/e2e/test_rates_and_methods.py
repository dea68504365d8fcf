"""The rate book and the methods in a real browser: from a figure to what it would do, with scripting and without."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.guidelines import WCAG, violations
from tests.served import Served, signed_in

pytestmark = pytest.mark.browser
#: Every open draft is priced several times over, on a machine that does other things as well [ms].
LONG = 60_000
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
LOOKS = {
    "desk": {"viewport": {"width": 1280, "height": 900}},
    "dark": {"viewport": {"width": 1280, "height": 900}, "color_scheme": "dark"},
    "phone": {"viewport": {"width": 390, "height": 844}},
    "plain": {"viewport": {"width": 1280, "height": 900}, "java_script_enabled": False},
}


@pytest.fixture
def at(request: pytest.FixtureRequest, browser: Browser, shop: Served) -> Iterator[Page]:
    """The manager; whatever the console complains of fails the test, but that a refused form is answered as refused."""
    context, page = signed_in(browser, shop, "manager", **LOOKS[request.param])
    page.set_default_timeout(LONG)
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{shop.address}/rates/")
    yield page
    context.close()
    assert [one for one in complaints if "status of 422" not in one] == []


def whole(page: Page) -> None:
    """Nothing is cut off, and nothing stands in anybody's way."""
    assert page.evaluate(WIDER) == 0, page.url
    assert violations(page, WCAG) == [], page.url


def go(page: Page, name: str) -> None:
    page.get_by_role("link", name=name, exact=True).first.click()
    page.wait_for_load_state("networkidle")


@pytest.mark.parametrize("at", ["desk", "dark", "phone"], indirect=True)
def test_every_page_is_whole_and_accessible(at: Page) -> None:
    whole(at)
    for name in (
        "Mechanic",
        "Blast grit",
        "Zinc plating, clear",
        "Standard rate",
        "How we price",
        "Fee for strip and inspect, chances and spreads",
    ):
        go(at, name)
        whole(at)
        at.get_by_role("button", name="Look what it changes").click()
        expect(at.locator(".effects [hx-post]")).to_have_count(0, timeout=LONG)
        whole(at)
        at.goto(re.sub(r"/rates/.*", "/rates/", at.url))
    go(at, "Out to a file and in again")
    whole(at)
    go(at, "Rate book")
    go(at, "Methods")
    whole(at)
    for name in ("Blast", "Degreaser", "Quellan Plating", "Zinc plating, clear", "Chrome", "Oven", "Frame"):
        go(at, name)
        whole(at)
        at.go_back()
    go(at, "A new labour operation")
    whole(at)
    at.go_back()
    go(at, "Chrome")
    go(at, "steel")
    whole(at)
    at.goto(re.sub(r"/methods/.*", "/methods/", at.url))
    go(at, "500 twin")
    whole(at)


@pytest.mark.parametrize("at", ["desk", "plain"], indirect=True)
def test_a_rate_is_looked_at_and_noted_with_and_without_scripting(at: Page) -> None:
    go(at, "Tumbling media")
    boxes = at.locator("#note")
    typed = "52.20" if "€51.10" in at.content() else "51.10"  # one workshop for both
    boxes.get_by_label("Price of a pack").fill(typed)
    boxes.get_by_label("Who said so").fill("Mrs Fell")
    at.get_by_role("button", name="Look what it changes").click()
    expect(at.get_by_role("heading", name="What it changes")).to_be_visible()
    expect(at.locator(".effects [hx-post]")).to_have_count(0, timeout=LONG)
    expect(at.locator(".effects > li").filter(has_text="Priced anew").first).to_be_visible()
    expect(boxes.get_by_label("Price of a pack")).to_have_value(typed)  # nothing typed is lost on the way
    expect(boxes.get_by_label("Who said so")).to_have_value("Mrs Fell")
    at.get_by_role("button", name="Note it").click()
    expect(at.get_by_role("status").first).to_contain_text("Noted.")
    expect(at.locator("table")).to_contain_text(f"€{typed}")
    expect(at.locator("table")).to_contain_text("Mrs Fell")


@pytest.mark.parametrize("at", ["desk"], indirect=True)
def test_what_was_typed_is_back_after_leaving_the_page(at: Page) -> None:
    go(at, "Glass beads")
    at.locator("#note").get_by_label("Price of a pack").fill("47.70")
    at.wait_for_timeout(400)  # longer than the pause after which a page keeps what is typed
    at.goto(re.sub(r"/rates/.*", "/rates/", at.url))
    go(at, "Glass beads")
    expect(at.locator("#note").get_by_label("Price of a pack")).to_have_value("47.70")
    expect(at.get_by_text("What you typed before, and did not save, is back.")).to_be_visible()


@pytest.mark.parametrize("at", ["plain"], indirect=True)
def test_an_operation_is_changed_without_scripting(at: Page) -> None:
    go(at, "Methods")
    go(at, "Crack-test")
    at.get_by_label("Time without hands").fill("25")
    at.get_by_label("Caution", exact=False).first.fill("")
    at.get_by_role("button", name="Save").click()
    expect(at.get_by_text("This would leave the work without its caution")).to_be_visible()
    expect(at.get_by_label("Time without hands")).to_have_value("25")
    at.get_by_label("Caution", exact=False).first.fill("Penetrant and developer are flammable.")
    at.get_by_role("button", name="Save").click()
    expect(at.get_by_role("status").first).to_contain_text("Saved.")
    expect(at.locator(".caution")).to_contain_text("flammable")

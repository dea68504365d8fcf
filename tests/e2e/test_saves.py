"""Saving box by box: nothing typed is lost, whatever the line, the other desk or the keyboard does meanwhile."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Locator, Page, Request, Route, expect

from tests.guidelines import violations
from tests.served import Served, signed_in

pytestmark = pytest.mark.browser


@pytest.fixture(params=["Centre stand"])
def at(request: pytest.FixtureRequest, browser: Browser, shop: Served) -> Iterator[Page]:
    """The page of one part, on which the front desk is signed in."""
    context, page = signed_in(browser, shop, "desk")
    page.set_default_timeout(10_000)
    open_restoration(page, shop)
    page.locator("summary", has_text=request.param).first.click()
    expect(box(page, "pieces")).to_be_visible()
    yield page
    context.close()


def open_restoration(page: Page, shop: Served) -> None:
    page.goto(f"{shop.address}/restorations/")
    page.get_by_role("link", name=re.compile("500 Bramble")).first.click()
    expect(page.locator("#total")).to_be_visible()


def box(page: Page, name: str) -> Locator:
    return page.locator(f"form.saves input[name={name}]:not([type=hidden])").first


def around(page: Page, name: str) -> Locator:
    return page.locator(".box", has=page.locator(f"[name='seen-{name}']")).first


def seen(page: Page, name: str) -> Locator:
    return page.locator(f"[name='seen-{name}']").first


def another(page: Page, name: str, more: int = 2) -> str:
    """A number that is not stored in a box yet."""
    return str(int(seen(page, name).input_value() or 0) + more)


def save(page: Page, name: str, value: str) -> None:
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        box(page, name).fill(value)
        box(page, name).press("Tab")
    expect(seen(page, name)).to_have_value(value)


def posts(page: Page) -> list[str]:
    sent: list[str] = []

    def note(request: Request) -> None:
        """What people send; the ready day is asked for by the page itself."""
        if request.method == "POST" and not request.url.endswith("/ready-day/"):
            sent.append(request.post_data or "")

    page.on("request", note)
    return sent


def colleague(page: Page, browser: Browser, shop: Served, name: str, value: str) -> None:
    """Somebody at another desk sets the same box of the same part."""
    context, other = signed_in(browser, shop, "manager")
    other.goto(shop.address + (page.locator("form.saves").first.get_attribute("action") or ""))
    save(other, name, value)
    context.close()


def test_an_untouched_page_has_nothing_to_save(at: Page):
    sent = posts(at)
    at.evaluate("for (const form of document.querySelectorAll('form.saves')) form.requestSubmit()")
    at.wait_for_timeout(400)
    assert sent == []


def test_what_is_typed_while_an_answer_is_on_its_way_stays_and_is_saved_next(at: Page):
    first, later = another(at, "openings"), another(at, "openings") + "1"
    held: list[Route] = []
    at.route("**/parts/*/", lambda route: held.append(route) if not held else route.continue_())
    field = box(at, "openings")
    field.fill(first)
    field.press("Enter")
    at.wait_for_timeout(400)
    assert len(held) == 1
    field.press("End")
    field.press_sequentially("1")
    with at.expect_response("**/parts/*/"):
        held[0].continue_()
    expect(seen(at, "openings")).to_have_value(first)
    expect(field).to_have_value(later)
    with at.expect_response("**/parts/*/"):
        field.press("Tab")
    expect(seen(at, "openings")).to_have_value(later)


def test_what_was_typed_in_a_box_that_never_lost_focus_is_back_after_leaving(at: Page):
    here, stored = at.url, box(at, "deviation").input_value()
    box(at, "deviation").press_sequentially("lined")
    at.goto(here.split("/restorations/")[0])
    at.goto(here)
    expect(box(at, "deviation")).to_have_value(f"{stored}lined")
    expect(around(at, "deviation").get_by_text("Not saved yet.")).to_be_visible()
    at.get_by_role("button", name="Discard it").click()
    expect(box(at, "deviation")).to_have_value(stored)
    expect(around(at, "deviation").get_by_text("Not saved yet.")).to_be_hidden()
    at.goto(here)
    at.wait_for_timeout(400)
    assert at.get_by_role("button", name="Discard it").count() == 0


def test_a_step_left_unsaved_inside_two_folds_is_unfolded_again(at: Page):
    at.locator(".step summary").first.click()
    chance = at.locator("input[name=fail_chance]").first
    chance.fill("7.5")
    here = at.url
    at.goto(here.split("/restorations/")[0])
    at.goto(here)
    expect(chance).to_be_visible()
    expect(chance).to_have_value("7.5")
    at.get_by_role("button", name="Discard it").click()


def test_a_box_that_did_not_arrive_says_so_and_is_sent_when_the_line_is_back(at: Page):
    value = another(at, "pieces")
    at.context.set_offline(True)
    box(at, "pieces").fill(value)
    box(at, "pieces").press("Tab")
    expect(around(at, "pieces").get_by_text("Not saved yet.")).to_be_visible()
    assert around(at, "pieces").evaluate("place => getComputedStyle(place).borderStyle") == "dashed"
    with at.expect_response("**/parts/*/"):
        at.context.set_offline(False)
    expect(seen(at, "pieces")).to_have_value(value)
    expect(around(at, "pieces").get_by_text("Not saved yet.")).to_be_hidden()


def test_what_was_typed_off_line_survives_a_reload_and_is_saved_by_its_button(at: Page):
    value = another(at, "pieces")
    at.route("**/parts/*/", lambda route: route.abort() if route.request.method == "POST" else route.continue_())
    box(at, "pieces").fill(value)
    box(at, "pieces").press("Tab")
    expect(around(at, "pieces").get_by_text("Not saved yet.")).to_be_visible()
    at.unroute("**/parts/*/")
    at.reload()
    expect(box(at, "pieces")).to_have_value(value)
    with at.expect_response("**/parts/*/"):
        around(at, "pieces").get_by_role("button", name="Save it").click()
    expect(seen(at, "pieces")).to_have_value(value)
    expect(at.get_by_role("button", name="Discard it")).to_have_count(0)


def test_a_lost_session_loses_nothing_typed(at: Page):
    value = another(at, "pieces")
    at.context.clear_cookies()
    box(at, "pieces").fill(value)
    box(at, "pieces").press("Tab")
    expect(around(at, "pieces").get_by_text("Not saved yet.")).to_be_visible()
    assert value in at.evaluate("JSON.stringify(sessionStorage)")


@pytest.mark.parametrize("value", ["", "many"], ids=["right", "wrong"])
def test_enter_sends_once(at: Page, value: str):
    sent = posts(at)
    discount = at.locator("#draft-discount")
    discount.fill(value or ("3" if discount.input_value().startswith("2") else "2"))
    discount.press("Enter")
    at.wait_for_timeout(1500)
    assert len(sent) == 1
    if not value:
        return
    with at.expect_response("**/draft/"):
        discount.fill("1")
        discount.press("Enter")


def test_going_back_to_what_is_stored_sends_nothing(at: Page):
    stored = box(at, "pieces").input_value()
    sent = posts(at)
    box(at, "pieces").fill(stored + "0")
    box(at, "pieces").fill(stored)
    box(at, "pieces").dispatch_event("change")
    at.wait_for_timeout(400)
    assert sent == []


@pytest.mark.parametrize("choice", ["Use mine", "Take theirs"])
def test_a_conflict_is_settled_by_one_of_two_buttons(at: Page, browser: Browser, shop: Served, choice: str):
    mine, theirs = another(at, "pieces"), another(at, "pieces", 3)
    colleague(at, browser, shop, "pieces", theirs)
    box(at, "pieces").fill(mine)
    box(at, "pieces").press("Tab")
    expect(around(at, "pieces").get_by_text(f"Somebody else changed this to “{theirs}”")).to_be_visible()
    save(at, "spokes", another(at, "spokes"))  # an unrelated box is saved, and settles nothing
    expect(around(at, "pieces").get_by_role("button", name=choice)).to_be_visible()
    around(at, "pieces").get_by_role("button", name=choice).click()
    expect(around(at, "pieces").get_by_role("button", name=choice)).to_have_count(0)
    stands = mine if choice == "Use mine" else theirs
    expect(box(at, "pieces")).to_have_value(stands)
    expect(seen(at, "pieces")).to_have_value(stands)
    at.reload()
    at.locator("summary", has_text="Centre stand").first.click()
    expect(box(at, "pieces")).to_have_value(stands)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_a_box_asks_and_says_is_free_of_barriers_on_a_phone(browser: Browser, shop: Served, scheme: str):
    size = {"width": 360, "height": 740}
    context, page = signed_in(browser, shop, "desk", viewport=size, color_scheme=scheme, bypass_csp=True)
    open_restoration(page, shop)
    page.locator("summary", has_text="Centre stand").first.click()
    theirs = another(page, "pieces", 3)
    mine = another(page, "pieces")
    colleague(page, browser, shop, "pieces", theirs)
    box(page, "pieces").fill(mine)
    box(page, "pieces").press("Tab")
    expect(page.get_by_role("button", name="Use mine")).to_be_visible()
    context.set_offline(True)
    box(page, "spokes").fill(another(page, "spokes"))
    box(page, "spokes").press("Tab")
    expect(around(page, "spokes").get_by_text("Not saved yet.")).to_be_visible()
    assert violations(page) == []
    assert page.evaluate(TOO_WIDE) == []
    context.close()


def test_on_a_phone_the_sum_does_not_cover_the_box_being_edited(browser: Browser, shop: Served):
    context, page = signed_in(browser, shop, "desk", viewport={"width": 360, "height": 640})
    open_restoration(page, shop)
    page.locator("summary", has_text="Centre stand").first.click()
    expect(box(page, "pieces")).to_be_visible()
    box(page, "name").focus()
    covered = []
    for _number in range(17):
        page.keyboard.press("Tab")
        covered += page.evaluate(COVERED)
    assert covered == []
    context.close()


#: What reaches over the right edge of the page.
TOO_WIDE = """[...document.querySelectorAll('main *')]
    .filter(one => !one.closest('.ways, .scroll'))
    .filter(one => one.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
    .map(one => one.outerHTML.slice(0, 120))"""

#: The name of the box with the focus, if its lower edge is under the sum.
COVERED = """(() => {
    const box = document.activeElement, sum = document.querySelector('#total').getBoundingClientRect();
    const edge = box.getBoundingClientRect();
    return edge.bottom > sum.top + 1 && edge.top < sum.bottom ? [box.name || box.textContent] : [];
})()"""

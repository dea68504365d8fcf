"""Drafting at speed in Chromium: many parts by keyboard alone, thirty typed in a row, undo beside a colleague, two people on
one draft, and all of it without scripting.
"""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.guidelines import violations
from tests.served import Served, signed_in

pytestmark = pytest.mark.browser


@pytest.fixture
def desk(browser: Browser, shop: Served) -> Iterator[Page]:
    context, page = signed_in(browser, shop, "desk")
    page.set_default_timeout(10_000)
    yield page
    context.close()


@pytest.fixture
def plain(browser: Browser, shop: Served) -> Iterator[Page]:
    """Scripting is off."""
    context, page = signed_in(browser, shop, "desk", java_script_enabled=False)
    page.set_default_timeout(10_000)
    yield page
    context.close()


def begin(page: Page, shop: Served, title: str, *, from_template: bool = True) -> str:
    """A bike of its own for a test: the address of its parts."""
    page.goto(f"{shop.address}/restorations/begin/")
    page.fill("[name=name]", f"Customer of {title}")
    page.fill("[name=maker]", "Wren")
    page.fill("[name=model]", "125")
    page.fill("[name=title]", title)
    page.check(f"[name=parts_from][value={'template' if from_template else 'empty'}]")
    if from_template:
        page.select_option("[name=template]", index=1)
    page.locator("main form button[type=submit]:visible").last.click()
    page.wait_for_url(re.compile(r"/restorations/[0-9a-f-]{36}/$"))
    return page.url


def focused(page: Page) -> str:
    """What the keyboard is on: its id, or its name, or its tag."""
    at = page.evaluate("[document.activeElement.id, document.activeElement.name, document.activeElement.tagName]")
    return next(word for word in at if word)


def on_line(page: Page) -> bool:
    return bool(page.evaluate("document.activeElement.matches('.part > summary')"))


def faults(page: Page) -> str:
    expect(page.locator(".htmx-request")).to_have_count(0, timeout=60_000)
    expect(page.locator("#pending")).to_be_hidden()
    return "\n".join(violations(page))


def test_twelve_parts_are_set_by_keyboard_alone(desk: Page, shop: Served) -> None:
    begin(desk, shop, "Twelve by keyboard")
    keys = desk.keyboard
    desk.locator(".part > summary").first.focus()
    for _count in range(12):
        keys.press("Space")
        keys.press("ArrowDown")
    expect(desk.locator("#many-count")).to_have_text("12 parts chosen")
    assert desk.locator(".part[open]").count() == 0
    keys.press("m")
    expect(desk.locator("#many-agreed_finish")).to_be_focused()
    assert faults(desk) == ""
    keys.press("Tab")
    keys.press("Tab")
    assert focused(desk) == "many-condition"
    keys.type("seized")
    while focused(desk) != "do":
        keys.press("Tab")
    keys.press("Enter")
    expect(desk.locator(".messages")).to_contain_text("12 parts are set: ")
    assert desk.evaluate("document.querySelectorAll('.part-line').length") > 12
    desk.locator(".messages button").focus()
    keys.press("Enter")
    expect(desk.locator(".messages")).to_contain_text("Undone")


def test_the_list_moves_opens_folds_and_narrows_by_keys(desk: Page, shop: Served) -> None:
    begin(desk, shop, "Keys")
    keys = desk.keyboard
    lines = desk.locator(".part > summary")
    lines.first.focus()
    keys.press("ArrowDown")
    expect(lines.nth(1)).to_be_focused()
    keys.press("Enter")
    box = desk.locator(".part[open] [name=pieces]")
    expect(box).to_be_visible()
    box.focus()
    keys.press("n")  # typed, not a command
    assert focused(desk).endswith("pieces")
    keys.press("Escape")
    expect(lines.nth(1)).to_be_focused()
    assert desk.locator(".part[open]").count() == 0
    keys.press("/")
    assert focused(desk) == "filter"
    all_lines = desk.locator(".part-line").count()
    keys.type("wheel")
    assert 0 < desk.locator(".part-line:visible").count() < all_lines
    keys.press("ArrowDown")
    assert on_line(desk)
    keys.press("n")
    assert focused(desk) == "id_name"


def test_the_first_arrow_down_reaches_the_list_and_escape_closes_and_shows_all_again(desk: Page, shop: Served) -> None:
    begin(desk, shop, "From the page")
    keys = desk.keyboard
    desk.locator("h1").click()
    keys.press("ArrowDown")
    expect(desk.locator(".part > summary").first).to_be_focused()
    keys.press("?")
    expect(desk.locator("#keys")).to_be_visible()
    keys.press("Escape")
    expect(desk.locator("#keys")).to_be_hidden()
    all_lines = desk.locator(".part-line").count()
    desk.fill("#filter", "wheel")
    assert desk.locator(".part-line:visible").count() < all_lines
    keys.press("ArrowDown")
    keys.press("Escape")
    expect(desk.locator("#filter")).to_have_value("")
    assert desk.locator(".part-line:visible").count() == all_lines


def test_a_click_beside_everything_draws_no_frame_and_the_skip_link_does(desk: Page, shop: Served) -> None:
    begin(desk, shop, "Frames")
    frame = "getComputedStyle(document.getElementById('main')).outlineStyle"
    desk.locator("main").click(position={"x": 4, "y": 4})
    desk.keyboard.press("Shift")
    assert focused(desk) == "main"
    assert desk.evaluate(frame) == "none"
    desk.locator(".skip").focus()
    desk.keyboard.press("Enter")
    assert focused(desk) == "main"
    assert desk.evaluate(frame) == "solid"


def test_what_was_done_is_read_where_one_was(desk: Page, shop: Served) -> None:
    begin(desk, shop, "Back in the list")
    last = desk.locator(".part-line").last
    last.locator(".tick input").check()
    desk.locator("#many-open").click()
    desk.select_option("#many-condition", "seized")
    desk.get_by_role("button", name="Set it for all chosen parts").click()
    expect(desk.locator(".messages")).to_be_in_viewport()
    expect(last.locator("summary")).to_be_in_viewport()
    assert desk.evaluate("scrollY") > 0


def test_keys_can_be_switched_off_and_stay_off(desk: Page, shop: Served) -> None:
    begin(desk, shop, "Keys off")
    desk.locator("#keys-open").click()
    expect(desk.locator("#keys")).to_be_visible()
    assert faults(desk) == ""
    desk.locator("#keys-on").uncheck()
    desk.reload()
    desk.locator(".part > summary").first.focus()
    desk.keyboard.press("/")
    assert on_line(desk)
    desk.keyboard.press("Space")
    assert desk.locator(".tick input:checked").count() == 0


def test_thirty_parts_are_typed_in_a_row(desk: Page, shop: Served) -> None:
    begin(desk, shop, "Thirty", from_template=False)
    name = desk.locator("#another-form [name=name]")
    desk.fill("#another-form [name=area_name]", "Engine")
    name.focus()
    for number in range(30):
        desk.keyboard.type(f"Part {number}")
        desk.keyboard.press("Enter")
        assert focused(desk) == "id_name"
    expect(desk.locator(".part-line")).to_have_count(30, timeout=60_000)
    expect(desk.locator("#adding")).to_be_hidden()
    assert focused(desk) == "id_name"
    names = [text.strip() for text in desk.locator(".part-name").all_inner_texts()]
    assert names == [f"Part {number}" for number in range(30)]
    desk.reload()
    assert [text.strip() for text in desk.locator(".part-name").all_inner_texts()] == names
    assert desk.locator(".area").count() == 1


def test_a_part_that_does_not_arrive_is_named_and_kept(desk: Page, shop: Served) -> None:
    begin(desk, shop, "Off line", from_template=False)
    desk.route("**/parts/", lambda route: route.abort())
    name = desk.locator("#another-form [name=name]")
    name.fill("Cut off")
    name.press("Enter")
    expect(desk.locator("#adding-said")).to_have_text("Not added yet: Cut off")
    desk.unroute("**/parts/")
    desk.reload()
    expect(desk.locator("#adding-said")).to_have_text("Not added yet: Cut off")
    desk.locator("#adding-again").click()
    expect(desk.locator(".part-line")).to_have_count(1)
    expect(desk.locator("#adding")).to_be_hidden()


def test_focus_is_kept_through_every_answer_and_the_price_is_said(desk: Page, shop: Served) -> None:
    begin(desk, shop, "Focus")
    desk.locator(".part > summary", has=desk.locator(".part-finish .chip")).first.click()
    pieces = desk.locator(".part[open] [name=pieces]").first
    pieces.fill("3")
    with desk.expect_response(lambda answer: answer.request.method == "POST"):
        pieces.press("Tab")
    expect(desk.locator("#heard")).to_contain_text("New price")
    assert desk.evaluate("document.activeElement !== document.body")
    assert focused(desk).endswith("material")
    with desk.expect_response(lambda answer: answer.request.method == "POST"):
        pieces.fill("4")
        pieces.press("Enter")
    desk.wait_for_timeout(300)
    assert focused(desk).endswith("pieces")
    step = desk.locator(".part[open] .step summary").first
    step.click()
    off = desk.locator(".step details[open] button", has_text="Take off the route")
    off.focus()
    with desk.expect_response(lambda answer: "take-off" in answer.url):
        off.press("Enter")
    desk.wait_for_timeout(300)
    assert desk.evaluate(
        "document.activeElement !== document.body && Boolean(document.activeElement.closest('.part[open]'))"
    )
    assert faults(desk) == ""


def test_undo_after_a_colleague_changed_it_asks_first(desk: Page, browser: Browser, shop: Served) -> None:
    address = begin(desk, shop, "Colleague")
    desk.locator(".part > summary").first.click()
    with desk.expect_response(lambda answer: answer.request.method == "POST"):
        desk.locator(".part[open] [name=pieces]").first.fill("5")
        desk.keyboard.press("Tab")
    context, other = signed_in(browser, shop, "manager")
    other.goto(address)
    other.locator(".part > summary").first.click()
    with other.expect_response(lambda answer: answer.request.method == "POST"):
        other.locator(".part[open] [name=pieces]").first.fill("7")
        other.keyboard.press("Tab")
    context.close()
    desk.goto(f"{address}history/")
    assert faults(desk) == ""
    mine = desk.locator(".happened > li", has_text="to 5")
    mine.get_by_role("button").click()
    expect(desk.locator("h1")).to_have_text("Somebody changed it since")
    expect(desk.locator("main")).to_contain_text("it left 5, now it is 7")
    assert faults(desk) == ""
    desk.get_by_role("button", name="Undo it all the same").click()
    expect(desk.locator(".messages")).to_contain_text("Undone")
    expect(desk.locator(".happened > li").first).to_contain_text("from 7")


def test_two_people_on_one_draft_do_not_set_over_each_other(desk: Page, browser: Browser, shop: Served) -> None:
    address = begin(desk, shop, "Two people")
    desk.locator(".part-line .tick input").nth(0).check()
    desk.locator(".part-line .tick input").nth(1).check()
    context, other = signed_in(browser, shop, "manager")
    other.goto(address)
    other.locator(".part > summary").first.click()
    with other.expect_response(lambda answer: answer.request.method == "POST"):
        other.locator(".part[open] [name=pieces]").first.fill("6")
        other.keyboard.press("Tab")
    context.close()
    desk.locator("#many-open").click()
    desk.select_option("#many-condition", "seized")
    desk.get_by_role("button", name="Set it for all chosen parts").click()
    expect(desk.get_by_role("alert").first).to_contain_text("Somebody changed this restoration after you looked.")
    assert desk.locator("[name=part]:checked").count() == 2
    expect(desk.locator("#many-condition")).to_have_value("seized")
    assert faults(desk) == ""
    desk.get_by_role("button", name="Set it for all chosen parts").click()
    expect(desk.locator(".messages")).to_contain_text("2 parts are set: ")


def test_my_own_saving_is_no_colleague(desk: Page, shop: Served) -> None:
    begin(desk, shop, "Own saving")
    desk.locator(".part > summary").first.click()
    with desk.expect_response(lambda answer: answer.request.method == "POST"):
        desk.locator(".part[open] [name=pieces]").first.fill("6")
        desk.keyboard.press("Tab")
    desk.wait_for_timeout(300)
    desk.locator(".part-line .tick input").first.check()
    desk.locator("#many-open").click()
    desk.select_option("#many-condition", "seized")
    desk.get_by_role("button", name="Set it for all chosen parts").click()
    expect(desk.locator(".messages")).to_contain_text("1 part is set: ")


def test_without_scripting_many_are_set_and_undone(plain: Page, shop: Served) -> None:
    begin(plain, shop, "Plain many")
    whole = plain.locator(".area-tick input").first
    whole.check()
    count = plain.locator(".area").first.locator(".part-line").count()
    plain.locator("#many-open").click()
    assert plain.locator("[name=part]:checked").count() == count
    plain.select_option("#many-condition", "seized")
    plain.get_by_role("button", name="Set it for all chosen parts").click()
    expect(plain.locator(".messages")).to_contain_text(f"{count} part")
    plain.locator(".messages button").click()
    expect(plain.locator(".messages")).to_contain_text("Undone")
    plain.get_by_role("link", name="What happened").click()
    expect(plain.locator(".happened > li").first).to_contain_text("from seized to worn")


def test_without_scripting_every_area_ticked_means_its_parts(plain: Page, shop: Served) -> None:
    address = begin(plain, shop, "Plain areas")
    areas = plain.locator(".area")
    for number in range(areas.count()):
        area = areas.nth(number)
        count = area.locator(".part-line").count()
        area.locator(".area-tick input").check()
        plain.locator("#many-open").click()
        assert plain.locator("[name=part]:checked").count() == count
        plain.goto(address)


def test_only_what_the_chosen_source_asks_for_is_shown_and_all_of_it_without_scripting(
    desk: Page, plain: Page, shop: Served
) -> None:
    boxes = {"template": "[name=template]", "earlier": "#earlier-words", "file": "[name=file]", "empty": ""}
    for page, choosing in ((desk, True), (plain, False)):
        page.goto(f"{shop.address}/restorations/begin/")
        for source in boxes:
            page.check(f"[name=parts_from][value={source}]")
            seen = {name for name, box in boxes.items() if box and page.locator(box).is_visible()}
            assert seen == ({source} - {"empty"} if choosing else {"template", "earlier", "file"})


def test_a_template_that_was_not_chosen_is_asked_for_where_the_keyboard_is(desk: Page, shop: Served) -> None:
    desk.goto(f"{shop.address}/restorations/begin/")
    for name in ("name", "maker", "model"):
        desk.fill(f"[name={name}]", "Wren")
    desk.get_by_role("button", name="Begin the restoration").click()
    expect(desk.locator("[name=template]")).to_be_focused()
    expect(desk.locator("[name=template]")).to_be_in_viewport()
    assert faults(desk) == ""


def test_an_earlier_bike_is_found_by_typing(desk: Page, shop: Served) -> None:
    desk.goto(f"{shop.address}/restorations/begin/")
    desk.check("[name=parts_from][value=earlier]")
    desk.fill("#earlier-words", "bramble")
    found = desk.locator("#earlier-found input").first
    expect(desk.locator("#earlier-found")).to_contain_text("75 parts")
    # Of which other tests of this shop may have taken some off.
    told = re.search(r"\d+ parts", found.locator("xpath=ancestor::*[contains(., 'parts')][1]").inner_text())
    assert told
    found.check()
    expect(desk.locator("[name=parts_from][value=earlier]")).to_be_checked()
    assert faults(desk) == ""
    desk.fill("[name=name]", "Ada Fell")
    desk.fill("[name=maker]", "Wren")
    desk.fill("[name=model]", "500")
    desk.get_by_role("button", name="Begin the restoration").click()
    expect(desk.locator(".messages")).to_contain_text(told[0])


def test_without_scripting_an_earlier_bike_is_found_and_begun(plain: Page, shop: Served) -> None:
    plain.goto(f"{shop.address}/restorations/begin/")
    plain.fill("[name=name]", "Ivo Fell")
    plain.fill("[name=maker]", "Wren")
    plain.fill("[name=model]", "501")
    plain.fill("#earlier-words", "bramble CB57")
    plain.get_by_role("button", name="Find").last.click()
    expect(plain.locator("[name=name]")).to_have_value("Ivo Fell")
    plain.locator("#earlier-found input").first.check()
    plain.get_by_role("button", name="Begin the restoration").click()
    expect(plain.locator(".messages")).to_contain_text("75 parts")


@pytest.mark.parametrize("options", [{"color_scheme": "dark"}, {"viewport": {"width": 390, "height": 800}}])
def test_nothing_is_cut_off_or_unreadable(browser: Browser, shop: Served, options: dict[str, object]) -> None:
    context, page = signed_in(browser, shop, "desk", **options)
    address = begin(page, shop, f"Looks {sorted(options)[0]}")
    page.locator(".part-line .tick input").first.check()
    page.locator("#many-open").click()
    expect(page.locator("#many-condition")).to_be_visible()
    for where in ("", "history/"):
        if where:
            page.goto(address + where)
        assert faults(page) == ""
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    context.close()

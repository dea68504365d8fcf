"""What a new user does: open a restoration, change a part, see the price follow, issue, open the PDF."""

import re

import pypdf
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.guidelines import violations
from tests.served import Served, signed_in

pytestmark = pytest.mark.browser


def open_largest(page: Page, shop: Served) -> None:
    page.goto(f"{shop.address}/restorations/")
    page.get_by_role("link", name=re.compile("500 Bramble")).first.click()
    expect(page.locator("#total")).to_be_visible()


def test_from_a_draft_to_the_customers_pdf(browser: Browser, shop: Served, tmp_path):
    context, page = signed_in(browser, shop, "desk")
    open_largest(page, shop)
    total = page.locator("#total .sum")
    before = total.inner_text()
    page.locator("summary", has_text="Centre stand").click()
    pieces = page.locator("details[open] .panel").get_by_label("Pieces")
    pieces.fill("2")
    pieces.press("Tab")
    expect(total).not_to_have_text(before)

    page.get_by_role("link", name="Issue this quote").click()
    page.get_by_label(re.compile("only guessed")).check()
    page.get_by_role("button", name="Issue the quote").click()
    expect(page).to_have_url(re.compile(r"/quotes/[0-9a-f-]{36}/"))
    shown = page.locator("body").inner_text()

    link = page.get_by_role("link", name=re.compile("PDF"))
    expect(link).to_be_visible(timeout=30_000)
    answer = context.request.get(shop.address + (link.get_attribute("href") or ""))
    assert answer.headers["content-type"] == "application/pdf"
    file = tmp_path / "quote.pdf"
    file.write_bytes(answer.body())
    text = "\n".join(leaf.extract_text() for leaf in pypdf.PdfReader(file).pages)
    totals = re.findall(r"€[\d,]+\.\d\d", shown)
    assert max(totals, key=len) in text
    context.close()


def test_a_wrong_entry_stays_in_its_box_with_what_to_do(browser: Browser, shop: Served):
    context, page = signed_in(browser, shop, "desk")
    open_largest(page, shop)
    page.locator("summary", has_text="Swinging arm").first.click()
    pieces = page.locator("details[open] .panel").get_by_label("Pieces")
    pieces.fill("two")
    pieces.press("Tab")
    expect(page.get_by_text("Give a whole number in digits, such as 2.")).to_be_visible()
    expect(page.locator("details[open] .panel").get_by_label("Pieces")).to_have_value("two")
    context.close()


def test_a_mechanic_finds_no_money_anywhere(browser: Browser, shop: Served):
    context, page = signed_in(browser, shop, "mechanic")
    assert "€" not in page.locator("body").inner_text()
    assert page.goto(f"{shop.address}/restorations/").status == 403
    context.close()


@pytest.mark.parametrize("size", [{"width": 360, "height": 740}, {"width": 1280, "height": 900}], ids=["phone", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pages_are_free_of_barriers_and_never_scroll_sideways(browser: Browser, shop: Served, size, scheme):
    context, page = signed_in(browser, shop, "manager", viewport=size, color_scheme=scheme, bypass_csp=True)
    open_largest(page, shop)
    page.locator("details.part > summary").nth(4).click()
    expect(page.locator("details[open] .panel").get_by_label("Pieces")).to_be_visible()
    addresses = [page.url, f"{page.url}issue/", f"{page.url}costs/", shop.address, f"{shop.address}/restorations/"]
    addresses += [f"{shop.address}/restorations/begin/", f"{shop.address}/background-jobs/"]
    for number, address in enumerate(addresses):
        if number:
            page.goto(address)
        assert violations(page) == [], address
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, f"{address} scrolls sideways by {wide} px"
    context.close()

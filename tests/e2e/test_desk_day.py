"""The desk's day as a new user has it: from "new" to "issued" in few movements of the hand."""

import re

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.served import Served, signed_in

pytestmark = pytest.mark.browser

#: What a hand may do between "new" and "issued": presses of a key or button, boxes filled, choices made.
MOST_MOVEMENTS = 25


class Hand:
    """Counts what a person does."""

    def __init__(self, page: Page) -> None:
        self.page, self.movements = page, 0

    def press(self, where: Locator) -> None:
        self.movements += 1
        where.click()

    def fill(self, label: str, text: str) -> None:
        self.movements += 1
        self.page.get_by_label(label, exact=True).fill(text)

    def choose(self, label: str, choice: str) -> None:
        self.movements += 1
        self.page.get_by_label(label, exact=True).select_option(label=choice)

    def link(self, name: str) -> None:
        self.press(self.page.get_by_role("link", name=name, exact=True).first)

    def button(self, name: str) -> None:
        self.press(self.page.get_by_role("button", name=name, exact=True))


def test_sixty_parts_are_priced_confirmed_and_issued_in_few_movements(browser: Browser, shop: Served) -> None:
    context, page = signed_in(browser, shop, "manager")
    hand = Hand(page)
    hand.link("Begin a restoration")
    hand.fill("Name", "Ines Varga")
    hand.fill("Maker", "Bramble")
    hand.fill("Model", "500 Twin")
    page.get_by_label("Template", exact=True).focus()
    hand.choose("Template", "500 twin")
    hand.button("Begin the restoration")
    expect(page.locator("details.part")).not_to_have_count(0)
    assert page.locator("details.part").count() >= 60

    hand.link("Prices to confirm")
    for _page in range(6):  # a page of prices at a time
        if not page.get_by_role("button", name="Confirm them").count():
            break
        hand.press(page.get_by_label("All that are listed on this page"))
        stand = page.locator("#as-they-are")
        hand.movements += 2
        stand.get_by_label("How sure").select_option(label="seen in writing")
        stand.get_by_label("Who said so").fill("their lists of prices")
        hand.button("Confirm them")
        expect(page.locator(".notice-good")).to_contain_text("confirmed")
    hand.link("Parts and price")
    hand.link("Issue this quote")
    expect(page.get_by_text("Only guessed")).to_have_count(0)
    hand.button("Issue the quote")
    expect(page).to_have_url(re.compile(r"/quotes/[0-9a-f-]{36}/"))
    print(f"\nfrom new to issued: {hand.movements} movements")
    assert hand.movements <= MOST_MOVEMENTS
    context.close()

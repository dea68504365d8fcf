"""From the desk's link to the customer's yes in a real Chromium: on a phone, without scripting, read by anybody."""

from typing import Any

import pytest
from playwright.sync_api import Request, expect

from quotes.pricing.models import Draft, IssuedQuote, Outcome
from shop.restorations.models import FinishAgreement, Part
from tests.opening import Opened, violations
from tests.pricing.customers import NAME, PAGE, issued_now, link_to, other_finish
from tests.pricing.workshop import Workshop

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PHONE = 390


@pytest.fixture
def quote(draft: Draft, shop: Workshop) -> IssuedQuote:
    other_finish(Part.objects.order_by("pk")[0], shop.nickel, "zinc plated, not cadmium plated as it left the factory")
    return issued_now(draft)


@pytest.fixture(autouse=True)
def customer(opened: Opened) -> None:
    """Nobody has signed in, unless a test says so."""
    opened.who = ""
    opened.width = PHONE
    opened.expected += ["404"]


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_from_the_desks_link_to_the_customers_yes_on_a_phone(opened: Opened, quote: IssuedQuote, scripts: bool) -> None:
    desk = opened(f"/quotes/{quote.uid}/", width=1280, who="desk", scripts=scripts)
    desk.get_by_role("button", name="Make a link to this quote").click()
    address = desk.get_by_label("Link to this quote").input_value()
    phone = opened(address, scripts=scripts)
    assert phone.url.endswith(PAGE)
    expect(phone.get_by_text("waits for your answer")).to_be_visible()
    phone.get_by_role("link", name="Go to your answer").click()
    phone.get_by_label("Your name").first.fill(NAME)
    phone.get_by_role("button", name="Accept this quote").click()
    expect(phone.get_by_text("Tick each of them to accept.")).to_be_visible()  # the deviation was not ticked
    assert phone.get_by_label("Your name").first.input_value() == NAME
    phone.get_by_role("checkbox").first.check()
    phone.get_by_role("button", name="Accept this quote").click()
    expect(phone.get_by_text(f"Accepted by {NAME}")).to_be_visible()
    assert (Outcome.objects.get().who, FinishAgreement.objects.get().how) == (NAME, "online")
    desk.goto(f"/quotes/{quote.uid}/")
    expect(desk.get_by_text("on the customer's page")).to_be_visible()


def test_declining_on_a_phone(opened: Opened, quote: IssuedQuote) -> None:
    phone = opened(f"/c/{link_to(quote)[1]}/")
    phone.get_by_text("I do not want to accept it").click()
    form = phone.locator(".customer-decline form")
    form.get_by_label("Why not?").fill("Sold the machine")
    form.get_by_label("Your name").fill(NAME)
    form.get_by_role("button", name="Decline it").click()
    expect(phone.get_by_text("You said:")).to_be_visible()
    assert Outcome.objects.get().kind == "declined"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_the_customers_pages_are_accessible_and_fit(
    opened: Opened, quote: IssuedQuote, width: int, scheme: str
) -> None:
    page = opened(f"/c/{link_to(quote)[1]}/", width=width, color_scheme=scheme)
    page.get_by_text("I do not want to accept it").click()
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == width
    page.get_by_role("button", name="Accept this quote").click()
    expect(page.get_by_role("alert")).to_be_visible()
    assert violations(page) == []
    closed = opened("/c/nothing/", width=width, color_scheme=scheme)
    assert violations(closed) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_the_desks_page_with_a_link_just_made_is_accessible_and_fits(
    opened: Opened, quote: IssuedQuote, width: int, scheme: str, settings: Any
) -> None:
    settings.MAIL, settings.MAIL_FROM = {"host": "127.0.0.1"}, "desk@low-mill.example"
    page = opened(f"/quotes/{quote.uid}/", width=width, color_scheme=scheme, who="desk")
    page.get_by_role("button", name="Make a link to this quote").click()
    page.get_by_text("By mail from here").click()
    page.locator("#withdraw > summary").click()
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == width


def test_a_price_stands_beside_its_part_on_a_phone(opened: Opened, quote: IssuedQuote) -> None:
    """Nothing has to be pushed sideways to see what a part costs."""
    phone = opened(f"/c/{link_to(quote)[1]}/")
    lines = phone.locator(".offer-lines tbody tr")
    assert lines.count() == 3
    for line in lines.all():
        part, price = line.locator("th").bounding_box(), line.locator("td.price").bounding_box()
        assert part is not None
        assert price is not None
        assert abs(part["y"] - price["y"]) < 8
        assert price["x"] + price["width"] <= PHONE


def test_no_request_of_the_page_tells_where_it_came_from(opened: Opened, quote: IssuedQuote, live_server: Any) -> None:
    """Source: W3C Referrer Policy: the address with the secret is in no Referer, and not in the browser's history."""
    _link, secret = link_to(quote)
    page = opened("/c/nothing/")
    sent: list[Request] = []
    page.on("request", lambda request: sent.append(request))
    page.goto(f"{live_server.url}/c/{secret}/")
    page.get_by_role("link", name="Go to your answer").click()
    page.get_by_label("Your name").first.fill(NAME)
    page.get_by_role("checkbox").first.check()
    page.get_by_role("button", name="Accept this quote").click()
    expect(page.get_by_text(f"Accepted by {NAME}")).to_be_visible()
    assert len(sent) > 5
    assert not [one.url for one in sent if secret in one.all_headers().get("referer", "")]
    page.go_back()
    page.go_back()
    assert secret not in page.url


def test_a_link_fetched_ahead_by_the_browser_accepts_nothing(opened: Opened, quote: IssuedQuote) -> None:
    _link, secret = link_to(quote)
    page = opened("/c/nothing/")
    page.evaluate(
        """async (address) => {
            await fetch(address, { credentials: "include" });
            await fetch("/c/quote/?act=accept&said_by=Eve", { credentials: "include" });
        }""",
        f"/c/{secret}/",
    )
    assert not Outcome.objects.exists()

"""The pages of an issued quote in a real Chromium: to be read by anybody, at any width, and alive."""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from quotes.pricing.models import Draft, IssuedQuote, Outcome
from tests.opening import Opened, violations
from tests.pricing.paper import make_papers
from tests.pricing.workshop import Workshop, add_parts, issue, restoration
from tests.pricing.workshop import draft as draft_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def quote(draft: Draft) -> IssuedQuote:
    now = timezone.now()
    return issue(draft, today=timezone.localdate(now), now=now)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("piece", ["", "costs/"])
def test_a_page_is_accessible_and_fits(opened: Opened, quote: IssuedQuote, piece: str, width: int, scheme: str) -> None:
    page = opened(f"/quotes/{quote.uid}/{piece}", width=width, color_scheme=scheme)
    for summary in page.locator("details.sheet-part > summary, details.sheet-step > summary").all()[:3]:
        summary.click()
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == width


def test_the_pdf_appears_by_itself_when_it_is_ready(opened: Opened, quote: IssuedQuote) -> None:
    page = opened(f"/quotes/{quote.uid}/")
    expect(page.locator("#paper")).to_contain_text("is being made")
    page.get_by_label("Reason").fill("said on the phone that")
    make_papers()
    link = page.get_by_role("link", name="Open the PDF")
    expect(link).to_be_visible(timeout=10_000)
    assert page.get_by_label("Reason").input_value() == "said on the phone that"
    address = link.get_attribute("href")
    assert address
    assert page.context.request.get(address).headers["content-type"] == "application/pdf"


def test_an_answer_refused_keeps_what_was_typed_and_is_taken_when_mended(opened: Opened, quote: IssuedQuote) -> None:
    page = opened(f"/quotes/{quote.uid}/")
    page.get_by_label("declined").check()
    page.get_by_label("How").select_option("phone")
    page.get_by_role("button", name="Record it").click()
    expect(page.locator("#id_reason_error")).to_contain_text("why it was declined")
    assert page.get_by_label("How").input_value() == "phone"
    assert violations(page) == []
    page.get_by_label("Reason").fill("sold the bike")
    page.get_by_role("button", name="Record it").click()
    expect(page.locator(".quote-side")).to_contain_text("sold the bike")
    assert Outcome.objects.get().reason == "sold the bike"


@pytest.mark.parametrize("scripts", [True, False])
def test_a_figure_opens_to_where_it_came_from_with_and_without_scripts(
    opened: Opened, shop: Workshop, scripts: bool
) -> None:
    one = restoration()
    add_parts(one, shop, 60)
    quote = issue(draft_of(one))
    page = opened(f"/quotes/{quote.uid}/costs/", scripts=scripts)
    page.locator(".sheet-part a", has_text="Spindle 4").first.click()
    page.locator("details.sheet-part[open] summary", has_text="Nickel plating").click()
    expect(page.get_by_role("rowheader", name="rate from 10")).to_be_visible()

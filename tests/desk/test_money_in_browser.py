"""The money pages in a real Chromium: to be read by anybody, at any width, and without scripting."""

import re

import pytest
from playwright.sync_api import Page

from quotes.pricing.models import Instalment, Receipt
from shop.restorations.models import Restoration
from shop.routes.models import Override
from shop.routes.planning import hold
from tests.desk.test_money import accept, day, now_by, restage
from tests.opening import Opened, violations
from tests.planned import bought, lever
from tests.workshop import frame, restoration, workshop

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SMALLEST_TARGET = 44  # px. Source: WCAG 2.2, 2.5.5 Target Size (Enhanced)


@pytest.fixture
def job(transactional_db: None) -> Restoration:
    """Accepted and late, held, with something that waits to go out."""
    shop = workshop()
    restage()
    made = restoration()
    bought(frame(made, shop))
    lever(made, shop)
    accept(made)
    Instalment.objects.filter(name="Deposit").update(reached_on=day(-5), due_on=day(-5))
    hold(restoration=made, first=day(-20), kind="unpaid", reason="the deposit", **now_by())
    return made


@pytest.fixture(autouse=True)
def manager(opened: Opened) -> None:
    opened.who = "manager"


def pay(page: Page, amount: str) -> None:
    page.get_by_label("Amount, tax included").first.fill(amount)
    page.get_by_role("button", name="Note the receipt").click()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_the_money_page_is_accessible_and_fits(opened: Opened, job: Restoration, width: int, scheme: str) -> None:
    page = opened(f"/restorations/{job.uid}/money/", width=width, color_scheme=scheme)
    pay(page, "20")
    page.get_by_text("R00001").first.wait_for()
    for summary in page.locator("main details > summary").all():
        summary.click()
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == width


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("piece", ["days", "all"])
def test_the_other_pages_are_accessible_and_fit(opened: Opened, job: Restoration, piece: str, scheme: str) -> None:
    path = {"days": f"/restorations/{job.uid}/days/", "all": "/money/"}[piece]
    page = opened(path, width=390, color_scheme=scheme)
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == 390


def test_a_refused_form_is_accessible_too_and_open_where_it_was_sent(opened: Opened, job: Restoration) -> None:
    page = opened(f"/restorations/{job.uid}/money/", width=390)
    page.get_by_text("Let something go out before the money is in").click()
    page.get_by_role("checkbox").first.check()
    page.evaluate("document.querySelectorAll('form').forEach(form => form.noValidate = true)")
    page.get_by_role("button", name="Let it go out").click()
    page.get_by_role("alert").first.wait_for()
    assert page.get_by_label("Who decides").is_visible()
    assert page.get_by_role("checkbox").first.is_checked()
    assert violations(page) == []


def test_what_is_pressed_is_large_enough_for_cold_hands(opened: Opened, job: Restoration) -> None:
    page = opened(f"/restorations/{job.uid}/money/", width=390)
    for summary in page.locator("main details > summary").all():
        summary.click()
    boxes = "main input:not([type=hidden]):not([type=checkbox]), main select"
    pressed = f"main button, main .button, {boxes}, main .card-foot summary, .receipts summary"
    heights = page.eval_on_selector_all(pressed, "all => all.map(one => [one.outerHTML, one.offsetHeight])")
    assert len(heights) > 10
    assert [tag for tag, height in heights if height < SMALLEST_TARGET] == []


def test_all_of_it_works_without_scripting(opened: Opened, job: Restoration) -> None:
    page = opened(f"/restorations/{job.uid}/money/", scripts=False)
    pay(page, "5")
    assert page.get_by_text("The receipt is noted.").is_visible()
    page.get_by_text("Reverse R00001").first.click()
    page.get_by_label("Why it is reversed").fill("typed by mistake")
    page.get_by_role("button", name="Reverse R00001").click()
    assert page.get_by_text("reversed by R00002").is_visible()
    page.get_by_role("button", name=re.compile("^Reached ?: the frame is coated")).click()
    assert page.get_by_text("Noted. What waited for it is due.").is_visible()
    page.get_by_role("button", name=re.compile("^A slip, take it back ?: the frame")).click()
    assert page.get_by_text("Taken back. It is not due any more.").is_visible()
    page.get_by_text("Let something go out before the money is in").click()
    page.get_by_role("checkbox").first.check()
    page.get_by_label("Who decides").fill("Eve Marsh")
    page.get_by_label("Why", exact=True).fill("known for years")
    page.get_by_role("button", name="Let it go out").click()
    assert page.get_by_text("let go by Eve Marsh").is_visible()
    page.get_by_role("link", name="Hold it, or let it go").click()
    page.get_by_role("button", name=re.compile("^Let go ?: the deposit")).click()
    assert page.get_by_text("Let go. The ready day has moved.").is_visible()
    assert (Receipt.objects.count(), Override.objects.count()) == (2, 1)


def test_what_was_typed_survives_a_reload(opened: Opened, job: Restoration) -> None:
    page = opened(f"/restorations/{job.uid}/money/")
    page.get_by_label("Reference (optional)").first.fill("Bank, second try")
    page.wait_for_timeout(300)
    page.reload()
    assert page.get_by_label("Reference (optional)").first.input_value() == "Bank, second try"

"""The page of components and the small scripts, in a real Chromium."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, Route

from tests.guidelines import violations
from tests.people.conftest import PASSWORD, person

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LOOK = "/sign-in/look/"
SMALLEST_TARGET = 44  # px. Source: WCAG 2.2, 2.5.5 Target Size (Enhanced)

Opened = Callable[..., Page]


@pytest.fixture
def opened(browser: Browser, live_server: Any) -> Iterator[Opened]:
    """A page of the shop on which the front desk is signed in; console errors fail the test."""
    contexts: list[BrowserContext] = []
    errors: list[str] = []

    def open_page(path: str = LOOK, *, width: int = 1280, scheme: str = "light", signed_in: bool = True) -> Page:
        context = browser.new_context(
            base_url=live_server.url, viewport={"width": width, "height": 800}, color_scheme=scheme
        )
        contexts.append(context)
        if signed_in:
            client = Client()
            client.force_login(person("desk"))
            context.add_cookies([{"name": "sessionid", "value": client.session.session_key, "url": live_server.url}])
        page = context.new_page()
        page.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(path)
        return page

    yield open_page
    for context in contexts:
        context.close()
    expected = ("htmx:", "net::")  # said by tests that cut the line on purpose
    assert [error for error in errors if not any(word in error for word in expected)] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_every_component_is_accessible_and_fits(opened: Opened, width: int, scheme: str) -> None:
    page = opened(width=width, scheme=scheme)
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == width


@pytest.mark.control
def test_a_faint_word_would_be_noticed(opened: Opened) -> None:
    page = opened()
    page.evaluate("document.querySelector('h1').style.color = '#ccc'")
    assert any(found.startswith("color-contrast") for found in violations(page))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_signing_in_is_accessible_also_when_it_fails(opened: Opened, scheme: str) -> None:
    page = opened("/sign-in/", width=360, scheme=scheme, signed_in=False)
    assert violations(page) == []
    page.fill("[name=login]", "ida")
    page.fill("[name=password]", "wrong")
    page.press("[name=password]", "Enter")
    page.wait_for_selector("[role=alert] >> text=do not belong together")
    assert violations(page) == []


def test_what_is_pressed_is_large_enough_for_cold_hands(opened: Opened) -> None:
    page = opened(width=360)
    pressed = (
        "main button, main .button, main label.choice, .masthead a, .masthead button, main input[type=text], select"
    )
    heights = page.eval_on_selector_all(pressed, "all => all.map(one => [one.outerHTML, one.offsetHeight])")
    assert len(heights) > 12
    assert [tag for tag, height in heights if height < SMALLEST_TARGET] == []


def test_the_keyboard_reaches_the_page_first_and_shows_where_it_is(opened: Opened) -> None:
    page = opened()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.keyboard.press("Tab")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "3px"


def test_the_total_stays_in_view_on_a_phone(opened: Opened) -> None:
    page = opened(width=360)
    for depth in (0, 900, 1800):
        page.evaluate(f"scrollTo(0, {depth})")
        box = page.locator(".total").bounding_box()
        assert box
        assert 0 <= box["y"] <= 800 - box["height"]


def test_what_was_typed_survives_a_lost_connection(opened: Opened) -> None:
    page = opened()
    page.fill("#id_part", "Front mudguard")
    page.fill("#id_area", "12")
    page.check("[name=proof][value=nickel]")
    page.context.set_offline(True)
    page.click("form[data-keep] button[type=submit]", no_wait_after=True)
    page.wait_for_timeout(3500)
    assert page.evaluate("document.querySelector('#id_part')") is None  # the browser's own error page
    page.context.set_offline(False)
    page.goto(LOOK)
    assert page.input_value("#id_part") == "Front mudguard"
    assert page.is_checked("[name=proof][value=nickel]")


def test_what_was_typed_survives_a_reload_and_can_be_discarded(opened: Opened) -> None:
    page = opened()
    page.fill("#id_part", "Front mudguard")
    page.select_option("#id_condition", "pits")
    page.wait_for_timeout(300)
    page.goto("/sign-in/password/")
    page.goto(LOOK)
    assert page.input_value("#id_part") == "Front mudguard"
    assert page.input_value("#id_condition") == "pits"
    assert violations(page) == []
    page.click("text=Discard it")
    assert page.input_value("#id_part") == ""
    page.goto(LOOK)
    assert page.input_value("#id_part") == ""


def test_what_was_typed_survives_a_lost_session(opened: Opened) -> None:
    page = opened()
    page.fill("#id_part", "Front mudguard")
    page.fill("#id_area", "12")
    page.check("[name=proof][value=nickel]")
    page.context.clear_cookies()
    page.click("form[data-keep] button[type=submit]")
    page.wait_for_url("**/sign-in/?next=**")
    page.fill("[name=login]", "ida")
    page.fill("[name=password]", PASSWORD)
    page.click("main button[type=submit]")
    page.wait_for_url("**/sign-in/look/**")
    assert page.input_value("#id_part") == "Front mudguard"
    assert page.is_checked("[name=proof][value=nickel]")


def test_what_was_saved_is_not_put_back(opened: Opened) -> None:
    page = opened()
    page.fill("#id_part", "Front mudguard")
    page.fill("#id_area", "12")
    page.check("[name=proof][value=nickel]")
    page.click("form[data-keep] button[type=submit]")
    page.wait_for_url("**?part=**")
    assert page.input_value("#id_part") == ""


def test_signing_out_forgets_what_was_typed(opened: Opened) -> None:
    page = opened()
    page.fill("#id_part", "Front mudguard")
    page.wait_for_timeout(300)
    page.click("text=Sign out")
    page.wait_for_url("**/sign-in/**")
    assert "Front mudguard" not in page.evaluate("JSON.stringify(sessionStorage)")


def test_a_password_is_never_kept(opened: Opened) -> None:
    page = opened("/sign-in/", signed_in=False)
    page.evaluate("document.querySelector('main form').setAttribute('data-keep', '')")
    page.evaluate("import('/static/js/keep.js?again')")
    page.fill("[name=password]", PASSWORD)
    page.fill("[name=login]", "ida")
    page.wait_for_timeout(300)
    kept = page.evaluate("JSON.stringify(sessionStorage)")
    assert "ida" in kept
    assert PASSWORD not in kept


def test_a_lost_session_is_said_and_does_not_replace_the_page(opened: Opened) -> None:
    page = opened()
    page.context.clear_cookies()
    page.evaluate(f"void htmx.ajax('GET', '{LOOK}', '#main')")
    page.wait_for_selector("#lost >> text=You are signed out.")
    assert page.is_visible("h1 >> text=Components")


def test_a_failed_request_is_said_and_does_not_replace_the_page(opened: Opened) -> None:
    page = opened()
    page.route("**/sign-in/password/", lambda route: route.abort())
    page.evaluate("void htmx.ajax('GET', '/sign-in/password/', '#main').catch(() => {})")
    page.wait_for_selector("#lost >> text=did not reach the workshop")
    assert page.is_visible("h1 >> text=Components")
    assert violations(page) == []


def test_a_slow_request_is_seen(opened: Opened) -> None:
    page = opened()
    waiting: list[Route] = []
    page.route("**/sign-in/password/", lambda route: waiting.append(route))
    page.evaluate("void htmx.ajax('GET', '/sign-in/password/', '#main')")
    page.wait_for_selector("#pending:not([hidden])")
    waiting[0].continue_()
    page.wait_for_selector("#pending[hidden]", state="attached")


def test_a_form_pressed_twice_is_sent_once(opened: Opened) -> None:
    page = opened("/sign-in/password/")
    sent: list[Route] = []
    page.route("**/sign-in/password/", lambda route: sent.append(route))
    page.fill("[name=oldpassword]", "x")
    page.fill("[name=password1]", "y")
    page.fill("[name=password2]", "z")
    page.evaluate("for (const _ of [1, 2, 3]) document.querySelector('main form').requestSubmit()")
    page.wait_for_timeout(300)
    assert len(sent) == 1
    sent[0].abort()

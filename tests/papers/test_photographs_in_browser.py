"""No script of a picture runs in a real Chromium, and its thumbnail shows (RELIABILITY S-22)."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.contrib.auth.models import Permission
from django.test import Client
from playwright.sync_api import Browser, Error, Page, Route

from shop.papers.models import Photograph
from shop.people.services import add_person
from tests.opening import violations
from tests.papers.pictures import keep, plain
from tests.papers.test_photographs_kinds import KEPT

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.urls("tests.papers.photograph_page"),
]
RAN = "CANARY ran"


@pytest.fixture
def page(browser: Browser, live_server: Any) -> Iterator[Page]:
    client = Client()
    person = add_person(username="eve", name="Eve", password="spoke nipple 36", roles=["mechanic"])
    person.user_permissions.add(Permission.objects.get(codename="view_photograph"))
    client.force_login(person)
    context = browser.new_context(base_url=live_server.url)
    context.add_cookies([{"name": "sessionid", "value": client.session.session_key, "url": live_server.url}])
    yield context.new_page()
    context.close()


def heard(page: Page) -> list[str]:
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    return said


def visit(page: Page, address: str) -> None:
    try:
        page.goto(address)
    except Error as error:  # an attachment is saved instead
        if "Download is starting" not in str(error):
            raise
    page.wait_for_timeout(100)


def test_no_script_of_a_picture_runs_wherever_it_is_opened(page: Page) -> None:
    said = heard(page)
    kept = [keep(content) for content in KEPT.values()]
    for photograph in kept:
        for address in (photograph.get_absolute_url(), f"{photograph.get_absolute_url()}thumbnail/"):
            visit(page, address)
            page.goto("/proof/")
            loaded = page.evaluate(
                """address => new Promise(done => {
                    const script = document.createElement("script");
                    script.src = address;
                    script.onload = () => done(true);
                    script.onerror = () => done(false);
                    document.head.append(script);
                })""",
                address,
            )
            assert loaded is False
    assert not any(RAN in line for line in said)


@pytest.mark.control
def test_the_same_bytes_served_as_they_came_would_run(page: Page) -> None:
    said = heard(page)
    content = KEPT["JPEG that is a page"]

    def naive(route: Route) -> None:
        route.fulfill(body=content, content_type="text/html")

    page.route("**/naive/", naive)
    visit(page, "/naive/")
    assert any(RAN in line for line in said)


def test_a_photograph_is_added_and_seen_without_scripts(
    browser: Browser, page: Page, live_server: Any, tmp_path: Any
) -> None:
    picture = tmp_path / "tank.png"
    picture.write_bytes(plain("PNG", (900, 600)))
    state = page.context.storage_state()
    with browser.new_context(java_script_enabled=False, storage_state=state) as context:
        quiet = context.new_page()
        quiet.goto(f"{live_server.url}/proof/")
        quiet.set_input_files("[name=photograph-file]", picture)
        quiet.fill("[name=photograph-caption]", "Tank, left side")
        quiet.click("main form button")
        quiet.wait_for_selector("img[alt='Tank, left side']")
    page.goto("/proof/")
    page.evaluate("document.querySelector('main img').decode()")  # ends when it is loaded
    assert page.evaluate("document.querySelector('main img').naturalWidth") == 480
    assert Photograph.objects.get().added_by == "eve"


def test_the_list_and_its_form_are_accessible_and_fit_a_phone(page: Page) -> None:
    keep(plain(size=(3000, 1000)), caption="Tank, left side")
    keep(plain(size=(300, 900)), caption="x" * 200)
    page.set_viewport_size({"width": 360, "height": 800})
    page.goto("/proof/")
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == 360


def test_a_typed_caption_outlives_a_refused_photograph(page: Page, tmp_path: Any) -> None:
    wrong = tmp_path / "tank.jpg"
    wrong.write_bytes(b"%PDF-1.7")
    page.goto("/proof/")
    page.set_input_files("[name=photograph-file]", wrong)
    page.fill("[name=photograph-caption]", "Lining on the left")
    page.click("main form button")
    page.wait_for_selector(".wrong >> text=This is not a JPEG, PNG or WebP picture.")
    assert page.input_value("[name=photograph-caption]") == "Lining on the left"
    page.goto("/proof/")
    assert page.input_value("[name=photograph-caption]") == "Lining on the left"

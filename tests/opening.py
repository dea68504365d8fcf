"""A real browser on the service of the test's own process: people signed in, and a console that has to stay silent."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page

from shop.people.models import User
from tests.guidelines import violations
from tests.served import chromium

__all__ = ["Opened", "fits", "violations"]


@dataclass
class Opened:
    """Opens pages, each in a context of its own; what a module wants otherwise it sets once.

    ``who`` signs in unless a call says otherwise: a role, or empty for nobody. ``expected`` are words of what the console
    may say; a refused form is answered as refused.
    """

    browser: Browser
    address: str
    who: str = "desk"
    width: int = 1280
    expected: list[str] = field(default_factory=lambda: ["422"])
    contexts: list[BrowserContext] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def __call__(
        self, path: str, *, who: str | None = None, width: int = 0, scripts: bool = True, **options: Any
    ) -> Page:
        size = {"width": width or self.width, "height": 844}
        context = self.browser.new_context(base_url=self.address, viewport=size, java_script_enabled=scripts, **options)
        self.contexts.append(context)
        if role := self.who if who is None else who:
            context.add_cookies([{"name": "sessionid", "value": _session(role), "url": self.address}])
        page = context.new_page()
        page.on("console", lambda said: self.errors.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.goto(path)
        return page

    def unexpected(self) -> list[str]:
        return [error for error in self.errors if not any(word in error for word in self.expected)]


def _session(role: str) -> str:
    """Of the one person who has ``role``."""
    person, _new = User.objects.get_or_create(username=f"ida-{role}", first_name="Ida")
    person.groups.set(Group.objects.filter(name=role))
    client = Client()
    client.force_login(person)
    return str(client.session.session_key)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    # Playwright's own loop runs in this thread; Django takes that for asynchronous code.
    with pytest.MonkeyPatch.context() as patch, chromium() as started:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        yield started


@pytest.fixture
def opened(browser: Browser, live_server: Any) -> Iterator[Opened]:
    """Whatever the console complains of, and was not expected, fails the test."""
    opening = Opened(browser, live_server.url)
    yield opening
    for context in opening.contexts:
        context.close()
    assert opening.unexpected() == []


def fits(page: Page) -> bool:
    """Nothing runs off the page sideways."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"))

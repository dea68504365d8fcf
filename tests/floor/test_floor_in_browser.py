"""The pages of the floor in a real browser, on a seven-inch tablet and a telephone: what a glove hits, and what it does."""

import math

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import BrowserContext, Page

from shop.floor.models import Clocking, Tap
from shop.people import tablets
from shop.people.models import User
from shop.people.roles import ROLE_MECHANIC
from tests.floor.bench import Bench, bench, check
from tests.floor.test_floor_pages import role
from tests.guidelines import GLOVE, too_small
from tests.opening import Opened, fits, violations

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: A seven-inch tablet lying and standing, and a telephone [CSS px].
SIZES = ((1024, 600), (600, 1024), (390, 844))


@pytest.fixture
def shop() -> Bench:
    made = bench()
    role(made.joe, ROLE_MECHANIC)
    role(User.objects.create(username="ann", first_name="Ann"), ROLE_MECHANIC)
    check(made.shop.blast, "Bearing seats covered")
    return made


@pytest.fixture
def at(shop: Bench, opened: Opened) -> "At":
    return At(opened)


class At:
    """Pages on an enrolled tablet."""

    def __init__(self, opened: Opened) -> None:
        now = timezone.now()
        code = tablets.begin_enrolment(name="Bench", who="ada", now=now)
        self.opened, self.secret = opened, tablets.enrol(code=code, now=now)[1]

    def __call__(self, path: str, size: tuple[int, int] = SIZES[0], *, scripts: bool = True, **more: object) -> Page:
        context: BrowserContext = self.opened.browser.new_context(
            base_url=self.opened.address,
            viewport={"width": size[0], "height": size[1]},
            java_script_enabled=scripts,
            **more,  # type: ignore[arg-type]
        )
        self.opened.contexts.append(context)
        context.add_cookies([{"name": tablets.cookie_name(), "value": self.secret, "url": self.opened.address}])
        page = context.new_page()
        page.on("console", lambda said: self.opened.errors.append(said.text) if said.type == "error" else None)
        page.goto(path)
        return page


def pages_of(shop: Bench) -> list[str]:
    """Every page a mechanic passes on a day."""
    who = {"person": str(shop.joe.uid)}
    return [
        reverse("floor:home"),
        reverse("floor:person", args=[shop.joe.uid]),
        reverse("floor:task", args=[shop.task(shop.blast).uid], query=who),
        reverse("floor:task_done", args=[shop.task(shop.blast).uid], query=who),
        reverse("floor:check", args=[shop.blast.uid], query=who),
        reverse("floor:again", args=[shop.blast.uid], query=who),
        reverse("floor:damage", args=[shop.part.uid], query=who),
        reverse("floor:day", args=[shop.joe.uid]),
        reverse("floor:wall"),
    ]


@pytest.mark.parametrize("size", SIZES)
def test_two_taps_from_the_names_to_being_on_a_task(shop: Bench, at: At, size: tuple[int, int]) -> None:
    page = at(reverse("floor:home"), size)
    taps = 0
    for target in (page.get_by_role("link", name="Joe"), page.locator(".job .take").first):
        target.click()
        taps += 1
    page.wait_for_selector(".now-on")
    assert taps == 2
    assert Clocking.objects.get(person=shop.joe, ended_at=None).task == shop.task(shop.blast)


def test_a_double_tap_is_one_tap(shop: Bench, at: At) -> None:
    page = at(reverse("floor:person", args=[shop.joe.uid]))
    page.locator(".job .take").first.dblclick()
    page.wait_for_selector(".now-on")
    assert Tap.objects.count() == Clocking.objects.count() == 1


def test_without_scripting_one_clocks_on_and_off(shop: Bench, at: At) -> None:
    page = at(reverse("floor:home"), scripts=False)
    page.get_by_role("link", name="Joe").click()
    page.locator(".job .take").first.click()
    page.get_by_role("button", name="Off").click()
    assert page.locator("h2", has_text="On nothing").count() == 1
    assert Clocking.objects.get().ended_at is not None


def test_the_checks_are_answered_and_the_task_is_done(shop: Bench, at: At) -> None:
    page = at(reverse("floor:person", args=[shop.joe.uid]), SIZES[2])
    page.locator(".job .take").first.click()
    page.get_by_role("link", name="How", exact=True).first.click()
    page.get_by_role("link", name="Checks and done").click()
    page.get_by_text("As it should be", exact=True).first.click()
    page.get_by_role("button", name="Done", exact=True).click()
    page.wait_for_selector(".messages")
    assert "Done: Blast of Frame." in page.inner_text(".messages")
    assert shop.blast.dones.get().who == "joe"


@pytest.mark.parametrize("size", SIZES)
def test_whatever_is_tapped_is_as_large_as_a_glove_needs_and_nothing_runs_off_the_page(
    shop: Bench, at: At, size: tuple[int, int]
) -> None:
    Clocking.objects.create(person=shop.joe, task=shop.task(shop.blast), began_at=timezone.now(), recorded_by="joe")
    small, wide = [], []
    for path in pages_of(shop):
        page = at(path, size)
        small += [f"{path}: {one}" for one in too_small(page, GLOVE)]
        wide += [] if fits(page) else [path]
        page.context.close()
    assert small == [], "\n".join(small)
    assert wide == []


@pytest.mark.parametrize("dark", [False, True])
def test_the_guidelines_are_kept_on_every_page(shop: Bench, at: At, dark: bool) -> None:
    """axe-core against WCAG 2.2."""
    found = []
    for path in pages_of(shop):
        page = at(path, SIZES[1], color_scheme="dark" if dark else "light")
        found += [f"{path} {one}" for one in violations(page)]
        page.context.close()
    assert found == []


def test_the_wall_is_read_from_four_metres_off_a_screen_of_fifty_inches(shop: Bench, at: At) -> None:
    """A capital takes sixteen minutes of arc. Common practice; from memory, ISO 9241-303 names that as the least."""
    screen, away, capital = (1920, 1080), 4000, 0.727  # px, mm, height of a capital in the shop's type
    pixel = 50 * 25.4 / math.hypot(*screen)  # mm
    least = away * math.tan(math.radians(16 / 60)) / pixel / capital
    Clocking.objects.create(person=shop.joe, task=shop.task(shop.blast), began_at=timezone.now(), recorded_by="joe")
    page = at(reverse("floor:wall"), screen)
    sizes = page.eval_on_selector_all(
        ".board strong, .boards h2, .as-of", "all => all.map(one => parseFloat(getComputedStyle(one).fontSize))"
    )
    assert len(sizes) >= 6
    assert min(sizes) >= least


def test_a_wall_that_gets_no_answer_says_that_it_is_old(shop: Bench, at: At) -> None:
    at.opened.expected += ["ERR_INTERNET_DISCONNECTED", "htmx:sendError", "htmx:afterRequest"]
    page = at(reverse("floor:wall"))
    assert page.locator("#stale").is_hidden()
    page.context.set_offline(True)
    page.evaluate("htmx.ajax('GET', '/floor/wall/', '#wall').catch(() => null)")
    page.wait_for_selector("#stale:not([hidden])")


def test_a_tablet_that_nobody_touches_goes_back_to_the_names(shop: Bench, at: At) -> None:
    page = at("/floor/wall/")
    page.clock.install()
    page.goto(reverse("floor:person", args=[shop.joe.uid]))
    page.clock.fast_forward("01:05")
    page.wait_for_url(f"**{reverse('floor:home')}")

"""Why a quote costs what it costs, and what moves it most."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from quotes.pricing.models import Draft
from quotes.pricing.selectors import priced
from shop.people.models import Shop
from shop.restorations.models import Part, Restoration
from shop.text import money
from tests.desk.test_editor import HTMX
from tests.planned import bought, fitted, fresh_draft, lever, planning_workshop
from tests.workshop import SINCE, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
NAMES = ["why", "moves"]


@pytest.fixture
def shop() -> Workshop:
    return planning_workshop(workshop())


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    made = restoration()
    frame_part, plated = frame(made, shop), lever(made, shop)
    bought(frame_part)
    fitted(frame_part, shop, plated.steps.get(service=shop.plate))
    fresh_draft(made)
    return made


def page(client: Client, of: Restoration, name: str = "why", **asked: Any) -> str:
    answer = client.get(reverse(f"desk:{name}", args=[of.uid]), asked)
    assert answer.status_code == 200
    return answer.content.decode()


@pytest.mark.parametrize("name", NAMES)
def test_money_is_for_desk_and_manager(
    bike: Restoration, manager: Client, mechanic: Client, nobody: Client, stranger: Client, name: str
) -> None:
    address = reverse(f"desk:{name}", args=[bike.uid])
    assert [who.get(address).status_code for who in (manager, mechanic, nobody)] == [200, 403, 403]
    answer = stranger.get(address)
    assert (answer.status_code, answer.headers["Location"].split("?")[0]) == (302, "/sign-in/")


@pytest.mark.parametrize("name", NAMES)
def test_a_bike_that_is_not_there_is_not_found(front_desk: Client, name: str) -> None:
    assert front_desk.get(reverse(f"desk:{name}", args=["00000000-0000-0000-0000-000000000000"])).status_code == 404


def test_the_page_says_how_sure_it_is_and_where_the_totals_come_from(bike: Restoration, front_desk: Client) -> None:
    html = page(front_desk, bike)
    found = priced(fresh_draft(bike))
    assert found.explained is not None
    result = found.explained.result
    for head in ("How sure the fixed prices are", "What moves it most", "Where the totals come from", "Line by line"):
        assert head in html
    for line in result.lines:
        assert money(line.price, "EUR") in html
    assert money(result.contingency, "EUR") in html
    assert f'hx-get="{reverse("desk:moves", args=[bike.uid])}"' in html
    shares = [int(share) for share in re.findall(r"<li>[^<]+: (\d+)[^<]*%</li>", html)]
    assert 95 <= sum(shares) <= 105  # what the spread comes from is all of it, but for rounding


def test_a_line_opens_down_to_where_it_comes_from(bike: Restoration, front_desk: Client) -> None:
    part = bike.parts.get(name="Frame")
    closed, opened = page(front_desk, bike), page(front_desk, bike, part=part.uid)
    assert f'<details class="sheet-part" id="line-{part.uid}" open>' in opened
    assert f'<details class="sheet-part" id="line-{part.uid}"' not in closed
    assert f'href="?part={part.uid}#line-{part.uid}"' in closed


@pytest.mark.parametrize("asked", ["nonsense", "00000000-0000-0000-0000-000000000000", "<b>"])
def test_a_line_that_is_not_there_opens_nothing(bike: Restoration, front_desk: Client, asked: str) -> None:
    html = page(front_desk, bike, part=asked)
    assert 'id="line-' in html
    assert "sheet-part" in html
    assert not re.search(r'<details class="sheet-part" id="line-', html)
    assert "<b>" not in html


def test_where_nothing_is_promised_nothing_is_said_about_how_sure_it_is(bike: Restoration, front_desk: Client) -> None:
    Part.objects.update(basis="hourly")
    html = page(front_desk, bike)
    assert "How sure the fixed prices are" not in html
    assert "Line by line" in html


def test_a_bike_without_parts_has_no_line(shop: Workshop, front_desk: Client) -> None:
    html = page(front_desk, restoration())
    assert "Line by line" in html
    assert 'id="line-' not in html


@pytest.mark.parametrize("headers", [{}, HTMX], ids=["page", "part of a page"])
def test_what_moves_it_is_shown_for_cost_price_and_day(
    bike: Restoration, front_desk: Client, headers: dict[str, str]
) -> None:
    answer = front_desk.get(reverse("desk:moves", args=[bike.uid]), **headers)
    html = answer.content.decode()
    assert html.count('<figure class="picture">') == 3
    for words in ("expected cost", "net price", "ready day", "how the whole bike goes", "time of “Blast”"):
        assert words in html
    assert ("<html" in html) == (not headers)


@pytest.mark.parametrize("name", NAMES)
def test_a_bike_that_cannot_be_priced_says_why(bike: Restoration, front_desk: Client, name: str) -> None:
    Draft.objects.filter(restoration=bike).update(priced_on=SINCE - timedelta(days=1))
    assert "There is no price policy in force" in page(front_desk, bike, name)


def test_a_bike_that_cannot_be_planned_is_explained_but_not_swung(bike: Restoration, front_desk: Client) -> None:
    Shop.objects.update(country="ZZ")
    assert "no holidays known for “ZZ”" in page(front_desk, bike, "moves")
    assert "Line by line" in page(front_desk, bike)


def test_looking_begins_no_draft(shop: Workshop, front_desk: Client) -> None:
    bike = restoration()
    frame(bike, shop)
    for name in NAMES:
        page(front_desk, bike, name)
    assert not Draft.objects.exists()


@pytest.mark.parametrize("name", NAMES)
def test_it_asks_the_same_number_of_questions_for_one_part_and_for_many(
    shop: Workshop, front_desk: Client, name: str
) -> None:
    bike = restoration()

    def more(count: int) -> None:
        for number in range(count):
            part = lever(bike, shop, name=f"Lever {number}")
            bought(part)
            fitted(frame(bike, shop, name=f"Frame {number}"), shop, part.steps.get(service=shop.plate))

    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            page(front_desk, bike, name)
        return len(caught)

    more(1)
    fresh_draft(bike)
    few = asked()
    more(9)
    assert asked() == few

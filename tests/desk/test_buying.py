"""Bought-in parts by source, in the panel of their step and on the offer."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from quotes.pricing.offer import _work
from shop.people.roles import ROLE_DESK
from shop.routes.models import Source, Step
from shop.routes.selectors import engine_parts, scope
from shop.routes.services import add_step
from tests.desk.test_editor import HTMX, person
from tests.workshop import WHO, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client):
    client.force_login(person(ROLE_DESK))
    return client


@pytest.fixture
def bike():
    made = restoration()
    frame(made, workshop())
    draft(made)
    return made


def bought(bike: Any, source: Source = Source.REPRODUCTION, **more: Any) -> Step:
    given = {"buy_price_minor": 5000} if source != Source.CUSTOMERS_OWN else {}
    part = bike.parts.get()
    return add_step(part=part, origin=Step.Origin.BEFORE, buy="Seal", buy_source=source, **(given | more), **WHO)


def set_to(desk: Any, step: Step, **boxes: tuple[str, str]) -> str:
    data = {name: now for name, (_seen, now) in boxes.items()}
    data |= {f"seen-{name}": seen for name, (seen, _now) in boxes.items()}
    answer = desk.post(reverse("desk:step", args=[step.uid]), data, **HTMX)
    step.refresh_from_db()
    return str(answer.content.decode())


def shown(html: str) -> set[str]:
    """The boxes a person sees."""
    found = re.findall(r'<div class="box" id="box-[0-9a-f-]{36}-(\w+)"([^>]*)>', html)
    return {name for name, more in found if "hidden" not in more}


PRICE = {"buy_price", "buy_status", "buy_said_by", "buy_said_on", "buy_valid_until"}


@pytest.mark.parametrize(
    ("source", "asked", "spared"),
    [
        (Source.NEW_OLD_STOCK, PRICE | {"buy_searching_since"}, {"buy_core", "buy_core_by"}),
        (Source.REPRODUCTION, PRICE, {"buy_searching_since", "buy_core", "buy_core_by"}),
        (Source.USED, PRICE | {"buy_searching_since"}, {"buy_core", "buy_core_by"}),
        (Source.EXCHANGE, PRICE | {"buy_core", "buy_core_by"}, {"buy_searching_since"}),
        (Source.CUSTOMERS_OWN, {"buy_handling"}, PRICE | {"buy_searching_since", "buy_core"}),
    ],
)
def test_each_source_asks_what_it_needs(desk, bike, source, asked, spared):
    html = desk.get(reverse("desk:step", args=[bought(bike, source).uid]), **HTMX).content.decode()
    assert asked <= shown(html)
    assert not spared & shown(html)


def test_another_source_brings_its_boxes_and_puts_others_away_at_once(desk, bike):
    step = bought(bike)
    html = set_to(desk, step, buy_source=("reproduction", "exchange"))
    assert {"buy_core", "buy_core_by"} <= shown(html)
    html = set_to(desk, step, buy_core=("0.00", "20"), buy_core_by=("", "2030-01-01"))
    assert (step.buy_core_minor, step.buy_core_by.isoformat()) == (2000, "2030-01-01")
    html = set_to(desk, step, buy_source=("exchange", "used"))
    assert "Only an exchange part takes the old one back." in html
    assert step.buy_source == "exchange"


def test_a_box_with_something_in_it_is_never_put_away(desk, bike):
    step = bought(bike, buy_searching_since=timezone.localdate())
    assert "buy_searching_since" in shown(desk.get(reverse("desk:step", args=[step.uid])).content.decode())


def test_how_long_a_part_is_searched_for_is_said_in_weeks(desk, bike):
    step = bought(bike, Source.NEW_OLD_STOCK)
    since = (timezone.localdate() - timedelta(days=66)).isoformat()
    assert "9 weeks so far." in set_to(desk, step, buy_searching_since=("", since))


@pytest.mark.parametrize("box", ["buy_said_on", "buy_searching_since"])
def test_a_day_to_come_is_asked_about_at_its_box(desk, bike, box):
    step = bought(bike, Source.NEW_OLD_STOCK)
    tomorrow = (timezone.localdate() + timedelta(days=1)).isoformat()
    assert "This day is still to come." in set_to(desk, step, **{box: ("", tomorrow)})
    assert getattr(step, box) is None


def test_a_price_changed_by_hand_was_said_today_unless_another_day_is_given(desk, bike):
    step = bought(bike)
    html = set_to(desk, step, buy_price=("50.00", "55"))
    today = timezone.localdate()
    assert (step.buy_price_minor, step.buy_said_on) == (5500, today)
    assert f'name="seen-buy_said_on" value="{today.isoformat()}"' in html
    set_to(desk, step, buy_price=("55.00", "56"), buy_said_on=(today.isoformat(), "2026-01-05"))
    assert step.buy_said_on.isoformat() == "2026-01-05"
    set_to(desk, step, buy_said_by=("", "Till at the counter"))
    assert step.buy_said_on.isoformat() == "2026-01-05", "who said so does not change when"


def test_money_back_for_the_old_part_is_not_taken_off_the_price(desk, bike):
    """Common practice, no source: it is paid back only when the old part has gone back."""
    step = bought(bike, Source.EXCHANGE)
    before = _purchase(bike)
    html = set_to(desk, step, buy_core=("0.00", "20"))
    assert "not taken off the price" in html
    assert step.buy_core_minor == 2000
    assert _purchase(bike) == before


def _purchase(bike: Any) -> Any:
    (purchase,) = engine_parts(scope(bike))[1]
    return purchase


def test_what_the_customer_brings_is_no_guess_and_the_offer_says_what_we_do_not_stand_for(desk, bike):
    step = bought(bike, Source.CUSTOMERS_OWN, buy_status="guessed")
    assert _purchase(bike).status == "seen"
    html = desk.get(reverse("desk:step", args=[step.uid])).content.decode()
    assert "there is no warranty on the part" in html
    (said,) = _work([step])
    assert said.startswith("Seal, which you bring")
    assert "no warranty" in said
    assert _work([bought(bike)]) == ("Seal",)

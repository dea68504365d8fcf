"""From when, by which calendars, with whose hands, and beside what other work a restoration goes on."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.engine.inputs import Held
from shop.people.models import Closure, Shop
from shop.restorations.models import Restoration
from shop.restorations.services import start_on
from shop.routes.models import Step
from shop.routes.planning import hold, let_go
from shop.routes.schedules import load_before, schedule
from shop.routes.selectors import scope
from tests.planned import agree_to, kept, lever, planning_workshop
from tests.workshop import NOW, TODAY, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def shop() -> Workshop:
    return planning_workshop(workshop())


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    made = restoration()
    frame(made, shop)
    return made


def begun(title: str, day: date) -> Restoration:
    made = restoration(title)
    Restoration.objects.filter(pk=made.pk).update(begun_on=day)
    made.refresh_from_db()
    return made


@pytest.mark.parametrize(
    ("starts_on", "begins"),
    [
        (None, "2026-03-02"),
        (date(2026, 2, 1), "2026-03-02"),
        (date(2026, 3, 2), "2026-03-02"),
        (date(2026, 4, 7), "2026-04-07"),
    ],
)
def test_work_begins_today_unless_a_later_day_is_given(bike: Restoration, starts_on: date | None, begins: str) -> None:
    start_on(restoration=bike, starts_on=starts_on, **WHO)
    assert schedule(scope(bike), today=TODAY).starts_on == begins


def test_closures_and_holidays_are_those_from_the_day_work_begins(bike: Restoration) -> None:
    Shop.objects.update(country="GB", subdivision="ENG")
    Closure.objects.create(first=date(2026, 3, 9), last=date(2026, 3, 10))
    start_on(restoration=bike, starts_on=date(2027, 1, 4), **WHO)
    (calendar,) = schedule(scope(bike), today=TODAY).calendars
    assert min(calendar.closed) == "2027-01-01"


def test_it_has_the_shops_calendar_and_one_for_each_vendor_the_bike_goes_to(bike: Restoration, shop: Workshop) -> None:
    assert [item.key for item in schedule(scope(bike), today=TODAY).calendars] == [""]
    lever(bike, shop)
    lever(bike, shop, name="Pedal")
    made = schedule(scope(bike), today=TODAY)
    assert [item.key for item in made.calendars] == ["", str(shop.plate.vendor.uid)]


def test_hands_and_their_productive_share_are_the_shops(bike: Restoration) -> None:
    Shop.objects.update(hands=3, productive=65)
    made = schedule(scope(bike), today=TODAY)
    assert (made.hands, made.productive) == (D(3), D("0.65"))
    Shop.objects.all().delete()
    made = schedule(scope(bike), today=TODAY)
    assert (made.hands, made.productive) == (D(0), D("0.7"))


def test_holds_that_stand_are_in_it_in_order_and_those_taken_back_are_not(bike: Restoration) -> None:
    later = hold(restoration=bike, first=date(2026, 5, 1), last=date(2026, 5, 2), reason="not paid", **WHO)
    hold(restoration=bike, first=date(2026, 4, 1), last=date(2026, 4, 3), reason="deciding", **WHO)
    other = restoration("Plover 125")
    hold(restoration=other, first=date(2026, 3, 3), last=date(2026, 3, 4), reason="elsewhere", **WHO)
    first = Held("2026-04-01", "2026-04-03", "deciding")
    assert schedule(scope(bike), today=TODAY).held == (first, Held("2026-05-01", "2026-05-02", "not paid"))
    let_go(hold=later, **WHO)
    assert schedule(scope(bike), today=TODAY).held == (first,)


# --- what others have to do first ---


def test_the_load_is_the_agreed_work_of_bikes_begun_earlier(bike: Restoration, shop: Workshop) -> None:
    """By hand: 60 dm² blasted are 12 + 60 × 0.5 = 42 min in the cabinet, sprayed 30 + 60 × 0.4 = 54 min anywhere."""
    earlier = begun("Plover 125", date(2026, 2, 2))
    part = frame(earlier, shop)
    kept(earlier)
    assert load_before(bike, first=TODAY) == ()
    agree_to(part.steps.get(operation=shop.spray))
    assert load_before(bike, first=TODAY) == (("", D(54)),)
    agree_to(part.steps.get(operation=shop.blast))
    assert load_before(bike, first=TODAY) == (("", D(96)), ("Cabinet", D(42)))
    assert schedule(scope(bike), today=TODAY).load == load_before(bike, first=TODAY)


@pytest.mark.parametrize(
    ("day", "counts"), [(date(2026, 3, 1), True), (date(2026, 3, 2), False), (date(2026, 3, 3), False)]
)
def test_only_a_bike_begun_earlier_stands_before_it(bike: Restoration, shop: Workshop, day: date, counts: bool) -> None:
    """Begun on the same day, the one that was entered first goes first."""
    other = begun("Plover 125", day)
    agree_to(*Step.objects.filter(part=frame(other, shop)))
    kept(other)
    assert bool(load_before(bike, first=TODAY)) == counts


def test_of_two_begun_on_one_day_the_one_entered_first_stands_before_the_other(
    bike: Restoration, shop: Workshop
) -> None:
    agree_to(*Step.objects.filter(part__restoration=bike))
    kept(bike)
    other = begun("Plover 125", bike.begun_on)
    assert load_before(other, first=TODAY) == (("", D(96)), ("Cabinet", D(42)))
    assert load_before(bike, first=TODAY) == ()


def test_what_was_to_be_ready_before_work_begins_is_no_load(bike: Restoration, shop: Workshop) -> None:
    earlier = begun("Plover 125", date(2026, 2, 2))
    agree_to(*Step.objects.filter(part=frame(earlier, shop)))
    ready = kept(earlier).ready_certain
    assert load_before(bike, first=ready)
    assert load_before(bike, first=date.fromordinal(ready.toordinal() + 1)) == ()


def test_a_step_taken_off_its_route_is_no_load_even_before_the_plan_is_made_anew(
    bike: Restoration, shop: Workshop
) -> None:
    earlier = begun("Plover 125", date(2026, 2, 2))
    part = frame(earlier, shop)
    agree_to(*part.steps.all())
    kept(earlier)
    part.steps.filter(operation=shop.blast).update(removed_at=NOW)
    assert load_before(bike, first=TODAY) == (("", D(54)),)
    type(part).objects.filter(pk=part.pk).update(removed_at=NOW)
    assert load_before(bike, first=TODAY) == ()


def test_it_asks_the_same_number_of_questions_for_one_other_bike_and_for_twenty(
    bike: Restoration, shop: Workshop
) -> None:
    found = scope(bike)

    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            schedule(found, today=TODAY)
        return len(caught)

    def another(number: int) -> None:
        other = begun(f"Bike {number}", date(2026, 2, 2))
        agree_to(*Step.objects.filter(part=frame(other, shop)))
        kept(other)

    another(0)
    few = asked()
    for number in range(1, 20):
        another(number)
    assert dict(schedule(found, today=TODAY).load)[""] == 20 * 96
    assert asked() == few

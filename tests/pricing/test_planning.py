"""The ready day of a draft: when it is kept, and what makes it stale."""

from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.engine.errors import BadInput
from quotes.pricing import planning
from quotes.pricing.models import Draft
from quotes.pricing.planning import is_fresh, plan_draft
from quotes.pricing.selectors import priced
from quotes.pricing.services import change_draft
from shop.methods.models import ConditionFactor, VendorClosure
from shop.methods.services import note_standard_time
from shop.people.models import Closure, Shop, ShopHours
from shop.restorations.models import Restoration
from shop.restorations.services import start_on
from shop.routes.models import Plan, Step
from shop.routes.parts import edit_part
from shop.routes.planning import hold
from shop.routes.schedules import schedule
from tests.planned import agree_to, fresh_draft, kept, lever, planning_workshop, work_out_anew
from tests.workshop import NOW, SINCE, TODAY, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def shop() -> Workshop:  # type: ignore[override]
    return planning_workshop(workshop())


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    made = restoration()
    frame(made, shop)
    lever(made, shop)
    return made


def fresh(of: Restoration, today: date = TODAY) -> bool:
    return is_fresh(Plan.objects.get(restoration=of), draft=fresh_draft(of), today=today)


def test_a_plan_just_made_is_fresh_and_stays_so_while_nothing_it_rests_on_changes(bike: Restoration) -> None:
    kept(bike)
    assert fresh(bike)
    change_draft(draft=fresh_draft(bike), changes={"discount": D(5), "note": "for the show"}, **WHO)
    other = restoration("Plover 125")
    hold(restoration=other, first=TODAY, last=TODAY, reason="deciding", **WHO)
    assert fresh(bike)


def part_changed(bike: Restoration, _shop: Workshop) -> None:
    edit_part(part=bike.parts.get(name="Frame"), changes={"pieces": 2}, **WHO)


def held(bike: Restoration, _shop: Workshop) -> None:
    hold(restoration=bike, first=date(2026, 3, 9), last=date(2026, 3, 9), reason="deciding", **WHO)


def put_off(bike: Restoration, _shop: Workshop) -> None:
    start_on(restoration=bike, starts_on=date(2026, 3, 3), **WHO)


def closed(_bike: Restoration, _shop: Workshop) -> None:
    Closure.objects.create(first=date(2026, 3, 4), last=date(2026, 3, 4))


def other_hours(_bike: Restoration, _shop: Workshop) -> None:
    ShopHours.objects.create(weekday=0, opens=time(9), closes=time(17))


def other_country(_bike: Restoration, _shop: Workshop) -> None:
    Shop.objects.update(country="GB", subdivision="ENG")


def more_hands(_bike: Restoration, _shop: Workshop) -> None:
    Shop.objects.update(hands=5)


def less_productive(_bike: Restoration, _shop: Workshop) -> None:
    Shop.objects.update(productive=50)


def other_standard_time(_bike: Restoration, shop: Workshop) -> None:
    note_standard_time(operation=shop.blast, valid_from=SINCE + timedelta(days=1), setup=D(12), run=D("0.6"), **WHO)


def other_lead_time(_bike: Restoration, shop: Workshop) -> None:
    shop.plate.lead_days += 1
    shop.plate.save()


def longer_way(_bike: Restoration, shop: Workshop) -> None:
    shop.plate.vendor.transport_days = 1
    shop.plate.vendor.save()


def vendor_closed(_bike: Restoration, shop: Workshop) -> None:
    VendorClosure.objects.create(vendor=shop.plate.vendor, first=date(2026, 3, 4), last=date(2026, 3, 4))


def vendor_works_less(_bike: Restoration, shop: Workshop) -> None:
    shop.plate.vendor.works_on = "1234"
    shop.plate.vendor.save()


def rests_longer(_bike: Restoration, shop: Workshop) -> None:
    shop.spray.elapsed = 60
    shop.spray.save()


def worse_condition(bike: Restoration, shop: Workshop) -> None:
    condition = bike.parts.get(name="Frame").condition
    ConditionFactor.objects.create(operation=shop.blast, condition=condition, factor=D("1.5"))


def other_work(_bike: Restoration, shop: Workshop) -> None:
    other = restoration("Plover 125")
    Restoration.objects.filter(pk=other.pk).update(begun_on=date(2026, 2, 2))
    agree_to(*Step.objects.filter(part=frame(other, shop)))
    kept(other)


@pytest.mark.parametrize(
    "change",
    [
        part_changed,
        held,
        put_off,
        closed,
        other_hours,
        other_country,
        more_hands,
        less_productive,
        other_standard_time,
        other_lead_time,
        longer_way,
        vendor_closed,
        vendor_works_less,
        rests_longer,
        worse_condition,
        other_work,
    ],
)
def test_a_plan_is_stale_once_anything_it_rests_on_has_changed_and_made_anew_it_is_fresh(
    bike: Restoration, shop: Workshop, change: Any
) -> None:
    kept(bike)
    change(bike, shop)
    assert not fresh(bike)
    kept(bike)
    assert fresh(bike)


def test_tomorrow_a_plan_that_began_today_is_stale_and_one_that_begins_later_is_not(bike: Restoration) -> None:
    kept(bike)
    tomorrow = TODAY + timedelta(days=1)
    assert not fresh(bike, tomorrow)
    start_on(restoration=bike, starts_on=date(2026, 3, 9), **WHO)
    kept(bike)
    assert fresh(bike, tomorrow)


def test_a_plan_whose_bike_cannot_be_priced_any_more_is_stale(bike: Restoration) -> None:
    kept(bike)
    Shop.objects.update(country="ZZ")
    assert not fresh(bike)


# --- what cannot be worked out ---


def test_a_draft_that_cannot_be_priced_says_why_and_the_plan_kept_stays(bike: Restoration) -> None:
    kept(bike)
    draft = fresh_draft(bike)
    Draft.objects.filter(pk=draft.pk).update(priced_on=SINCE - timedelta(days=1))
    draft.refresh_from_db()
    with pytest.raises(BadInput, match="no price policy in force on 2025-12-31"):
        plan_draft(found=priced(draft), today=TODAY, now=NOW)
    assert Plan.objects.count() == 1


def test_a_vendor_without_a_working_day_is_named(bike: Restoration, shop: Workshop) -> None:
    shop.plate.vendor.works_on = ""
    shop.plate.vendor.save()
    with pytest.raises(BadInput, match="Brook Platers has no working day"):
        work_out_anew(bike)
    assert not Plan.objects.exists()


def test_holidays_that_are_not_known_so_far_are_named_with_the_day_they_end(bike: Restoration, shop: Workshop) -> None:
    Shop.objects.update(country="GB", subdivision="ENG")
    shop.plate.lead_days = 1200
    shop.plate.save()
    with pytest.raises(BadInput, match=r"The holidays of .* are known until 2029-12-31"):
        work_out_anew(bike)


def test_a_bike_without_parts_is_ready_when_work_can_begin(shop: Workshop) -> None:
    """Nothing to be done: the first day anybody works."""
    bike = restoration()
    start_on(restoration=bike, starts_on=date(2026, 3, 7), **WHO)  # a Saturday
    assert kept(bike).ready_certain == date(2026, 3, 9)


def test_it_asks_the_same_number_of_questions_for_two_parts_and_for_forty(bike: Restoration, shop: Workshop) -> None:
    def asked(act: Any) -> int:
        draft = fresh_draft(bike)
        with CaptureQueriesContext(connection) as caught:
            act(draft)
        return len(caught)

    def make(draft: Draft) -> None:
        plan_draft(found=priced(draft), today=TODAY, now=NOW)

    def look(draft: Draft) -> None:
        assert is_fresh(Plan.objects.get(), draft=draft, today=TODAY)

    asked(make)  # made anew below, as it is made anew with more parts
    few = asked(make), asked(look)
    for number in range(19):
        frame(bike, shop, name=f"Frame {number}")
        lever(bike, shop, name=f"Lever {number}")
    assert (asked(make), asked(look)) == few


def looked_at(bike: Restoration, today: date = TODAY) -> planning.Worked:
    found = priced(fresh_draft(bike))
    assert found.explained is not None
    given = planning.scheduled_as_priced(found, schedule(found.scope, today=today))
    return planning.worked_out(given, found.explained, restoration=bike)


def test_a_look_reads_the_plan_that_is_kept_and_says_the_same_as_working_it_out(
    bike: Restoration, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    anew = looked_at(bike)
    kept(bike)
    monkeypatch.setattr(planning, "_worked", None)  # nothing is tried out again
    assert looked_at(bike) == anew
    part_changed(bike, shop)
    with pytest.raises(TypeError):  # what the kept one does not rest on any more has to be
        looked_at(bike)

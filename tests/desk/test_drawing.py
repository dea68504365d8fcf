"""What the desk's pictures are drawn from. Each is drawn for real; what it was given is caught on the way."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from quotes.desk import drawing
from quotes.desk.drawing import costs, days, label, moved, route
from quotes.engine.chance.swings import Reading, Swing, SwingKind, swings
from quotes.pricing.planning import Worked, scheduled_as_priced
from quotes.pricing.selectors import Priced, priced
from shop.papers.pictures import calendar, cost_curve, route_line
from shop.papers.pictures.calendar_rows import Row
from shop.people.models import Closure, Shop
from shop.restorations.models import Part, Restoration
from shop.routes.models import Done, Step
from shop.routes.planning import hold
from shop.routes.schedules import schedule
from shop.routes.services import add_step, wait_for
from tests.planned import agree_to, bought, fitted, fresh_draft, lever, planning_workshop, work_out_anew
from tests.routes.aways import out
from tests.workshop import NOW, TODAY, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
D = Decimal
Caught = Callable[[Any, str], list[Any]]


@pytest.fixture
def shop() -> Workshop:
    return planning_workshop(workshop())


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    made = restoration()
    frame_part, plated = frame(made, shop), lever(made, shop)
    bought(frame_part)
    fitted(frame_part, shop, plated.steps.get(service=shop.plate))
    return made


@pytest.fixture
def caught(monkeypatch: pytest.MonkeyPatch) -> Caught:
    """What a picture was drawn from, while it is drawn all the same."""

    def catch(module: Any, name: str = "draw") -> list[Any]:
        seen: list[Any] = []
        real = getattr(module, name)

        def draw(shown: Any, **size: Any) -> Any:
            seen.append(shown)
            return real(shown, **size)

        monkeypatch.setattr(module, name, draw)
        return seen

    return catch


def now(of: Restoration) -> Priced:
    return priced(fresh_draft(of))


# --- the route ---


def stops(caught: Caught, found: Priced, part: Part) -> route_line.RouteLine:
    seen = caught(route_line, "draw")
    assert route(found, part) is not None
    line: route_line.RouteLine = seen[0]
    return line


def test_a_route_has_its_own_work_vendor_hops_and_what_is_bought(
    bike: Restoration, shop: Workshop, caught: Caught
) -> None:
    line = stops(caught, now(bike), bike.parts.get(name="Frame"))
    assert [(stop.name, stop.kind, stop.outside, stop.days) for stop in line.stops] == [
        ("Seal", route_line.PURCHASE, "reproduction", D(15)),
        ("Blast", route_line.OWN, "", None),
        ("Spray", route_line.OWN, "", None),
        ("Fit", route_line.OWN, "", None),
    ]


def test_a_vendor_hop_says_where_and_for_how_many_days(bike: Restoration, shop: Workshop, caught: Caught) -> None:
    (stop,) = stops(caught, now(bike), bike.parts.get(name="Lever")).stops
    assert (stop.kind, stop.outside, stop.days) == (route_line.VENDOR, "Brook Platers", D(10))
    shop.plate.lead_days = 0
    shop.plate.save()
    (stop,) = stops(caught, now(bike), bike.parts.get(name="Lever")).stops
    assert stop.days is None


def test_a_way_back_leads_to_where_the_part_goes_when_it_fails(bike: Restoration, caught: Caught) -> None:
    """The coat fails one time in ten and goes back to the blasting, the stop before it."""
    (way,) = stops(caught, now(bike), bike.parts.get(name="Frame")).ways_back
    assert (way.start, way.to, way.chance) == (2, 1, D("0.1"))


def test_a_step_that_fails_and_goes_nowhere_is_done_again(bike: Restoration, shop: Workshop, caught: Caught) -> None:
    Step.objects.filter(operation=shop.fit).update(fail_chance=5)
    ways = stops(caught, now(bike), bike.parts.get(name="Frame")).ways_back
    assert [(way.start, way.to, way.chance) for way in ways] == [(2, 1, D("0.1")), (3, 3, D("0.05"))]


def test_a_step_names_each_other_part_it_waits_for_once_and_not_its_own(
    bike: Restoration, shop: Workshop, caught: Caught
) -> None:
    part, plated = bike.parts.get(name="Frame"), bike.parts.get(name="Lever")
    fit = part.steps.get(operation=shop.fit)
    wait_for(step=fit, on=add_step(part=plated, origin=Step.Origin.AFTER, operation=shop.blast, **WHO), **WHO)
    wait_for(step=fit, on=part.steps.get(operation=shop.blast), **WHO)
    line = stops(caught, now(bike), part)
    assert [stop.waits_on for stop in line.stops] == [(), (), (), ("Lever",)]


def test_a_step_that_stands_afterwards_says_how_long(bike: Restoration, shop: Workshop, caught: Caught) -> None:
    shop.spray.elapsed = 45
    shop.spray.save()
    line = stops(caught, now(bike), bike.parts.get(name="Frame"))
    assert [bool(stop.then_waits) for stop in line.stops] == [False, False, True, False]
    assert "45" in line.stops[2].then_waits


def test_a_part_without_steps_has_no_picture(shop: Workshop) -> None:
    bike = restoration()
    part = frame(bike, shop, finish=None)
    assert route(now(bike), part) is None


# --- the days ---


@pytest.fixture
def sheet(bike: Restoration, caught: Caught) -> Callable[[], tuple[calendar.Calendar, Worked]]:
    def draw() -> tuple[calendar.Calendar, Worked]:
        found = now(bike)
        given = scheduled_as_priced(found, schedule(found.scope, today=TODAY))
        worked = work_out_anew(bike)
        assert worked is not None
        seen = caught(calendar, "draw")
        assert 'class="picture"' in days(worked, given)
        return seen[0], worked

    return draw


def row(shown: calendar.Calendar, label: str) -> Row:
    return next(item for item in shown.rows if item.label == label)


def test_a_lot_is_shown_out_and_back_with_the_day_it_must_leave(sheet: Any) -> None:
    shown, worked = sheet()
    (lot,) = worked.planned.lots
    found = row(shown, "Brook Platers: Lever")
    assert (found.start, found.finish) == (date.fromisoformat(lot.leaves), date.fromisoformat(lot.back))
    assert (found.must_leave, found.latest) == (
        date.fromisoformat(lot.must_leave),
        date.fromisoformat(lot.must_be_back),
    )
    assert found.must_leave > found.start


def test_a_lot_that_is_out_is_shown_from_now_until_it_is_back(bike: Restoration, shop: Workshop, sheet: Any) -> None:
    out(Step.objects.get(service=shop.plate), date(2026, 3, 12))
    found = row(sheet()[0], "Brook Platers: Lever")
    assert (found.start, found.finish, found.must_leave) == (TODAY, date(2026, 3, 12), None)


def test_a_part_of_which_all_is_done_has_no_row(bike: Restoration, sheet: Any) -> None:
    steps = [step for step in Step.objects.filter(part__name="Frame") if not step.buy]
    agree_to(*steps)
    Done.objects.bulk_create(Done(step=one, at=NOW, who="ada") for one in steps)
    assert "Frame" not in [item.label for item in sheet()[0].rows]


def test_a_lot_of_several_parts_says_how_many(bike: Restoration, shop: Workshop, sheet: Any) -> None:
    lever(bike, shop, name="Pedal")
    shown, _worked = sheet()
    assert row(shown, "Brook Platers: 2 parts").must_leave


def test_own_work_goes_from_its_first_step_to_its_last_and_what_is_away_or_on_order_is_no_work(
    bike: Restoration, sheet: Any
) -> None:
    shown, worked = sheet()
    uid = str(bike.parts.get(name="Frame").uid)
    away = {step for lot in worked.planned.lots for step in lot.steps} | {o.step for o in worked.planned.orders}
    own = [step for step in worked.planned.steps if step.part == uid and step.uid not in away]
    assert len(own) == 3
    found = row(shown, "Frame")
    assert found.start == min(date.fromisoformat(step.early_start[:10]) for step in own)
    assert found.finish == max(date.fromisoformat(step.early_finish[:10]) for step in own)
    assert found.latest == max(date.fromisoformat(step.late_finish[:10]) for step in own)
    assert found.drives
    assert {item.label for item in shown.rows} == {"Frame", "Brook Platers: Lever"}


def test_both_days_and_how_often_the_later_is_kept_are_those_of_the_promise(sheet: Any) -> None:
    shown, worked = sheet()
    found = (shown.likely.isoformat(), shown.kept.isoformat(), shown.kept_chance)
    assert found == (worked.promise.likely, worked.promise.day, worked.promise.kept)


def test_closed_days_are_weekends_holidays_and_the_shops_own_until_the_last_day_shown(sheet: Any) -> None:
    """Source: SOURCES 13: Good Friday and Easter Monday are bank holidays in England; 2026: 3 and 6 April (value from memory)."""
    Shop.objects.update(country="GB", subdivision="ENG")
    Closure.objects.create(first=date(2026, 3, 10), last=date(2026, 3, 11))
    shown, _worked = sheet()
    last = max(shown.closed)
    assert {date(2026, 3, 7), date(2026, 3, 8), date(2026, 3, 10), date(2026, 3, 11)} <= shown.closed
    assert not {date(2026, 3, 9), date(2026, 3, 12), TODAY} & shown.closed
    end = max([shown.likely, shown.kept, *(item.end for item in shown.rows)])
    assert last <= end
    every = [date.fromordinal(number) for number in range(TODAY.toordinal(), end.toordinal() + 1)]
    easter = {day for day in (date(2026, 4, 3), date(2026, 4, 6)) if day <= end}
    weekends = {day for day in every if day.weekday() > 4}
    assert shown.closed == weekends | {date(2026, 3, 10), date(2026, 3, 11)} | easter


def test_held_days_stand_on_the_rows_they_touch(bike: Restoration, shop: Workshop, sheet: Any) -> None:
    """The frame is coated when the seal is there, and fitted only when a slow plater has brought the lever."""
    shop.plate.lead_days = 30
    shop.plate.save()
    hold(restoration=bike, first=date(2026, 3, 30), last=date(2026, 3, 31), reason="deciding", **WHO)
    hold(restoration=bike, first=date(2026, 3, 2), last=date(2026, 3, 3), reason="earlier", **WHO)
    hold(restoration=bike, first=date(2027, 3, 2), last=date(2027, 3, 3), reason="later", **WHO)
    shown, _worked = sheet()
    found = row(shown, "Frame")
    assert found.start < date(2026, 3, 30) < date(2026, 3, 31) < found.finish
    assert found.held == ((date(2026, 3, 30), date(2026, 3, 31)),)


def test_a_bike_without_parts_is_a_sheet_without_rows(bike: Restoration, sheet: Any) -> None:
    Part.objects.update(removed_at="2026-03-02T09:00Z")
    shown, _worked = sheet()
    assert shown.rows == ()


# --- costs, and what moves them ---


def test_the_cost_curve_has_the_price_and_the_spread_of_the_fixed_lines(
    bike: Restoration, shop: Workshop, caught: Caught
) -> None:
    frame(bike, shop, name="Fork", basis="hourly")
    found = now(bike)
    seen = caught(cost_curve, "draw")
    assert costs(found) is not None
    assert found.explained is not None
    assert found.assessment is not None
    fixed = [line for line in found.explained.result.lines if line.part != "Fork"]
    assert seen[0].price == sum(line.net for line in fixed)
    assert (seen[0].expected, seen[0].kept) == (found.assessment.mean, found.assessment.quantile)


def test_where_nothing_is_fixed_there_is_no_curve(bike: Restoration) -> None:
    Part.objects.update(basis="hourly")
    assert costs(now(bike)) is None


def test_every_kind_of_swing_has_words() -> None:
    nothing = Reading(D(0), D(0), D(0))
    for kind in SwingKind:
        said = label(Swing(kind, "key", "Blast", "Frame", nothing, nothing))
        assert said
        assert "%" not in said
    assert set(drawing.KIND_WORDS) == set(SwingKind)


def test_without_days_only_cost_and_price_are_swung(bike: Restoration) -> None:
    found = now(bike)
    assert found.given is not None
    assert found.explained is not None
    assert len(moved(swings(found.given, found.explained, costs=2, leads=1), "EUR")) == 2

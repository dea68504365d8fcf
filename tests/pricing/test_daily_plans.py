"""Every agreed bike has a plan of today, whether anybody looks or not."""

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest

from quotes.pricing import daily_plans, planning
from quotes.pricing.daily_plans import PLAN_HANDLER, mend, plan_key, without_plan
from quotes.pricing.models import Draft
from shop.outbox.models import DONE, Row
from shop.outbox.services import deliver
from shop.restorations.models import Restoration
from shop.restorations.services import change_scope
from shop.routes.models import Away, Done, Plan, PlannedStep, Step, Task
from tests.planned import agree_to
from tests.pricing.workshop import NOW, Workshop, add_parts, answer, issue, restoration

TOMORROW = NOW + timedelta(days=1)
pytestmark = pytest.mark.django_db(transaction=True)


def rows() -> list[Row]:
    return list(Row.objects.filter(handler=PLAN_HANDLER).order_by("pk"))


def test_only_what_is_agreed_is_planned_and_only_once_a_day(draft: Draft) -> None:
    quote = issue(draft)
    mend(now=TOMORROW)
    assert rows() == []
    answer(quote)
    for _sweep in range(3):
        mend(now=NOW)
    assert rows() == []  # issuing planned it today
    for _sweep in range(3):
        mend(now=TOMORROW)
    assert [row.key for row in rows()] == [plan_key(draft.restoration, TOMORROW)]


def test_the_plan_it_asks_for_is_made_and_of_the_day(draft: Draft) -> None:
    answer(issue(draft))
    mend(now=TOMORROW)
    deliver(rows()[0].pk, now=TOMORROW, worker="one")
    plan = Plan.objects.get()
    assert plan.made_at == TOMORROW
    assert planning.is_fresh(plan, draft=Draft.objects.get(), today=TOMORROW.date())
    assert rows()[0].state == DONE
    assert not without_plan(TOMORROW).exists()


def test_a_scope_that_moved_on_is_planned_anew_the_same_day(draft: Draft) -> None:
    answer(issue(draft))
    mend(now=TOMORROW)
    deliver(rows()[0].pk, now=TOMORROW, worker="one")
    change_scope(draft.restoration)
    mend(now=TOMORROW)
    assert len(rows()) == 2
    deliver(rows()[1].pk, now=TOMORROW, worker="one")
    assert Plan.objects.get().scope_version == draft.restoration.scope_version


def test_what_cannot_be_planned_is_let_be_until_something_changes(
    draft: Draft, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer(issue(draft))
    made_at = Plan.objects.get().made_at

    def refuse(*_: object, **__: object) -> None:
        raise planning.BadInput("There are no holidays known for “{place}”.", place="QX")

    monkeypatch.setattr(daily_plans.planning, "try_out", refuse)
    mend(now=TOMORROW)
    deliver(rows()[0].pk, now=TOMORROW, worker="one")
    mend(now=TOMORROW)
    assert [row.state for row in rows()] == [DONE]
    assert Plan.objects.get().made_at == made_at


# -- what happened since -----------------------------------------------------------------------------------------------------


def hour(number: int) -> datetime:
    return TOMORROW + timedelta(hours=number)


def asked_at(now: datetime) -> list[str]:
    """The keys that a sweep asks for anew."""
    known = {row.key for row in rows()}
    mend(now=now)
    return [row.key for row in rows() if row.key not in known]


def plan_at(now: datetime) -> Plan:
    """All that is asked for is made."""
    for row in rows():
        if row.state != DONE:
            deliver(row.pk, now=now, worker="one")
    return Plan.objects.get()


@pytest.fixture
def agreed_bike(draft: Draft) -> Restoration:
    answer(issue(draft))
    mend(now=TOMORROW)
    plan_at(TOMORROW)
    return draft.restoration


def first_step(of: Restoration) -> Step:
    return Step.objects.filter(part__restoration=of, removed_at__isnull=True).order_by("part", "position")[0]


def test_a_plan_is_made_anew_once_for_each_thing_that_happened_since(agreed_bike: Restoration) -> None:
    """Done, taken back, sent out, told another day, here again, round again: each asks once, however often it is found."""
    step = first_step(agreed_bike)
    away = Away(step=step, where="Brook Platers", since=TOMORROW.date(), changed_at=hour(5))

    def changed(at: datetime, **fields: object) -> None:
        away.changed_at = at
        for name, value in fields.items():
            setattr(away, name, value)
        away.save()

    events: list[Callable[[datetime], object]] = [
        lambda at: Done.objects.create(step=step, at=at, who="ada"),
        lambda at: Done.objects.update(undone_at=at, undone_by="ada"),
        changed,
        lambda at: changed(at, due_on=TOMORROW.date() + timedelta(days=9)),
        lambda at: changed(at, lost=True),
        lambda at: changed(at, ended_on=TOMORROW.date()),
        lambda at: Task.objects.create(
            kind=Task.Kind.REWORK, name="Again", restoration=agreed_bike, origin_uid=step.uid, made_at=at
        ),
    ]
    for number, event in enumerate(events):
        at = hour(2 * number + 1)
        event(at)
        (key,) = asked_at(at + timedelta(minutes=1))
        assert key == plan_key(agreed_bike, at, at)
        assert asked_at(at + timedelta(minutes=2)) == []
        assert plan_at(at + timedelta(minutes=3)).made_at == at + timedelta(minutes=3)
        assert asked_at(at + timedelta(minutes=4)) == []


def test_what_happened_before_the_plan_was_made_or_on_another_bike_asks_for_nothing(
    agreed_bike: Restoration, shop: Workshop
) -> None:
    Done.objects.create(step=first_step(agreed_bike), at=TOMORROW - timedelta(minutes=1), who="ada")
    other = restoration()
    add_parts(other, shop)
    agree_to(first_step(other))
    Done.objects.create(step=first_step(other), at=hour(3), who="ada")
    assert asked_at(hour(4)) == []


def test_a_bike_that_cannot_be_planned_is_asked_for_once_for_each_thing_that_happened(
    agreed_bike: Restoration, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise planning.BadInput("There are no holidays known for “{place}”.", place="QX")

    monkeypatch.setattr(daily_plans.planning, "try_out", refuse)
    Done.objects.create(step=first_step(agreed_bike), at=hour(1), who="ada")
    assert len(asked_at(hour(2))) == 1
    assert plan_at(hour(2)).made_at == TOMORROW
    assert asked_at(hour(3)) == []


def test_a_plan_made_for_what_happened_knows_it(agreed_bike: Restoration) -> None:
    """The done step takes nothing in it, and the plan is fresh to whoever looks; before it was stale."""
    step = first_step(agreed_bike)
    assert PlannedStep.objects.get(step=step).minutes > 0
    Done.objects.create(step=step, at=hour(1), who="ada")
    draft, today = Draft.objects.get(), TOMORROW.date()
    assert not planning.is_fresh(Plan.objects.get(), draft=draft, today=today)
    asked_at(hour(2))
    assert planning.is_fresh(plan_at(hour(2)), draft=draft, today=today)
    assert PlannedStep.objects.get(step=step).minutes == 0

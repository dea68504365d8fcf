"""Every agreed bike has a plan of today, whether anybody looks or not."""

from datetime import timedelta

import pytest

from quotes.pricing import daily_plans, planning
from quotes.pricing.daily_plans import PLAN_HANDLER, mend, plan_key, without_plan
from quotes.pricing.models import Draft
from shop.outbox.models import DONE, Row
from shop.outbox.services import deliver
from shop.restorations.services import change_scope
from shop.routes.models import Plan
from tests.pricing.workshop import NOW, answer, issue

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

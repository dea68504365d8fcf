"""An accepted bike of the small workshop, and what is done on it. Invented; figures are round."""

from datetime import UTC, date, datetime
from typing import Any

from quotes.pricing.models import IssuedQuote
from quotes.pricing.money.receipts import note
from shop.floor.models import Clocking
from shop.people.models import User
from shop.restorations.models import Restoration
from shop.routes.finishing import finish_step
from shop.routes.models import Step, Task, TaskStep
from shop.routes.tasks import form_tasks
from tests.at_the_bench import bench_frame
from tests.planned import fresh_draft
from tests.pricing.workshop import answer, issue
from tests.vendor_jobs.lots import plating
from tests.workshop import NOW, TODAY, WHO, Workshop, restoration

#: Monday to Sunday.
WEEK = date(2026, 3, 2)
AFTER = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)


def at(hour: int, minute: int = 0, *, day: int = 3) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


def bike(shop: Workshop, title: str = "Heron 250", **frame: Any) -> Restoration:
    """A frame to blast and spray, and four levers for the plater."""
    of = restoration(title)
    bench_frame(of, shop, **frame)
    bench_frame(of, shop, name="Lever", finish=shop.zinc, pieces=4, weight=1, strength=400)
    return of


def accept(of: Restoration, **changes: Any) -> IssuedQuote:
    """Issue what stands there, have it accepted, form the tasks."""
    quote = issue(fresh_draft(of), guesses_are_told=True, **changes)
    answer(quote)
    form_tasks(restoration=of, now=NOW)
    return quote


def pay(of: Restoration, amount_minor: int = 100_000) -> None:
    """Enough that whatever waits for money may begin."""
    note(restoration=of, amount_minor=amount_minor, received_on=TODAY, **WHO)


def step(of: Restoration, name: str) -> Step:
    return Step.objects.select_related("part__restoration", "operation", "service").get(
        part__restoration=of, operation__name=name, removed_at=None
    )


def lever_step(of: Restoration) -> Step:
    return plating(of.parts.get(name="Lever"))


def task_of(which: Step) -> Task:
    return TaskStep.objects.select_related("task").get(step=which, visit=which.visit).task


def clocked(who: User, to: Task, began: datetime, ended: datetime | None) -> Clocking:
    how = "tap" if ended else ""
    return Clocking.objects.create(
        person=who, task=to, began_at=began, ended_at=ended, ended_how=how, recorded_by=who.username
    )


def done(which: Step, now: datetime) -> None:
    finish_step(step=which, **(WHO | {"now": now}))

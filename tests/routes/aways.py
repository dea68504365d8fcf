"""Steps that are out or on order, written as the room that sends out does."""

from datetime import date, datetime

from shop.routes.models import Away, Step
from tests.workshop import NOW, TODAY


def out(
    step: Step,
    due_on: date | None = None,
    *,
    since: date = TODAY,
    where: str = "Brook Platers",
    lost: bool = False,
    at: datetime = NOW,
) -> Away:
    """``step`` is away from ``since`` on."""
    return Away.objects.create(
        step=step, visit=step.visit, where=where, since=since, due_on=due_on, lost=lost, changed_at=at
    )


def back(row: Away, on: date = TODAY, *, at: datetime = NOW) -> None:
    """It is here again."""
    row.ended_on, row.changed_at = on, at
    row.save(update_fields=["ended_on", "changed_at"])

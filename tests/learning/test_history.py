"""Made history is held by every constraint and guard, the journal is whole, and every quote recomputes."""

from datetime import timedelta
from io import StringIO
from itertools import pairwise
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.models import Count

from quotes.learning import finished, showing, suggesting, work
from quotes.learning.history import truth
from quotes.learning.history.bikes import WHO
from quotes.learning.history.hands import Hands
from quotes.learning.history.making import MadeHistory
from quotes.learning.models import Study, Suggestion
from quotes.learning.studying import keep_found
from quotes.learning.work import Standards
from quotes.pricing.models import IssuedQuote, Outcome
from shop import guards
from shop.floor.models import Clocking, HandedOver, Rework
from shop.floor.selectors import minutes_by_task
from shop.journal.models import Entry
from shop.journal.services import seal
from shop.routes.models import Done, TaskStep
from shop.routes.standard import standard_minutes
from shop.vendor_jobs.models import Charge, Job
from tests.learning.conftest import NOW, TODAY


def test_what_is_made_is_held_by_all_that_holds_the_shop(history: MadeHistory, django_assert_num_queries: Any) -> None:
    assert guards.missing() == []
    connection.check_constraints()
    seal(now=NOW)
    out = StringIO()
    call_command("verify_journal", stdout=out)
    call_command("verify_quotes", stdout=out)
    assert "whole" in out.getvalue()
    assert f"{history.asked} issued quotes recomputed" in out.getvalue()
    # -- what came about
    assert IssuedQuote.objects.filter(issued_by=WHO).count() == history.asked
    assert Outcome.objects.filter(kind=Outcome.Kind.ACCEPTED).count() == history.accepted >= 3
    assert HandedOver.objects.count() == history.finished >= 1
    assert Entry.objects.filter(what="made history laid in", who=WHO).count() == history.accepted
    assert Job.objects.filter(back_on__isnull=False).count() == Charge.objects.count() > 0
    assert not Clocking.objects.filter(ended_at__gt=NOW).exists()
    assert Clocking.objects.values("person").distinct().count() == len(truth.told()["mechanic"])
    several = Clocking.objects.values("task__restoration").annotate(people=Count("person", distinct=True))
    assert max(row["people"] for row in several) > 1
    # -- what was sent back was not done on that visit
    for row in Rework.objects.all():
        assert not Done.objects.filter(step=row.step, visit=row.visit).exists()
    with pytest.raises(CommandError, match="made once"):
        call_command("make_history", years=1)
    # -- minutes and standards as the floor has them, in another way
    found = {int(task.key): task for task in work.tasks(TODAY)}
    assert len(found) > 50
    plain = minutes_by_task(found, now=NOW)
    assert {key: task.actual for key, task in found.items()} == plain
    alone = TaskStep.objects.filter(task__in=found).values("task").annotate(steps=Count("pk")).filter(steps=1)
    lines = TaskStep.objects.filter(task__in=[row["task"] for row in alone]).select_related(
        "step__part__size_class", "step__part__restoration", "step__operation", "step__service"
    )
    by_step = standard_minutes([line.step for line in lines], on=TODAY)
    paces = {str(row.operation.uid): row for row in Standards(TODAY).times.values()}
    standards = Standards(TODAY)
    checked = 0
    for line in lines:
        (piece,) = found[line.task_id].pieces
        pace = standards.paces[paces[piece.operation].operation.grade_id]
        assert piece.standard == pytest.approx(float(by_step[line.step_id].minutes) * pace, rel=1e-9)
        checked += 1
    assert checked > 10
    with django_assert_num_queries(6):
        work.tasks(TODAY)


def test_nobody_is_given_a_minute_twice() -> None:
    hands = Hands([])
    first = hands.work("a", 700, earliest=NOW)
    second = hands.work("a", 100, earliest=NOW)
    assert sum(end - begin for begin, end in first + second) == 800
    slots = sorted(first + second)
    assert all(one[1] <= other[0] for one, other in pairwise(slots))
    assert hands.work("b", 60, earliest=NOW + timedelta(hours=1))[0][0] == first[0][0] + 60


def test_what_is_learned_of_made_history_is_shown_and_answered(
    history: MadeHistory, django_assert_num_queries: Any
) -> None:
    steps: list[int] = []
    found = suggesting.found(today=TODAY, say=steps.append)
    assert steps == [1, 2, 3]
    kinds = {row.kind for row in found.suggestions}
    assert {"operation", "grade", "damage", "rework"} <= kinds
    study = Study.objects.create(asked_by="margit", asked_at=NOW)
    keep_found(study, found, now=NOW)
    for row in Suggestion.objects.select_related("study"):
        assert showing.in_force(row).startswith("Had this been in force")
        assert "<svg" in showing.drawing(row, width=330)
    with django_assert_num_queries(7):
        bikes = finished.bikes()
    assert len(bikes) == history.finished
    for bike in bikes:
        assert 0.3 < bike.actual / bike.expected < 3
        assert bike.minutes == sum(
            minutes_by_task(bike.restoration.tasks.values_list("pk", flat=True), now=NOW).values()
        )
    assert finished.calibrated(bikes, today=TODAY).too_few
    machine = bikes[0].restoration.machine
    ballpark, _known = finished.look_alikes({"maker": machine.maker, "model": machine.model, "year": machine.year or 0})
    assert ballpark is not None
    assert ballpark.bikes[0].bike.key == str(bikes[0].restoration.uid) or ballpark.bikes[0].distance == 0

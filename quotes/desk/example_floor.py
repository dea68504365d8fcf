"""What the floor of the example workshop did in the last days: time on tasks, steps that are done, and who is on what now."""

import secrets
import uuid
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from quotes.engine.money import places, to_minor
from shop import currency
from shop.floor import checks, doing
from shop.floor.material import materials_of, note_count, note_mix
from shop.floor.models import Tap
from shop.floor.taps import take
from shop.floor.walk_ins import note_walk_in
from shop.methods.models import Check
from shop.people.models import User
from shop.people.roles import ROLE_MECHANIC
from shop.people.services import add_person
from shop.routes.models import Step, Task
from shop.routes.my_tasks import TaskCard, indirect_tasks, task_cards

APPRENTICE = "apprentice"
#: Days ago, minute of the day at which the mechanic begins, and minutes on it; what is ready first is done.
WORKED = ((3, 8 * 60, 235), (1, 8 * 60, 230))
OPEN = timedelta(minutes=50)
#: Days ago, what was on the shelf, and what came in since the count before, each in the measure of the material.
COUNTED = ((31, Decimal("4.5"), Decimal(0)), (2, Decimal("5.2"), Decimal(2)))


def live(*, now: datetime) -> None:
    """Not inside a transaction, as taps are not."""
    mechanic = User.objects.filter(groups__name=ROLE_MECHANIC).first()
    if mechanic is None:
        return
    apprentice = add_person(
        username=APPRENTICE, name="Runa Elsborough", password=secrets.token_urlsafe(18), roles=[ROLE_MECHANIC]
    )
    today = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)
    for ago, begins, lasts in WORKED:
        begin = today - timedelta(days=ago) + timedelta(minutes=begins)
        _work(mechanic, begin, begin + timedelta(minutes=lasts))
    card = _next(now)
    if card is not None:
        _tap(mechanic, card.task, now - OPEN)
    other = indirect_tasks().first()
    if other is not None:
        _tap(apprentice, other, now - OPEN / 2)
    _at_the_counter(now)
    _material(mechanic, now)


def _at_the_counter(now: datetime) -> None:
    """A small job that walked in yesterday."""
    agreed = now - timedelta(days=1)
    note_walk_in(
        what="Straighten a mudguard stay",
        customer="Ike Tarrowby",
        agreed_minor=to_minor(Decimal(60), digits=places(currency.code())),
        minutes=45,
        agreed_on=timezone.localdate(agreed),
        who="desk",
        now=agreed,
    )


def _material(mechanic: User, now: datetime) -> None:
    """What was mixed for a task that uses material, and two counts of it with what came in between."""
    tasks = [card.task for card in task_cards(now=now) if card.is_ready and card.lines]
    used = next(((task, items[0]) for task in tasks if (items := materials_of(task)[0])), None)
    if used is None:
        return
    task, item = used
    for ago, counted, came_in in COUNTED:
        day = now - timedelta(days=ago)
        note_count(
            consumable=item,
            day=timezone.localdate(day),
            counted=counted,
            came_in=came_in,
            who=mechanic.username,
            now=day,
        )
    mixed: dict[str, Any] = {"amount": Decimal("0.250"), "left_over": Decimal("0.040"), "note": "For the test panel"}
    note_mix(uid=uuid.uuid4(), task=task, consumable=item, person=mechanic, now=now - OPEN, **mixed)


def _next(now: datetime) -> TaskCard | None:
    return next((card for card in task_cards(now=now) if card.is_ready and card.lines), None)


def _work(person: User, begin: datetime, end: datetime) -> None:
    """On the task that is next, and done with what of it could be begun."""
    card = _next(begin)
    if card is None:
        return
    _tap(person, card.task, begin)
    _tap(person, None, end)
    for line in card.ready:
        _look(line.step, person, end)
    doing.done_all(task=card.task, person=person, now=end)


def _tap(person: User, task: Task | None, at: datetime) -> None:
    kind = Tap.Kind.ON if task else Tap.Kind.OFF
    take(uid=uuid.uuid4(), kind=kind, person=person, tablet=None, task=task, device_at=None, body=kind, now=at)


def _look(step: Step, person: User, at: datetime) -> None:
    """Every check of a step as it should be; what has to be measured is left to somebody with a gauge."""
    for asked in checks.checks_of(checks.known_step(step.pk)):
        given: dict[str, Any] = {
            "step": step,
            "check": asked.check,
            "visit": step.visit,
            "person": person,
            "now": at,
        }
        if not asked.is_measured:
            checks.answer_check(**given, as_it_should=True)
        elif asked.check.kind == Check.Kind.COUNT:
            checks.answer_check(**given, value=Decimal(step.part.pieces))

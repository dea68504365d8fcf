"""Vendor work of the example workshop: a lot that is late, one that came back short and is not charged yet, one out, one planned.

All of one bike, before it was held. What had to be done first is told as done on the day it began.
"""

import uuid
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from quotes.desk import vendor_work
from shop.floor import custody
from shop.people.models import User
from shop.rates.models import Status
from shop.rates.selectors import odds
from shop.restorations.models import Part, Restoration
from shop.routes import gate
from shop.routes.finishing import finish_steps
from shop.routes.models import Step
from shop.vendor_jobs.lots import agree_price, change_line, change_lot, plan_lot
from shop.vendor_jobs.models import Job
from shop.vendor_jobs.receiving import Arrival
from shop.vendor_jobs.sending import Told
from shop.vendor_jobs.terms import set_terms

CUSTOMER = "Bertil Quandt"
BEFORE = "Strip-down"
LATE, SHORT, OUT, PLANNED = "Speedometer", "Handlebar and levers", "Headlamp rim", "Rims"
BEGAN, LEFT, BACK, LEFT_AGAIN, LAST = 17, 16, 9, 8, 1


def live(*, now: datetime) -> None:
    """Days are counted back from today. Nothing where the bike is not there."""
    bike = Restoration.objects.filter(customer__name=CUSTOMER).first()
    person = User.objects.filter(username="desk").first()
    if bike is None or person is None:
        return
    names = (LATE, SHORT, OUT, PLANNED)
    parts = {part.name: part for part in bike.parts.filter(name__in=(BEFORE, *names)).select_related("restoration")}
    _begin(parts, _at(now, BEGAN))
    late = _sent(parts[LATE], person, _at(now, LEFT), due=_at(now, 3), value=38_000, irreplaceable=True)
    agree_price(
        job=late,
        agreed_minor=21_000,
        agreed_status=Status.PHONED,
        agreed_by="Mr Ennerby",
        agreed_on=timezone.localdate(_at(now, LEFT)),
        who=person.username,
        now=_at(now, LEFT),
    )
    _terms(late, person, _at(now, LEFT))
    short = _sent(parts[SHORT], person, _at(now, LEFT), due=_at(now, BACK), value=31_000)
    arrival = Arrival(short.lines.get(), good=4, lost=1, note="The brake lever is missing")
    back = _at(now, BACK)
    vendor_work.count_in(
        job=short,
        arrivals=[arrival],
        on=timezone.localdate(back),
        looked_by=person.get_full_name() or person.username,
        shelf=None,
        person=person,
        now=back,
    )
    _sent(parts[OUT], person, _at(now, LEFT_AGAIN), due=now + timedelta(days=3), value=9_000)
    by: dict[str, Any] = {"who": person.username, "now": _at(now, LAST)}
    planned = plan_lot(steps=[_outside(parts[PLANNED])], **by)
    change_lot(job=planned, leave_on=timezone.localdate(now) + timedelta(days=1), **by)


def _at(now: datetime, ago: int) -> datetime:
    return now - timedelta(days=ago)


def _begin(parts: dict[str, Part], at: datetime) -> None:
    """Stripped and washed, and the first vendor work let begin by name: nobody keeps the old chrome."""
    by: dict[str, Any] = {"who": "desk", "now": at}
    given: dict[str, Any] = {
        "who_decided": "Bertil Quandt",
        "reason": "All of it is chromed anew, as it was",
        "odds": odds(at.date()),
    }
    bare = [_outside(parts[name]) for name in (SHORT, OUT, PLANNED)]
    gate.override(steps=bare, **given, **by)
    own = Step.objects.filter(part__in=parts.values(), removed_at__isnull=True, operation__isnull=False)
    first = [step for step in own.select_related("part") if step.part.name == BEFORE or step.position < _place(step)]
    finish_steps(steps=first, **by)
    for name in (LATE, SHORT, OUT, PLANNED):
        custody.add_tag(uid=uuid.uuid4(), restoration=parts[name].restoration, part=parts[name], **by)


def _place(step: Step) -> int:
    """Where the first vendor work of its part stands."""
    return _outside(step.part).position


def _outside(part: Part) -> Step:
    found = part.steps.filter(removed_at__isnull=True, service__isnull=False).order_by("position")
    step = found.select_related("part__restoration__machine", "part__agreed_finish", "service__vendor").first()
    assert step is not None, "the example's parts go to vendors"
    return step


def _sent(part: Part, person: User, at: datetime, *, due: datetime, value: int, irreplaceable: bool = False) -> Job:
    by: dict[str, Any] = {"who": person.username, "now": at}
    job = plan_lot(steps=[_outside(part)], **by)
    change_line(line=job.lines.get(), replacement_minor=value, irreplaceable=irreplaceable, **by)
    told = Told(timezone.localdate(due), Status.PHONED, "Ina, at their desk")
    return vendor_work.send(
        job=job,
        on=timezone.localdate(at),
        told=told,
        carried_by=person.get_full_name() or person.username,
        let_go=None,
        person=person,
        now=at,
    )


def _terms(job: Job, person: User, at: datetime) -> None:
    set_terms(
        vendor=job.vendor,
        takes_in_on="24",
        insured_minor=50_000,
        claim_cap_minor=30_000,
        redo_free=True,
        mails=False,
        note="Ring before you come",
        who=person.username,
        now=at,
    )

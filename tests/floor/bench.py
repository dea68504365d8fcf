"""A frame that goes through blast, spray and fit, all of it agreed: what the tests of checks, rework and damage work on."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from shop.methods.models import Cause, Check, Operation
from shop.people.models import User
from shop.restorations.models import Part, Restoration
from shop.routes.models import Authorisation, Override, Step, Task
from shop.routes.services import add_step
from shop.routes.tasks import form_tasks
from tests.workshop import NOW, WHO, Workshop, frame, restoration, workshop


@dataclass
class Bench:
    """What the tests name. ``joe`` is at work, ``cause`` is one of the shop's."""

    shop: Workshop
    bike: Restoration
    part: Part
    blast: Step
    spray: Step
    fit: Step
    joe: User
    cause: Cause

    def task(self, step: Step) -> Task:
        return Task.objects.get(lines__step=step, lines__visit=step.visit)


def bench(**fields: Any) -> Bench:
    shop, bike = workshop(), restoration()
    part = frame(bike, shop, **fields)
    fit = add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    agree(bike)
    blast, spray = part.steps.filter(origin=Step.Origin.FINISH).order_by("position")
    joe = User.objects.create(username="joe", first_name="Joe")
    cause = Cause.objects.create(name="Runs in the coat", check_words="Hung so that nothing drips on it")
    return Bench(shop, bike, part, blast, spray, fit, joe, cause)


def agree(bike: Restoration, now: datetime = NOW) -> None:
    """Everything on the bike is authorised, and may be coated without proof."""
    for step in Step.objects.filter(part__restoration=bike).exclude(uid__in=Authorisation.objects.values("step_uid")):
        Authorisation.objects.create(step_uid=step.uid, kind="quote", reference="Q1", at=now)
        if step.origin == Step.Origin.FINISH:
            Override.objects.create(
                step=step, kind="finish", who="Ada", reason="Seen before it was stripped", at=now, recorded_by="ada"
            )
    form_tasks(restoration=bike, now=now)


def check(operation: Operation, words: str = "Threads masked", **fields: Any) -> Check:
    position = fields.pop("position", operation.checks.count() + 1)
    return Check.objects.create(operation=operation, words=words, position=position, **fields)

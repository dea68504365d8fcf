"""A bike that is nearly done: two stages with little to look at, and the money that may be late."""

from datetime import date
from typing import Any

from shop.floor import handing_over, leaving
from shop.floor.handing_over import Said
from shop.floor.models import HandedOver, Run
from shop.methods.models import RunCheck, Stage
from shop.people.models import User
from shop.restorations.intake import mark
from shop.restorations.models import Restoration
from shop.routes.models import Funding
from tests.workshop import NOW

TODAY = date(2026, 3, 2)


def looked_at() -> None:
    """Leaks at the first start; brakes and lights on the road."""
    for stage, position, words in (
        (Stage.FIRST_START, 1, "No leaks"),
        (Stage.ROAD_TEST, 1, "Brakes at walking pace"),
        (Stage.ROAD_TEST, 2, "Lights"),
    ):
        RunCheck.objects.create(stage=stage, position=position, words=words)


def check(words: str) -> RunCheck:
    return RunCheck.objects.get(words=words)


def run(bike: Restoration, joe: User, stage: str, *, wrong: str = "", **more: Any) -> Run:
    """A whole run, with one check that is not as it should be where ``wrong`` names it."""
    begun = leaving.begin_run(restoration=bike, stage=stage, person=joe, now=NOW)
    for asked in leaving.checks_of(begun):
        right = asked.check.words != wrong
        leaving.tick(run=begun, check=asked.check, as_it_should=right, person=joe, now=NOW)
    distance = {"distance": 12} if stage in leaving.WITH_DISTANCE else {}
    return leaving.finish_run(run=begun, person=joe, now=NOW, **distance | more)


def all_runs(bike: Restoration, joe: User) -> None:
    run(bike, joe, Stage.FIRST_START)
    run(bike, joe, Stage.ROAD_TEST)


def said(**changes: Any) -> Said:
    plain = {
        "received_by": "Mr Fell",
        "on": NOW.date(),
        "reading": 18_240,
        "keys": "2",
        "after_care": "Retorque after the first ride",
    }
    return Said(**plain | changes)  # type: ignore[arg-type]


def hand_over(bike: Restoration, *, of: Said | None = None, **more: Any) -> HandedOver:
    sheet = of or said()
    given = {"seen": mark(handing_over.words(bike, sheet)), "who": "ada", "now": NOW} | more
    return handing_over.hand_over(restoration=bike, said=sheet, **given)


def late(bike: Restoration, minor: int) -> None:
    Funding.objects.update_or_create(restoration=bike, defaults={"received_minor": 0, "late_minor": minor, "at": NOW})

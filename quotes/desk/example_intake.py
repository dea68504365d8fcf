"""How the bikes of the example workshop came in, and who said what its bought-in parts cost."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from quotes.engine.money import places, to_minor
from shop import currency
from shop.methods.loading import Told
from shop.restorations.intake import change_intake, mark, open_intake, sign, words
from shop.restorations.models import Intake, Restoration
from shop.restorations.numbers import clear_numbers, numbers_of
from shop.routes.models import Step
from shop.routes.services import change_step

INTAKE = (
    "brought_by",
    "papers",
    "papers_frame_number",
    "papers_engine_number",
    "keys",
    "reading",
    "missing",
    "condition",
)


def take_in(restoration: Restoration, told: Told, *, today: date, who: str, now: Any) -> None:
    """What ``told`` says under ``intake`` about the day it came in, and under ``said`` about prices."""
    if "intake" in told:
        _intake(restoration, told["intake"], who=who, now=now)
    for item in told.get("said", []):
        _say(restoration, item, today=today, who=who, now=now)


def _intake(restoration: Restoration, told: Told, *, who: str, now: Any) -> None:
    intake = open_intake(restoration=restoration, came_on=restoration.begun_on, who=who, now=now)
    changes: dict[str, Any] = {name: told[name] for name in INTAKE if name in told}
    if "agreed_value" in told:
        changes["agreed_value_minor"] = _minor(told["agreed_value"])
    change_intake(intake=intake, changes=changes, who=who, now=now)
    if "cleared" in told:
        clear_numbers(intake=intake, seen=numbers_of(intake), **told["cleared"], who=who, now=now)
    if "signed" in told:
        row = Intake.objects.select_related("restoration__machine", "restoration__customer").get(pk=intake.pk)
        seen = mark(words(row))
        sign(intake=row, who_signed=told["signed"], signed_on=restoration.begun_on, seen=seen, who=who, now=now)


def _say(restoration: Restoration, told: Told, *, today: date, who: str, now: Any) -> None:
    """Days are counted from today: those ago, and those for which a price holds, below zero when it has run out."""
    parts = Step.objects.select_related("part__restoration").filter(removed_at__isnull=True)
    step = parts.get(part__restoration=restoration, part__name=told["part"], buy=told["buy"])
    changes: dict[str, Any] = {"buy_said_by": told["by"], "buy_said_on": today - timedelta(days=told["days_ago"])}
    if "holds" in told:
        changes["buy_valid_until"] = today + timedelta(days=told["holds"])
    if "searching" in told:
        changes["buy_searching_since"] = today - timedelta(days=told["searching"])
    if "core" in told:
        changes |= {"buy_source": "exchange", "buy_core_minor": _minor(told["core"])}
    change_step(step=step, changes=changes, who=who, now=now)


def _minor(amount: Decimal | int) -> int:
    return to_minor(Decimal(amount), digits=places(currency.code()))

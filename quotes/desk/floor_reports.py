"""Damage that the floor reported: what the desk's form begins with, and that the report is settled with it."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from quotes.desk.damages import Option
from quotes.desk.forms_found import OTHER, FoundForm
from quotes.pricing.damages import found
from shop.floor.damage import settle_report
from shop.floor.models import DamageReport
from shop.restorations.models import Part, PartDamage
from shop.routes.models import Step
from shop.text import quantity


def report_of(given: Any, part: Part) -> DamageReport | None:
    """The report that a page was asked with, on ``part`` or on pieces that were split from it, settled or not."""
    try:
        wanted = UUID(str(given))
    except ValueError:
        return None
    rows = DamageReport.objects.select_related("part", "person", "possible", "photograph")
    row = rows.filter(uid=wanted).first()
    return row if row is not None and part.pk in (row.part_id, row.part.split_from_id) else None


def begin(form: FoundForm, report: DamageReport, options: Sequence[Option]) -> None:
    """Fill the form with what was reported; the desk corrects it."""
    filled: dict[str, object] = {"what": _value(report, options), "note": report.words}
    if filled["what"] == OTHER:
        longest = form.fields["name"].max_length  # type: ignore[attr-defined]
        filled["name"] = str(report.possible or report.words)[:longest]
    form.initial = {**form.initial, **filled}


def _value(report: DamageReport, options: Sequence[Option]) -> str:
    if report.possible is None:
        return OTHER
    for option in options:
        if report.possible_id == (option.listed.damage_id if option.listed else option.row.pk):
            return option.value
    return OTHER


def hours_words(report: DamageReport) -> str:
    """Whose guess the hours are."""
    told = {"person": report.person, "hours": quantity(report.hours, "h")}
    return _("%(person)s guesses %(hours)s.") % told


@transaction.atomic
def found_as_reported(*, report: DamageReport, who: str, now: Any, **given: Any) -> tuple[PartDamage, list[Step]]:
    """`found`, with the report settled by it, and its photograph where no other came along. Both, or neither."""
    if PartDamage.objects.filter(uid=given["uid"], part=given["part"]).exists():  # the same form, sent twice
        return found(who=who, now=now, **given)
    given["photograph"] = given.get("photograph") or report.photograph
    row, steps = found(who=who, now=now, **given)
    settle_report(report=report, settled_as=_("Damage found: %(name)s") % {"name": row.name}, who=who, now=now)
    return row, steps

"""Rates for years that lie before the first ones noted: the first of each thing, from an earlier day on."""

import uuid
from copy import copy
from datetime import date, datetime
from typing import Any

from django.db import models, transaction

from shop.journal.services import Subject, subject_of
from shop.methods.dated import add_revision, tell
from shop.methods.models import StandardTime
from shop.rates.models import ConsumablePrice, GradeRate, Odds, PricePolicy, ServicePrice, TaxRate
from shop.rates.services import KEYS

#: What is dated, the field it belongs to, and what hangs on a row.
DATED: tuple[tuple[type[models.Model], str, str], ...] = (
    (StandardTime, "operation", ""),
    (GradeRate, "grade", ""),
    (ConsumablePrice, "consumable", ""),
    (ServicePrice, "service", "breaks"),
    (TaxRate, "code", ""),
    (PricePolicy, "", "stages"),
    (Odds, "", ""),
)
WHAT = "rate noted for earlier years"


@transaction.atomic
def reach_back(*, to: date, who: str, now: datetime) -> int:
    """Note what each thing cost first from the day ``to`` on as well, where that is earlier; the number of rows noted."""
    return sum(_first_rows(*each, to=to, who=who, now=now) for each in DATED)


def _first_rows(model: Any, of: str, hanging: str, *, to: date, who: str, now: datetime) -> int:
    first: dict[Any, Any] = {}
    for row in model.objects.order_by("valid_from", "-revision"):
        first.setdefault(getattr(row, of) if of else None, row)
    earlier = [row for row in first.values() if row.valid_from > to]
    for row in earlier:
        new = copy(row)
        new.pk, new.valid_from, new._state = None, to, type(row._state)()
        new.full_clean(exclude={"revision"}, validate_unique=False, validate_constraints=False)
        add_revision(new, of=of)
        for child in getattr(row, hanging).all() if hanging else ():
            child.pk, child._state = None, type(child._state)()
            setattr(child, "policy" if hanging == "stages" else "price", new)
            child.save(force_insert=True)
        tell(new, what=WHAT, subject=_subject(new, of), before=None, who=who, now=now)
    return len(earlier)


def _subject(row: Any, of: str) -> Subject:
    thing = getattr(row, of) if of else None
    if isinstance(thing, models.Model):
        return subject_of(thing)
    return Subject(row._meta.label_lower, uuid.uuid5(KEYS, f"{row._meta.model_name} {thing or ''}".strip()), str(row))

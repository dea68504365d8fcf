"""Writes that touch facts and price at once."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction

from quotes.desk import uploads
from quotes.desk.models import Upload
from quotes.pricing.services import open_draft
from shop.journal.services import record, subject_of
from shop.methods.models import Template
from shop.restorations.models import Customer, Machine, Part, Restoration
from shop.restorations.services import add_customer, add_machine, begin
from shop.routes.copying import copy_parts
from shop.routes.parts import add_routed_parts, lay_out_template


@transaction.atomic
def begin_restoration(
    *,
    customer: Customer | Mapping[str, str],
    machine: Machine | Mapping[str, Any],
    title: str = "",
    begun_on: date,
    template: Template | None = None,
    earlier: Restoration | None = None,
    rows: Sequence[Mapping[str, Any]] = (),
    upload: Upload | None = None,
    today: date,
    who: str,
    now: datetime,
) -> Restoration:
    """Begin a restoration with its parts and its draft: all of it, or nothing.

    A customer or machine that is not on record yet comes as the fields of `add_customer` or `add_machine`. Parts come
    from ``template``, from an ``earlier`` bike, or as ``rows`` of `add_routed_parts`, read from ``upload`` where they
    came as a file. Raises `NoRouteError` when a finish has no route, `TakenError` when the file was taken in before.
    """
    owner = customer if isinstance(customer, Customer) else add_customer(**customer, who=who, now=now)
    bike = machine if isinstance(machine, Machine) else add_machine(**machine, who=who, now=now)
    restoration = begin(customer=owner, machine=bike, title=title or _short(bike), begun_on=begun_on, who=who, now=now)
    if template is not None:
        lay_out_template(restoration=restoration, template=template, who=who, now=now)
    elif earlier is not None:
        copy_parts(restoration=restoration, earlier=earlier, who=who, now=now)
    elif upload is not None:
        _take_in(restoration, upload, rows, who=who, now=now)
    elif rows:
        add_routed_parts(restoration=restoration, rows=rows, who=who, now=now)
    open_draft(restoration=restoration, today=today, who=who, now=now)
    return restoration


@transaction.atomic
def take_in_parts(
    *, restoration: Restoration, upload: Upload, rows: Sequence[Mapping[str, Any]], who: str, now: datetime
) -> list[Part]:
    """Add the parts of a file to a restoration: all of them, once. Raises `TakenError` the second time.

    ``rows`` are what `importing.read` found in it.
    """
    return _take_in(restoration, upload, rows, who=who, now=now)


def _take_in(
    restoration: Restoration, upload: Upload, rows: Sequence[Mapping[str, Any]], *, who: str, now: datetime
) -> list[Part]:
    uploads.take(upload=upload, subject_uid=restoration.uid, now=now)
    parts = add_routed_parts(restoration=restoration, rows=rows, who=who, now=now)
    after = {"file": upload.name, "parts": len(parts)}
    record(who=who, at=now, what="parts taken in from a file", subject=subject_of(restoration), after=after)
    return parts


def _short(machine: Machine) -> str:
    """Maker, model and year; together they may be longer than a title."""
    return str(machine)[: Restoration._meta.get_field("title").max_length]

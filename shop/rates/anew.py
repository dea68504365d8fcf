"""A price of the rate book noted anew: what somebody said of it now, with the rest of it as it was."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from quotes.engine import inputs
from shop.methods.dated import latest_first
from shop.rates.engine_values import money
from shop.rates.models import ConsumablePrice, ServicePrice
from shop.rates.services import note_consumable_price, note_service_price


@dataclass(frozen=True, slots=True)
class Said:
    """How sure a price is, who said so, and until when it holds."""

    status: str
    by: str = ""
    valid_until: date | None = None


@transaction.atomic
def note_consumable_anew(
    *,
    price: ConsumablePrice,
    said: Said,
    pack_size: Decimal | None = None,
    pack_price: Decimal | None = None,
    today: date,
    who: str,
    now: datetime,
) -> ConsumablePrice:
    """A new revision from ``today`` on; what is not given stays as in ``price``, which must still be the one in force."""
    _refuse_overtaken(price, ConsumablePrice.objects.filter(consumable=price.consumable_id), today)
    return note_consumable_price(
        consumable=price.consumable,
        valid_from=today,
        pack_size=price.pack_size if pack_size is None else pack_size,
        pack_price=money(price.pack_price_minor) if pack_price is None else pack_price,
        status=said.status,
        said_by=said.by,
        valid_until=said.valid_until,
        who=who,
        now=now,
    )


@transaction.atomic
def note_service_anew(
    *,
    price: ServicePrice,
    said: Said,
    rates: Sequence[Decimal] | None = None,
    lot_charge: Decimal | None = None,
    minimum: Decimal | None = None,
    trip: Decimal | None = None,
    today: date,
    who: str,
    now: datetime,
) -> ServicePrice:
    """The same of a vendor's service; ``rates`` are those of its breaks in rising order of quantity."""
    _refuse_overtaken(price, ServicePrice.objects.filter(service=price.service_id), today)
    breaks = sorted(price.breaks.all(), key=lambda row: row.quantity)
    given = [Decimal(row.rate_e4).scaleb(-4) for row in breaks] if rates is None else rates
    return note_service_price(
        service=price.service,
        valid_from=today,
        breaks=[inputs.Break(row.quantity, rate) for row, rate in zip(breaks, given, strict=True)],
        handling_grade=price.handling_grade,
        lot_charge=money(price.lot_minor) if lot_charge is None else lot_charge,
        minimum=money(price.minimum_minor) if minimum is None else minimum,
        trip=money(price.trip_minor) if trip is None else trip,
        trip_share=price.trip_share,
        handling=price.handling,
        status=said.status,
        said_by=said.by,
        valid_until=said.valid_until,
        who=who,
        now=now,
    )


def _refuse_overtaken(price: ConsumablePrice | ServicePrice, rows: QuerySet[Any], today: date) -> None:
    if latest_first(rows, on=today).first() != price:
        raise ValidationError(
            _("Another price was noted meanwhile. Price with today's rates, then look again."), code="overtaken"
        )

"""The rows of the list of prices to confirm, and writing down several that stand as they are."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.forms import BaseForm
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from quotes.desk.forms_buying import PurchasePriceForm, searched
from quotes.desk.forms_prices import ConsumablePriceForm, ServicePriceForm
from quotes.engine.money import from_minor, places
from quotes.pricing.confirming import Kind, Unsure, Why
from shop import currency, text
from shop.rates.anew import Said, note_consumable_anew, note_service_anew
from shop.rates.engine_values import money
from shop.rates.models import ConsumablePrice, ServicePrice
from shop.routes.models import Source, Step
from shop.routes.services import change_step

#: Rows with a form each on one page.
ON_A_PAGE = 30


@dataclass(frozen=True, slots=True)
class Row:
    """A price in the list: ``value`` names it with what was seen of it; ``form`` notes a better one, if this person may."""

    price: Unsure
    value: str
    tags: tuple[tuple[str, str], ...]
    amount: str
    said: str
    more: tuple[str, ...]
    form: BaseForm | None
    just: bool


def value_of(item: Unsure) -> str:
    """A price as it was seen: another amount, or another row of the rate book, is another value."""
    seen = item.row.buy_price_minor if isinstance(item.row, Step) else item.row.pk
    return f"{item.kind}:{item.key}:{seen}"


def rows(
    items: Iterable[Unsure],
    *,
    manager: bool,
    today: date,
    wrong: Mapping[str, BaseForm] | None = None,
    just: Collection[str] = (),
) -> list[Row]:
    """``wrong`` are forms that somebody filled in wrongly, by the key of their price; ``just`` are keys confirmed a moment ago."""
    return [_row(item, manager, today, wrong or {}, just) for item in items]


def _row(item: Unsure, manager: bool, today: date, wrong: Mapping[str, BaseForm], just: Collection[str]) -> Row:
    return Row(
        price=item,
        value=value_of(item),
        tags=tuple(tag(why) for why in item.why),
        amount=amount(item.row),
        said=said(item.row),
        more=tuple(more(item.row, today)),
        form=wrong.get(item.key) or (form_of(item) if may_note(item, manager=manager) else None),
        just=item.key in just,
    )


def tag(why: Why) -> tuple[str, str]:
    """Why a price is on the list, in words, and their tone."""
    said = {
        Why.NO_PRICE: (_("no price yet"), "bad"),
        Why.GUESSED: (_("guessed"), "bad"),
        Why.PHONED: (_("told by phone"), "mind"),
        Why.OUT: (_("validity has run out"), "bad"),
        Why.ENDS: (_("runs out before the quote would"), "mind"),
    }
    return said[why]


def may_note(item: Unsure, *, manager: bool) -> bool:
    """The rate book is the manager's, and a row of it that a newer one has overtaken is nobody's any more."""
    return item.kind is Kind.PURCHASE or (manager and not item.overtaken)


def form_of(item: Unsure, data: Any = None) -> BaseForm:
    if isinstance(item.row, Step):
        return PurchasePriceForm(data, step=item.row)
    if isinstance(item.row, ServicePrice):
        return ServicePriceForm(data, row=item.row)
    return ConsumablePriceForm(data, row=item.row)


def amount(row: Step | ServicePrice | ConsumablePrice) -> str:
    """What it costs, in words."""
    code = currency.code()
    if isinstance(row, Step):
        price = from_minor(row.buy_price_minor, digits=places(code))
        return _("%(price)s per piece") % {"price": text.money(price, code)}
    if isinstance(row, ConsumablePrice):
        pack = text.quantity(row.pack_size, row.consumable.unit)
        return _("%(price)s for %(pack)s") % {"price": text.money(money(row.pack_price_minor), code), "pack": pack}
    return _service_amount(row, code)


def _service_amount(row: ServicePrice, code: str) -> str:
    measure = row.service.get_measure_display()
    said = [
        _("%(rate)s per %(measure)s") % {"rate": _rate(item.rate_e4, code), "measure": measure}
        if not item.quantity
        else _("from %(start)s: %(rate)s") % {"start": text.quantity(item.quantity), "rate": _rate(item.rate_e4, code)}
        for item in sorted(row.breaks.all(), key=lambda item: item.quantity)
    ]
    for minor, words in ((row.lot_minor, _("%(price)s a lot")), (row.minimum_minor, _("at least %(price)s a lot"))):
        if minor:
            said.append(words % {"price": text.money(money(minor), code)})
    return ", ".join(said)


def _rate(rate_e4: int, code: str) -> str:
    return text.rate(Decimal(rate_e4).scaleb(-4), code)


def said(row: Step | ServicePrice | ConsumablePrice) -> str:
    """Who said it, and when."""
    by, on = (row.buy_said_by, row.buy_said_on) if isinstance(row, Step) else (row.said_by, row.valid_from)
    if not by and not isinstance(row, Step) and row.noted_by:
        by = _("noted by %(who)s") % {"who": row.noted_by}
    day = date_format(on, "DATE_FORMAT") if on else ""
    return ", ".join(word for word in (by, day) if word) or _("nobody named")


def more(row: Step | ServicePrice | ConsumablePrice, today: date) -> Iterable[str]:
    """How long it is searched for, and what comes back for the old part."""
    if not isinstance(row, Step):
        return
    if row.buy_source:
        yield str(Source(row.buy_source).label)
    if row.buy_searching_since:
        yield _("searched for: %(weeks)s") % {"weeks": searched(row.buy_searching_since, today)}
    if row.buy_core_minor:
        code = currency.code()
        back = text.money(from_minor(row.buy_core_minor, digits=places(code)), code)
        yield _("%(money)s per piece back for the old part, not taken off the price") % {"money": back}


@transaction.atomic
def confirm(items: Sequence[Unsure], *, said: Said, said_on: date, today: date, who: str, now: datetime) -> None:
    """Write down that ``items`` stand as they are: all of them or none."""
    for item in items:
        row = item.row
        if isinstance(row, Step):
            changes = {
                "buy_status": said.status,
                "buy_said_by": said.by,
                "buy_said_on": said_on,
                "buy_valid_until": said.valid_until,
            }
            seen = {"buy_price_minor": row.buy_price_minor}
            change_step(step=row, changes=changes, seen=seen, who=who, now=now)
        elif isinstance(row, ServicePrice):
            note_service_anew(price=row, said=said, today=today, who=who, now=now)
        else:
            note_consumable_anew(price=row, said=said, today=today, who=who, now=now)

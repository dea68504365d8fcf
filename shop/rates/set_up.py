"""The five questions of a shop that begins empty: country, currency, tax, hours, people; beside them its name, and how it sells labour."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shop.currency import forget
from shop.journal.services import record, subject_of
from shop.people.models import Shop
from shop.people.services import describe_shop, say_currency
from shop.people.times import Span, set_working_times
from shop.rates.loading import anything_there, load_starter
from shop.rates.models import PricePolicy


def is_set_up() -> bool:
    """Whether the shop can price: it answered the questions, or has rates of its own."""
    return PricePolicy.objects.exists()


def set_up(
    *,
    name: str,
    country: str,
    currency: str,
    tax: Decimal,
    hours: Sequence[Span],
    hands: int,
    price_by: str = PricePolicy.PriceBy.MARGIN,
    today: date,
    who: str,
    now: datetime,
) -> Shop:
    """Answer them all at once, and take in the first set of methods with guessed rates: all of it, or nothing.

    ``tax`` [%] is the rate on the shop's own work, ``price_by`` how labour is sold. Raises ``ValidationError`` at the
    wrong field, and when it is done already.
    """
    if anything_there() or is_set_up():
        raise ValidationError(_("This workshop is set up already. Change what it costs in the rate book."))
    if tax < 0 or tax >= 100:
        raise ValidationError({"tax": _("Give the tax in per cent, from 0 to less than 100.")})
    if price_by not in PricePolicy.PriceBy.values:
        raise ValidationError({"price_by": _("Choose one of the two.")})
    with _currency_only_if_kept(), transaction.atomic():
        say_currency(code=currency, who=who, now=now)
        described = describe_shop(name=name, who=who, now=now, **_addresses())
        productive = described.productive
        set_working_times(
            country=country, subdivision="", hands=hands, productive=productive, hours=hours, who=who, now=now
        )
        load_starter(guessed=True, tax=tax, price_by=price_by, today=today, who=who, now=now)
        shop = Shop.objects.get()
        shop.set_up_at = now
        shop.save(update_fields=["set_up_at"])
        told = {"country": shop.country, "currency": shop.currency, "tax": tax, "people on bikes": hands}
        record(who=who, at=now, what="workshop set up", subject=subject_of(shop), after=told)
        return shop


@contextmanager
def _currency_only_if_kept() -> Iterator[None]:
    """A currency that was not kept was not said."""
    try:
        yield
    except BaseException:
        forget()
        raise


def _addresses() -> dict[str, str]:
    """What stands at the head of quotes already, kept as it is."""
    shop = Shop.objects.first()
    return {field: getattr(shop, field) for field in ("address", "email", "phone", "tax_number")} if shop else {}

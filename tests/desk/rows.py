"""Restorations and issued quotes as rows, in any number, without pricing anything."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any, get_type_hints

from django.utils import timezone

from quotes.engine import canonical
from quotes.pricing.models import Draft, IssuedQuote, Outcome
from quotes.pricing.offer import Offer
from shop.restorations.models import Customer, Machine, Part, Restoration

AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def today() -> date:
    return timezone.localdate()


def day(offset: int) -> date:
    return today() + timedelta(days=offset)


def restoration(title: str = "Heron 250", *, parts: int = 1, drafted: bool = True, **more: Any) -> Restoration:
    """``more``: customer, maker, model, frame_number."""
    customer = Customer.objects.create(name=more.pop("customer", "Jo Fenwick"))
    machine = Machine.objects.create(**{"maker": "Heron", "model": "250"} | more)
    row = Restoration.objects.create(customer=customer, machine=machine, title=title, begun_on=date(2026, 1, 5))
    Part.objects.bulk_create(Part(restoration=row, position=n, name=f"Part {n}") for n in range(parts))
    if drafted:
        Draft.objects.create(restoration=row, priced_on=date(2026, 1, 5))
    return row


def _nothing(kind: type) -> object:
    """The emptiest value of a field of an offer."""
    return {str: "", int: 0, Decimal: Decimal(0), Decimal | None: None}.get(kind, ())


NOTHING_OFFERED = Offer(**{name: _nothing(kind) for name, kind in get_type_hints(Offer).items()})


def quote(
    of: Restoration,
    *,
    until: date,
    net: int = 10_000,
    outcome: str = "",
    reason: str = "",
    stage: str = "main",
    answered: int = 0,
) -> IssuedQuote:
    """A quote of ``net`` minor units with a fifth of tax; ``reason``: why below the floor; ``answered`` so many days from today."""
    number = IssuedQuote.objects.count() + 1
    texts = dict.fromkeys(("variants", "snapshot", "result", "offer"), "{}")
    texts["offer"] = canonical.dump(NOTHING_OFFERED).decode()
    hashes = dict.fromkeys(("snapshot_sha256", "result_sha256", "offer_sha256", "journal_hash"), "0" * 64)
    row = IssuedQuote.objects.create(
        number=number,
        restoration=of,
        version=of.quotes.count() + 1,
        stage=stage,
        varies=of.quotes.first() if stage == "variation" else None,
        scope_version=of.scope_version,
        issued_at=AT,
        issued_by="ada",
        valid_until=until,
        currency="EUR",
        price_minor=net,
        discount_minor=0,
        net_minor=net,
        tax_minor=net // 5,
        total_minor=net + net // 5,
        below_floor_reason=reason,
        journal_position=0,
        **texts,
        **hashes,
    )
    if outcome:
        said = {"said_on": day(answered), "at": timezone.now() + timedelta(days=answered)}
        Outcome.objects.create(quote=row, kind=outcome, who="Jo", how="phone", recorded_by="ada", **said)
    return row

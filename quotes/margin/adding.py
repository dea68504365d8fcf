"""Sums of cost entries by whatever they are asked by."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet, Sum

from quotes.engine.money import from_minor, places
from quotes.margin.models import AMOUNTS, CostEntry
from shop import currency


def sums(rows: QuerySet[CostEntry], *keys: str) -> list[dict[str, Any]]:
    """Seconds and every cost class [minor units] of ``rows``, by ``keys``. One query."""
    return list(rows.order_by().values(*keys).annotate(**{name: Sum(name) for name in ("seconds", *AMOUNTS)}))


def cost(row: Mapping[str, Any]) -> Decimal:
    """All cost classes of such a row together [money]."""
    return from_minor(sum(row[name] for name in AMOUNTS), digits=places(currency.code()))

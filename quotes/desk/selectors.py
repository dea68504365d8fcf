"""Reads that pages of the desk share."""

from quotes.desk.cells import Known
from shop.methods.models import Finish, SizeClass
from shop.routes.laying import all_routes


def known() -> Known:
    """What a parts list may name in this shop, in three queries."""
    return Known(list(Finish.objects.order_by("name")), list(SizeClass.objects.order_by("name")), all_routes())

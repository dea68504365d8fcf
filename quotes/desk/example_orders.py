"""Buying in the example workshop: suppliers, an order on its way, one that is late, one that is here. Invented."""

from datetime import datetime, timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils import timezone

from shop.methods.models import Consumable
from shop.routes.models import Step
from shop.vendor_jobs import buying
from shop.vendor_jobs.models import Order, Supplier

DESK = "desk"
#: Name, telephone, days ago on which it was ordered, days from then in which it was to come; whether it is here.
ORDERS = (
    ("Sedge Lane Spares", "01632 960411", 6, 14, False),
    ("Quill & Tarn Bearings", "01632 960427", 24, 12, False),
    ("Sedge Lane Spares", "01632 960411", 30, 9, True),
)


def live(*, now: datetime) -> None:
    """Order what may be ordered, a few things each time; what waits for money stays to be ordered."""
    wanted = [one.step for one in buying.to_order()]
    for name, phone, ago, takes, here in ORDERS:
        supplier = Supplier.objects.filter(name=name).first()
        if supplier is None:
            supplier = buying.add_supplier(name=name, phone=phone, who=DESK, now=now)
        order = _ordered(supplier, wanted, now=now - timedelta(days=ago), takes=takes)
        if order is not None and here:
            _arrived(order, now=now)


def _ordered(supplier: Supplier, wanted: list[Step], *, now: datetime, takes: int) -> Order | None:
    """An order for the first thing that nothing holds back; where there is none, of packs for the shelf."""
    day = timezone.localdate(now)
    packs = Consumable.objects.order_by("pk").first()
    while wanted:
        step = wanted.pop(0)
        line = buying.Wanted(step.buy_price_minor, step=step)
        try:
            return buying.place_order(
                supplier=supplier,
                lines=[line],
                ordered_on=day,
                due_on=day + timedelta(days=takes),
                said_by="Mo",
                who=DESK,
                now=now,
            )
        except ValidationError:
            continue  # its money is not in yet, or something comes first
    if packs is None:
        return None
    shelf = buying.Wanted(3_800, consumable=packs, quantity=Decimal(2), pack_size=Decimal(1))
    return buying.place_order(
        supplier=supplier, lines=[shelf], ordered_on=day, due_on=day + timedelta(days=takes), who=DESK, now=now
    )


def _arrived(order: Order, *, now: datetime) -> None:
    came = [buying.Came(line, "here", charged_minor=line.price_minor) for line in order.lines.all()]
    buying.receive_order(order=order, came=came, on=timezone.localdate(now), looked_by="Noor", who=DESK, now=now)

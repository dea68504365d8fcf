"""What is bought for bikes and for the shelf: suppliers, orders, what came, old parts that go back."""

import uuid
from decimal import Decimal

from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models import Consumable
from shop.methods.models.kinds import Named
from shop.rates.models import Status
from shop.restorations.models import between
from shop.routes.models import PRICE, Step


class Supplier(Named):
    """Somebody who sells: suppliers sell, vendors work."""

    address = models.TextField(_("address"), blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)


class Order(models.Model):
    """What was ordered together at one supplier on one day. ``due_on`` is the day we were told last."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    number = models.PositiveIntegerField(_("number"), unique=True, editable=False)
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="orders", verbose_name=_("supplier"))
    ordered_on = models.DateField(_("ordered on"))
    reference = models.CharField(_("their number"), max_length=60, blank=True)
    due_on = models.DateField(_("comes on"), null=True, blank=True)
    said_by = models.CharField(_("who said so"), max_length=120, blank=True)
    closed_on = models.DateField(null=True, editable=False)
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["number"]
        indexes = [models.Index(fields=["due_on"], condition=Q(closed_on__isnull=True), name="order_open")]
        constraints = [
            CheckConstraint(
                condition=Q(closed_on__isnull=True) | Q(closed_on__gte=F("ordered_on")),
                name="order_closed_after_it_was_made",
            )
        ]

    def __str__(self) -> str:
        return f"B{self.number}"


class Ordered(models.Model):
    """A line of an order: what a step buys, or packs of a consumable; and what became of it.

    ``price_minor`` is for one piece or pack, before tax; ``charged_minor`` what the bill says for all of the line.
    """

    class Outcome(models.TextChoices):
        OPEN = "", _("not here yet")
        HERE = "here", _("here")
        WRONG = "wrong", _("wrong, goes back")
        CANCELLED = "cancelled", _("does not come")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    order = models.ForeignKey(Order, models.PROTECT, related_name="lines")
    step = models.ForeignKey(Step, models.PROTECT, null=True, blank=True, related_name="ordered")
    visit = models.PositiveSmallIntegerField(default=1)
    consumable = models.ForeignKey(Consumable, models.PROTECT, null=True, blank=True, related_name="ordered")
    quantity = models.DecimalField(
        _("pieces or packs"), max_digits=9, decimal_places=3, validators=between(Decimal("0.001"), Decimal(1_000_000))
    )
    pack_size = models.DecimalField(max_digits=10, decimal_places=3, null=True, blank=True)
    price_minor = models.BigIntegerField(_("price each, before tax"), validators=PRICE)
    status = models.CharField(_("price is"), max_length=8, choices=Status, default=Status.SEEN)
    outcome = models.CharField(max_length=9, choices=Outcome, default=Outcome.OPEN, blank=True)
    came_on = models.DateField(_("came on"), null=True, blank=True)
    looked_by = models.CharField(_("looked at by"), max_length=120, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    charged_minor = models.BigIntegerField(_("charged, before tax"), null=True, blank=True, validators=PRICE)
    settled_at = models.DateTimeField(null=True, editable=False)
    settled_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["order", "pk"]
        constraints = [
            UniqueConstraint(fields=["step"], condition=Q(outcome=""), name="ordered_once_at_a_time"),
            CheckConstraint(
                condition=Q(step__isnull=False, consumable__isnull=True)
                | Q(step__isnull=True, consumable__isnull=False, pack_size__gt=0),
                name="ordered_is_one_thing",
            ),
            CheckConstraint(condition=Q(quantity__gt=0, price_minor__gte=0), name="ordered_in_range"),
            CheckConstraint(
                condition=Q(outcome="", settled_at__isnull=True, settled_by="", came_on__isnull=True)
                | (~Q(outcome="") & Q(settled_at__isnull=False) & ~Q(settled_by="")),
                name="ordered_settled_says_who",
            ),
            CheckConstraint(
                condition=Q(outcome__in=["", "cancelled"]) | (Q(came_on__isnull=False) & ~Q(looked_by="")),
                name="ordered_here_was_looked_at",
                violation_error_message=_("Say who looked at it, and when it came."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order}: {self.step or self.consumable}"


class CoreReturn(models.Model):
    """The old part went back to whoever sold the exchange part, and what was given for it once that is known."""

    step = models.OneToOneField(Step, models.PROTECT, primary_key=True, related_name="core_return")
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sent_on = models.DateField(_("went back on"))
    credited_minor = models.BigIntegerField(_("given for it"), null=True, blank=True, validators=PRICE)
    credited_on = models.DateField(null=True, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        constraints = [
            CheckConstraint(
                condition=Q(credited_minor__isnull=True, credited_on__isnull=True)
                | Q(credited_minor__gte=0, credited_on__gte=F("sent_on")),
                name="core_credited_after_it_went",
            )
        ]

    def __str__(self) -> str:
        return f"{self.step}: {self.sent_on}"

"""Money in: what is to be paid and when, and what was received."""

import uuid

from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from quotes.pricing.models.quotes import IssuedQuote
from shop.rates.models import PaymentStage
from shop.restorations.models import Restoration


class Instalment(models.Model):
    """A payment an accepted quote asks for [with tax]: due ``days`` after its event, on ``due_on`` once that is reached."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    quote = models.ForeignKey(IssuedQuote, models.PROTECT, related_name="instalments")
    position = models.PositiveIntegerField()
    name = models.CharField(_("name"), max_length=60)
    due = models.CharField(_("due"), max_length=100)
    event = models.CharField(_("due when"), max_length=12, choices=PaymentStage.Event)
    days = models.PositiveIntegerField(_("and so many days after"), default=0)
    amount_minor = models.BigIntegerField()
    reached_on = models.DateField(_("reached on"), null=True, blank=True)
    due_on = models.DateField(_("due on"), null=True, blank=True)

    class Meta:
        ordering = ["quote", "position"]
        constraints = [
            UniqueConstraint(fields=["quote", "position"], name="one_instalment_per_position"),
            CheckConstraint(
                condition=Q(reached_on__isnull=True, due_on__isnull=True)
                | Q(reached_on__isnull=False, due_on__isnull=False, due_on__gte=F("reached_on")),
                name="instalment_is_due_once_reached",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quote}: {self.name}"


class Receipt(models.Model):
    """Money that came in for a restoration, or went back (below zero). Never changed: a slip is reversed by another row."""

    class How(models.TextChoices):
        TRANSFER = "transfer", _("bank transfer")
        CARD = "card", _("card")
        CASH = "cash", _("cash")
        OTHER = "other", _("another way")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    number = models.PositiveIntegerField(_("number"), unique=True)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="receipts")
    amount_minor = models.BigIntegerField(_("amount, tax included"))
    currency = models.CharField(max_length=3)
    received_on = models.DateField(_("received on"))
    how = models.CharField(_("how"), max_length=8, choices=How, default=How.TRANSFER)
    reference = models.CharField(_("reference"), max_length=120, blank=True)
    reverses = models.OneToOneField("self", models.PROTECT, null=True, related_name="reversed_by")
    reason = models.CharField(_("reason"), max_length=200, blank=True)
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["restoration", "received_on", "number"]
        constraints = [
            CheckConstraint(
                condition=~Q(amount_minor=0),
                name="receipt_is_not_nothing",
                violation_error_message=_("Nothing was received. Give an amount."),
            ),
            CheckConstraint(
                condition=Q(amount_minor__gt=0) | ~Q(reason=""),
                name="money_back_says_why",
                violation_error_message=_("Money went back. Say why."),
            ),
        ]

    def __str__(self) -> str:
        return f"R{self.number:05d}"

"""Material as it was mixed and counted. What operations use by the book is worked out from the steps that are done."""

import uuid
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models import Consumable
from shop.restorations.models import between
from shop.routes.models import Task

AMOUNT = between(Decimal(0), Decimal(100_000))


class Mix(models.Model):
    """A mix of paint or the like, made for a task: how much, and what of it was left over and thrown away."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    consumable = models.ForeignKey(Consumable, models.PROTECT, related_name="mixes", verbose_name=_("material"))
    task = models.ForeignKey(Task, models.PROTECT, related_name="mixes")
    amount = models.DecimalField(_("mixed"), max_digits=10, decimal_places=3, validators=AMOUNT)
    left_over = models.DecimalField(
        _("left over"), max_digits=10, decimal_places=3, default=Decimal(0), validators=AMOUNT
    )
    note = models.CharField(_("batch numbers, shade"), max_length=200, blank=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    taken_back_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            CheckConstraint(
                condition=Q(amount__gt=0, left_over__gte=0) & Q(left_over__lte=F("amount")),
                name="mix_leaves_no_more_than_was_mixed",
                violation_error_message=_("More is left over than was mixed. Check both amounts."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.consumable}: {self.amount}"


class Count(models.Model):
    """What of a consumable is on the shelf on a day, and what came in since the count before."""

    consumable = models.ForeignKey(Consumable, models.PROTECT, related_name="counts", verbose_name=_("material"))
    day = models.DateField(_("counted on"))
    counted = models.DecimalField(_("counted"), max_digits=12, decimal_places=3, validators=AMOUNT)
    came_in = models.DecimalField(
        _("came in since the last count"), max_digits=12, decimal_places=3, default=Decimal(0), validators=AMOUNT
    )
    who = models.CharField(max_length=150)
    at = models.DateTimeField()

    class Meta:
        ordering = ["consumable", "day"]
        constraints = [
            UniqueConstraint(
                fields=["consumable", "day"],
                name="counted_once_a_day",
                violation_error_message=_("It is counted for this day already. Choose another day."),
            ),
            CheckConstraint(condition=Q(counted__gte=0, came_in__gte=0), name="counted_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.consumable}, {self.day}"

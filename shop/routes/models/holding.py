"""What holds work back, who lets it go all the same, and what is out of the house."""

from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.restorations.models import Restoration
from shop.routes.models.steps import Step


class Override(models.Model):
    """Somebody lets a step begin that something would hold back, and puts a name to it. Never changed."""

    class Kind(models.TextChoices):
        FINISH = "finish", _("finish evidence")
        NUMBERS = "numbers", _("numbers that do not match")
        FUNDING = "funding", _("money not received yet")
        TRIAL = "trial", _("not fitted together before coating")

    kind = models.CharField(_("what held it back"), max_length=8, choices=Kind, default=Kind.FINISH)
    step = models.ForeignKey(Step, models.PROTECT, related_name="overrides")
    who = models.CharField(_("who decided"), max_length=120)
    reason = models.CharField(_("reason"), max_length=200)
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["step", "at", "pk"]

    def __str__(self) -> str:
        return f"{self.step}: {self.who}"


class Hold(models.Model):
    """Days, both included, on which nothing is done on a restoration, and why. Without a last day it lasts until taken back."""

    class Kind(models.TextChoices):
        UNPAID = "unpaid", _("a payment is missing")
        DECIDING = "deciding", _("the customer is deciding")
        PART = "part", _("waiting for a part")
        OURS = "ours", _("our own reason")

    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="holds")
    first = models.DateField(_("first day"))
    last = models.DateField(_("last day"), null=True, blank=True)
    kind = models.CharField(_("why"), max_length=8, choices=Kind, default=Kind.OURS)
    reason = models.CharField(_("reason"), max_length=200)
    removed_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["restoration", "first"]
        constraints = [
            CheckConstraint(
                condition=Q(last__isnull=True) | Q(last__gte=F("first")),
                name="hold_in_order",
                violation_error_message=_("The last day is before the first. Swap them."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.first} - {self.last or '…'}: {self.reason}"


class Funding(models.Model):
    """What a restoration's customer has paid, and what of it is late [minor units with tax]; pricing writes it here.

    Vendor work and purchases wait for it, see ``routes.funding``.
    """

    restoration = models.OneToOneField(Restoration, models.PROTECT, primary_key=True, related_name="funding")
    received_minor = models.BigIntegerField(default=0)
    late_minor = models.BigIntegerField(default=0)
    at = models.DateTimeField()

    class Meta:
        constraints = [CheckConstraint(condition=Q(late_minor__gte=0), name="funding_late_not_negative")]

    def __str__(self) -> str:
        return f"{self.restoration}: {self.received_minor}"


class Away(models.Model):
    """A step is with others on one visit: its pieces are at a vendor, or what it buys is on order.

    Written by the room that sends out and orders, as ``Funding`` is by the one that keeps the money. ``due_on`` is the day
    we were told last, empty where nobody said one; ``lost`` says that its pieces will not come back by themselves.
    """

    step = models.ForeignKey(Step, models.PROTECT, related_name="aways")
    visit = models.PositiveSmallIntegerField(default=1)
    where = models.CharField(_("with whom"), max_length=120)
    since = models.DateField(_("since"))
    due_on = models.DateField(_("due back"), null=True, blank=True)
    lost = models.BooleanField(_("lost there"), default=False)
    ended_on = models.DateField(_("here again since"), null=True, blank=True)
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ["since", "pk"]
        verbose_name_plural = "away"
        indexes = [models.Index(fields=["changed_at"], name="away_changed")]
        constraints = [
            UniqueConstraint(fields=["step"], condition=Q(ended_on__isnull=True), name="away_once_at_a_time"),
            CheckConstraint(condition=Q(ended_on__isnull=True) | Q(ended_on__gte=F("since")), name="away_in_order"),
            CheckConstraint(condition=~Q(where=""), name="away_says_where"),
        ]

    def __str__(self) -> str:
        return f"{self.step}: {self.where}"

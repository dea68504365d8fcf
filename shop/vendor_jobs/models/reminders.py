"""What the service tells people before it hurts: rules, reminders, when to keep quiet, addresses of feeds."""

import uuid
from datetime import time

from django.conf import settings
from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models import Vendor
from shop.people.roles import ROLE_DESK, ROLE_LABELS, ROLES
from shop.restorations.models import Restoration
from shop.routes.models import Step
from shop.vendor_jobs.models.buying import Order
from shop.vendor_jobs.models.jobs import Job


class Kind(models.TextChoices):
    MAY_LEAVE = "may_leave", _("may leave")
    MUST_LEAVE = "must_leave", _("must leave soon")
    DUE_SOON = "due_soon", _("due soon")
    DUE_TODAY = "due_today", _("due today")
    OVERDUE = "overdue", _("overdue")
    CLOSED_DAY = "closed_day", _("promised for a day on which they are shut")
    CHARGE = "charge", _("charge not entered")
    CORE = "core", _("old part goes back")
    CUSTOMERS_PART = "customers_part", _("the customer's part is late")
    ORDER_LATE = "order_late", _("an order is late")


class Rule(models.Model):
    """When the service reminds of something, in the whole shop or, going before that, with one vendor.

    ``days`` counts working days of the shop before the day it is about, or after it for what is late; ``climbs_after``
    how many more until the manager is told too, empty for never.
    """

    kind = models.CharField(_("of what"), max_length=14, choices=Kind)
    vendor = models.ForeignKey(
        Vendor, models.PROTECT, null=True, blank=True, related_name="rules", verbose_name=_("vendor")
    )
    on = models.BooleanField(_("reminds"), default=True)
    days = models.PositiveSmallIntegerField(_("days before or after"), default=0)
    climbs_after = models.PositiveSmallIntegerField(
        _("the manager is told after so many more days"), null=True, blank=True
    )

    class Meta:
        ordering = ["kind", "vendor"]
        constraints = [
            UniqueConstraint(fields=["kind"], condition=Q(vendor__isnull=True), name="one_rule_per_kind"),
            UniqueConstraint(
                fields=["kind", "vendor"], condition=Q(vendor__isnull=False), name="one_rule_per_kind_and_vendor"
            ),
            CheckConstraint(condition=Q(kind__in=Kind.values), name="rule_kind_is_known"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}{f' ({self.vendor})' if self.vendor else ''}"


class Quiet(models.Model):
    """When nobody is told: weekdays as digits, 1 being Monday, and before the hour of the morning digest."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    days = models.CharField(_("quiet on"), max_length=7, default="67", blank=True)
    morning = models.TimeField(_("the digest goes out at"), default=time(7, 30))
    evening = models.TimeField(_("quiet from"), default=time(18, 0))
    digest = models.BooleanField(_("a digest by e-mail in the morning"), default=True)
    only = models.BooleanField(default=True, unique=True, editable=False)

    class Meta:
        verbose_name_plural = "quiet"
        constraints = [CheckConstraint(condition=Q(only=True), name="quiet_is_one")]

    def __str__(self) -> str:
        return self.days


class Reminder(models.Model):
    """A reminder is a row before it is a message. ``key`` is made from the event itself, so that found twice it is one row.

    ``about_on`` is the day it is about. It is open until somebody, or what happened, settles it; snoozed until a day it is
    out of sight till then.
    """

    class Settled(models.TextChoices):
        OPEN = "", _("open")
        DONE = "done", _("done")
        TOLD = "told", _("told a new day")
        ITSELF = "itself", _("by what happened")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    key = models.CharField(max_length=200, unique=True)
    kind = models.CharField(max_length=14, choices=Kind)
    level = models.PositiveSmallIntegerField(default=0)
    role = models.CharField(max_length=10, choices=[(role, ROLE_LABELS[role]) for role in ROLES], default=ROLE_DESK)
    vendor = models.ForeignKey(Vendor, models.PROTECT, null=True, related_name="reminders")
    job = models.ForeignKey(Job, models.PROTECT, null=True, related_name="reminders")
    order = models.ForeignKey(Order, models.PROTECT, null=True, related_name="reminders")
    step = models.ForeignKey(Step, models.PROTECT, null=True, related_name="reminders")
    restoration = models.ForeignKey(Restoration, models.PROTECT, null=True, related_name="reminders")
    about_on = models.DateField()
    raised_at = models.DateTimeField()
    snoozed_until = models.DateField(null=True)
    settled = models.CharField(max_length=6, choices=Settled, default=Settled.OPEN, blank=True)
    settled_at = models.DateTimeField(null=True)
    settled_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["about_on", "pk"]
        indexes = [models.Index(fields=["role", "about_on"], condition=Q(settled=""), name="reminder_open")]
        constraints = [
            CheckConstraint(condition=~Q(key=""), name="reminder_has_a_key"),
            CheckConstraint(condition=Q(kind__in=Kind.values), name="reminder_kind_is_known"),
            CheckConstraint(
                condition=Q(job__isnull=False) | Q(step__isnull=False) | Q(order__isnull=False),
                name="reminder_is_about_something",
            ),
            CheckConstraint(
                condition=Q(settled="", settled_at__isnull=True, settled_by="")
                | (~Q(settled="") & Q(settled_at__isnull=False) & ~Q(settled_by="")),
                name="reminder_settled_says_who",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.key}"


class Feed(models.Model):
    """A secret address under which a calendar program reads what is due. Only the hash of the secret is kept."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="feeds")
    secret_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            UniqueConstraint(fields=["person"], condition=Q(ended_at__isnull=True), name="one_feed_per_person")
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.made_at:%Y-%m-%d}"

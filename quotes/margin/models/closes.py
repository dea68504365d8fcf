"""Weeks that were closed: what was taken into them, what each job looked like then, what was said about it."""

import uuid

from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.papers.models import Document
from shop.restorations.models import Restoration


class Close(models.Model):
    """The books of one week, Monday to Sunday. Never changed."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    week = models.DateField(_("week from"), unique=True)
    closed_at = models.DateTimeField()
    closed_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["-week"]

    def __str__(self) -> str:
        return f"{self.week:%G-W%V}"


class Ledger(models.Model):
    """What stood on an account after a close [minor units], plus for a debit: all accounts of a close are nought together."""

    close = models.ForeignKey(Close, models.PROTECT, related_name="ledger")
    position = models.PositiveSmallIntegerField()
    account = models.CharField(max_length=40)
    amount_minor = models.BigIntegerField()

    class Meta:
        ordering = ["close", "position"]
        constraints = [UniqueConstraint(fields=["close", "account"], name="one_balance_per_account_and_close")]

    def __str__(self) -> str:
        return f"{self.close}: {self.account}"


class Reviewed(models.Model):
    """What one job looked like when its week was closed; the figures of the review page as canonical text.

    ``left_minor`` is the money it would still leave, ``ready`` and ``promised`` the days as they stood.
    """

    close = models.ForeignKey(Close, models.PROTECT, related_name="jobs")
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="reviewed")
    left_minor = models.BigIntegerField()
    ready = models.DateField(null=True)
    promised = models.DateField(null=True)
    figures = models.TextField()

    class Meta:
        ordering = ["close", "pk"]
        constraints = [UniqueConstraint(fields=["close", "restoration"], name="job_reviewed_once_a_week")]

    def __str__(self) -> str:
        return f"{self.close}: {self.restoration}"


class Pack(models.Model):
    """The PDF of a closed week, made once in the background."""

    close = models.OneToOneField(Close, models.PROTECT, primary_key=True, related_name="pack")
    document = models.ForeignKey(Document, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.close} as PDF"


class WeekNote(models.Model):
    """What was said or decided about a week, or one job in it. Kept as it was written."""

    week = models.DateField(_("week from"))
    restoration = models.ForeignKey(Restoration, models.PROTECT, null=True, blank=True, related_name="week_notes")
    words = models.CharField(_("note or decision"), max_length=500)
    decided = models.BooleanField(_("it is a decision"), default=False)
    who = models.CharField(max_length=150)
    at = models.DateTimeField()

    class Meta:
        ordering = ["week", "pk"]
        constraints = [CheckConstraint(condition=~Q(words=""), name="week_note_says_something")]

    def __str__(self) -> str:
        return self.words


class Overhead(models.Model):
    """What the shop spent that is for no one bike: rent, power, insurance. Never changed: one that was wrong is reversed."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    words = models.CharField(_("what for"), max_length=120)
    net_minor = models.BigIntegerField(_("amount before tax"))
    on = models.DateField(_("dated"))
    reverses = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="reversed_by")
    close = models.ForeignKey(Close, models.PROTECT, null=True, blank=True, related_name="overhead")
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["on", "pk"]
        verbose_name_plural = "overhead"
        constraints = [
            CheckConstraint(condition=Q(reverses__isnull=False) | Q(net_minor__gt=0), name="overhead_above_zero"),
        ]

    def __str__(self) -> str:
        return f"{self.words}, {self.on}"

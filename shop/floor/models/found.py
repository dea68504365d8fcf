"""What came out while working: checks, work to do again, damage."""

import uuid
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import CheckConstraint, Q
from django.utils.translation import gettext_lazy as _

from shop.methods.models import Cause, Check, PossibleDamage
from shop.papers.models import Photograph
from shop.restorations.models import Part, between
from shop.routes.models import Step, Task


class Checked(models.Model):
    """A check of a step as it came out, on one visit. Never changed: a later row for the same check counts instead.

    Where it is not as it should be, ``passed_by`` is who let it pass and ``reason`` why; without them it holds the step.
    """

    step = models.ForeignKey(Step, models.PROTECT, related_name="checked")
    visit = models.PositiveSmallIntegerField(default=1)
    check_asked = models.ForeignKey(Check, models.PROTECT, related_name="results", verbose_name=_("check"))
    words = models.CharField(_("what was asked"), max_length=200)
    value = models.DecimalField(_("measured"), max_digits=12, decimal_places=3, null=True, blank=True)
    as_it_should = models.BooleanField(_("as it should be"))
    passed_by = models.CharField(_("let pass by"), max_length=120, blank=True)
    reason = models.CharField(_("reason"), max_length=200, blank=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["step", "at", "pk"]
        constraints = [
            CheckConstraint(
                condition=Q(passed_by="", reason="") | (~Q(passed_by="") & ~Q(reason="")),
                name="check_let_pass_by_name_and_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.words


class Rework(models.Model):
    """A step has to be done again. ``visit`` is the one that failed; the steps from ``back_to`` on are open anew.

    ``came_from`` is the step where the cause lies. ``scrapped`` pieces are replaced: what that costs is the desk's to say.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    step = models.ForeignKey(Step, models.PROTECT, related_name="reworks")
    visit = models.PositiveSmallIntegerField()
    back_to = models.ForeignKey(Step, models.PROTECT, related_name="+", verbose_name=_("goes back to"))
    came_from = models.ForeignKey(
        Step, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("where it came from")
    )
    cause = models.ForeignKey(Cause, models.PROTECT, related_name="reworks", verbose_name=_("cause"))
    pieces = models.PositiveIntegerField(_("pieces"), default=1, validators=between(1, 100_000))
    scrapped = models.PositiveIntegerField(_("of these scrapped"), default=0)
    replacement_minor = models.BigIntegerField(_("replacement costs"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    photograph = models.ForeignKey(Photograph, models.PROTECT, null=True, blank=True, related_name="+")
    task = models.ForeignKey(Task, models.PROTECT, related_name="reworks")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            CheckConstraint(
                condition=Q(pieces__gte=1, scrapped__gte=0) & Q(scrapped__lte=models.F("pieces")),
                name="rework_scraps_no_more_than_it_has",
                violation_error_message=_("More pieces are scrapped than came back. Check both numbers."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.step}: {self.cause}"


class HoursLeft(models.Model):
    """Somebody who works on a task says how long it still takes. Never changed: what is said later counts instead."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    task = models.ForeignKey(Task, models.PROTECT, related_name="hours_left")
    minutes = models.PositiveIntegerField(_("still takes [min]"), validators=between(0, 60_000))
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["task", "at", "pk"]
        verbose_name_plural = "hours left"

    def __str__(self) -> str:
        return f"{self.task}: {self.minutes}"


class DamageReport(models.Model):
    """A mechanic found damage and guessed the hours. The desk makes an offer of it, or says why not."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    part = models.ForeignKey(Part, models.PROTECT, related_name="damage_reports")
    step = models.ForeignKey(Step, models.PROTECT, null=True, blank=True, related_name="+")
    possible = models.ForeignKey(
        PossibleDamage, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("damage")
    )
    words = models.CharField(_("what you see"), max_length=300, blank=True)
    hours = models.DecimalField(
        _("hours, guessed"),
        max_digits=6,
        decimal_places=2,
        validators=between(Decimal(0), Decimal(1_000)),
    )
    photograph = models.ForeignKey(Photograph, models.PROTECT, null=True, blank=True, related_name="+")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, editable=False)
    settled_by = models.CharField(max_length=150, blank=True)
    settled_as = models.CharField(_("what became of it"), max_length=200, blank=True)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            CheckConstraint(
                condition=Q(possible__isnull=False) | ~Q(words=""),
                name="damage_report_says_what",
                violation_error_message=_("Choose a damage, or say what you see."),
            ),
            CheckConstraint(
                condition=Q(settled_at__isnull=True, settled_as="") | (Q(settled_at__isnull=False) & ~Q(settled_as="")),
                name="damage_report_settled_says_how",
            ),
        ]

    def __str__(self) -> str:
        return self.words or str(self.possible)

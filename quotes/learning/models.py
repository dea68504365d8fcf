"""What was learned when, what it suggests for the rate book, and what the manager said to it."""

import uuid
from typing import Any

from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

NUMBER: dict[str, Any] = {"max_digits": 12, "decimal_places": 4}


class Study(models.Model):
    """One look at all that happened. ``step`` of ``steps`` says how far it is; it has ended or failed once, in words."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    asked_by = models.CharField(_("asked for by"), max_length=150)
    asked_at = models.DateTimeField()
    step = models.PositiveSmallIntegerField(default=0)
    steps = models.PositiveSmallIntegerField(default=4)
    tasks = models.PositiveIntegerField(_("finished tasks"), default=0)
    bikes = models.PositiveIntegerField(_("bikes"), default=0)
    outliers = models.TextField(default="[]")
    ended_at = models.DateTimeField(null=True)
    failed = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-asked_at", "-pk"]
        verbose_name_plural = "studies"
        constraints = [
            UniqueConstraint(
                fields=["failed"], condition=Q(ended_at__isnull=True, failed=""), name="one_study_at_once"
            ),
            CheckConstraint(condition=Q(step__lte=F("steps")), name="study_step_in_range"),
        ]

    def __str__(self) -> str:
        return f"{self.asked_at:%Y-%m-%d}"


class Suggestion(models.Model):
    """A figure of the rate book, or of methods, as what happened would have it. Never changed; the newest study's count.

    ``sample`` is how many tasks, lots, bikes or visits it rests on, ``wanting`` how many more it would take to know it within a
    tenth. ``details`` are canonical text: what a picture and a sentence need, and the outliers that were left out.
    """

    class Kind(models.TextChoices):
        OPERATION = "operation", _("how long work takes")
        GRADE = "grade", _("pace of a labour grade")
        BIKES = "bikes", _("spread of bikes")
        SERVICE = "service", _("lead time of a vendor")
        DAMAGE = "damage", _("possible damage")
        REWORK = "rework", _("doing it again")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    study = models.ForeignKey(Study, models.PROTECT, related_name="suggestions")
    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    subject = models.CharField(max_length=80, blank=True)
    label = models.CharField(_("of what"), max_length=200)
    assumed = models.DecimalField(_("assumed"), **NUMBER)
    happened = models.DecimalField(_("happened"), **NUMBER)
    suggested = models.DecimalField(_("suggestion"), **NUMBER)
    low = models.DecimalField(_("at least"), **NUMBER)
    high = models.DecimalField(_("at most"), **NUMBER)
    sample = models.PositiveIntegerField(_("from so many"))
    wanting = models.PositiveIntegerField(default=0)
    details = models.TextField(default="{}")

    class Meta:
        ordering = ["study", "kind", "label"]
        constraints = [
            UniqueConstraint(fields=["study", "kind", "subject"], name="one_suggestion_per_thing"),
            CheckConstraint(
                condition=Q(low__lte=F("suggested"), high__gte=F("suggested")), name="suggestion_within_its_interval"
            ),
        ]

    def __str__(self) -> str:
        return self.label


class Decision(models.Model):
    """What the manager said to a suggestion, once. Never changed."""

    class Kind(models.TextChoices):
        ACCEPTED = "accepted", _("accepted")
        REFUSED = "refused", _("refused")

    suggestion = models.OneToOneField(Suggestion, models.PROTECT, primary_key=True, related_name="decision")
    kind = models.CharField(max_length=8, choices=Kind)
    reason = models.CharField(_("why"), max_length=200, blank=True)
    noted = models.CharField(_("what was noted"), max_length=200, blank=True)
    who = models.CharField(max_length=150)
    at = models.DateTimeField()

    class Meta:
        constraints = [
            CheckConstraint(condition=Q(kind="accepted") | ~Q(reason=""), name="refusal_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.suggestion}: {self.get_kind_display()}"

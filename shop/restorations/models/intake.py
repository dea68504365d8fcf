"""Taking a bike in: what came with it, its numbers, and what its owner signed for."""

import uuid

from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.papers.models import Photograph
from shop.restorations.models.limits import between
from shop.restorations.models.what import Restoration


class Intake(models.Model):
    """How a machine came in. The numbers in its papers stand beside those stamped on it, which are the machine's own.

    ``missing`` names one missing part per line.
    """

    restoration = models.OneToOneField(Restoration, models.PROTECT, primary_key=True, related_name="intake")
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    came_on = models.DateField(_("came in on"))
    brought_by = models.CharField(_("brought by"), max_length=120, blank=True)
    papers = models.CharField(_("papers that came with it"), max_length=200, blank=True)
    papers_frame_number = models.CharField(_("frame number in the papers"), max_length=40, blank=True)
    papers_engine_number = models.CharField(_("engine number in the papers"), max_length=40, blank=True)
    keys = models.CharField(_("keys"), max_length=120, blank=True)
    reading = models.PositiveIntegerField(
        _("distance on the clock"), null=True, blank=True, validators=between(0, 10**7)
    )
    missing = models.TextField(_("missing parts"), blank=True, help_text=_("One in each line."))
    condition = models.TextField(_("condition"), blank=True)
    agreed_value_minor = models.BigIntegerField(
        _("agreed value as it came in"), null=True, blank=True, validators=between(0, 10**12)
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints = [
            CheckConstraint(
                condition=Q(agreed_value_minor__isnull=True) | Q(agreed_value_minor__gte=0),
                name="agreed_value_not_negative",
                violation_error_message=_("A value cannot be negative. Give 0 or more, or leave it empty."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.restoration}, {self.came_on}"


class StillShown(models.Manager["IntakePhotograph"]):
    def get_queryset(self) -> models.QuerySet["IntakePhotograph"]:
        return super().get_queryset().filter(photograph__taken_away_at__isnull=True)


class IntakePhotograph(models.Model):
    """A photograph taken when the machine came in, and what it shows."""

    class Shows(models.TextChoices):
        FRAME_NUMBER = "frame_number", _("frame number")
        ENGINE_NUMBER = "engine_number", _("engine number")
        PAPERS = "papers", _("papers")
        WHOLE = "whole", _("the whole machine")
        DAMAGE = "damage", _("damage or a missing part")
        OTHER = "other", _("something else")

    intake = models.ForeignKey(Intake, models.PROTECT, related_name="photographs")
    photograph = models.ForeignKey(Photograph, models.PROTECT, related_name="+")
    shows = models.CharField(_("shows"), max_length=14, choices=Shows, default=Shows.WHOLE)

    objects = StillShown()
    ever: models.Manager["IntakePhotograph"] = models.Manager()

    class Meta:
        ordering = ["intake", "shows", "pk"]
        constraints = [UniqueConstraint(fields=["intake", "photograph"], name="photograph_once_per_intake")]

    def __str__(self) -> str:
        return f"{self.intake}: {self.get_shows_display()}"


class IntakeSignature(models.Model):
    """The owner, or who brought it, signed for the condition as it was written then. Never changed.

    ``words`` is what was signed as canonical text; what differs from it later was not signed.
    """

    intake = models.ForeignKey(Intake, models.PROTECT, related_name="signatures")
    who = models.CharField(_("who signed"), max_length=120)
    signed_on = models.DateField(_("signed on"))
    words = models.TextField()
    words_sha256 = models.CharField(max_length=64)
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["intake", "at", "pk"]

    def __str__(self) -> str:
        return f"{self.intake}: {self.who}"


class NumbersCleared(models.Model):
    """A named person settled that numbers which do not match are in order, for exactly these numbers. Never changed."""

    intake = models.ForeignKey(Intake, models.PROTECT, related_name="cleared")
    stamped_frame = models.CharField(max_length=40, blank=True)
    papers_frame = models.CharField(max_length=40, blank=True)
    stamped_engine = models.CharField(max_length=40, blank=True)
    papers_engine = models.CharField(max_length=40, blank=True)
    who = models.CharField(_("who decided"), max_length=120)
    reason = models.CharField(_("reason"), max_length=300)
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["intake", "at", "pk"]
        constraints = [
            CheckConstraint(condition=~Q(who="") & ~Q(reason=""), name="numbers_cleared_by_name_and_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.intake}: {self.who}"

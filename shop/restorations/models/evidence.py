"""Which finish a part had, what says so, and what was agreed."""

import uuid
from decimal import Decimal

from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models import (
    EvidenceSource,
    Finish,
    Strength,
)
from shop.papers.models import Photograph
from shop.restorations.models.limits import between
from shop.restorations.models.what import Part


class FinishCandidate(models.Model):
    """A finish this part may have had when it was new. ``weight`` against the others, before any evidence."""

    part = models.ForeignKey(Part, models.CASCADE, related_name="candidates")
    finish = models.ForeignKey(Finish, models.PROTECT, verbose_name=_("finish"))
    weight = models.DecimalField(
        _("weight"), max_digits=6, decimal_places=2, default=1, validators=between(Decimal("0.01"), Decimal(1000))
    )

    class Meta:
        ordering = ["part", "pk"]
        constraints = [
            UniqueConstraint(fields=["part", "finish"], name="finish_listed_once"),
            CheckConstraint(
                condition=Q(weight__gt=0),
                name="candidate_has_weight",
                violation_error_message=_("A finish that cannot be has no place on the list. Give more than 0."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part}: {self.finish}"


class FinishEvidence(models.Model):
    """Something that says which factory finish a part had; ``says`` empty is "none of those listed".

    What has one origin is one witness. Where years, markets or numbers are given, it speaks only of machines within them.
    """

    class Kind(models.TextChoices):
        TRACE = "trace", _("trace on the part itself")
        PHOTOGRAPH = "photograph", _("period photograph")
        PRINT = "print", _("period print: parts book, sales sheet, handbook")
        RECORD = "record", _("works or dispatch record")
        SURVIVOR = "survivor", _("untouched bike of the same kind")
        OPINION = "opinion", _("what somebody knows")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    part = models.ForeignKey(Part, models.PROTECT, related_name="evidence")
    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    source = models.ForeignKey(EvidenceSource, models.PROTECT, null=True, blank=True, verbose_name=_("source"))
    origin = models.CharField(
        _("origin"), max_length=120, help_text=_("Where it comes from first: two copies of one thing are one witness.")
    )
    says = models.ForeignKey(
        Finish, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("says it was")
    )
    strength = models.CharField(_("strength"), max_length=10, choices=Strength, default=Strength.FAIR)
    years_from = models.PositiveSmallIntegerField(_("from year"), null=True, blank=True)
    years_to = models.PositiveSmallIntegerField(_("to year"), null=True, blank=True)
    markets = models.CharField(_("markets"), max_length=100, blank=True)
    numbers_from = models.CharField(_("from frame number"), max_length=40, blank=True)
    numbers_to = models.CharField(_("to frame number"), max_length=40, blank=True)
    note = models.TextField(_("note"), blank=True)
    photographs = models.ManyToManyField(Photograph, blank=True, related_name="+", verbose_name=_("photographs"))
    added_at = models.DateTimeField()
    added_by = models.CharField(max_length=150)
    removed_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["part", "added_at", "pk"]
        constraints = [
            CheckConstraint(
                condition=Q(years_from__isnull=True)
                | Q(years_to__isnull=True)
                | Q(years_to__gte=models.F("years_from")),
                name="evidence_years_in_order",
                violation_error_message=_("The last year is before the first. Swap them."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.origin}: {self.says or _('none of these')}"


class Looked(models.Model):
    """A source somebody looked into for a part and found nothing in: it is not asked for again. Taken back by deleting."""

    part = models.ForeignKey(Part, models.CASCADE, related_name="looked")
    source = models.ForeignKey(EvidenceSource, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    who = models.CharField(max_length=150)

    class Meta:
        ordering = ["part", "at"]
        constraints = [UniqueConstraint(fields=["part", "source"], name="looked_once")]

    def __str__(self) -> str:
        return f"{self.part}: {self.source}"


class FinishAgreement(models.Model):
    """What the customer signed for on a part: the finish, and how it departs from what the factory did."""

    class How(models.TextChoices):
        SIGNED = "signed", _("signed on paper")
        EMAIL = "email", _("by e-mail")
        PHONE = "phone", _("by phone")
        PERSON = "person", _("in person")
        ONLINE = "online", _("on the customer's page")

    part = models.ForeignKey(Part, models.PROTECT, related_name="agreements")
    finish = models.ForeignKey(Finish, models.PROTECT, related_name="+", verbose_name=_("agreed finish"))
    deviation = models.CharField(_("deviation from the factory finish"), max_length=200, blank=True)
    who = models.CharField(_("who agreed"), max_length=120)
    how = models.CharField(_("how"), max_length=10, choices=How)
    said_on = models.DateField(_("agreed on"))
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["part", "at", "pk"]

    def __str__(self) -> str:
        return f"{self.part}: {self.finish}, {self.who}"

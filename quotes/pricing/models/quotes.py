"""Drafts, issued quotes, their outcomes. A draft and an issued quote are two things, in two tables."""

import uuid

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.papers.models import Document
from shop.restorations.models import Restoration


class Stage(models.TextChoices):
    """How far the bike is known. A ballpark is no offer."""

    BALLPARK = "ballpark", _("ballpark")
    INSPECT = "inspect", _("strip and inspect")
    MAIN = "main", _("main offer")
    VARIATION = "variation", _("variation")


class Draft(models.Model):
    """The quote being worked on. It keeps the day it is priced on until somebody prices it anew."""

    restoration = models.OneToOneField(Restoration, models.PROTECT, related_name="draft", primary_key=True)
    priced_on = models.DateField(_("priced on"))
    stage = models.CharField(_("stage"), max_length=10, choices=Stage, default=Stage.MAIN)
    discount = models.DecimalField(
        _("discount [%]"),
        max_digits=5,
        decimal_places=2,
        default=0,
        validators=[MinValueValidator(0), MaxValueValidator(99)],
    )
    note = models.TextField(_("note to the customer"), blank=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints = [CheckConstraint(condition=Q(discount__gte=0, discount__lt=100), name="discount_in_range")]

    def __str__(self) -> str:
        return f"Draft for {self.restoration}"


class IssuedQuote(models.Model):
    """A quote as it went out: frozen inputs, frozen figures, frozen words. Never changed, never deleted."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    number = models.PositiveIntegerField(_("number"), unique=True)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="quotes")
    version = models.PositiveIntegerField(_("version"))
    stage = models.CharField(_("stage"), max_length=10, choices=Stage, default=Stage.MAIN)
    varies = models.ForeignKey("self", models.PROTECT, null=True, related_name="variations")
    scope_version = models.PositiveIntegerField()
    issued_at = models.DateTimeField(_("issued"))
    issued_by = models.CharField(_("issued by"), max_length=150)
    valid_until = models.DateField(_("valid until"))
    currency = models.CharField(max_length=3)
    price_minor = models.BigIntegerField()
    discount_minor = models.BigIntegerField()
    net_minor = models.BigIntegerField()
    tax_minor = models.BigIntegerField()
    total_minor = models.BigIntegerField()
    ready_likely = models.DateField(_("ready, likely"), null=True)
    ready_kept = models.DateField(_("ready, kept"), null=True)
    contingency_minor = models.BigIntegerField(default=0)
    credits = models.ForeignKey("self", models.PROTECT, null=True, related_name="credited_by")
    below_floor_reason = models.CharField(max_length=200, blank=True)
    variants = models.TextField()
    snapshot = models.TextField()
    snapshot_sha256 = models.CharField(max_length=64)
    result = models.TextField()
    result_sha256 = models.CharField(max_length=64)
    offer = models.TextField()
    offer_sha256 = models.CharField(max_length=64)
    journal_position = models.PositiveBigIntegerField()
    journal_hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["-number"]
        constraints = [
            UniqueConstraint(fields=["restoration", "version"], name="one_quote_per_version"),
            CheckConstraint(
                condition=Q(net_minor=F("price_minor") - F("discount_minor")), name="net_is_price_less_discount"
            ),
            CheckConstraint(condition=Q(total_minor=F("net_minor") + F("tax_minor")), name="total_is_net_and_tax"),
            CheckConstraint(
                condition=Q(stage="variation", varies__isnull=False) | (~Q(stage="variation") & Q(varies__isnull=True)),
                name="variation_varies_a_quote",
            ),
        ]

    def __str__(self) -> str:
        return f"Q{self.number:05d}"


class IssuedLine(models.Model):
    """A line of an issued quote."""

    quote = models.ForeignKey(IssuedQuote, models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    part_uid = models.UUIDField()
    price_minor = models.BigIntegerField()
    discount_minor = models.BigIntegerField()
    net_minor = models.BigIntegerField()
    tax = models.CharField(max_length=20)

    class Meta:
        ordering = ["quote", "position"]
        constraints = [
            UniqueConstraint(fields=["quote", "position"], name="one_line_per_position"),
            CheckConstraint(
                condition=Q(net_minor=F("price_minor") - F("discount_minor")), name="line_net_is_price_less_discount"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quote}, line {self.position}"


class IssuedStep(models.Model):
    """A step of the scope that an issued quote offers."""

    quote = models.ForeignKey(IssuedQuote, models.PROTECT, related_name="steps")
    step_uid = models.UUIDField()
    part_uid = models.UUIDField()

    class Meta:
        constraints = [UniqueConstraint(fields=["quote", "step_uid"], name="step_once_per_quote")]

    def __str__(self) -> str:
        return f"{self.quote}: {self.step_uid}"


class Outcome(models.Model):
    """What became of an issued quote. Its key is the quote: there is one outcome or none."""

    class Kind(models.TextChoices):
        ACCEPTED = "accepted", _("accepted")
        DECLINED = "declined", _("declined")
        WITHDRAWN = "withdrawn", _("withdrawn")

    class How(models.TextChoices):
        SIGNED = "signed", _("signed on paper")
        EMAIL = "email", _("by e-mail")
        PHONE = "phone", _("by phone")
        PERSON = "person", _("in person")
        ONLINE = "online", _("on the customer's page")

    quote = models.OneToOneField(IssuedQuote, models.PROTECT, primary_key=True, related_name="outcome")
    kind = models.CharField(_("outcome"), max_length=10, choices=Kind)
    who = models.CharField(_("who said so"), max_length=120)
    how = models.CharField(_("how"), max_length=10, choices=How)
    reason = models.CharField(_("reason"), max_length=200, blank=True)
    said_on = models.DateField(_("said on"))
    at = models.DateTimeField(_("when"))
    recorded_by = models.CharField(max_length=150)

    def __str__(self) -> str:
        return f"{self.quote} {self.kind}"


class QuotePaper(models.Model):
    """The PDF of an issued quote."""

    quote = models.OneToOneField(IssuedQuote, models.PROTECT, primary_key=True, related_name="paper")
    document = models.ForeignKey(Document, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.quote} as PDF"

"""The customer's page: links to it, what was said there, what the desk shared, what was mailed."""

import uuid

from django.db import models
from django.db.models import CheckConstraint, Q
from django.utils.translation import gettext_lazy as _

from quotes.pricing.models.quotes import IssuedQuote
from shop.papers.models import Photograph
from shop.restorations.models import Restoration


class Link(models.Model):
    """A way in for a customer without an account. Only the SHA-256 of its secret is kept.

    For a ``quote`` it shows and answers that quote; without one it shows how the restoration goes.
    """

    class Purpose(models.TextChoices):
        QUOTE = "quote", _("read and answer a quote")
        PROGRESS = "progress", _("see how the restoration goes")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    purpose = models.CharField(max_length=8, choices=Purpose)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="links")
    quote = models.ForeignKey(IssuedQuote, models.PROTECT, null=True, related_name="links")
    secret_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["restoration", "made_at"]
        constraints = [
            CheckConstraint(
                condition=Q(purpose="quote", quote__isnull=False) | Q(purpose="progress", quote__isnull=True),
                name="link_fits_its_purpose",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.restoration}: {self.get_purpose_display()}"


class Message(models.Model):
    """Something a customer asked on their page, or what the desk answered there. Never changed."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="messages")
    quote = models.ForeignKey(IssuedQuote, models.PROTECT, null=True, related_name="messages")
    from_customer = models.BooleanField()
    answers = models.ForeignKey("self", models.PROTECT, null=True, related_name="answered_by")
    text = models.TextField(_("message"), max_length=4000)
    who = models.CharField(_("name"), max_length=150)
    at = models.DateTimeField()

    class Meta:
        ordering = ["restoration", "at", "pk"]
        constraints = [CheckConstraint(condition=~Q(text=""), name="message_says_something")]

    def __str__(self) -> str:
        return f"{self.who}: {self.text[:60]}"


class Shared(models.Model):
    """A note, with or without a photograph, that the desk chose to show to the customer."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="shared")
    photograph = models.ForeignKey(Photograph, models.PROTECT, null=True, related_name="+")
    note = models.TextField(_("note"), max_length=2000, blank=True)
    at = models.DateTimeField()
    who = models.CharField(max_length=150)
    taken_back_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["restoration", "-at", "-pk"]
        verbose_name_plural = "shared"
        constraints = [
            CheckConstraint(condition=~Q(note="") | Q(photograph__isnull=False), name="shared_shows_something")
        ]

    def __str__(self) -> str:
        return self.note[:60] or str(self.photograph)

    @property
    def picture(self) -> Photograph | None:
        """The photograph, unless it was taken away since."""
        return self.photograph if self.photograph and self.photograph.taken_away_at is None else None


class Mailed(models.Model):
    """A message the shop sent, or is about to send, to a customer. Its background job says how far it got."""

    class Kind(models.TextChoices):
        QUOTE = "quote", _("quote")
        PROGRESS = "progress", _("news of the restoration")
        ANSWER = "answer", _("answer")
        PAYMENT = "payment", _("payment due")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=8, choices=Kind)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="mailed")
    quote = models.ForeignKey(IssuedQuote, models.PROTECT, null=True, related_name="mailed")
    address = models.EmailField(_("e-mail"))
    subject = models.CharField(_("subject"), max_length=200)
    text = models.TextField(_("text"), max_length=4000)
    at = models.DateTimeField()
    who = models.CharField(max_length=150)
    job_key = models.CharField(max_length=200, unique=True)

    class Meta:
        ordering = ["restoration", "at", "pk"]
        verbose_name_plural = "mailed"

    def __str__(self) -> str:
        return f"{self.address}: {self.subject}"

import uuid

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _


class Document(models.Model):
    """The record of one file; the file itself lies in ``MEDIA_ROOT`` under its SHA-256."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sha256 = models.CharField(max_length=64, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=200)
    media_type = models.CharField(_("media type"), max_length=100)
    bytes = models.PositiveBigIntegerField(_("size in bytes"))
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["created_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(name=""), name="document_has_a_name"),
            models.CheckConstraint(condition=~models.Q(media_type=""), name="document_has_a_media_type"),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("papers:document", args=[self.uid])


class NotTakenAway(models.Manager["Photograph"]):
    def get_queryset(self) -> models.QuerySet["Photograph"]:
        return super().get_queryset().filter(taken_away_at__isnull=True)


class Photograph(models.Model):
    """A picture as we made it anew from what was sent; its two files lie beside the documents.

    Pixels, sizes, who and when never change. What a person said of it (``caption``, ``taken_on``) may be corrected. One put
    in by mistake is taken away: ``objects`` has it no longer, and so no page, ``ever`` has all of them.
    """

    class Kind(models.TextChoices):
        JPEG = "jpeg", "JPEG"

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sha256 = models.CharField(max_length=64, editable=False)  # not unique: two people may add the same picture
    thumbnail_sha256 = models.CharField(max_length=64, editable=False)
    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    width = models.PositiveIntegerField(_("width in pixels"))
    height = models.PositiveIntegerField(_("height in pixels"))
    bytes = models.PositiveBigIntegerField(_("size in bytes"))
    caption = models.CharField(_("caption"), max_length=200, error_messages={"blank": _("Say what it shows.")})
    taken_on = models.DateField(_("taken on"), null=True, blank=True)
    added_at = models.DateTimeField(_("added at"))
    added_by = models.CharField(_("added by"), max_length=150)
    taken_away_at = models.DateTimeField(null=True, editable=False)
    taken_away_by = models.CharField(max_length=150, blank=True, editable=False)
    taken_away_why = models.CharField(_("why it is taken away"), max_length=200, blank=True)

    objects = NotTakenAway()
    ever: models.Manager["Photograph"] = models.Manager()

    class Meta:
        ordering = ["added_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(caption=""), name="photograph_has_a_caption"),
            models.CheckConstraint(condition=~models.Q(added_by=""), name="photograph_says_who_added_it"),
            models.CheckConstraint(condition=models.Q(kind__in=["jpeg"]), name="photograph_is_of_a_kind_we_make"),
            models.CheckConstraint(
                condition=models.Q(width__gte=1, height__gte=1, bytes__gte=1), name="photograph_has_a_size"
            ),
            models.CheckConstraint(
                condition=models.Q(taken_away_at__isnull=True, taken_away_by="", taken_away_why="")
                | models.Q(
                    models.Q(taken_away_at__isnull=False), ~models.Q(taken_away_by=""), ~models.Q(taken_away_why="")
                ),
                name="photograph_taken_away_says_who_and_why",
            ),
        ]

    def __str__(self) -> str:
        return self.caption

    def get_absolute_url(self) -> str:
        return reverse("papers:photograph", args=[self.uid])

    def get_thumbnail_url(self) -> str:
        return reverse("papers:thumbnail", args=[self.uid])


class PhotographCount(models.Model):
    """What was added by one person, or by the whole shop (``who`` empty), on one day, or in all (``day`` empty)."""

    who = models.CharField(max_length=150, blank=True)
    day = models.DateField(null=True, blank=True)
    photographs = models.PositiveIntegerField()
    bytes = models.PositiveBigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["who", "day"], name="photographs_counted_once_a_day"),
            models.UniqueConstraint(
                fields=["who"], condition=models.Q(day__isnull=True), name="photographs_counted_once_in_all"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.who or 'shop'} {self.day or 'in all'}: {self.photographs}"

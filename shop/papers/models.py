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

"""Files on their way in: kept between the look at what they would change and the yes."""

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _


class Upload(models.Model):
    """A file somebody wants to take in, and what it is for. Its rows are only written once somebody has seen the preview."""

    class Kind(models.TextChoices):
        PARTS = "parts", _("parts")
        RATES = "rates", _("rates")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=8, choices=Kind)
    subject_uid = models.UUIDField(null=True)
    name = models.CharField(_("file"), max_length=200)
    content = models.BinaryField()
    at = models.DateTimeField()
    who = models.CharField(max_length=150)
    taken_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return self.name

import uuid

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _


class User(AbstractUser):
    """A person who signs in. What they may see hangs on their groups: desk, mechanic, manager."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class Grade(models.Model):
    """A labour grade; what its hour costs is dated and lives in ``rates``."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=60, unique=True)
    alone = models.TextField(_("may do alone"), blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

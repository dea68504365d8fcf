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


class Shop(models.Model):
    """This workshop as its customers know it. There is one."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=100)
    address = models.TextField(_("address"), blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    only = models.BooleanField(default=True, unique=True, editable=False)

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(only=True), name="one_shop")]

    def __str__(self) -> str:
        return self.name

"""The words for measures, materials, conditions and how sure something is."""

import uuid
from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

NOT_NEGATIVE = [MinValueValidator(Decimal(0))]


class Measure(models.TextChoices):
    """What time, usage or price goes by."""

    BATCH = "batch", _("batch")
    PIECE = "piece", _("piece")
    DM2 = "dm2", _("dm²")
    KG = "kg", _("kg")
    OPENING = "opening", _("opening")
    SPOKE = "spoke", _("spoke")
    HOUR = "hour", _("hour")


class Material(models.TextChoices):
    STEEL = "steel", _("steel")
    STAINLESS = "stainless", _("stainless steel")
    CAST_IRON = "cast_iron", _("cast iron")
    ALUMINIUM = "aluminium", _("aluminium")
    MAGNESIUM = "magnesium", _("magnesium")
    BRASS = "brass", _("brass or copper")
    RUBBER = "rubber", _("rubber")
    OTHER = "other", _("other")


class Condition(models.TextChoices):
    SOUND = "sound", _("sound")
    WORN = "worn", _("worn")
    CORRODED = "corroded", _("corroded")
    SEIZED = "seized", _("seized")


class Frequency(models.TextChoices):
    """How often something is found, in words; the chances behind them are in the rate book."""

    COMMON = "common", _("common")
    SOMETIMES = "sometimes", _("sometimes")
    RARE = "rare", _("rare")


class Strength(models.TextChoices):
    """How much a piece of evidence says, in words; the likelihood ratios behind them are in the rate book."""

    STRONG = "strong", _("strong")
    FAIR = "fair", _("fair")
    WEAK = "weak", _("weak")


class CostClass(models.TextChoices):
    """What a cost is mostly made of."""

    LABOUR = "labour", _("own work")
    VENDOR = "vendor", _("vendor work")
    BOUGHT_IN = "bought_in", _("bought-in parts")


class Named(models.Model):
    """A thing with a permanent identity and a name."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=100, unique=True)

    class Meta:
        abstract = True
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

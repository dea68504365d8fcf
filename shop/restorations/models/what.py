"""Customers, machines, restorations and their parts."""

import uuid

from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models import (
    Condition,
    Finish,
    Material,
    PartKind,
    SizeClass,
)
from shop.restorations.models.limits import MANY, SIZE, STRENGTH, THICKNESS, between


class Customer(models.Model):
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=120)
    address = models.TextField(_("address"), blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Machine(models.Model):
    """The motorcycle. Frame and engine number are as stamped."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    maker = models.CharField(_("maker"), max_length=60)
    model = models.CharField(_("model"), max_length=60)
    year = models.PositiveSmallIntegerField(_("year"), null=True, blank=True)
    frame_number = models.CharField(_("frame number"), max_length=40, blank=True)
    engine_number = models.CharField(_("engine number"), max_length=40, blank=True)
    market = models.CharField(_("first sold in"), max_length=40, blank=True)

    class Meta:
        ordering = ["maker", "model", "year"]

    def __str__(self) -> str:
        return " ".join(str(word) for word in (self.maker, self.model, self.year) if word)


class Restoration(models.Model):
    """One machine being restored for one customer. ``scope_version`` rises with every change of scope."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    customer = models.ForeignKey(Customer, models.PROTECT, related_name="restorations", verbose_name=_("customer"))
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="restorations", verbose_name=_("machine"))
    title = models.CharField(_("title"), max_length=120)
    begun_on = models.DateField(_("begun on"))
    starts_on = models.DateField(_("work can begin on"), null=True, blank=True)
    scope_version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-begun_on", "-pk"]

    def __str__(self) -> str:
        return self.title


class Basis(models.TextChoices):
    """What a line promises."""

    FIXED = "fixed", _("fixed price")
    CAPPED = "capped", _("estimate with a cap")
    HOURLY = "hourly", _("hourly, we ask at a limit")


class Side(models.TextChoices):
    """Which of two that are not alike."""

    LEFT = "left", _("left")
    RIGHT = "right", _("right")
    FRONT = "front", _("front")
    REAR = "rear", _("rear")
    UPPER = "upper", _("upper")
    LOWER = "lower", _("lower")


class Part(models.Model):
    """A line of what is on the bike, in outline order. Sizes are per piece; a size class stands in for them.

    ``removed_at`` takes a part out of scope; undo brings the same uid back. ``split_from`` is the part that some of its
    pieces were split from on the way: they are priced together, as they were agreed, and go their own way in the workshop.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="parts")
    position = models.PositiveIntegerField(_("position"))
    depth = models.PositiveSmallIntegerField(_("depth"), default=0)
    area_name = models.CharField(_("area of the bike"), max_length=60, blank=True)
    name = models.CharField(_("name"), max_length=100)
    kind = models.ForeignKey(PartKind, models.PROTECT, null=True, blank=True, verbose_name=_("kind of part"))
    side = models.CharField(_("which one"), max_length=6, choices=Side, blank=True)
    pieces = models.PositiveIntegerField(_("pieces"), default=1, validators=MANY)
    material = models.CharField(_("material"), max_length=12, choices=Material, default=Material.STEEL)
    size_class = models.ForeignKey(SizeClass, models.PROTECT, null=True, blank=True, verbose_name=_("size class"))
    area = models.DecimalField(
        _("area per piece [dm²]"), max_digits=9, decimal_places=3, null=True, blank=True, validators=SIZE
    )
    weight = models.DecimalField(
        _("weight per piece [kg]"), max_digits=9, decimal_places=3, null=True, blank=True, validators=SIZE
    )
    openings = models.PositiveIntegerField(_("openings to mask per piece"), default=0, validators=MANY)
    spokes = models.PositiveIntegerField(_("spokes per piece"), default=0, validators=MANY)
    condition = models.CharField(_("condition"), max_length=10, choices=Condition, default=Condition.WORN)
    strength = models.PositiveIntegerField(_("tensile strength [MPa]"), null=True, blank=True, validators=STRENGTH)
    thickness = models.DecimalField(
        _("thickest section [mm]"), max_digits=6, decimal_places=1, null=True, blank=True, validators=THICKNESS
    )
    old_finish = models.ForeignKey(
        Finish, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("finish to take off")
    )
    factory_finish = models.ForeignKey(
        Finish, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("factory finish")
    )
    agreed_finish = models.ForeignKey(
        Finish, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("agreed finish")
    )
    deviation = models.CharField(_("deviation from the factory finish"), max_length=200, blank=True)
    tax = models.SlugField(_("tax code"), max_length=20, default="standard")
    basis = models.CharField(_("we promise"), max_length=10, choices=Basis, default=Basis.FIXED)
    cap_minor = models.BigIntegerField(
        _("cap or limit, before tax"), null=True, blank=True, validators=between(0, 10**12)
    )
    split_from = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="split_into", editable=False
    )
    removed_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["restoration", "position"]
        constraints = [
            UniqueConstraint(
                fields=["restoration", "position"], condition=Q(removed_at__isnull=True), name="one_part_per_position"
            ),
            CheckConstraint(
                condition=Q(area__isnull=True) | Q(area__gte=0),
                name="part_area_not_negative",
                violation_error_message=_("An area cannot be negative. Give 0 or more."),
            ),
            CheckConstraint(
                condition=Q(weight__isnull=True) | Q(weight__gte=0),
                name="part_weight_not_negative",
                violation_error_message=_("A weight cannot be negative. Give 0 or more."),
            ),
            CheckConstraint(
                condition=Q(thickness__isnull=True) | Q(thickness__gt=0, thickness__lte=1000),
                name="part_has_thickness",
                violation_error_message=_("The thickest section is more than 0 mm and at most 1000 mm."),
            ),
            CheckConstraint(
                condition=Q(cap_minor__isnull=True) | Q(cap_minor__gte=0),
                name="part_cap_not_negative",
                violation_error_message=_("A cap cannot be negative. Give 0 or more, or leave it empty."),
            ),
        ]

    def __str__(self) -> str:
        return self.name

"""Labour operations with their standard times, and what vendors do."""

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models.kinds import NOT_NEGATIVE, Condition, Measure, Named
from shop.methods.models.things import Consumable, Place, Vendor


class Operation(Named):
    """Work with a standard time. Its times are dated: see `StandardTime`."""

    place = models.ForeignKey(Place, models.PROTECT, verbose_name=_("place"), null=True, blank=True)
    grade = models.ForeignKey("people.Grade", models.PROTECT, verbose_name=_("labour grade"))
    measure = models.CharField(_("time goes by"), max_length=10, choices=Measure)
    shares_setup = models.BooleanField(_("parts of one batch share the set-up"), default=True)
    elapsed = models.PositiveIntegerField(_("time without hands [min]"), default=0)
    occupies = models.BooleanField(_("the place stays occupied meanwhile"), default=False)
    latest_wait = models.PositiveIntegerField(_("latest wait afterwards [min]"), null=True, blank=True)
    destroys_evidence = models.BooleanField(_("destroys traces of the factory finish"), default=False)
    spares_bare_metal = models.BooleanField(_("does so only where there is an old finish"), default=False)
    inspects = models.BooleanField(_("belongs to strip and inspect"), default=False)
    plates = models.BooleanField(_("puts hydrogen into steel"), default=False)
    bakes = models.BooleanField(_("bakes hydrogen out"), default=False)
    fits_first = models.BooleanField(_("fits parts to the bike before they are coated"), default=False)
    instructions = models.TextField(_("instructions"), blank=True)
    caution = models.TextField(_("caution"), blank=True)

    def __str__(self) -> str:
        return self.name


class StandardTime(models.Model):
    """Set-up and run of an operation from a day on. Never edited: a change is a new row."""

    operation = models.ForeignKey(Operation, models.PROTECT, related_name="times")
    valid_from = models.DateField(_("valid from"))
    revision = models.PositiveIntegerField(_("revision"), default=1)
    setup = models.DecimalField(_("set-up [min/batch]"), max_digits=8, decimal_places=3, validators=NOT_NEGATIVE)
    run = models.DecimalField(_("run [min/measure]"), max_digits=8, decimal_places=3, validators=NOT_NEGATIVE)
    allowance = models.DecimalField(
        _("allowance [%]"), max_digits=5, decimal_places=2, default=0, validators=NOT_NEGATIVE
    )
    shop_factor = models.DecimalField(
        _("shop factor"), max_digits=6, decimal_places=4, default=1, validators=[MinValueValidator(Decimal("0.0001"))]
    )
    spread = models.DecimalField(
        _("spread (CV)"), max_digits=5, decimal_places=3, default=Decimal("0.35"), validators=NOT_NEGATIVE
    )

    class Meta:
        ordering = ["operation", "-valid_from", "-revision"]
        constraints = [
            UniqueConstraint(fields=["operation", "valid_from", "revision"], name="one_standard_time_revision"),
            CheckConstraint(condition=Q(setup__gte=0, run__gte=0, allowance__gte=0), name="times_not_negative"),
            CheckConstraint(condition=Q(shop_factor__gt=0, spread__gte=0), name="shop_factor_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.operation} {self.valid_from}/{self.revision}"


class ConditionFactor(models.Model):
    """How much longer the run takes on a part in this condition."""

    operation = models.ForeignKey(Operation, models.CASCADE, related_name="condition_factors")
    condition = models.CharField(_("condition"), max_length=10, choices=Condition)
    factor = models.DecimalField(_("factor on the run time"), max_digits=5, decimal_places=2, validators=NOT_NEGATIVE)

    class Meta:
        constraints = [
            UniqueConstraint(fields=["operation", "condition"], name="one_factor_per_condition"),
            CheckConstraint(condition=Q(factor__gte=0), name="factor_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.operation}, {self.condition}: {self.factor}"


class Usage(models.Model):
    """A consumable an operation uses: an amount per measure with waste, or a film with its transfer efficiency."""

    operation = models.ForeignKey(Operation, models.CASCADE, related_name="usages")
    consumable = models.ForeignKey(Consumable, models.PROTECT)
    amount = models.DecimalField(_("amount per measure"), max_digits=10, decimal_places=4, default=0)
    waste = models.DecimalField(_("waste [%]"), max_digits=5, decimal_places=2, default=0)
    film = models.DecimalField(_("film of all coats [µm]"), max_digits=6, decimal_places=1, default=0)
    transfer = models.DecimalField(_("transfer efficiency [%]"), max_digits=5, decimal_places=2, default=100)

    class Meta:
        ordering = ["operation", "consumable"]
        constraints = [
            UniqueConstraint(fields=["operation", "consumable"], name="consumable_once_per_operation"),
            CheckConstraint(
                condition=Q(amount__gte=0, waste__gte=0, film__gte=0, transfer__gt=0, transfer__lte=100),
                name="usage_in_range",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.consumable} for {self.operation}"


class Service(Named):
    """What a vendor does; prices live in ``rates``."""

    vendor = models.ForeignKey(Vendor, models.PROTECT, related_name="services", verbose_name=_("vendor"))
    measure = models.CharField(_("price goes by"), max_length=10, choices=Measure)
    lead_days = models.PositiveIntegerField(_("lead time [working days]"), default=10)
    late_spread = models.DecimalField(
        _("spread of the lead time (CV)"),
        max_digits=5,
        decimal_places=3,
        default=Decimal("0.35"),
        validators=NOT_NEGATIVE,
    )
    destroys_evidence = models.BooleanField(_("destroys traces of the factory finish"), default=False)
    plates = models.BooleanField(_("puts hydrogen into steel"), default=False)
    bake_hours = models.DecimalField(_("includes a bake of [h]"), max_digits=4, decimal_places=1, default=0)
    caution = models.TextField(_("caution"), blank=True)


class Work(models.Model):
    """A labour operation or a vendor's service: exactly one of them."""

    operation = models.ForeignKey(Operation, models.PROTECT, null=True, blank=True)
    service = models.ForeignKey(Service, models.PROTECT, null=True, blank=True)

    class Meta:
        abstract = True

    @property
    def work(self) -> Operation | Service:
        """The operation or the service."""
        found = self.operation or self.service
        assert found is not None
        return found


ONE_WORK = Q(operation__isnull=False, service__isnull=True) | Q(operation__isnull=True, service__isnull=False)

"""How things are done: places, operations with their standard times, services, finishes with routes, bike templates."""

import uuid
from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
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


class Named(models.Model):
    """A thing with a permanent identity and a name."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=100, unique=True)

    class Meta:
        abstract = True
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Place(Named):
    """A work centre's place: bench, blast cabinet, wash, spray area, oven, press."""

    capacity = models.DecimalField(_("capacity"), max_digits=10, decimal_places=3, default=0, validators=NOT_NEGATIVE)
    capacity_by = models.CharField(_("filled by"), max_length=10, choices=Measure, default=Measure.PIECE)

    class Meta(Named.Meta):
        constraints = [CheckConstraint(condition=Q(capacity__gte=0), name="place_capacity_not_negative")]


class SizeClass(Named):
    """A rough size for a part nobody has measured: area [dm²] and weight [kg] per piece."""

    area = models.DecimalField(_("area per piece [dm²]"), max_digits=9, decimal_places=3, validators=NOT_NEGATIVE)
    weight = models.DecimalField(_("weight per piece [kg]"), max_digits=9, decimal_places=3, validators=NOT_NEGATIVE)

    class Meta(Named.Meta):
        constraints = [CheckConstraint(condition=Q(area__gte=0, weight__gte=0), name="size_not_negative")]


class Consumable(Named):
    """Bought in packs, used by measure, by wet film or as powder; prices live in ``rates``."""

    class By(models.TextChoices):
        MEASURE = "measure", _("by measure")
        FILM = "film", _("by film")
        POWDER = "powder", _("as powder")

    unit = models.CharField(_("unit"), max_length=10)
    by = models.CharField(_("used"), max_length=10, choices=By, default=By.MEASURE)
    solids = models.DecimalField(_("volume solids [%]"), max_digits=5, decimal_places=2, default=0)
    density = models.DecimalField(_("density [g/cm³]"), max_digits=6, decimal_places=3, default=0)
    smallest_mix = models.DecimalField(_("smallest mix"), max_digits=9, decimal_places=3, default=0)
    whole_packs = models.BooleanField(_("short pot life: whole packs are mixed"), default=False)

    class Meta(Named.Meta):
        constraints = [
            CheckConstraint(condition=~Q(by="film") | Q(solids__gt=0, solids__lte=100), name="film_has_solids"),
            CheckConstraint(condition=~Q(by="powder") | Q(density__gt=0), name="powder_has_density"),
            CheckConstraint(condition=Q(smallest_mix__gte=0), name="smallest_mix_not_negative"),
        ]


class Vendor(Named):
    """An outside workshop. Suppliers sell, vendors work."""

    address = models.TextField(_("address"), blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)


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
    plates = models.BooleanField(_("puts hydrogen into steel"), default=False)
    bakes = models.BooleanField(_("bakes hydrogen out"), default=False)
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
    destroys_evidence = models.BooleanField(_("destroys traces of the factory finish"), default=False)
    plates = models.BooleanField(_("puts hydrogen into steel"), default=False)
    bake_hours = models.DecimalField(_("includes a bake of [h]"), max_digits=4, decimal_places=1, default=0)
    caution = models.TextField(_("caution"), blank=True)


class Finish(Named):
    """What a part looks like when done: colour, gloss, lining; and how we get there."""

    colour = models.CharField(_("colour"), max_length=60, blank=True)
    gloss = models.CharField(_("gloss"), max_length=40, blank=True)
    lining = models.CharField(_("lining"), max_length=60, blank=True)
    process = models.CharField(_("process"), max_length=60)
    swatch = models.CharField(_("paint chip"), max_length=7, blank=True, help_text=_("As #rrggbb."))

    class Meta(Named.Meta):
        verbose_name_plural = "finishes"


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


class FinishRoute(models.Model):
    """How a finish is put on, or taken off, a material."""

    class Direction(models.TextChoices):
        APPLY = "apply", _("apply")
        REMOVE = "remove", _("remove")

    finish = models.ForeignKey(Finish, models.CASCADE, related_name="routes")
    material = models.CharField(_("material"), max_length=12, choices=Material)
    direction = models.CharField(_("direction"), max_length=6, choices=Direction, default=Direction.APPLY)

    class Meta:
        constraints = [UniqueConstraint(fields=["finish", "material", "direction"], name="one_route_per_finish")]

    def __str__(self) -> str:
        return f"{self.finish}: {self.direction} on {self.material}"


class MethodStep(Work):
    """A step of a method. ``back_to`` is the position the part goes back to when the step fails (its own if empty).

    ``remove_first`` says that a failure has to be stripped by the finish's route to remove it before the redo.
    """

    position = models.PositiveIntegerField(_("position"))
    fail_chance = models.DecimalField(_("chance of failing [%]"), max_digits=5, decimal_places=2, default=0)
    back_to = models.PositiveIntegerField(_("sends the part back to position"), null=True, blank=True)
    remove_first = models.BooleanField(_("strip before the redo"), default=False)

    class Meta:
        abstract = True
        ordering = ["position"]


FAIL_CHANCE = Q(fail_chance__gte=0, fail_chance__lt=100)
BACK_TO = Q(back_to__isnull=True) | Q(back_to__lte=F("position"))


class FinishStep(MethodStep):
    route = models.ForeignKey(FinishRoute, models.CASCADE, related_name="steps")

    class Meta(MethodStep.Meta):
        constraints = [
            UniqueConstraint(fields=["route", "position"], name="one_finish_step_per_position"),
            CheckConstraint(condition=ONE_WORK, name="finish_step_has_one_work"),
            CheckConstraint(condition=FAIL_CHANCE, name="finish_step_can_succeed"),
            CheckConstraint(condition=BACK_TO, name="finish_step_goes_back"),
        ]

    def __str__(self) -> str:
        return f"{self.position}. {self.work}"


class Template(Named):
    """A kind of bike, with its usual parts and what is usually done to them."""

    note = models.TextField(_("note"), blank=True)


class TemplatePart(models.Model):
    """A part of a template, in outline order: position and depth."""

    template = models.ForeignKey(Template, models.CASCADE, related_name="parts")
    position = models.PositiveIntegerField(_("position"))
    depth = models.PositiveSmallIntegerField(_("depth"), default=0)
    area_name = models.CharField(_("area of the bike"), max_length=60)
    name = models.CharField(_("name"), max_length=100)
    pieces = models.PositiveIntegerField(_("pieces"), default=1)
    material = models.CharField(_("material"), max_length=12, choices=Material, default=Material.STEEL)
    size_class = models.ForeignKey(SizeClass, models.PROTECT, null=True, blank=True)
    area = models.DecimalField(_("area per piece [dm²]"), max_digits=9, decimal_places=3, null=True, blank=True)
    weight = models.DecimalField(_("weight per piece [kg]"), max_digits=9, decimal_places=3, null=True, blank=True)
    openings = models.PositiveIntegerField(_("openings to mask per piece"), default=0)
    spokes = models.PositiveIntegerField(_("spokes per piece"), default=0)
    condition = models.CharField(_("condition"), max_length=10, choices=Condition, default=Condition.WORN)
    strength = models.PositiveIntegerField(_("tensile strength [MPa]"), null=True, blank=True)
    thickness = models.DecimalField(_("thickest section [mm]"), max_digits=6, decimal_places=1, null=True, blank=True)
    finish = models.ForeignKey(Finish, models.PROTECT, null=True, blank=True, verbose_name=_("factory finish"))
    old_finish = models.ForeignKey(
        Finish, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("finish to take off")
    )

    class Meta:
        ordering = ["position"]
        constraints = [UniqueConstraint(fields=["template", "position"], name="one_template_part_per_position")]

    def __str__(self) -> str:
        return self.name


class TemplateStep(MethodStep):
    """A step of a template's part. Those marked ``after_finish`` come after the finish's route, the others before.

    A bought-in part has neither operation nor service, but a source and a price to ask for.
    """

    part = models.ForeignKey(TemplatePart, models.CASCADE, related_name="steps")
    after_finish = models.BooleanField(_("after the finish"), default=False)
    quantity = models.DecimalField(_("quantity"), max_digits=9, decimal_places=3, null=True, blank=True)
    buy = models.CharField(_("bought-in part"), max_length=100, blank=True)
    buy_origin = models.CharField(_("source"), max_length=20, blank=True)
    buy_price_minor = models.BigIntegerField(_("usual price per piece, as a guess"), default=0)
    buy_handling = models.DecimalField(_("handling [min]"), max_digits=6, decimal_places=1, default=0)
    waits_for = models.ManyToManyField(TemplatePart, blank=True, related_name="+", verbose_name=_("waits for parts"))

    class Meta(MethodStep.Meta):
        constraints = [
            UniqueConstraint(fields=["part", "position"], name="one_template_step_per_position"),
            CheckConstraint(
                condition=(ONE_WORK & Q(buy="")) | (Q(operation__isnull=True, service__isnull=True) & ~Q(buy="")),
                name="template_step_has_one_work",
            ),
            CheckConstraint(condition=FAIL_CHANCE, name="template_step_can_succeed"),
            CheckConstraint(condition=BACK_TO, name="template_step_goes_back"),
        ]

    def __str__(self) -> str:
        return self.buy or f"{self.position}. {self.work}"

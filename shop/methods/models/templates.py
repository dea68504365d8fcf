"""Kinds of bike with their usual parts."""

from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models.finishes import BACK_TO, FAIL_CHANCE, Finish, MethodStep
from shop.methods.models.kinds import Condition, Material, Named
from shop.methods.models.things import PartKind, SizeClass
from shop.methods.models.work import ONE_WORK


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
    kind = models.ForeignKey(PartKind, models.PROTECT, null=True, blank=True, verbose_name=_("kind of part"))
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
    buy_lead_days = models.PositiveIntegerField(_("comes after [working days]"), default=0)
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

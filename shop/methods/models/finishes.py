"""Finishes, and the steps that put them on or take them off."""

from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models.kinds import Material, Named
from shop.methods.models.work import ONE_WORK, Work


class Finish(Named):
    """What a part looks like when done: colour, gloss, lining; and how we get there."""

    colour = models.CharField(_("colour"), max_length=60, blank=True)
    gloss = models.CharField(_("gloss"), max_length=40, blank=True)
    lining = models.CharField(_("lining"), max_length=60, blank=True)
    process = models.CharField(_("process"), max_length=60)
    swatch = models.CharField(_("paint chip"), max_length=7, blank=True, help_text=_("As #rrggbb."))

    class Meta(Named.Meta):
        verbose_name_plural = "finishes"


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

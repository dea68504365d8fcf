"""What is looked at before a step, or a bike, counts as done; and why work has to be done again."""

import uuid

from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models.kinds import Named
from shop.methods.models.things import PartKind
from shop.methods.models.work import Operation


class Cause(Named):
    """Why work has to be done again: the shop's own list. ``ended`` ones are not offered any more.

    ``check_words`` is the check to propose where it comes back.
    """

    check_words = models.CharField(_("check that would have caught it"), max_length=200, blank=True)
    ended = models.BooleanField(_("not used any more"), default=False)


class Check(models.Model):
    """A check of an operation, before its step counts as done: ticked, or measured within limits.

    A count is compared with the pieces of the part where no limits are given. ``kind_of_part`` restricts it to such parts.
    """

    class Kind(models.TextChoices):
        TICK = "tick", _("tick")
        MEASURE = "measure", _("measured")
        COUNT = "count", _("counted")
        WEIGHT = "weight", _("weighed")
        FINISH = "finish", _("finish is as agreed")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    operation = models.ForeignKey(Operation, models.PROTECT, related_name="checks", verbose_name=_("operation"))
    position = models.PositiveIntegerField(_("position"))
    kind = models.CharField(_("is"), max_length=8, choices=Kind, default=Kind.TICK)
    words = models.CharField(_("what to look at"), max_length=200)
    unit = models.CharField(_("unit"), max_length=20, blank=True)
    low = models.DecimalField(_("at least"), max_digits=12, decimal_places=3, null=True, blank=True)
    high = models.DecimalField(_("at most"), max_digits=12, decimal_places=3, null=True, blank=True)
    kind_of_part = models.ForeignKey(
        PartKind, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("only for")
    )
    against = models.ForeignKey(
        Cause, models.PROTECT, null=True, blank=True, related_name="checks", verbose_name=_("would have caught")
    )
    ended = models.BooleanField(_("not used any more"), default=False)

    class Meta:
        ordering = ["operation", "position"]
        constraints = [
            UniqueConstraint(fields=["operation", "position"], name="one_check_per_position"),
            CheckConstraint(
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(high__gte=F("low")),
                name="check_limits_in_order",
                violation_error_message=_("The upper limit is below the lower one. Swap them."),
            ),
            CheckConstraint(
                condition=~Q(kind="measure") | Q(low__isnull=False) | Q(high__isnull=False),
                name="measured_check_has_a_limit",
                violation_error_message=_("Give at least one limit, or make it a tick."),
            ),
        ]

    def __str__(self) -> str:
        return self.words


class Stage(models.TextChoices):
    """What a finished bike goes through before it leaves, in this order."""

    FIRST_START = "first_start", _("first start")
    RUN_IN = "run_in", _("run-in")
    ROAD_TEST = "road_test", _("road test")
    RETORQUE = "retorque", _("retorque")


class RunCheck(models.Model):
    """What is looked at in one of these stages."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    stage = models.CharField(_("stage"), max_length=12, choices=Stage)
    position = models.PositiveIntegerField(_("position"))
    words = models.CharField(_("what to look at"), max_length=200)
    caution = models.TextField(_("caution"), blank=True)
    ended = models.BooleanField(_("not used any more"), default=False)

    class Meta:
        ordering = ["stage", "position"]
        constraints = [UniqueConstraint(fields=["stage", "position"], name="one_run_check_per_position")]

    def __str__(self) -> str:
        return self.words

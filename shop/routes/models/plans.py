"""The days of a restoration as they were planned."""

from django.db import models
from django.db.models import UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.restorations.models import Restoration
from shop.routes.models.steps import Step


class Plan(models.Model):
    """The days of a restoration as planned at one scope version; it is stale when the scope, or what it rests on, has moved on.

    ``rests_on`` is the SHA-256 of everything the plan was made from. ``content`` is the plan as canonical text.
    """

    restoration = models.OneToOneField(Restoration, models.PROTECT, primary_key=True, related_name="plan")
    scope_version = models.PositiveIntegerField()
    rests_on = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    starts_on = models.DateField(_("work begins"))
    ready_certain = models.DateField(_("ready if all goes as planned"))
    ready_likely = models.DateField(_("ready, likely"))
    ready_kept = models.DateField(_("ready, kept"))
    content = models.TextField()

    def __str__(self) -> str:
        return f"{self.restoration}: {self.ready_likely}"


class PlannedStep(models.Model):
    """When a step can begin and end at the earliest and must at the latest; the day a lot must leave or a part be ordered.

    ``minutes`` are attended; its ``place`` is ``taken`` for so many minutes, by the first step of a batch for all of it.
    """

    plan = models.ForeignKey(Plan, models.CASCADE, related_name="steps")
    step = models.ForeignKey(Step, models.CASCADE, related_name="planned")
    earliest_start = models.DateTimeField()
    earliest_finish = models.DateTimeField()
    latest_start = models.DateTimeField()
    latest_finish = models.DateTimeField()
    slack = models.PositiveIntegerField(default=0)  # [working min]
    drives = models.BooleanField(default=False)
    minutes = models.PositiveIntegerField(default=0)
    place = models.CharField(max_length=100, blank=True)
    taken = models.PositiveIntegerField(default=0)
    leave_by = models.DateField(null=True)
    back_by = models.DateField(null=True)

    class Meta:
        ordering = ["plan", "earliest_start"]
        constraints = [UniqueConstraint(fields=["plan", "step"], name="one_plan_per_step")]

    def __str__(self) -> str:
        return f"{self.step}: {self.earliest_start:%Y-%m-%d}"

"""Tasks that mechanics book time on, and the steps that are done."""

import uuid

from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models import ONE_WORK, Place, Work
from shop.people.models import Grade
from shop.restorations.models import Restoration
from shop.routes.models.steps import Step


class Task(models.Model):
    """What a mechanic books time on: a named group of steps of one or many parts, even of several bikes, or other work.

    ``restoration`` is empty where the steps are of several bikes, or of none. ``key`` names the group a task was formed for,
    so that forming it again finds it. ``origin_uid`` is the step that rework or a comeback comes from.
    """

    class Kind(models.TextChoices):
        BIKE = "bike", _("work on a bike")
        REWORK = "rework", _("again")
        COMEBACK = "comeback", _("comeback")
        WALK_IN = "walk_in", _("small job")
        INDIRECT = "indirect", _("not for one bike")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(_("kind"), max_length=10, choices=Kind, default=Kind.BIKE)
    name = models.CharField(_("name"), max_length=120)
    restoration = models.ForeignKey(Restoration, models.PROTECT, null=True, blank=True, related_name="tasks")
    area_name = models.CharField(_("area of the bike"), max_length=60, blank=True)
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, verbose_name=_("place"))
    grade = models.ForeignKey(Grade, models.PROTECT, null=True, blank=True, verbose_name=_("labour grade"))
    alone = models.BooleanField(_("one person at a time"), default=False)
    by_hand = models.BooleanField(_("put together by hand"), default=False)
    key = models.CharField(max_length=200, blank=True, editable=False)
    origin_uid = models.UUIDField(null=True, editable=False)
    made_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["name", "pk"]
        indexes = [
            models.Index(fields=["restoration"], condition=Q(closed_at__isnull=True), name="open_task_of_restoration"),
        ]
        constraints = [
            UniqueConstraint(
                fields=["key"], condition=~Q(key="") & Q(closed_at__isnull=True), name="one_open_task_per_group"
            ),
            UniqueConstraint(
                fields=["name"],
                condition=Q(kind="indirect", closed_at__isnull=True),
                name="one_indirect_task_per_name",
                violation_error_message=_("There is such a task already. Choose another name."),
            ),
            CheckConstraint(
                condition=Q(kind__in=["rework", "comeback"], origin_uid__isnull=False)
                | (~Q(kind__in=["rework", "comeback"]) & Q(origin_uid__isnull=True)),
                name="rework_comes_from_a_step",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class TaskStep(models.Model):
    """A step on one visit belongs to one task. Only authorised steps do: a guard holds it."""

    task = models.ForeignKey(Task, models.PROTECT, related_name="lines")
    step = models.ForeignKey(Step, models.PROTECT, related_name="tasks")
    visit = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["task", "step__part__position", "step__position"]
        constraints = [UniqueConstraint(fields=["step", "visit"], name="one_task_per_step_and_visit")]

    def __str__(self) -> str:
        return f"{self.task}: {self.step}"


class Remedy(Work):
    """Work that a redo needs before its steps can begin again, such as taking the wrong coat off."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    task = models.ForeignKey(Task, models.PROTECT, related_name="remedies")
    position = models.PositiveSmallIntegerField(_("position"))
    done_at = models.DateTimeField(null=True, editable=False)
    done_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["task", "position"]
        constraints = [
            UniqueConstraint(fields=["task", "position"], name="one_remedy_per_position"),
            CheckConstraint(condition=ONE_WORK, name="remedy_has_one_work"),
        ]

    def __str__(self) -> str:
        return str(self.work)


class Done(models.Model):
    """A step was done for all its pieces, on one visit. Kept when it has to be done again: that is another visit.

    ``undone_at`` takes back what was said by mistake.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    step = models.ForeignKey(Step, models.PROTECT, related_name="dones")
    visit = models.PositiveSmallIntegerField(default=1)
    at = models.DateTimeField(_("done at"))
    who = models.CharField(_("who"), max_length=150)
    undone_at = models.DateTimeField(null=True, editable=False)
    undone_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["at", "pk"]
        verbose_name_plural = "done"
        constraints = [
            UniqueConstraint(fields=["step", "visit"], condition=Q(undone_at__isnull=True), name="done_once_per_visit"),
            CheckConstraint(
                condition=Q(undone_at__isnull=True, undone_by="") | (Q(undone_at__isnull=False) & ~Q(undone_by="")),
                name="undone_says_who",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.step}, {self.at:%Y-%m-%d}"

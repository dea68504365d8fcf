"""Taps as they came in, and the clockings they made. What is corrected stays, with what took its place beside it."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.people.models import Tablet
from shop.routes.models import Task

LIVE = Q(superseded_at__isnull=True)
OPEN = LIVE & Q(ended_at__isnull=True)


class Tap(models.Model):
    """What a mechanic tapped, kept before anything is done about it.

    ``uid`` is made where the tap was made, so that the same tap sent again is known; ``body_sha256`` tells whether it
    still says the same. ``device_at`` is what the device's clock said, ``at`` the moment the tap counts for.
    """

    class Kind(models.TextChoices):
        ON = "on", _("on")
        OFF = "off", _("off")
        DONE = "done", _("done")

    class State(models.TextChoices):
        KEPT = "kept", _("kept")
        APPLIED = "applied", _("applied")
        ASKED = "asked", _("waits for a person")
        SETTLED = "settled", _("settled by a person")

    uid = models.UUIDField(unique=True)
    kind = models.CharField(_("tap"), max_length=8, choices=Kind)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="taps")
    tablet = models.ForeignKey(Tablet, models.PROTECT, null=True, related_name="taps")
    task = models.ForeignKey(Task, models.PROTECT, null=True, related_name="taps")
    body = models.TextField()
    body_sha256 = models.CharField(max_length=64)
    device_at = models.DateTimeField(null=True)
    received_at = models.DateTimeField()
    at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=State, default=State.KEPT)
    reason = models.CharField(_("why it waits"), max_length=300, blank=True)
    answer = models.TextField(blank=True)
    settled_at = models.DateTimeField(null=True)
    settled_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["received_at", "pk"]
        indexes = [
            models.Index(
                fields=["person", "received_at"], condition=Q(state__in=["kept", "asked"]), name="tap_to_look_at"
            ),
        ]
        constraints = [
            CheckConstraint(condition=~Q(state="asked") | ~Q(reason=""), name="tap_that_waits_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_kind_display()}"


class Correction(models.Model):
    """Somebody says that clockings were different, and why. The old rows stay; new ones stand in their place."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="corrections")
    reason = models.CharField(_("reason"), max_length=200)
    who = models.CharField(_("who"), max_length=150)
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [CheckConstraint(condition=~Q(reason=""), name="correction_says_why")]

    def __str__(self) -> str:
        return f"{self.person}: {self.reason}"


class Clocking(models.Model):
    """A person was on a task from ``began_at`` to ``ended_at``, open while they still are.

    Live rows of a person never overlap: the database refuses it. ``alone`` copies whether the task takes one person at a
    time. ``through_breaks`` says that the person worked on while the shop had its break.
    """

    class How(models.TextChoices):
        TAP = "tap", _("clocked")
        RECALLED = "recalled", _("recalled")
        CORRECTED = "corrected", _("corrected")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="clockings")
    task = models.ForeignKey(Task, models.PROTECT, related_name="clockings")
    began_at = models.DateTimeField(_("from"))
    ended_at = models.DateTimeField(_("to"), null=True, blank=True)
    how = models.CharField(_("begin is"), max_length=10, choices=How, default=How.TAP)
    ended_how = models.CharField(_("end is"), max_length=10, choices=How, blank=True)
    alone = models.BooleanField(default=False)
    through_breaks = models.BooleanField(_("worked through the break"), default=False)
    tap = models.ForeignKey(Tap, models.PROTECT, null=True, related_name="began")
    correction = models.ForeignKey(Correction, models.PROTECT, null=True, related_name="made")
    superseded_at = models.DateTimeField(null=True, editable=False)
    superseded_by = models.ForeignKey(Correction, models.PROTECT, null=True, related_name="superseded")
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["began_at", "pk"]
        indexes = [
            models.Index(fields=["person", "began_at"], condition=LIVE, name="clocking_of_person"),
            models.Index(fields=["task"], condition=LIVE, name="clocking_of_task"),
        ]
        constraints = [
            UniqueConstraint(fields=["person"], condition=OPEN, name="one_open_clocking_per_person"),
            UniqueConstraint(fields=["task"], condition=OPEN & Q(alone=True), name="one_person_on_a_task_alone"),
            CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("began_at")),
                name="clocking_in_order",
                violation_error_message=_("It ends before it begins. Swap the times."),
            ),
            CheckConstraint(
                condition=Q(ended_at__isnull=True, ended_how="") | (Q(ended_at__isnull=False) & ~Q(ended_how="")),
                name="clocking_end_says_how",
            ),
            CheckConstraint(
                condition=Q(superseded_at__isnull=True, superseded_by__isnull=True)
                | Q(superseded_at__isnull=False, superseded_by__isnull=False),
                name="clocking_superseded_by_a_correction",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} on {self.task}"

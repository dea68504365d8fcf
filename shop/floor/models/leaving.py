"""Before a bike leaves, as it leaves, and when it comes back; and small jobs that walk in at the door."""

import uuid
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models import Cause, RunCheck, Stage
from shop.restorations.models import Restoration, between
from shop.routes.models import Step, Task


class Run(models.Model):
    """A first start, a run-in, a road test or a retorque. It is finished once its checks are."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="runs")
    stage = models.CharField(_("what"), max_length=12, choices=Stage)
    distance = models.DecimalField(
        _("distance [km]"),
        max_digits=7,
        decimal_places=1,
        null=True,
        blank=True,
        validators=between(Decimal(0), Decimal(10_000)),
    )
    note = models.CharField(_("note"), max_length=300, blank=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["restoration", "at", "pk"]
        constraints = [
            UniqueConstraint(
                fields=["restoration", "stage"],
                condition=Q(finished_at__isnull=True),
                name="one_run_of_a_stage_at_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.restoration}: {self.get_stage_display()}"


class RunTick(models.Model):
    """One check of a run as it came out. Never changed: a later row for the same check counts instead."""

    run = models.ForeignKey(Run, models.PROTECT, related_name="ticks")
    check_asked = models.ForeignKey(RunCheck, models.PROTECT, related_name="ticks", verbose_name=_("check"))
    words = models.CharField(max_length=200)
    as_it_should = models.BooleanField(_("as it should be"))
    note = models.CharField(_("note"), max_length=200, blank=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["run", "at", "pk"]

    def __str__(self) -> str:
        return self.words


class Snag(models.Model):
    """Something that is not right before hand-over."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="snags")
    run = models.ForeignKey(Run, models.PROTECT, null=True, blank=True, related_name="snags")
    step = models.ForeignKey(
        Step, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("comes from the step")
    )
    words = models.CharField(_("what is not right"), max_length=300)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, editable=False)
    settled_by = models.CharField(max_length=150, blank=True)
    settled_how = models.CharField(_("what was done"), max_length=300, blank=True)

    class Meta:
        ordering = ["restoration", "at", "pk"]
        constraints = [
            CheckConstraint(
                condition=Q(settled_at__isnull=True, settled_how="")
                | (Q(settled_at__isnull=False) & ~Q(settled_how="") & ~Q(settled_by="")),
                name="snag_settled_says_how",
            ),
        ]

    def __str__(self) -> str:
        return self.words


class HandedOver(models.Model):
    """The bike went to its owner, who signed for it as it was written then. Never changed.

    ``words`` is what was signed as canonical text. ``let_go_by`` put a name to it that money was late then, and why it may
    go all the same: the owner does not sign for that.
    """

    restoration = models.OneToOneField(Restoration, models.PROTECT, primary_key=True, related_name="handed_over")
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    received_by = models.CharField(_("who received it"), max_length=120)
    on = models.DateField(_("handed over on"))
    reading = models.PositiveIntegerField(
        _("distance on the clock"), null=True, blank=True, validators=between(0, 10**7)
    )
    words = models.TextField()
    words_sha256 = models.CharField(max_length=64)
    late_minor = models.BigIntegerField(default=0)
    let_go_by = models.CharField(_("who lets it go unpaid"), max_length=120, blank=True)
    let_go_why = models.CharField(_("why"), max_length=200, blank=True)
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["-on"]
        verbose_name_plural = "handed over"
        constraints = [
            CheckConstraint(condition=~Q(received_by=""), name="handed_over_to_somebody"),
            CheckConstraint(
                condition=Q(late_minor=0) | (Q(late_minor__gt=0) & ~Q(let_go_by="") & ~Q(let_go_why="")),
                name="let_go_unpaid_by_name_and_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.restoration}, {self.on}"


class Comeback(models.Model):
    """A bike came back after hand-over: what is wrong, the step it comes from, and who pays."""

    class Pays(models.TextChoices):
        WE = "we", _("we do")
        VENDOR = "vendor", _("a vendor")
        CUSTOMER = "customer", _("the customer")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="comebacks")
    step = models.ForeignKey(Step, models.PROTECT, related_name="comebacks", verbose_name=_("comes from the step"))
    words = models.CharField(_("what is wrong"), max_length=300)
    cause = models.ForeignKey(
        Cause, models.PROTECT, null=True, blank=True, related_name="comebacks", verbose_name=_("cause")
    )
    pays = models.CharField(_("who pays"), max_length=10, choices=Pays)
    came_on = models.DateField(_("came back on"))
    task = models.OneToOneField(Task, models.PROTECT, related_name="comeback")
    who = models.CharField(max_length=150)
    at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, editable=False)
    settled_how = models.CharField(_("what was done"), max_length=300, blank=True)

    class Meta:
        ordering = ["came_on", "pk"]

    def __str__(self) -> str:
        return self.words


class WalkIn(models.Model):
    """A small job that walked in, agreed at the counter. Mechanics see its task, never its price or customer."""

    task = models.OneToOneField(Task, models.PROTECT, primary_key=True, related_name="walk_in")
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    customer = models.CharField(_("customer"), max_length=120)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    agreed_minor = models.BigIntegerField(_("agreed price with tax"), validators=between(0, 10**12))
    minutes = models.PositiveIntegerField(
        _("minutes it may take"), null=True, blank=True, validators=between(1, 100_000)
    )
    agreed_on = models.DateField(_("agreed on"))
    paid_on = models.DateField(_("paid on"), null=True, blank=True)
    who = models.CharField(max_length=150)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at"]
        constraints = [CheckConstraint(condition=Q(agreed_minor__gte=0), name="walk_in_price_not_negative")]

    def __str__(self) -> str:
        return f"{self.task}, {self.customer}"

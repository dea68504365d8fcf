"""What is to be done: steps, what they wait for, and which are authorised."""

import uuid
from decimal import Decimal

from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models import ONE_WORK, Work
from shop.rates.models import Status
from shop.restorations.models import Part, Restoration, between

QUANTITY = between(Decimal(0), Decimal(1_000_000))
HANDLING = between(Decimal(0), Decimal(100_000))  # [min]
CHANCE = between(Decimal(0), Decimal(100))  # [%]
PRICE = between(0, 10**12)


class Source(models.TextChoices):
    """Where a bought-in part comes from."""

    NEW_OLD_STOCK = "new_old_stock", _("new old stock")
    REPRODUCTION = "reproduction", _("reproduction")
    USED = "used", _("used")
    EXCHANGE = "exchange", _("exchange")
    CUSTOMERS_OWN = "customers_own", _("customer's own")


class Step(Work):
    """One step of a part's route: one labour operation, one vendor job or one purchase.

    ``origin`` says whether the step came with the finish, so that another finish can replace it.
    """

    class Origin(models.TextChoices):
        BEFORE = "before", _("before the finish")
        STRIP = "strip", _("taking the old finish off")
        FINISH = "finish", _("the finish")
        AFTER = "after", _("after the finish")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    part = models.ForeignKey(Part, models.PROTECT, related_name="steps")
    position = models.PositiveIntegerField(_("position"))
    origin = models.CharField(_("belongs to"), max_length=8, choices=Origin, default=Origin.BEFORE)
    quantity = models.DecimalField(
        _("quantity"), max_digits=9, decimal_places=3, null=True, blank=True, validators=QUANTITY
    )
    fail_chance = models.DecimalField(
        _("chance of failing [%]"), max_digits=5, decimal_places=2, default=0, validators=CHANCE
    )
    back_to = models.ForeignKey("self", models.PROTECT, null=True, blank=True, verbose_name=_("goes back to"))
    remedy_finish = models.ForeignKey(
        "methods.Finish",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("strip before the redo"),
    )
    scrap_chance = models.DecimalField(
        _("chance of scrapping [%]"), max_digits=5, decimal_places=2, default=0, validators=CHANCE
    )
    replacement_minor = models.BigIntegerField(_("price of a replacement"), default=0, validators=PRICE)
    buy = models.CharField(_("bought-in part"), max_length=100, blank=True)
    buy_source = models.CharField(_("source"), max_length=20, choices=Source, blank=True)
    buy_price_minor = models.BigIntegerField(_("price per piece"), default=0, validators=PRICE)
    buy_handling = models.DecimalField(
        _("handling [min]"), max_digits=6, decimal_places=1, default=0, validators=HANDLING
    )
    buy_lead_days = models.PositiveIntegerField(
        _("comes after [working days]"), default=0, validators=between(0, 2_000)
    )
    buy_status = models.CharField(_("price is"), max_length=8, choices=Status, default=Status.GUESSED)
    buy_said_by = models.CharField(_("who said so"), max_length=120, blank=True)
    buy_said_on = models.DateField(_("said on"), null=True, blank=True)
    buy_valid_until = models.DateField(_("price holds until"), null=True, blank=True)
    buy_searching_since = models.DateField(_("searching since"), null=True, blank=True)
    buy_core_minor = models.BigIntegerField(_("back for the old part, per piece"), default=0, validators=PRICE)
    buy_core_by = models.DateField(_("old part back by"), null=True, blank=True)
    removed_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["part", "position"]
        constraints = [
            UniqueConstraint(
                fields=["part", "position"], condition=Q(removed_at__isnull=True), name="one_step_per_position"
            ),
            CheckConstraint(
                condition=(ONE_WORK & Q(buy="")) | (Q(operation__isnull=True, service__isnull=True) & ~Q(buy="")),
                name="step_has_one_work",
                violation_error_message=_("Choose one: a labour operation, a vendor's service, or a part to buy."),
            ),
            CheckConstraint(
                condition=Q(fail_chance__gte=0, scrap_chance__gte=0) & Q(fail_chance__lt=100 - F("scrap_chance")),
                name="step_can_succeed",
                violation_error_message=_(
                    "With this the step would never be done. Keep both chances below 100 %% together."
                ),
            ),
            CheckConstraint(
                condition=Q(buy_price_minor__gte=0, replacement_minor__gte=0, buy_handling__gte=0),
                name="step_prices_not_negative",
                violation_error_message=_("Prices and handling cannot be negative. Give 0 or more."),
            ),
            CheckConstraint(
                condition=~Q(buy_source="customers_own") | Q(buy_price_minor=0),
                name="customers_own_has_no_price",
                violation_error_message=_("What the customer brings has no price here. Give 0, or another source."),
            ),
            CheckConstraint(
                condition=Q(buy_source="exchange", buy_core_minor__gte=0)
                | Q(buy_core_minor=0, buy_core_by__isnull=True),
                name="core_goes_with_exchange",
                violation_error_message=_(
                    "Only an exchange part takes the old one back. Choose that source, or give 0."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.buy or str(self.work)


class Wait(models.Model):
    """``step`` cannot begin before ``on``, a step of any part of the same restoration, is done."""

    step = models.ForeignKey(Step, models.CASCADE, related_name="waits")
    on = models.ForeignKey(Step, models.CASCADE, related_name="awaited_by")

    class Meta:
        constraints = [
            UniqueConstraint(
                fields=["step", "on"],
                name="one_wait_per_pair",
                violation_error_message=_("It waits for that step already."),
            ),
            CheckConstraint(
                condition=~Q(step=F("on")),
                name="no_wait_on_itself",
                violation_error_message=_("A step cannot wait for itself. Choose another one."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.step} waits for {self.on}"


class Authorisation(models.Model):
    """A step may be clocked or sent out because of this. ``kind`` and ``reference`` say what authorised it."""

    class Kind(models.TextChoices):
        QUOTE = "quote", _("accepted quote")
        STANDING = "standing", _("standing")
        ORIGIN = "origin", _("origin step")

    step_uid = models.UUIDField(unique=True)
    kind = models.CharField(max_length=10, choices=Kind)
    reference = models.CharField(max_length=60)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.step_uid} by {self.kind} {self.reference}"


class Override(models.Model):
    """Somebody lets a step begin that something would hold back, and puts a name to it. Never changed."""

    class Kind(models.TextChoices):
        FINISH = "finish", _("finish evidence")
        NUMBERS = "numbers", _("numbers that do not match")
        FUNDING = "funding", _("money not received yet")

    kind = models.CharField(_("what held it back"), max_length=8, choices=Kind, default=Kind.FINISH)
    step = models.ForeignKey(Step, models.PROTECT, related_name="overrides")
    who = models.CharField(_("who decided"), max_length=120)
    reason = models.CharField(_("reason"), max_length=200)
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["step", "at", "pk"]

    def __str__(self) -> str:
        return f"{self.step}: {self.who}"


class Hold(models.Model):
    """Days, both included, on which nothing is done on a restoration, and why. Without a last day it lasts until taken back."""

    class Kind(models.TextChoices):
        UNPAID = "unpaid", _("a payment is missing")
        DECIDING = "deciding", _("the customer is deciding")
        PART = "part", _("waiting for a part")
        OURS = "ours", _("our own reason")

    restoration = models.ForeignKey(Restoration, models.PROTECT, related_name="holds")
    first = models.DateField(_("first day"))
    last = models.DateField(_("last day"), null=True, blank=True)
    kind = models.CharField(_("why"), max_length=8, choices=Kind, default=Kind.OURS)
    reason = models.CharField(_("reason"), max_length=200)
    removed_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["restoration", "first"]
        constraints = [
            CheckConstraint(
                condition=Q(last__isnull=True) | Q(last__gte=F("first")),
                name="hold_in_order",
                violation_error_message=_("The last day is before the first. Swap them."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.first} - {self.last or '…'}: {self.reason}"


class Funding(models.Model):
    """What a restoration's customer has paid, and what of it is late [minor units with tax]; pricing writes it here.

    Vendor work and purchases wait for it, see ``routes.funding``.
    """

    restoration = models.OneToOneField(Restoration, models.PROTECT, primary_key=True, related_name="funding")
    received_minor = models.BigIntegerField(default=0)
    late_minor = models.BigIntegerField(default=0)
    at = models.DateTimeField()

    class Meta:
        constraints = [CheckConstraint(condition=Q(late_minor__gte=0), name="funding_late_not_negative")]

    def __str__(self) -> str:
        return f"{self.restoration}: {self.received_minor}"


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

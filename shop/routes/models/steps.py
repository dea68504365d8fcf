"""The steps of a part's route, what they wait for, and which are authorised."""

import uuid
from decimal import Decimal

from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models import ONE_WORK, Work
from shop.rates.models import Status
from shop.restorations.models import Part, between

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

    ``origin`` says whether the step came with the finish, so that another finish can replace it. ``visit`` counts how often
    it is begun: one more with each redo. ``split_from`` is the step it was part of before some pieces went their own way.
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
    visit = models.PositiveSmallIntegerField(default=1, editable=False)
    split_from = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="split_into", editable=False
    )
    removed_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["part", "position"]
        constraints = [
            CheckConstraint(condition=Q(visit__gte=1), name="step_visits_count_from_one"),
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

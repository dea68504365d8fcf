"""Dated: what things cost. Rows are never edited; a change is a new row with its day and revision."""

from decimal import Decimal
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

PERCENT: dict[str, Any] = {"max_digits": 6, "decimal_places": 3}
NOT_NEGATIVE = [MinValueValidator(Decimal(0))]
ABOVE_ZERO = [MinValueValidator(Decimal("0.001"))]
BELOW_HUNDRED = [MinValueValidator(Decimal(0)), MaxValueValidator(Decimal("99.999"))]


class Status(models.TextChoices):
    """How sure a price is."""

    SEEN = "seen", _("seen in writing")
    PHONED = "phoned", _("told by phone")
    GUESSED = "guessed", _("guessed")


class Dated(models.Model):
    """A rate valid from a day on; of several for the same day the highest revision holds."""

    valid_from = models.DateField(_("valid from"))
    revision = models.PositiveIntegerField(_("revision"), default=1)
    noted_by = models.CharField(_("noted by"), max_length=150, blank=True)

    class Meta:
        abstract = True
        ordering = ["-valid_from", "-revision"]


class GradeRate(Dated):
    grade = models.ForeignKey("people.Grade", models.PROTECT, related_name="rates")
    cost_rate_minor = models.BigIntegerField(_("cost per hour"))
    charge_rate_minor = models.BigIntegerField(_("charge-out rate per hour"))
    pace = models.DecimalField(
        _("pace against standard"), max_digits=5, decimal_places=3, default=1, validators=ABOVE_ZERO
    )

    class Meta(Dated.Meta):
        constraints = [
            UniqueConstraint(fields=["grade", "valid_from", "revision"], name="one_grade_rate_revision"),
            CheckConstraint(
                condition=Q(cost_rate_minor__gte=0, charge_rate_minor__gte=0, pace__gt=0), name="grade_rate_in_range"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.grade} {self.valid_from}/{self.revision}"


class ConsumablePrice(Dated):
    consumable = models.ForeignKey("methods.Consumable", models.PROTECT, related_name="prices")
    pack_size = models.DecimalField(_("pack size"), max_digits=10, decimal_places=3, validators=ABOVE_ZERO)
    pack_price_minor = models.BigIntegerField(_("price of a pack"))
    status = models.CharField(_("price is"), max_length=8, choices=Status, default=Status.SEEN)
    said_by = models.CharField(_("who said so"), max_length=120, blank=True)
    valid_until = models.DateField(_("price holds until"), null=True, blank=True)

    class Meta(Dated.Meta):
        constraints = [
            UniqueConstraint(fields=["consumable", "valid_from", "revision"], name="one_consumable_price_revision"),
            CheckConstraint(condition=Q(pack_size__gt=0, pack_price_minor__gte=0), name="consumable_price_in_range"),
        ]

    def __str__(self) -> str:
        return f"{self.consumable} {self.valid_from}/{self.revision}"


class ServicePrice(Dated):
    service = models.ForeignKey("methods.Service", models.PROTECT, related_name="prices")
    lot_minor = models.BigIntegerField(_("charge per lot"), default=0)
    minimum_minor = models.BigIntegerField(_("minimum per lot, lot charge included"), default=0)
    trip_minor = models.BigIntegerField(_("cost of a trip"), default=0)
    trip_share = models.DecimalField(
        _("share of a trip per lot"), max_digits=4, decimal_places=3, default=1, validators=NOT_NEGATIVE
    )
    handling = models.DecimalField(
        _("handling [min/lot]"), max_digits=6, decimal_places=1, default=0, validators=NOT_NEGATIVE
    )
    handling_grade = models.ForeignKey("people.Grade", models.PROTECT, verbose_name=_("handled by"))
    status = models.CharField(_("price is"), max_length=8, choices=Status, default=Status.SEEN)
    said_by = models.CharField(_("who said so"), max_length=120, blank=True)
    valid_until = models.DateField(_("price holds until"), null=True, blank=True)

    class Meta(Dated.Meta):
        constraints = [
            UniqueConstraint(fields=["service", "valid_from", "revision"], name="one_service_price_revision"),
            CheckConstraint(
                condition=Q(
                    lot_minor__gte=0, minimum_minor__gte=0, trip_minor__gte=0, trip_share__gte=0, handling__gte=0
                ),
                name="service_price_in_range",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.service} {self.valid_from}/{self.revision}"


class ServiceBreak(models.Model):
    """From ``quantity`` on, each measure costs ``rate_e4`` ten-thousandths of the currency's major unit."""

    price = models.ForeignKey(ServicePrice, models.PROTECT, related_name="breaks")
    quantity = models.DecimalField(_("from quantity"), max_digits=10, decimal_places=3, validators=NOT_NEGATIVE)
    rate_e4 = models.BigIntegerField(_("rate per measure"))

    class Meta:
        ordering = ["price", "quantity"]
        constraints = [
            UniqueConstraint(fields=["price", "quantity"], name="one_rate_per_break"),
            CheckConstraint(condition=Q(quantity__gte=0, rate_e4__gte=0), name="break_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.price}: from {self.quantity}"


class TaxRate(Dated):
    code = models.SlugField(_("code"), max_length=20)
    name = models.CharField(_("name"), max_length=60)
    percent = models.DecimalField(_("rate [%]"), **PERCENT, validators=NOT_NEGATIVE)

    class Meta(Dated.Meta):
        constraints = [
            UniqueConstraint(fields=["code", "valid_from", "revision"], name="one_tax_rate_revision"),
            CheckConstraint(condition=Q(percent__gte=0), name="tax_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.percent} %"


class PricePolicy(Dated):
    """How the shop prices: margins by cost class, floor, overhead, tax, payment stages."""

    class PriceBy(models.TextChoices):
        MARGIN = "margin", _("cost and margin")
        CHARGE_OUT = "charge_out", _("charge-out rates")

    class OverheadBy(models.TextChoices):
        HOURS = "hours", _("direct labour hours")
        LABOUR = "labour", _("direct labour cost")

    class TaxBy(models.TextChoices):
        LINE = "line", _("each line")
        DOCUMENT = "document", _("the document, per rate")

    class Rounding(models.TextChoices):
        HALF_UP = "half_up", _("half up")
        HALF_DOWN = "half_down", _("half down")

    price_by = models.CharField(_("labour is sold by"), max_length=10, choices=PriceBy, default=PriceBy.MARGIN)
    labour_margin = models.DecimalField(_("margin on labour [%]"), **PERCENT, validators=BELOW_HUNDRED)
    overhead_margin = models.DecimalField(_("margin on overhead [%]"), **PERCENT, validators=BELOW_HUNDRED)
    material_margin = models.DecimalField(_("margin on consumables [%]"), **PERCENT, validators=BELOW_HUNDRED)
    vendor_margin = models.DecimalField(_("margin on vendor work [%]"), **PERCENT, validators=BELOW_HUNDRED)
    bought_in_margin = models.DecimalField(_("margin on bought-in parts [%]"), **PERCENT, validators=BELOW_HUNDRED)
    floor = models.DecimalField(_("floor: least margin [%]"), **PERCENT, validators=BELOW_HUNDRED)
    overhead_by = models.CharField(_("overhead goes by"), max_length=10, choices=OverheadBy, default=OverheadBy.HOURS)
    overhead_rate_minor = models.BigIntegerField(_("overhead per direct labour hour"), default=0)
    overhead_percent = models.DecimalField(
        _("overhead on labour cost [%]"), **PERCENT, default=0, validators=NOT_NEGATIVE
    )
    handling_percent = models.DecimalField(
        _("handling of vendor work [% of the charge]"), **PERCENT, default=0, validators=NOT_NEGATIVE
    )
    handling_grade = models.ForeignKey(
        "people.Grade", models.PROTECT, null=True, blank=True, verbose_name=_("bought-in parts are handled by")
    )
    mixed_percent = models.DecimalField(
        _("set-ups saved by mixed batches [%]"), **PERCENT, default=0, validators=BELOW_HUNDRED
    )
    comebacks_percent = models.DecimalField(
        _("kept for comebacks [% of expected cost]"), **PERCENT, default=0, validators=BELOW_HUNDRED
    )
    tax_by = models.CharField(_("tax is rounded on"), max_length=10, choices=TaxBy, default=TaxBy.DOCUMENT)
    rounding = models.CharField(_("rounding"), max_length=10, choices=Rounding, default=Rounding.HALF_UP)
    validity_days = models.PositiveIntegerField(_("quotes are valid for [days]"), default=30)
    assumptions = models.TextField(_("assumptions on every quote"), blank=True)
    storage_after_days = models.PositiveIntegerField(_("storage is charged from held day"), default=15)
    storage_minor = models.BigIntegerField(_("storage per day, before tax"), default=0)
    quiet_days = models.PositiveIntegerField(
        _("a customer hears from us at least every [days]"), default=14, validators=[MinValueValidator(1)]
    )

    class Meta(Dated.Meta):
        constraints = [
            UniqueConstraint(fields=["valid_from", "revision"], name="one_price_policy_revision"),
            CheckConstraint(
                condition=Q(
                    labour_margin__lt=100,
                    overhead_margin__lt=100,
                    material_margin__lt=100,
                    vendor_margin__lt=100,
                    bought_in_margin__lt=100,
                    floor__lt=100,
                    mixed_percent__lt=100,
                    comebacks_percent__lt=100,
                ),
                name="margins_leave_a_price",
            ),
            CheckConstraint(
                condition=Q(
                    overhead_rate_minor__gte=0,
                    overhead_percent__gte=0,
                    handling_percent__gte=0,
                    mixed_percent__gte=0,
                    comebacks_percent__gte=0,
                    storage_minor__gte=0,
                    storage_after_days__gte=1,
                    quiet_days__gte=1,
                ),
                name="policy_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.valid_from}/{self.revision}"


class PaymentStage(models.Model):
    """A share of the total, due ``days`` after an event; ``due`` says so in the customer's words."""

    class Event(models.TextChoices):
        ACCEPTED = "accepted", _("the quote is accepted")
        STRIPPED = "stripped", _("the bike is stripped")
        SENT_OUT = "sent_out", _("parts go out")
        COATED = "coated", _("the frame is coated")
        ASSEMBLED = "assembled", _("the bike is assembled")
        READY = "ready", _("the bike is ready")
        HANDED_OVER = "handed_over", _("the bike is handed over")

    policy = models.ForeignKey(PricePolicy, models.PROTECT, related_name="stages")
    position = models.PositiveIntegerField(_("position"))
    name = models.CharField(_("name"), max_length=60)
    percent = models.DecimalField(_("share of the total [%]"), **PERCENT, validators=NOT_NEGATIVE)
    due = models.CharField(_("due"), max_length=100)
    event = models.CharField(_("due when"), max_length=12, choices=Event, default=Event.ACCEPTED)
    days = models.PositiveIntegerField(_("and so many days after"), default=0)

    class Meta:
        ordering = ["policy", "position"]
        constraints = [
            UniqueConstraint(fields=["policy", "position"], name="one_payment_stage_per_position"),
            CheckConstraint(condition=Q(percent__gte=0, percent__lte=100), name="stage_percent_in_range"),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.percent} %"


CHANCE: dict[str, Any] = {"max_digits": 5, "decimal_places": 2}
OPEN_CHANCE = [MinValueValidator(Decimal("0.01")), MaxValueValidator(Decimal("99.99"))]
RATIO: dict[str, Any] = {"max_digits": 7, "decimal_places": 2}
ABOVE_ONE = [MinValueValidator(Decimal("1.01"))]


class Odds(Dated):
    """What the shop believes about what nobody can see yet: the chances and ratios behind the words, and how sure it wants to be."""

    common = models.DecimalField(_("common: found in [% of bikes]"), **CHANCE, default=50, validators=OPEN_CHANCE)
    sometimes = models.DecimalField(_("sometimes: found in [%]"), **CHANCE, default=15, validators=OPEN_CHANCE)
    rare = models.DecimalField(_("rare: found in [%]"), **CHANCE, default=3, validators=OPEN_CHANCE)
    strong = models.DecimalField(_("strong evidence: times likelier"), **RATIO, default=20, validators=ABOVE_ONE)
    fair = models.DecimalField(_("fair evidence: times likelier"), **RATIO, default=5, validators=ABOVE_ONE)
    weak = models.DecimalField(_("weak evidence: times likelier"), **RATIO, default=2, validators=ABOVE_ONE)
    none = models.DecimalField(_("no listed finish is right [%]"), **CHANCE, default=3, validators=OPEN_CHANCE)
    noticed = models.DecimalField(
        _("a wrong finish is noticed at the final look [%]"), max_digits=5, decimal_places=2, default=100
    )
    proven = models.DecimalField(_("a finish counts as proven from [%]"), **CHANCE, default=90, validators=OPEN_CHANCE)
    seen = models.DecimalField(_("spread of a price seen in writing [%]"), **CHANCE, default=2)
    phoned = models.DecimalField(_("spread of a price told by phone [%]"), **CHANCE, default=8)
    guessed = models.DecimalField(_("spread of a guessed price [%]"), **CHANCE, default=25)
    pace = models.DecimalField(_("spread of a bike's hours, all together [%]"), **CHANCE, default=15)
    kept = models.DecimalField(_("prices and days hold for [% of bikes]"), **CHANCE, default=80, validators=OPEN_CHANCE)
    contingency_margin = models.DecimalField(
        _("margin on contingency [%]"), **PERCENT, default=0, validators=BELOW_HUNDRED
    )
    cap = models.DecimalField(_("cap of an estimate above its figure [%]"), **CHANCE, default=15)
    inspect_fee_minor = models.BigIntegerField(_("fee for strip and inspect, before tax"), default=0)
    credit_days = models.PositiveIntegerField(
        _("the fee is credited when the offer is accepted within [days]"), default=60
    )

    class Meta(Dated.Meta):
        verbose_name_plural = "odds"
        constraints = [
            UniqueConstraint(fields=["valid_from", "revision"], name="one_odds_revision"),
            CheckConstraint(
                condition=Q(
                    common__gt=0,
                    common__lt=100,
                    sometimes__gt=0,
                    sometimes__lt=100,
                    rare__gt=0,
                    rare__lt=100,
                    none__gte=3,
                    none__lt=100,
                    kept__gt=0,
                    kept__lt=100,
                    proven__gt=0,
                    proven__lt=100,
                    noticed__gte=0,
                    noticed__lte=100,
                ),
                name="odds_are_chances",
                violation_error_message=_(
                    "A chance is more than 0 %% and less than 100 %%, and “no listed finish” at least 3 %%."
                ),
            ),
            CheckConstraint(
                condition=Q(strong__gt=1, fair__gt=1, weak__gt=1),
                name="evidence_says_something",
                violation_error_message=_("Evidence makes a finish more than 1 time likelier. Give more than 1."),
            ),
            CheckConstraint(
                condition=Q(
                    seen__gte=0,
                    phoned__gte=0,
                    guessed__gte=0,
                    pace__gte=0,
                    cap__gte=0,
                    inspect_fee_minor__gte=0,
                    contingency_margin__gte=0,
                    contingency_margin__lt=100,
                ),
                name="odds_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.valid_from}/{self.revision}"

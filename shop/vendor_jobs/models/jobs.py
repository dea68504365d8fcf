"""What goes to vendors and comes back: terms, lots, their pieces, the days we were told, charges, claims."""

import uuid
from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models import Service, Vendor
from shop.papers.models import Photograph
from shop.rates.models import Status
from shop.restorations.models import between
from shop.routes.models import PRICE, Step

WEIGHT = between(Decimal(0), Decimal(10_000))


class Terms(models.Model):
    """What stands between us and a vendor besides prices.

    ``takes_in_on`` are digits of the weekdays on which work is taken in, 1 being Monday. ``insured_minor`` is what all that
    is there together is insured for, empty where nobody knows; ``claim_cap_minor`` the most that is paid for a claim.
    ``mails`` lets reminders go to the vendor itself; off until somebody switches it on.
    """

    vendor = models.OneToOneField(Vendor, models.PROTECT, primary_key=True, related_name="terms")
    takes_in_on = models.CharField(_("takes work in on"), max_length=7, default="1234567")
    insured_minor = models.BigIntegerField(
        _("insured for, all that is there together"), null=True, blank=True, validators=PRICE
    )
    claim_cap_minor = models.BigIntegerField(_("pays at most per claim"), null=True, blank=True, validators=PRICE)
    redo_free = models.BooleanField(_("does rejected work again free"), default=True)
    mails = models.BooleanField(_("reminders go to the vendor by e-mail"), default=False)
    note = models.CharField(_("note"), max_length=300, blank=True)

    class Meta:
        verbose_name_plural = "terms"
        constraints = [
            CheckConstraint(condition=~Q(takes_in_on=""), name="terms_take_in_some_day"),
            CheckConstraint(
                condition=(Q(insured_minor__isnull=True) | Q(insured_minor__gte=0))
                & (Q(claim_cap_minor__isnull=True) | Q(claim_cap_minor__gte=0)),
                name="terms_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return str(self.vendor)


class Job(models.Model):
    """A vendor job: one lot for one service of a vendor. How it stands follows from its days, see `standing.stands`.

    ``came_from`` is the job of another vendor that its pieces came straight from; ``redo_of`` the one that was rejected.
    ``agreed_minor`` is before tax. ``let_go_by`` put a name to sending more than the vendor is insured for.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    number = models.PositiveIntegerField(_("number"), unique=True, editable=False)
    service = models.ForeignKey(Service, models.PROTECT, related_name="jobs", verbose_name=_("service"))
    redo_of = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="redone_as")
    came_from = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="went_on_as")
    masking = models.TextField(_("what must stay bare, and how"), blank=True)
    finish_words = models.TextField(_("finish wanted"), blank=True)
    note = models.TextField(_("note to the vendor"), blank=True)
    agreed_minor = models.BigIntegerField(_("agreed price, before tax"), null=True, blank=True, validators=PRICE)
    agreed_status = models.CharField(_("price is"), max_length=8, choices=Status, default=Status.GUESSED)
    agreed_by = models.CharField(_("who said so"), max_length=120, blank=True)
    agreed_on = models.DateField(_("said on"), null=True, blank=True)
    leave_on = models.DateField(_("goes out on"), null=True, blank=True)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    sent_on = models.DateField(_("out since"), null=True, blank=True)
    sent_at = models.DateTimeField(null=True, editable=False)
    sent_by = models.CharField(max_length=150, blank=True)
    carried_by = models.CharField(_("who takes it there"), max_length=120, blank=True)
    let_go_by = models.CharField(_("who lets it go beyond the insured sum"), max_length=120, blank=True)
    let_go_why = models.CharField(_("why"), max_length=200, blank=True)
    back_on = models.DateField(_("all back since"), null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, editable=False)
    cancelled_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["number"]
        indexes = [
            models.Index(
                fields=["service"],
                condition=Q(back_on__isnull=True, cancelled_at__isnull=True),
                name="vendor_job_open",
            ),
            models.Index(fields=["service", "sent_on"], name="vendor_job_sent"),
        ]
        constraints = [
            CheckConstraint(
                condition=Q(sent_on__isnull=True, sent_at__isnull=True, sent_by="")
                | (Q(sent_on__isnull=False, sent_at__isnull=False) & ~Q(sent_by="")),
                name="vendor_job_sent_says_who",
            ),
            CheckConstraint(
                condition=Q(back_on__isnull=True) | Q(sent_on__isnull=False, back_on__gte=F("sent_on")),
                name="vendor_job_back_after_it_left",
                violation_error_message=_("It cannot be back before it went out. Look at the day."),
            ),
            CheckConstraint(
                condition=Q(cancelled_at__isnull=True, cancelled_by="")
                | (Q(cancelled_at__isnull=False, sent_on__isnull=True) & ~Q(cancelled_by="")),
                name="vendor_job_cancelled_before_it_left",
            ),
            CheckConstraint(
                condition=Q(let_go_by="", let_go_why="") | (~Q(let_go_by="") & ~Q(let_go_why="")),
                name="vendor_job_let_go_says_who_and_why",
            ),
            CheckConstraint(
                condition=Q(agreed_minor__isnull=True) | Q(agreed_minor__gte=0), name="vendor_job_price_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"V{self.number}"

    @property
    def vendor(self) -> Vendor:
        return self.service.vendor


class Line(models.Model):
    """The pieces of one step, on one visit, that go with a lot; and what became of them, all alike.

    Pieces that fare differently are split before: each line has one outcome. ``tags`` are the numbers on the tags that hung
    on them as they left; ``replacement_minor`` what it costs to have them again.
    """

    class Outcome(models.TextChoices):
        OPEN = "", _("not back")
        GOOD = "good", _("good")
        REJECTED = "rejected", _("rejected")
        DAMAGED = "damaged", _("damaged there")
        LOST = "lost", _("lost there")
        NOT_SENT = "not_sent", _("did not go")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, models.PROTECT, related_name="lines")
    step = models.ForeignKey(Step, models.PROTECT, related_name="job_lines")
    visit = models.PositiveSmallIntegerField(default=1)
    pieces = models.PositiveIntegerField(_("pieces"), validators=[MinValueValidator(1)])
    weight = models.DecimalField(
        _("weight together [kg]"), max_digits=9, decimal_places=3, null=True, blank=True, validators=WEIGHT
    )
    tags = models.CharField(_("tags"), max_length=300, blank=True)
    replacement_minor = models.BigIntegerField(
        _("replacement value, all pieces"), null=True, blank=True, validators=PRICE
    )
    irreplaceable = models.BooleanField(_("cannot be replaced"), default=False)
    photograph = models.ForeignKey(
        Photograph, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("laid out")
    )
    split_from = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="split_into")
    outcome = models.CharField(_("came back"), max_length=8, choices=Outcome, default=Outcome.OPEN, blank=True)
    back_on = models.DateField(_("on"), null=True, blank=True)
    straight_on = models.BooleanField(_("went straight on"), default=False)
    looked_by = models.CharField(_("counted and looked at by"), max_length=120, blank=True)
    outcome_note = models.CharField(_("what was seen"), max_length=300, blank=True)
    outcome_photograph = models.ForeignKey(Photograph, models.PROTECT, null=True, blank=True, related_name="+")
    settled_at = models.DateTimeField(null=True, editable=False)
    settled_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["job", "step__part__position", "step__position", "pk"]
        constraints = [
            UniqueConstraint(fields=["step"], condition=Q(outcome=""), name="one_open_lot_per_step"),
            CheckConstraint(condition=Q(pieces__gte=1), name="vendor_line_has_pieces"),
            CheckConstraint(
                condition=Q(outcome="", settled_at__isnull=True, settled_by="", back_on__isnull=True)
                | (~Q(outcome="") & Q(settled_at__isnull=False) & ~Q(settled_by="")),
                name="vendor_line_settled_says_who",
            ),
            CheckConstraint(
                condition=Q(outcome__in=["", "not_sent"]) | (Q(back_on__isnull=False) & ~Q(looked_by="")),
                name="vendor_line_back_was_looked_at",
                violation_error_message=_("Say who counted and looked at it, and when it came."),
            ),
            CheckConstraint(
                condition=Q(replacement_minor__isnull=True) | Q(replacement_minor__gte=0),
                name="vendor_line_value_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job}: {self.step}"


class Promise(models.Model):
    """The day we were told a lot will be ready to fetch or here. The newest one counts; the older ones are kept."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="promises")
    due_on = models.DateField(_("back on"))
    status = models.CharField(_("we know by"), max_length=8, choices=Status, default=Status.GUESSED)
    said_by = models.CharField(_("who said so"), max_length=120, blank=True)
    told_on = models.DateField(_("told on"))
    note = models.CharField(_("note"), max_length=200, blank=True)
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["job", "pk"]

    def __str__(self) -> str:
        return f"{self.job}: {self.due_on}"


class Charge(models.Model):
    """What a vendor charged for a job, before tax. Never changed: one that was wrong is reversed by a row of its own."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, models.PROTECT, related_name="charges")
    net_minor = models.BigIntegerField(_("charged, before tax"), validators=between(-(10**12), 10**12))
    document = models.CharField(_("number of the bill"), max_length=60, blank=True)
    on = models.DateField(_("dated"))
    reverses = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="reversed_by")
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["job", "pk"]
        constraints = [
            CheckConstraint(
                condition=Q(reverses__isnull=False) | Q(net_minor__gte=0),
                name="charge_not_negative",
                violation_error_message=_("A charge cannot be negative. Reverse the one that was wrong."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.job}: {self.net_minor}"


class Claim(models.Model):
    """What we ask for pieces that were lost, damaged or not done as agreed; settled once.

    ``payer`` is who is asked, and once it is settled who paid. ``cap_minor`` is the most that the vendor pays.
    """

    class Payer(models.TextChoices):
        VENDOR = "vendor", _("the vendor")
        INSURER = "insurer", _("an insurance")
        US = "us", _("we do")
        CUSTOMER = "customer", _("the customer")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    line = models.ForeignKey(Line, models.PROTECT, related_name="claims")
    words = models.CharField(_("what happened"), max_length=300)
    asked_minor = models.BigIntegerField(_("we ask for"), null=True, blank=True, validators=PRICE)
    cap_minor = models.BigIntegerField(_("the vendor pays at most"), null=True, blank=True, validators=PRICE)
    redo_free = models.BooleanField(_("it is done again free"), default=False)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    settled_at = models.DateTimeField(null=True, editable=False)
    settled_by = models.CharField(max_length=150, blank=True)
    settled_minor = models.BigIntegerField(_("comes to"), null=True, blank=True, validators=PRICE)
    payer = models.CharField(_("who pays"), max_length=8, choices=Payer, default=Payer.VENDOR)
    settled_how = models.CharField(_("how it was settled"), max_length=300, blank=True)

    class Meta:
        ordering = ["made_at", "pk"]
        constraints = [
            CheckConstraint(
                condition=Q(settled_at__isnull=True, settled_by="", settled_minor__isnull=True)
                | (Q(settled_at__isnull=False, settled_minor__gte=0) & ~Q(settled_by="")),
                name="claim_settled_says_by_whom",
            ),
            CheckConstraint(condition=~Q(payer=""), name="claim_says_who_pays"),
            CheckConstraint(condition=~Q(words=""), name="claim_says_what_happened"),
        ]

    def __str__(self) -> str:
        return f"{self.line}: {self.words}"


class Tick(models.Model):
    """On a trip, this job was taken along or fetched: ticked on the way, taken back by unticking."""

    class Kind(models.TextChoices):
        TAKE = "take", _("taken along")
        FETCH = "fetch", _("fetched")

    job = models.ForeignKey(Job, models.PROTECT, related_name="ticks")
    on = models.DateField()
    kind = models.CharField(max_length=5, choices=Kind)
    at = models.DateTimeField()
    who = models.CharField(max_length=150)

    class Meta:
        constraints = [UniqueConstraint(fields=["job", "on", "kind"], name="one_tick_per_job_day_and_kind")]

    def __str__(self) -> str:
        return f"{self.job}, {self.on}: {self.kind}"

import uuid

from django.contrib.auth.models import AbstractUser
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext_lazy as _


class User(AbstractUser):
    """A person who signs in. What they may see hangs on their groups: desk, mechanic, manager."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    session_round = models.PositiveIntegerField(default=0, editable=False)

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """As Django's, over the round as well: counting it up ends every session of this person at once."""
        kept = f"{self.password}:{self.session_round}"
        return salted_hmac("shop.people.models.User.session", kept, secret=secret, algorithm="sha256").hexdigest()


class Grade(models.Model):
    """A labour grade; what its hour costs is dated and lives in ``rates``."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=60, unique=True)
    alone = models.TextField(_("may do alone"), blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class PersonGrade(models.Model):
    """The labour grade of a person from a day on, until the next one. Never changed: who becomes something else gets a new row."""

    person = models.ForeignKey(User, models.PROTECT, related_name="grades")
    grade = models.ForeignKey(Grade, models.PROTECT, related_name="people", verbose_name=_("labour grade"))
    since = models.DateField(_("from"))
    at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["person", "since", "pk"]

    def __str__(self) -> str:
        return f"{self.person}: {self.grade}"


class Shop(models.Model):
    """This workshop as its customers know it. There is one."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=100)
    address = models.TextField(_("address"), blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    tax_number = models.CharField(_("tax or company number"), max_length=40, blank=True)
    country = models.CharField(_("country"), max_length=2, blank=True, help_text=_("Two letters, for its holidays."))
    subdivision = models.CharField(_("region with holidays of its own"), max_length=6, blank=True)
    hands = models.PositiveSmallIntegerField(
        _("people who work on bikes"), default=2, validators=[MinValueValidator(1)]
    )
    productive = models.PositiveSmallIntegerField(
        _("of their hours on bikes [%]"), default=70, validators=[MinValueValidator(1), MaxValueValidator(100)]
    )
    currency = models.CharField(_("currency"), max_length=3, blank=True, help_text=_("Three letters, such as EUR."))
    pin_to_clock = models.BooleanField(_("on a tablet, clocking asks for the PIN"), default=False)
    set_up_at = models.DateTimeField(null=True, editable=False)
    only = models.BooleanField(default=True, unique=True, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(only=True), name="one_shop"),
            models.CheckConstraint(
                condition=models.Q(hands__gte=1, productive__gte=1, productive__lte=100),
                name="somebody_works",
                violation_error_message=_("Somebody has to work. Give at least one person and 1 %% of the hours."),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ShopHours(models.Model):
    """When the workshop is open; a day may have several spans. With none at all it is Monday to Friday, 8 to 12 and 13 to 17."""

    class Weekday(models.IntegerChoices):
        MONDAY = 0, _("Monday")
        TUESDAY = 1, _("Tuesday")
        WEDNESDAY = 2, _("Wednesday")
        THURSDAY = 3, _("Thursday")
        FRIDAY = 4, _("Friday")
        SATURDAY = 5, _("Saturday")
        SUNDAY = 6, _("Sunday")

    weekday = models.PositiveSmallIntegerField(_("weekday"), choices=Weekday)
    opens = models.TimeField(_("opens"))
    closes = models.TimeField(_("closes"))

    class Meta:
        ordering = ["weekday", "opens"]
        verbose_name_plural = "shop hours"
        constraints = [
            models.UniqueConstraint(fields=["weekday", "opens"], name="one_opening"),
            models.CheckConstraint(
                condition=models.Q(closes__gt=models.F("opens"), weekday__lte=6),
                name="closes_after_opening",
                violation_error_message=_("It closes before it opens. Swap the times."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.opens:%H:%M}-{self.closes:%H:%M}"


class Closure(models.Model):
    """Days, both included, on which the workshop is shut."""

    first = models.DateField(_("first day"))
    last = models.DateField(_("last day"))
    reason = models.CharField(_("reason"), max_length=100, blank=True)

    class Meta:
        ordering = ["first"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(last__gte=models.F("first")),
                name="closure_in_order",
                violation_error_message=_("The last day is before the first. Swap them."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.first} - {self.last} {self.reason}"


class Break(models.Model):
    """A break of every working day: minutes of it are nobody's work. Paid ones count as attended, unpaid ones do not.

    It holds from ``since`` (always, where that is empty) to the day before ``until``: what was clocked before a break was
    moved stays what it was.
    """

    name = models.CharField(_("name"), max_length=60)
    begins = models.TimeField(_("begins"))
    ends = models.TimeField(_("ends"))
    paid = models.BooleanField(_("is paid"), default=False)
    since = models.DateField(null=True, editable=False)
    until = models.DateField(null=True, editable=False)

    class Meta:
        ordering = ["begins"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends__gt=models.F("begins")),
                name="break_in_order",
                violation_error_message=_("It ends before it begins. Swap the times."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.begins:%H:%M}-{self.ends:%H:%M}"


class Tablet(models.Model):
    """A tablet of the workshop that the manager let in. Its secret is kept as a hash; one that is taken off has ended."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=60)
    secret_sha256 = models.CharField(max_length=64, unique=True, editable=False)
    enrolled_at = models.DateTimeField()
    enrolled_by = models.CharField(max_length=150)
    ended_at = models.DateTimeField(null=True, editable=False)
    ended_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["name"],
                condition=models.Q(ended_at__isnull=True),
                name="one_tablet_per_name",
                violation_error_message=_("There is a tablet of this name. Choose another one."),
            )
        ]

    def __str__(self) -> str:
        return self.name


class TabletSeen(models.Model):
    """When a tablet was last heard of. Beside the tablet, since looking writes it."""

    tablet = models.OneToOneField(Tablet, models.CASCADE, related_name="seen", primary_key=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.tablet}: {self.at}"


class Enrolment(models.Model):
    """A code that lets one tablet in, once, soon. Kept as a hash; ``misses`` are codes typed wrong while it was open."""

    name = models.CharField(_("name"), max_length=60)
    code_sha256 = models.CharField(max_length=64, unique=True, editable=False)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, editable=False)
    misses = models.PositiveSmallIntegerField(default=0, editable=False)

    class Meta:
        ordering = ["made_at", "pk"]

    def __str__(self) -> str:
        return self.name


class Pin(models.Model):
    """Six digits by which a person is known at a tablet, kept as a hash.

    ``tries`` are those in a row that were not proven right: each is counted before it is looked at.
    """

    person = models.OneToOneField(User, models.CASCADE, related_name="pin", primary_key=True)
    secret = models.CharField(max_length=128, editable=False)
    given_at = models.DateTimeField()
    given_by = models.CharField(max_length=150)
    tries = models.PositiveSmallIntegerField(default=0, editable=False)
    locked_until = models.DateTimeField(null=True, editable=False)

    def __str__(self) -> str:
        return str(self.person)


class PinTry(models.Model):
    """A PIN that was typed: for whom, where, and whether it was right. Where nobody says so any more, it was not."""

    person = models.ForeignKey(User, models.CASCADE, related_name="+")
    tablet = models.ForeignKey(Tablet, models.PROTECT, null=True, related_name="+")
    by = models.ForeignKey(User, models.CASCADE, null=True, related_name="+")
    at = models.DateTimeField()
    right = models.BooleanField(default=False)

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["at"], name="pin_try_at")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(tablet__isnull=False, by__isnull=True)
                | models.Q(tablet__isnull=True, by__isnull=False),
                name="pin_tried_at_one_place",
            )
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.at}"


class PinAlarm(models.Model):
    """Too many wrong PINs within an hour, on one tablet, by one person or in the whole shop, until the manager has seen to it."""

    place = models.CharField(max_length=40)
    tablet = models.ForeignKey(Tablet, models.PROTECT, null=True, related_name="+")
    by = models.ForeignKey(User, models.CASCADE, null=True, related_name="+")
    at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, editable=False)
    settled_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["place"], condition=models.Q(settled_at__isnull=True), name="one_open_alarm_per_place"
            )
        ]

    def __str__(self) -> str:
        return f"{self.place}, {self.at}"

"""Places, sizes, kinds of parts, consumables, and the vendors outside."""

from django.db import models
from django.db.models import CheckConstraint, F, Q
from django.utils.translation import gettext_lazy as _

from shop.methods.models.kinds import NOT_NEGATIVE, Measure, Named


class Place(Named):
    """A work centre's place: bench, blast cabinet, wash, spray area, oven, press."""

    capacity = models.DecimalField(_("capacity"), max_digits=10, decimal_places=3, default=0, validators=NOT_NEGATIVE)
    capacity_by = models.CharField(_("filled by"), max_length=10, choices=Measure, default=Measure.PIECE)

    class Meta(Named.Meta):
        constraints = [CheckConstraint(condition=Q(capacity__gte=0), name="place_capacity_not_negative")]


class SizeClass(Named):
    """A rough size for a part nobody has measured: area [dm²] and weight [kg] per piece."""

    area = models.DecimalField(_("area per piece [dm²]"), max_digits=9, decimal_places=3, validators=NOT_NEGATIVE)
    weight = models.DecimalField(_("weight per piece [kg]"), max_digits=9, decimal_places=3, validators=NOT_NEGATIVE)

    class Meta(Named.Meta):
        constraints = [CheckConstraint(condition=Q(area__gte=0, weight__gte=0), name="size_not_negative")]


class PartKind(Named):
    """What sort of part it is: what is usually wrong with it, and whether it comes as two that are not alike."""

    class Pair(models.TextChoices):
        LEFT_RIGHT = "left_right", _("left and right")
        FRONT_REAR = "front_rear", _("front and rear")
        UPPER_LOWER = "upper_lower", _("upper and lower")

    pair = models.CharField(_("comes as"), max_length=12, choices=Pair, blank=True)
    fitted_first = models.BooleanField(_("is fitted to the bike once before it is coated"), default=False)


class Consumable(Named):
    """Bought in packs, used by measure, by wet film or as powder; prices live in ``rates``."""

    class By(models.TextChoices):
        MEASURE = "measure", _("by measure")
        FILM = "film", _("by film")
        POWDER = "powder", _("as powder")

    unit = models.CharField(_("unit"), max_length=10)
    by = models.CharField(_("used"), max_length=10, choices=By, default=By.MEASURE)
    solids = models.DecimalField(_("volume solids [%]"), max_digits=5, decimal_places=2, default=0)
    density = models.DecimalField(_("density [g/cm³]"), max_digits=6, decimal_places=3, default=0)
    smallest_mix = models.DecimalField(_("smallest mix"), max_digits=9, decimal_places=3, default=0)
    whole_packs = models.BooleanField(_("short pot life: whole packs are mixed"), default=False)

    class Meta(Named.Meta):
        constraints = [
            CheckConstraint(condition=~Q(by="film") | Q(solids__gt=0, solids__lte=100), name="film_has_solids"),
            CheckConstraint(condition=~Q(by="powder") | Q(density__gt=0), name="powder_has_density"),
            CheckConstraint(condition=Q(smallest_mix__gte=0), name="smallest_mix_not_negative"),
        ]


class Vendor(Named):
    """An outside workshop. Suppliers sell, vendors work."""

    address = models.TextField(_("address"), blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    country = models.CharField(
        _("country"), max_length=2, blank=True, help_text=_("Two letters; as the shop's if empty.")
    )
    subdivision = models.CharField(_("region with holidays of its own"), max_length=6, blank=True)
    works_on = models.CharField(
        _("works on"), max_length=7, default="12345", help_text=_("Digits of the weekdays; 1 is Monday.")
    )
    transport_days = models.PositiveSmallIntegerField(_("days on the way, each way"), default=0)


class VendorClosure(models.Model):
    """Days, both included, on which a vendor does not work."""

    vendor = models.ForeignKey(Vendor, models.CASCADE, related_name="closures")
    first = models.DateField(_("first day"))
    last = models.DateField(_("last day"))
    reason = models.CharField(_("reason"), max_length=100, blank=True)

    class Meta:
        ordering = ["vendor", "first"]
        constraints = [
            CheckConstraint(
                condition=Q(last__gte=F("first")),
                name="vendor_closure_in_order",
                violation_error_message=_("The last day is before the first. Swap them."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.vendor}: {self.first} - {self.last}"

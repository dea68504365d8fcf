"""Cost entries: each made from one fact, never changed, reversed by a row of its own."""

from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from quotes.margin.models.closes import Close
from shop.methods.models import Cause, Consumable
from shop.people.models import Grade
from shop.restorations.models import Restoration

#: What a cost is of, in whole minor units.
AMOUNTS = ("labour_minor", "overhead_minor", "material_minor", "vendor_minor", "handling_minor", "bought_in_minor")


#: What counts for a fact now: neither taken back nor taking back.
STANDING = Q(reverses__isnull=True, reversed_by__isnull=True)


class CostEntry(models.Model):
    """What one fact cost one step, or the shop where it has none.

    ``source`` and ``source_id`` name the fact, ``position`` counts its entries from one; ``revision`` counts up where the
    fact turned out different. The entry that reverses the one at ``position`` stands at −``position``. ``on`` is the day of
    the fact; ``close`` the week in whose books it was taken up, empty until then. ``provisional`` amounts are agreed and not
    charged yet. ``quantity`` is what was used of the ``consumable`` [its unit], or what of the ``whole`` lot is this step's [measure
    of the service]. ``rate_minor`` is what an hour was counted at; empty where nobody gave the person a grade with a rate.
    """

    class Source(models.TextChoices):
        CLOCKING = "clocking", _("clocked time")
        VENDOR = "vendor", _("vendor job")
        ORDER = "order", _("bought")
        CORE = "core", _("given for an old part")
        MATERIAL = "material", _("material by the book")
        REPLACED = "replaced", _("replacement of scrapped pieces")
        CLAIM = "claim", _("paid for a claim")

    class Nature(models.TextChoices):
        FIRST = "first", _("first pass")
        AGAIN = "again", _("rework")
        DAMAGE = "damage", _("damage that is ours")
        COMEBACK = "comeback", _("comeback")
        WALK_IN = "walk_in", _("small job")
        INDIRECT = "indirect", _("not for one bike")
        BREAK = "break", _("paid break")

    source = models.CharField(max_length=10, choices=Source)
    source_id = models.BigIntegerField()
    revision = models.PositiveSmallIntegerField(default=1)
    position = models.IntegerField()
    reverses = models.OneToOneField("self", models.PROTECT, null=True, related_name="reversed_by")
    restoration = models.ForeignKey(Restoration, models.PROTECT, null=True, related_name="cost_entries")
    step_uid = models.UUIDField(null=True)
    visit = models.PositiveSmallIntegerField(default=1)
    nature = models.CharField(_("kind"), max_length=10, choices=Nature)
    cause = models.ForeignKey(Cause, models.PROTECT, null=True, related_name="+")
    origin_uid = models.UUIDField(null=True)
    grade = models.ForeignKey(Grade, models.PROTECT, null=True, related_name="+")
    rate_minor = models.BigIntegerField(null=True)
    seconds = models.IntegerField(default=0)
    consumable = models.ForeignKey(Consumable, models.PROTECT, null=True, related_name="+")
    quantity = models.DecimalField(max_digits=18, decimal_places=6, null=True)
    whole = models.DecimalField(max_digits=18, decimal_places=6, null=True)
    labour_minor = models.BigIntegerField(default=0)
    overhead_minor = models.BigIntegerField(default=0)
    material_minor = models.BigIntegerField(default=0)
    vendor_minor = models.BigIntegerField(default=0)
    handling_minor = models.BigIntegerField(default=0)
    bought_in_minor = models.BigIntegerField(default=0)
    provisional = models.BooleanField(default=False)
    on = models.DateField()
    posted_at = models.DateTimeField()
    close = models.ForeignKey(Close, models.PROTECT, null=True, related_name="entries")

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "cost entries"
        indexes = [
            models.Index(fields=["restoration", "close"], name="cost_of_restoration"),
            models.Index(fields=["on"], condition=Q(close__isnull=True), name="cost_not_closed"),
            models.Index(fields=["source"], condition=Q(provisional=True), name="cost_provisional"),
        ]
        constraints = [
            UniqueConstraint(fields=["source", "source_id", "revision", "position"], name="one_cost_entry_per_source"),
            CheckConstraint(
                condition=Q(reverses__isnull=True, position__gt=0) | Q(reverses__isnull=False, position__lt=0),
                name="cost_reversal_stands_below_zero",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.source} {self.source_id}/{self.revision}.{self.position}"

    @property
    def cost_minor(self) -> int:
        """All classes together [minor units]."""
        return sum(getattr(self, name) for name in AMOUNTS)


class Mark(models.Model):
    """How far facts of one source were looked at: the highest key seen, and when. ``waiting`` names earlier keys still open."""

    source = models.CharField(max_length=12, primary_key=True)
    upto = models.BigIntegerField(default=0)
    at = models.DateTimeField(null=True)
    waiting = models.TextField(default="[]")

    def __str__(self) -> str:
        return f"{self.source} {self.upto}"

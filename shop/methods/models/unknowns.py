"""What nobody can see yet: possible damage, and where to look up how a part left the factory."""

import uuid

from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from shop.methods.models.kinds import CostClass, Frequency, Named, Strength
from shop.methods.models.things import PartKind
from shop.methods.models.work import ONE_WORK, Work
from shop.methods.sentences import refuse_out_of_order

#: What a damage costs, in this order.
COSTS = ("low_minor", "likely_minor", "high_minor")


class PossibleDamage(models.Model):
    """What strip-down may reveal on a kind of part: how often, and what it costs between its least and its most.

    The steps it adds are laid on the route when it is found. ``ended`` ones are not put on parts any more.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.ForeignKey(PartKind, models.PROTECT, related_name="damages", verbose_name=_("kind of part"))
    name = models.CharField(_("damage"), max_length=100)
    frequency = models.CharField(_("how often"), max_length=10, choices=Frequency)
    low_minor = models.BigIntegerField(_("costs at least"))
    likely_minor = models.BigIntegerField(_("most likely"))
    high_minor = models.BigIntegerField(_("at most"))
    cost_class = models.CharField(_("mostly"), max_length=10, choices=CostClass, default=CostClass.LABOUR)
    caution = models.TextField(_("caution"), blank=True)
    ended = models.BooleanField(_("not used any more"), default=False)

    class Meta:
        ordering = ["kind", "name"]
        constraints = [
            UniqueConstraint(fields=["kind", "name"], name="one_damage_per_kind"),
            CheckConstraint(
                condition=Q(low_minor__gte=0, likely_minor__gte=F("low_minor"), high_minor__gte=F("likely_minor")),
                name="damage_costs_in_order",
                violation_error_message=_("Give the costs in order: at least, most likely, at most."),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        refuse_out_of_order({name: getattr(self, name) for name in COSTS}, typed=COSTS)


class DamageStep(Work):
    """A step that a damage adds to the route when it is found."""

    damage = models.ForeignKey(PossibleDamage, models.CASCADE, related_name="steps")
    position = models.PositiveIntegerField(_("position"))
    quantity = models.DecimalField(_("quantity"), max_digits=9, decimal_places=3, null=True, blank=True)

    class Meta:
        ordering = ["damage", "position"]
        constraints = [
            UniqueConstraint(fields=["damage", "position"], name="one_damage_step_per_position"),
            CheckConstraint(condition=ONE_WORK, name="damage_step_has_one_work"),
        ]

    def __str__(self) -> str:
        return f"{self.position}. {self.work}"


class EvidenceSource(Named):
    """Where one can look up what a part looked like when new: what it costs to look, how much it says, of what it speaks.

    ``ended`` ones are not proposed any more.
    """

    strength = models.CharField(_("says"), max_length=10, choices=Strength, default=Strength.FAIR)
    cost_minor = models.BigIntegerField(_("cost of looking"), default=0)
    kinds = models.ManyToManyField(
        PartKind, blank=True, verbose_name=_("speaks of"), help_text=_("All parts if empty.")
    )
    years_from = models.PositiveSmallIntegerField(_("from year"), null=True, blank=True)
    years_to = models.PositiveSmallIntegerField(_("to year"), null=True, blank=True)
    markets = models.CharField(
        _("markets"), max_length=100, blank=True, help_text=_("Separated by commas; all if empty.")
    )
    note = models.TextField(_("note"), blank=True)
    ended = models.BooleanField(_("not used any more"), default=False)

    class Meta(Named.Meta):
        constraints = [
            CheckConstraint(condition=Q(cost_minor__gte=0), name="looking_costs_not_negative"),
            CheckConstraint(
                condition=Q(years_from__isnull=True) | Q(years_to__isnull=True) | Q(years_to__gte=F("years_from")),
                name="source_years_in_order",
            ),
        ]

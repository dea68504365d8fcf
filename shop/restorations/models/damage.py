"""What strip-down may reveal on a part."""

import uuid

from django.db import models
from django.db.models import CheckConstraint, Q
from django.utils.translation import gettext_lazy as _

from shop.methods.models import CostClass, Frequency, PossibleDamage
from shop.papers.models import Photograph
from shop.restorations.models.limits import between
from shop.restorations.models.what import Part


class PartDamage(models.Model):
    """A damage this part may turn out to have, who pays if it is found, and what became of it."""

    class Treatment(models.TextChoices):
        OURS = "ours", _("ours: we pay, it is in the price, found or not")
        PROVISIONAL = "provisional", _("provisional: the customer pays, at a price agreed before the work starts")
        EXCLUDED = "excluded", _("excluded: not part of this offer, quoted by itself if found")

    class Settled(models.TextChoices):
        FOUND = "found", _("found")
        NOT_FOUND = "not_found", _("not found")

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    part = models.ForeignKey(Part, models.PROTECT, related_name="damages")
    damage = models.ForeignKey(PossibleDamage, models.PROTECT, null=True, blank=True, verbose_name=_("from the list"))
    name = models.CharField(_("damage"), max_length=100)
    frequency = models.CharField(_("how often"), max_length=10, choices=Frequency)
    low_minor = models.BigIntegerField(_("costs at least"), validators=between(0, 10**12))
    likely_minor = models.BigIntegerField(_("most likely"), validators=between(0, 10**12))
    high_minor = models.BigIntegerField(_("at most"), validators=between(0, 10**12))
    cost_class = models.CharField(_("mostly"), max_length=10, choices=CostClass, default=CostClass.LABOUR)
    treatment = models.CharField(_("who pays if it is found"), max_length=12, choices=Treatment, default=Treatment.OURS)
    settled = models.CharField(_("it was"), max_length=10, choices=Settled, blank=True)
    settled_at = models.DateTimeField(null=True, editable=False)
    settled_by = models.CharField(max_length=150, blank=True, editable=False)
    note = models.CharField(_("what was seen"), max_length=200, blank=True)
    photographs = models.ManyToManyField(Photograph, blank=True, related_name="+", verbose_name=_("photographs"))
    removed_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["part", "pk"]
        constraints = [
            CheckConstraint(
                condition=Q(
                    low_minor__gte=0, likely_minor__gte=models.F("low_minor"), high_minor__gte=models.F("likely_minor")
                ),
                name="part_damage_costs_in_order",
                violation_error_message=_("Give the costs in order: at least, most likely, at most."),
            ),
            CheckConstraint(
                condition=Q(settled="", settled_at__isnull=True) | (~Q(settled="") & Q(settled_at__isnull=False)),
                name="damage_settled_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part}: {self.name}"

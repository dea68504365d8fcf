"""What an accepted quote allows for: its frozen figures step by step, in minor units that add up to its cost."""

from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.utils.translation import gettext_lazy as _

from quotes.pricing.models import IssuedQuote

#: Classes of cost in the order of the engine's `Visit`.
CLASSES = ("labour_minor", "overhead_minor", "material_minor", "vendor_minor", "bought_in_minor")


class Budget(models.Model):
    """The budget of one accepted quote. ``cost_minor`` is its expected cost with allowances, without contingency.

    ``content`` is the engine's budget, ``agreed`` the lines the customer pays, both as canonical text; ``takes_out`` the steps
    that a variation takes out of the scope; ``due`` when each step must be done at the latest by the plan that went out with
    the quote. Overhead was laid on at ``overhead_rate_minor`` per hour, or
    ``overhead_percent`` of labour; handling of vendor work is ``handling_percent`` of the charge.
    """

    quote = models.OneToOneField(IssuedQuote, models.PROTECT, primary_key=True, related_name="budget")
    cost_minor = models.BigIntegerField()
    content = models.TextField()
    agreed = models.TextField()
    takes_out = models.TextField(default="[]")
    due = models.TextField(default="{}")
    overhead_rate_minor = models.BigIntegerField(null=True)
    overhead_percent = models.DecimalField(max_digits=7, decimal_places=3, null=True)
    handling_percent = models.DecimalField(max_digits=7, decimal_places=3, default=0)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            CheckConstraint(
                condition=Q(overhead_rate_minor__isnull=True) ^ Q(overhead_percent__isnull=True),
                name="budget_lays_overhead_on_one_base",
            )
        ]

    def __str__(self) -> str:
        return f"{self.quote}"


class BudgetLine(models.Model):
    """What is allowed for one step: the first pass, and doing it again; or for what belongs to no step."""

    class Kind(models.TextChoices):
        STEP = "step", _("first pass")
        AGAIN = "again", _("rework allowance")
        DAMAGE = "damage", _("damage that is ours")
        FINISH = "finish", _("wrong finish")
        COMEBACK = "comeback", _("comebacks")

    budget = models.ForeignKey(Budget, models.PROTECT, related_name="lines")
    kind = models.CharField(max_length=10, choices=Kind)
    part_uid = models.UUIDField()
    step_uid = models.UUIDField(null=True)
    seconds = models.IntegerField(default=0)
    labour_minor = models.BigIntegerField(default=0)
    overhead_minor = models.BigIntegerField(default=0)
    material_minor = models.BigIntegerField(default=0)
    vendor_minor = models.BigIntegerField(default=0)
    bought_in_minor = models.BigIntegerField(default=0)

    class Meta:
        ordering = ["budget", "pk"]
        constraints = [
            UniqueConstraint(fields=["budget", "kind", "step_uid"], name="budget_of_a_step_once"),
            UniqueConstraint(
                fields=["budget", "kind", "part_uid"], condition=Q(step_uid__isnull=True), name="budget_of_a_part_once"
            ),
            CheckConstraint(
                condition=Q(kind__in=["step", "again"], step_uid__isnull=False)
                | (~Q(kind__in=["step", "again"]) & Q(step_uid__isnull=True)),
                name="budget_line_names_its_step",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.budget}: {self.kind}"

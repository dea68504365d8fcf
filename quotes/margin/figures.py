"""What one job will still leave, and why: the engine's forecast of a job as the books have it, in words."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from django.utils.translation import gettext_lazy as _

from quotes.engine.inputs import Basis
from quotes.engine.margin.budgets import Rule, rule_at
from quotes.engine.margin.exact import added, less
from quotes.engine.margin.forecast import Forecast, Leaves, Price, at_same_margin, forecast, price_of
from quotes.engine.margin.spending import Spent
from quotes.engine.margin.variances import JobVariances, Terms, of_job
from quotes.margin.jobs import Job

NONE = Decimal(0)

#: Terms that one cause moves together, with what is said where they cost more, and where they cost less.
CAUSES: Mapping[str, tuple[tuple[str, ...], object, object]] = {
    "hours": (
        ("labour_efficiency", "overhead_efficiency"),
        _("work takes longer than quoted"),
        _("work goes faster than quoted"),
    ),
    "rate": (
        ("labour_rate", "overhead_rate"),
        _("hours cost more than quoted"),
        _("hours cost less than quoted"),
    ),
    "batches": (
        ("labour_batching", "overhead_batching"),
        _("less was done together than quoted"),
        _("more was done together than quoted"),
    ),
    "again": (
        ("labour_rework", "overhead_rework", "material_rework", "vendor_rework", "bought_in_rework"),
        _("more is done again than was allowed for"),
        _("less is done again than was allowed for"),
    ),
    "material": (
        ("material_price", "material_usage"),
        _("material costs more than quoted"),
        _("material costs less than quoted"),
    ),
    "vendors": (
        ("vendor_charge", "vendor_lots", "vendor_handling"),
        _("vendors cost more than quoted"),
        _("vendors cost less than quoted"),
    ),
    "bought": (("bought_in",), _("bought-in parts cost more than quoted"), _("bought-in parts cost less than quoted")),
    "damage": (
        ("damage",),
        _("damage that is ours costs more than was kept"),
        _("less damage came up than was kept for"),
    ),
    "finish": (("finish",), _("a wrong finish costs more than was kept"), _("the finishes were right")),
    "comebacks": (("comebacks",), _("comebacks cost more than was kept"), _("fewer came back than was kept for")),
}
#: What moves the price: it lowers what is left where it falls.
PRICE = (_("the price comes to less"), _("the price comes to more"))


@dataclass(frozen=True, slots=True)
class Change:
    """What one cause adds to what the job will leave [money], below zero for what it takes away."""

    cause: str
    amount: Decimal

    @property
    def words(self) -> object:
        """Why, as part of a sentence."""
        more, less = PRICE if self.cause == "price" else CAUSES[self.cause][1:]
        return more if self.amount < 0 else less


@dataclass(frozen=True, slots=True)
class Figures:
    """A job in the review."""

    job: Job
    leaves: Leaves
    so_far: JobVariances

    @property
    def forecast(self) -> Forecast:
        return self.leaves.forecast

    @property
    def money(self) -> Decimal:
        """What the job will still leave [money]."""
        return self.leaves.money

    @property
    def overrun_to_come(self) -> Decimal:
        """What is still to be spent beyond what is budgeted for the work still to be done [money]: this can still be saved."""
        budgeted = less(self.forecast.budget, self.so_far.earned)
        return max(less(self.forecast.to_complete, budgeted), NONE)

    @property
    def exposure(self) -> Decimal:
        """What the shop has of its own in the bike [money before tax]: cost so far and what is on order, less what came in."""
        return self.job.standing.exposure(cost=self.forecast.spent, committed=self.forecast.ordered)

    def changes(self) -> list[Change]:
        """From what was quoted to what is expected now, by cause, the largest first; they add up to the difference."""
        return by_cause(self.forecast.terms, NONE)


def by_cause(terms: Terms, price: Decimal) -> list[Change]:
    """``terms`` [money, plus for more cost] and a change of ``price`` as what they do to what is left, the largest first."""
    found = [
        Change(name, less(NONE, *(getattr(terms, each) for each in names))) for name, (names, *_words) in CAUSES.items()
    ]
    found.append(Change("price", price))
    return sorted((change for change in found if change.amount), key=lambda change: (-abs(change.amount), change.cause))


def figures(job: Job, lots: Mapping[str, tuple[Decimal, Decimal]]) -> Figures:
    """The job as it stands, and as it is expected to close. ``lots`` are `jobs.at_lots`."""
    rules = {step.uid: step.rule for step in job.budget.steps if step.rule}
    spent = [_at_lot(item, rules, lots) for item in job.spent]
    expected = forecast(job.budget, spent, known=job.known)
    return Figures(job, Leaves(_price(job, expected), expected), of_job(job.budget, spent))


def _at_lot(item: Spent, rules: Mapping[str, Rule], lots: Mapping[str, tuple[Decimal, Decimal]]) -> Spent:
    rule, lot = rules.get(item.uid), lots.get(item.uid)
    if rule is None or lot is None:
        return item
    return replace(item, at_lots=rule_at(rule, own=lot[0], whole=lot[1]))


def _price(job: Job, expected: Forecast) -> Price:
    """By the basis of each line: fixed as agreed, else moved as the cost of its part is expected to move."""
    actuals = {}
    for line in job.lines:
        if line.basis in (Basis.CAPPED, Basis.HOURLY):
            steps = [step for step in job.budget.steps if step.part == line.uid]
            budget = added(step.cost for step in steps)
            closing = added(expected.steps[step.uid].spent.cost for step in steps if step.uid in expected.steps)
            actuals[line.uid] = at_same_margin(quoted=line.quoted, budget=budget, expected=closing)
    return price_of(job.lines, actuals=actuals)

"""What one job will still leave, and why: the engine's forecast of a job as the books have it, in words."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from quotes.engine.inputs import Basis
from quotes.engine.margin.budgets import Rule, rule_at
from quotes.engine.margin.changes import Cause, Change, change
from quotes.engine.margin.earned import Progress, progress
from quotes.engine.margin.forecast import Forecast, Leaves, Price, at_same_margin, by_part, forecast, price_of
from quotes.engine.margin.ranking import Standing, standing
from quotes.engine.margin.spending import Spent
from quotes.engine.margin.variances import JobVariances, of_job
from quotes.margin.jobs import Job

#: Cause to what is said where it takes away from what is left, and where it adds to it.
WORDS: Mapping[Cause, tuple[Promise, Promise]] = {
    Cause.AGREED: (_("what was agreed anew leaves less"), _("what was agreed anew leaves more")),
    Cause.BY_ACTUAL: (_("less of it is paid by the hour"), _("more of it is paid by the hour")),
    Cause.FOUND: (_("less was found"), _("more was found")),
    Cause.STORAGE: (_("less storage is paid"), _("more storage is paid")),
    Cause.HOURS: (_("work takes longer than was thought"), _("work goes faster than was thought")),
    Cause.BATCHES: (_("less is done together than was thought"), _("more is done together than was thought")),
    Cause.RATES: (_("hours cost more than was thought"), _("hours cost less than was thought")),
    Cause.REWORK: (_("more is done again than was thought"), _("less is done again than was thought")),
    Cause.MATERIAL: (_("material costs more than was thought"), _("material costs less than was thought")),
    Cause.VENDORS: (_("vendors cost more than was thought"), _("vendors cost less than was thought")),
    Cause.BOUGHT_IN: (_("bought-in parts cost more than was thought"), _("bought-in parts cost less than was thought")),
    Cause.DAMAGE: (_("damage that is ours costs more than was kept"), _("less damage came up than was kept for")),
    Cause.FINISH: (_("a wrong finish costs more than was kept"), _("the finishes were right")),
    Cause.COMEBACKS: (_("comebacks cost more than was kept"), _("fewer come back than was kept for")),
    Cause.IN_PROGRESS: (_("more is in progress"), _("less is in progress")),
}


def words(cause: Cause, amount: Decimal) -> Promise:
    """Why the money left moved by ``amount``, as part of a sentence."""
    return WORDS[cause][0 if amount < 0 else 1]


@dataclass(frozen=True, slots=True)
class Figures:
    """A job in the review: what it will leave, its closing identity so far, its place in the ranking."""

    job: Job
    leaves: Leaves
    so_far: JobVariances
    standing: Standing

    @property
    def forecast(self) -> Forecast:
        return self.leaves.forecast

    @property
    def money(self) -> Decimal:
        """What the job will still leave [money]."""
        return self.leaves.money

    @property
    def exposure(self) -> Decimal:
        """What the shop has of its own in the bike [money before tax]: cost so far and what is on order, less what came in."""
        return self.job.standing.exposure(cost=self.forecast.spent, committed=self.forecast.ordered)

    def progress(self, day: date) -> Progress:
        """Planned, earned and actual on a day, as the textbooks have them; planned is what had to be done by then."""
        due = {uid for uid, by in self.job.due.items() if by <= day}
        done = {item.uid for item in self.job.spent if item.done}
        return progress(self.job.budget, due=due, done=done, actual=self.so_far.actual)

    @property
    def since_quoted(self) -> Change:
        """From what was quoted to what is expected now: the bridge."""
        return change(quoted(self.job), self.leaves)


def quoted(job: Job) -> Leaves:
    """The job as it was accepted: nothing spent, everything as budgeted."""
    return Leaves(price_of(job.lines, actuals={}), forecast(job.budget, ()))


def figures(job: Job, lots: Mapping[str, tuple[Decimal, Decimal]]) -> Figures:
    """The job as it stands, and as it is expected to close. ``lots`` are `jobs.at_lots`."""
    rules = {step.uid: step.rule for step in job.budget.steps if step.rule}
    spent = [_at_lot(item, rules.get(item.uid), lots.get(item.uid)) for item in job.spent]
    expected = forecast(job.budget, spent, known=job.known)
    leaves = Leaves(_price(job, expected), expected)
    return Figures(job, leaves, of_job(job.budget, spent), standing(str(job.restoration.uid), leaves, spent))


def _at_lot(item: Spent, rule: Rule | None, lot: tuple[Decimal, Decimal] | None) -> Spent:
    return replace(item, at_lots=rule_at(rule, own=lot[0], whole=lot[1])) if rule and lot else item


def _price(job: Job, expected: Forecast) -> Price:
    """By the basis of each line: fixed as agreed, else moved as the cost of its part is expected to move."""
    costs = by_part(job.budget, expected)
    actuals = {
        line.uid: at_same_margin(quoted=line.quoted, budget=costs[line.uid].budget, expected=costs[line.uid].expected)
        for line in job.lines
        if line.basis in (Basis.CAPPED, Basis.HOURLY) and line.uid in costs
    }
    return price_of(job.lines, actuals=actuals)

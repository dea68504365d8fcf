"""Jobs as the books have them: what each is budgeted, what went into it, what is known to come. A fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum
from django.utils import timezone

from quotes.engine.inputs import Basis
from quotes.engine.margin.budgets import JobBudget, Kind, together, with_reserves
from quotes.engine.margin.forecast import Known, said_left
from quotes.engine.margin.spending import NOT_ANY, Outlay, Spent, Used
from quotes.engine.money import from_minor, places
from quotes.engine.results import CREDIT
from quotes.engine.settlement import Agreed
from quotes.margin import budgets
from quotes.margin.models import AMOUNTS, Budget, CostEntry
from quotes.margin.models.entries import STANDING
from quotes.margin.posting.vendors import agreed_shares
from quotes.pricing.models import Stage
from quotes.pricing.money import money_in
from quotes.pricing.money.money_in import Standing
from shop import currency
from shop.floor.hours_left import still_left
from shop.floor.models import HandedOver
from shop.methods.models import Consumable
from shop.restorations.models import Restoration
from shop.routes.models import Done, Plan, Step, TaskStep
from shop.vendor_jobs.models import Ordered

Nature = CostEntry.Nature
NONE, MINUTE = Decimal(0), Decimal(60)
#: Natures whose cost stands against what a part keeps for them.
RESERVES = {Nature.DAMAGE: Kind.DAMAGE, Nature.COMEBACK: Kind.COMEBACKS}


@dataclass(frozen=True, slots=True)
class Job:
    """An accepted restoration with its budget, its cost, and what is known beside."""

    restoration: Restoration
    budget: JobBudget
    lines: tuple[Agreed, ...]
    spent: tuple[Spent, ...]
    known: tuple[Known, ...]
    standing: Standing
    parts: Mapping[str, str]
    steps: Mapping[str, str]
    step_names: Mapping[str, str]
    due: Mapping[str, date] = field(default_factory=dict)
    ready: date | None = None
    promised: date | None = None
    handed_over: date | None = None
    agreed_only: int = 0

    def part_of(self, uid: str) -> str:
        """The name of the part that a step, or what is kept for a part, belongs to."""
        return self.parts.get(self.steps.get(uid, uid.partition(" ")[0]), "")


@dataclass(slots=True)
class _Steps:
    """The steps of all jobs: to which part each belongs, which one it was split from, and which were ever done."""

    part: dict[str, str] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    names_of_steps: dict[str, str] = field(default_factory=dict)
    of: dict[int, dict[str, list[bool]]] = field(default_factory=lambda: defaultdict(dict))

    def done(self, restoration: int) -> set[str]:
        """Steps that were done for all their pieces, be it once: what is earned is never taken back."""
        return {uid for uid, pieces in self.of[restoration].items() if all(pieces)}


def restorations(since: date) -> QuerySet[Restoration]:
    """Those with a budget that are not handed over, or were since ``since``."""
    budgeted = Budget.objects.filter(quote__restoration=OuterRef("pk"))
    rows = Restoration.objects.filter(Exists(budgeted)).select_related("customer", "machine")
    return rows.filter(Q(handed_over__isnull=True) | Q(handed_over__on__gte=since)).order_by("pk")


def gather(rows: Sequence[Restoration], *, now: datetime) -> list[Job]:
    """Everything the review needs of ``rows``, in a fixed number of queries."""
    today = timezone.localdate(now)
    pks = [row.pk for row in rows]
    if not pks:
        return []
    kept, steps = _budgets(pks), _steps(pks)
    spent = _spent(pks, steps)
    known, standings = _known(pks), money_in.standings(rows, today)
    plans = dict(Plan.objects.filter(restoration__in=pks).values_list("restoration", "ready_kept"))
    handed = dict(HandedOver.objects.filter(restoration__in=pks).values_list("restoration", "on"))
    agreed_only, claims = _agreed_only(pks), _claims(pks)
    found = []
    for row in rows:
        quotes = kept.get(row.pk, [])
        budget = together((budgets.budget(each) for each in quotes), taken_out=budgets.taken_out(quotes))
        budget = with_reserves(budget, _reserves(spent.get(row.pk, {})))
        went = _with_done(budget, spent.get(row.pk, {}), steps, row.pk)
        promised = [each.quote.ready_kept for each in quotes if each.quote.ready_kept]
        found.append(
            Job(
                restoration=row,
                budget=budget,
                lines=(*_lines(quotes), *claims.get(row.pk, ())),
                spent=went,
                known=_beside(known.get(row.pk, ()), went),
                standing=standings[row.pk],
                parts=steps.names,
                steps=steps.part,
                step_names=steps.names_of_steps,
                due=budgets.due(quotes),
                ready=plans.get(row.pk),
                promised=promised[0] if promised else None,
                handed_over=handed.get(row.pk),
                agreed_only=agreed_only.get(row.pk, 0),
            )
        )
    return _with_said(found, now=now)


def _beside(known: Iterable[Known], spent: Iterable[Spent]) -> tuple[Known, ...]:
    """What is out or on order comes beside what was received of the same step; the engine asks for both together."""
    first = {item.uid: item.first for item in spent if not item.done}
    return tuple(
        item._replace(
            charge=None if item.charge is None else item.charge + first.get(item.uid, NOT_ANY).charge,
            bought_in=None if item.bought_in is None else item.bought_in + first.get(item.uid, NOT_ANY).bought_in,
        )
        for item in known
    )


def _with_said(jobs: Sequence[Job], *, now: datetime) -> list[Job]:
    """With what mechanics said is left of open tasks, shared over the steps that are open in them; a task may have several bikes."""
    steps = {step.uid: step for job in jobs for step in job.budget.steps}
    spent = {item.uid: item for job in jobs for item in job.spent}
    tasks: dict[int, list[str]] = defaultdict(list)
    done = Done.objects.filter(step=OuterRef("step"), visit=OuterRef("visit"), undone_at__isnull=True)
    lines = TaskStep.objects.filter(
        task__closed_at__isnull=True, step__part__restoration__in=[j.restoration.pk for j in jobs]
    )
    for task, uid, whole in lines.exclude(Exists(done)).values_list("task", "step__uid", "step__split_from__uid"):
        if str(whole or uid) in steps:
            tasks[task].append(str(whole or uid))
    left: dict[str, Decimal] = {}
    open_lines = TaskStep.objects.filter(task__in=tasks).exclude(Exists(done)).order_by()
    every = dict(open_lines.values("task").annotate(n=Count("pk")).values_list("task", "n"))
    for task, minutes in still_left(tasks.keys(), now=now).items():
        uids = sorted(set(tasks[task]))
        ours = round(minutes * len(tasks[task]) / every[task])  # the rest is of bikes that are not looked at
        shared = said_left(ours, [(steps[own], spent.get(own, Spent(own))) for own in uids])
        for own, share in shared.items():
            left[own] = left.get(own, NONE) + share
    if not left:
        return list(jobs)
    return [replace(job, known=_known_left(job, left)) for job in jobs]


def _known_left(job: Job, left: Mapping[str, Decimal]) -> tuple[Known, ...]:
    known = {item.uid: item for item in job.known}
    for step in job.budget.steps:
        if step.uid in left:
            known[step.uid] = known.get(step.uid, Known(step.uid))._replace(left=left[step.uid])
    return tuple(known.values())


def _budgets(pks: Iterable[int]) -> dict[int, list[Budget]]:
    """The budgets that hold: of the inspection, of the newest main offer, and of the variations after it."""
    rows = Budget.objects.filter(quote__restoration__in=pks).select_related("quote").order_by("quote__number")
    rows = rows.defer("quote__snapshot", "quote__result", "quote__offer", "quote__variants")
    found: dict[int, list[Budget]] = defaultdict(list)
    for row in rows:
        of = found[row.quote.restoration_id]
        if row.quote.stage == Stage.MAIN:
            of[:] = [each for each in of if each.quote.stage == Stage.INSPECT]
        of.append(row)
    return found


def _lines(quotes: Sequence[Budget]) -> tuple[Agreed, ...]:
    """What the customer pays. A fee that a later offer credits came in already: it is not counted beside that offer."""
    main = [line for each in quotes if each.quote.stage != Stage.INSPECT for line in budgets.agreed_lines(each)]
    if any(line.basis == CREDIT and not line.varies for line in main):
        return tuple(main)
    fee = (line for each in quotes if each.quote.stage == Stage.INSPECT for line in budgets.agreed_lines(each))
    return (*fee, *main)


def _steps(pks: Iterable[int]) -> _Steps:
    done = Done.objects.filter(step=OuterRef("pk"), undone_at__isnull=True)
    rows = Step.objects.filter(part__restoration__in=pks).annotate(is_done=Exists(done)).order_by()
    found = _Steps()
    columns = ("uid", "split_from__uid", "part__uid", "part__split_from__uid", "part__name", "part__restoration")
    works = ("operation__name", "service__name", "buy")
    for uid, origin, part, whole, name, restoration, removed, is_done, *work in rows.values_list(
        *columns, "removed_at", "is_done", *works
    ):
        found.names_of_steps[str(uid)] = next(filter(None, work), "")
        own = str(whole or part)
        found.part[str(uid)] = own
        found.names.setdefault(own, name)
        if removed is None or is_done:
            found.of[restoration].setdefault(str(origin or uid), []).append(is_done)
    return found


def _spent(pks: Iterable[int], steps: _Steps) -> dict[int, dict[str, Spent]]:
    """By restoration and by step, or by what its part keeps for damage and comebacks. Three queries."""
    digits = places(currency.code())
    keys = ("restoration", "step_uid", "origin_uid", "nature", "consumable")
    sums = {name: Sum(name) for name in ("seconds", "quantity", *AMOUNTS)}
    posted = CostEntry.objects.filter(restoration__in=pks).exclude(source=CostEntry.Source.CLAIM)
    rows = posted.order_by().values(*keys).annotate(**sums)
    stuff = {pk: str(uid) for pk, uid in Consumable.objects.values_list("pk", "uid")}
    first: dict[tuple[int, str], Outlay] = {}
    again: dict[tuple[int, str], Outlay] = {}
    for row in rows:
        uid = _whose(row["nature"], row["step_uid"] or row["origin_uid"], steps)
        into = again if row["nature"] == Nature.AGAIN else first
        key = row["restoration"], uid
        into[key] = into.get(key, NOT_ANY).plus(_outlay(row, stuff, digits))
    found: dict[int, dict[str, Spent]] = defaultdict(dict)
    for restoration, uid in {*first, *again}:
        key = restoration, uid
        found[restoration][uid] = Spent(uid, first.get(key, NOT_ANY), again.get(key, NOT_ANY))
    return found


def _outlay(row: Mapping[str, Any], stuff: Mapping[int, str], digits: int) -> Outlay:
    money = {name: from_minor(row[name], digits=digits) for name in AMOUNTS}
    used: tuple[Used, ...] = ()
    if row["consumable"] is not None:
        used = (Used(stuff[row["consumable"]], row["quantity"] or NONE, money["material_minor"]),)
    return Outlay(
        minutes=Decimal(row["seconds"]) / MINUTE,
        labour=money["labour_minor"],
        overhead=money["overhead_minor"],
        used=used,
        charge=money["vendor_minor"],
        handling=money["handling_minor"],
        bought_in=money["bought_in_minor"],
    )


def _whose(nature: str, step: UUID | None, steps: _Steps) -> str:
    """The step it stands against; for damage that is ours and for comebacks, what the part keeps for them."""
    uid = str(step) if step else ""
    kind = RESERVES.get(Nature(nature))
    return f"{steps.part.get(uid, '')} {kind.value}" if kind else uid


def _with_done(budget: JobBudget, spent: Mapping[str, Spent], steps: _Steps, pk: int) -> tuple[Spent, ...]:
    """What was spent, and every step that is done: also one on which nothing was spent is earned.

    What a part keeps for damage and for a wrong finish is settled once all its steps are done.
    """
    done = steps.done(pk)
    open_parts = {step.part for step in budget.steps if step.uid not in done}
    settled = {
        reserve.uid for reserve in budget.reserves if reserve.kind != Kind.COMEBACKS and reserve.part not in open_parts
    }
    budgeted = {step.uid for step in budget.steps}
    every = {*spent, *(done & budgeted), *settled}
    return tuple(spent.get(uid, Spent(uid)).at(done=uid in done or uid in settled) for uid in sorted(every))


def _reserves(spent: Iterable[str]) -> list[tuple[str, Kind]]:
    """Parts and what was spent on them beside their steps, also where the quote kept nothing for it."""
    told = (uid.partition(" ") for uid in spent)
    return [(part, Kind(kind)) for part, _space, kind in told if kind]


def at_lots(jobs: Iterable[Job]) -> dict[str, tuple[Decimal, Decimal]]:
    """Step uid to what it was of the whole lot that it went in [measure of the service]. One query."""
    rows = CostEntry.objects.filter(
        STANDING,
        restoration__in=[job.restoration.pk for job in jobs],
        source=CostEntry.Source.VENDOR,
        nature=Nature.FIRST,
        step_uid__isnull=False,
    )
    found: dict[str, tuple[Decimal, Decimal]] = {}
    for uid, own, whole in rows.values_list("step_uid", "quantity", "whole"):
        if own is not None and whole:  # pieces that were split off went in the same lot
            found[str(uid)] = found.get(str(uid), (NONE, whole))[0] + own, whole
    return found


def _known(pks: Sequence[int]) -> dict[int, list[Known]]:
    """What is agreed for what is out or on order."""
    digits = places(currency.code())
    found: dict[int, dict[str, Known]] = defaultdict(dict)
    for restoration, uid, minor in agreed_shares(pks):
        before = found[restoration].get(uid, Known(uid))
        found[restoration][uid] = before._replace(charge=(before.charge or NONE) + from_minor(minor, digits=digits))
    rows = Ordered.objects.filter(step__part__restoration__in=pks, outcome="").select_related("step__part")
    for row in rows.select_related("step__split_from"):
        if row.step is not None:
            uid = str((row.step.split_from or row.step).uid)
            before = found[row.step.part.restoration_id].get(uid, Known(uid))
            price = row.quantity * from_minor(row.price_minor, digits=digits)
            found[row.step.part.restoration_id][uid] = before._replace(bought_in=(before.bought_in or NONE) + price)
    return {pk: list(items.values()) for pk, items in found.items()}


def _claims(pks: Sequence[int]) -> dict[int, tuple[Agreed, ...]]:
    """What vendors and insurers paid for claims: it makes no work cheaper, it comes in beside the price."""
    digits = places(currency.code())
    rows = CostEntry.objects.filter(restoration__in=pks, source=CostEntry.Source.CLAIM).order_by()
    sums = rows.values_list("restoration").annotate(sum=Sum("vendor_minor"))
    return {
        pk: (Agreed("claims", "", Basis.FIXED, from_minor(-minor, digits=digits), ""),) for pk, minor in sums if minor
    }


def _agreed_only(pks: Sequence[int]) -> dict[int, int]:
    """Restoration to how many of its costs are agreed and not charged yet."""
    rows = CostEntry.objects.filter(STANDING, restoration__in=pks, provisional=True)
    found: dict[int, int] = defaultdict(int)
    for restoration, _source, _key in rows.order_by().values_list("restoration", "source", "source_id").distinct():
        if restoration is not None:
            found[restoration] += 1
    return dict(found)

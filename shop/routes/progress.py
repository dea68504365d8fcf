"""How every step stands: done, out, ready, or waiting and for what, in sentences. Nothing of it is kept."""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum
from functools import partial
from uuid import UUID

from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from shop.rates.selectors import odds
from shop.restorations.models import Restoration
from shop.routes import away as aways
from shop.routes import funding, trial
from shop.routes.gate import gate_in
from shop.routes.graph import Graph, graph, has_work
from shop.routes.models import Away, Done, Funding, Hold, Override, Remedy, Step, Task


class Standing(StrEnum):
    """``OUT`` is at a vendor or on order."""

    DONE = "done"
    OUT = "out"
    READY = "ready"
    WAITING = "waiting"


class Cause(StrEnum):
    """What a step waits for."""

    AGREED = "agreed"
    BEFORE = "before"
    REMEDY = "remedy"
    GATE = "gate"
    TRIAL = "trial"
    HELD = "held"
    MONEY = "money"
    AWAY = "away"


#: What is bought may be here before its turn; and what holds a step from going out holds nothing that has been out.
EARLY = frozenset({Cause.BEFORE, Cause.HELD})
WENT = frozenset({Cause.HELD, Cause.GATE, Cause.TRIAL, Cause.MONEY})


@dataclass(frozen=True, slots=True)
class Why:
    """One thing that a step waits for; ``step`` is the open step that comes first, if that is it.

    It is put in words only where somebody reads it: a bike has hundreds of them, a page shows a few. ``tell`` says it for the
    bench, where nothing is said of money or of what is between the shop and its customer.
    """

    cause: Cause
    say: Callable[[], str] = field(compare=False)
    step: Step | None = None
    tell: Callable[[], str] | None = field(default=None, compare=False)

    @property
    def sentence(self) -> str:
        return self.say()

    @property
    def at_the_bench(self) -> str:
        return (self.tell or self.say)()


@dataclass(frozen=True, slots=True)
class StepState:
    """How a step stands on its present visit.

    ``begin_by`` is when it must have begun where what was done before it must not lie about for long, and ``exceeded``
    that this moment has passed. Neither holds it back, and neither knows whether somebody has begun. ``away`` is where it
    is, or where it has been on this visit.
    """

    step: Step
    standing: Standing
    why: tuple[Why, ...] = ()
    done: Done | None = None
    begin_by: datetime | None = None
    exceeded: bool = False
    away: Away | None = None

    @property
    def is_out(self) -> bool:
        return self.standing is Standing.OUT

    @property
    def is_done(self) -> bool:
        return self.standing is Standing.DONE

    @property
    def is_ready(self) -> bool:
        return self.standing is Standing.READY

    @property
    def may_be_done(self) -> bool:
        """Whether it can be said to be done. What was bought may be here before its turn has come.

        Not while it is out: whoever takes it in says first that it is here again.
        """
        passed = (EARLY if self.step.buy else frozenset()) | (WENT if self.away else frozenset())
        return self.is_ready or (self.standing is Standing.WAITING and {one.cause for one in self.why} <= passed)

    @property
    def sentences(self) -> tuple[str, ...]:
        return tuple(one.sentence for one in self.why)

    @property
    def at_the_bench(self) -> tuple[str, ...]:
        """`sentences` for those who see no money."""
        return tuple(one.at_the_bench for one in self.why)

    @property
    def begin_sentence(self) -> str:
        """By when it must begin, or that this is exceeded; empty where there is no such limit."""
        if self.begin_by is None:
            return ""
        at = date_format(timezone.localtime(self.begin_by), "DATETIME_FORMAT")
        if self.exceeded:
            return _("It should have begun by %(at)s: look at the part before you go on.") % {"at": at}
        return _("It must begin by %(at)s.") % {"at": at}


States = dict[int, StepState]


def states(restorations: Iterable[Restoration], *, now: datetime) -> States:
    """How every step on a route stands, by its key, in a constant number of queries.

    Of the money, only what is late is looked at here; whether what came in covers what leaves goes by prices, which
    `states_of` looks at for one bike.
    """
    return look({row.pk for row in restorations}, now=now).states


@dataclass(frozen=True, slots=True)
class Look:
    """What is on routes, how it stands, and the open step each comes after."""

    graph: Graph
    states: States
    nearest: Mapping[int, tuple[int, ...]]


def look(restorations: Collection[int], *, now: datetime) -> Look:
    """`states` with what they were made from."""
    found = graph(restorations)
    nearest = found.open_before()
    held = _Held(found, restorations, now)
    made = {pk: _state(found, step, nearest, held, now) for pk, step in found.steps.items()}
    return Look(found, made, nearest)


def states_of(restoration: Restoration, *, now: datetime) -> States:
    """The states of one restoration, with what leaves the house waiting for the money that covers it."""
    return with_money(restoration, states([restoration], now=now))


def _state(found: Graph, step: Step, nearest: Mapping[int, tuple[int, ...]], held: "_Held", now: datetime) -> StepState:
    if found.is_past(step.pk):
        return StepState(step, Standing.DONE, done=found.dones.get(step.pk))
    away = found.aways.get(step.pk)
    if away is not None and found.is_out(step.pk):
        out = Why(Cause.AWAY, partial(aways.sentence, away, step, timezone.localdate(now)))
        return StepState(step, Standing.OUT, (out,), away=away)
    why = (
        *_not_agreed(found, step),
        *(Why(Cause.BEFORE, partial(_comes_first, found, step, one), one) for one in _steps(found, nearest[step.pk])),
        *held.of(step),
    )
    begin_by = _begin_by(found, step)
    standing = Standing.WAITING if why else Standing.READY
    return StepState(step, standing, why, None, begin_by, begin_by is not None and now > begin_by, away)


def _steps(found: Graph, pks: Iterable[int]) -> list[Step]:
    return [found.steps[pk] for pk in pks]


def _not_agreed(found: Graph, step: Step) -> Iterable[Why]:
    if step.pk not in found.authorised:
        yield Why(Cause.AGREED, _not_agreed_yet)


def _not_agreed_yet() -> str:
    return _("The customer has not agreed to it yet.")


def _comes_first(found: Graph, step: Step, one: Step) -> str:
    told = {"step": one, "part": one.part, "vendor": one.service.vendor if one.service else ""}
    if one.pk not in found.authorised:
        return _("“%(step)s” of %(part)s comes first, and the customer has not agreed to that yet.") % told
    if found.is_out(one.pk):
        return aways.comes_first(found.aways[one.pk], one)
    if one.service:
        return _("%(part)s has to be back from %(vendor)s first (%(step)s).") % told
    if one.buy:
        return _("%(step)s has to be here first (%(part)s).") % told
    if one.part_id == step.part_id:
        return _("“%(step)s” comes first.") % told
    return _("“%(step)s” of %(part)s comes first.") % told


def _begin_by(found: Graph, step: Step) -> datetime | None:
    """By when it must begin: the latest wait after the step before it on its own part, which is what must not lie about."""
    one = found.one_before(step)
    if one is None or one.operation is None or one.operation.latest_wait is None or not has_work(one):
        return None
    done = found.dones.get(one.pk)
    return done.at + timedelta(minutes=one.operation.latest_wait) if done else None


class _Held:
    """What holds steps back besides what comes before them: proof, trial fit, remedies, held days, late payments."""

    def __init__(self, found: Graph, restorations: Collection[int], now: datetime) -> None:
        today = timezone.localdate(now)
        self.found = found
        self.gate = gate_in([(part, found.routes[pk]) for pk, part in found.parts.items()], restorations, odds(today))
        self.fitted = trial.let_go(restorations)
        self.paid = trial.let_go(restorations, Override.Kind.FUNDING)
        running = Q(last__isnull=True) | Q(last__gte=today)
        rows = Hold.objects.filter(running, restoration__in=restorations, removed_at__isnull=True, first__lte=today)
        self.holds: dict[int, list[Hold]] = {}
        for hold in rows.order_by("first", "pk"):
            self.holds.setdefault(hold.restoration_id, []).append(hold)
        late = Funding.objects.filter(restoration__in=restorations, late_minor__gt=0)
        self.late = {row.restoration_id: funding.Funds(row.received_minor, row.late_minor) for row in late}
        self.remedies = _open_remedies(found, restorations)

    def of(self, step: Step) -> Iterable[Why]:
        part = step.part
        for hold in self.holds.get(part.restoration_id, ()):
            yield Why(Cause.HELD, partial(_held_sentence, hold), tell=partial(_held_at_the_bench, hold))
        for refusal in self.gate.get(str(step.uid), ()):
            yield Why(Cause.GATE, refusal.say)
        if not trial.is_let_go(step, self.fitted) and trial.why_not_fitted(self.found, step):
            yield Why(Cause.TRIAL, partial(trial.why_not_fitted, self.found, step))
        for remedy in self.remedies.get(part.pk, ()):
            yield Why(Cause.REMEDY, partial(_remedied_first, remedy))
        funds = self.late.get(part.restoration_id)
        if funds is not None and funding.leaves(step) and not trial.is_let_go(step, self.paid):
            yield _of_money(partial(funding.sentence, step, funds, 0))


def _remedied_first(remedy: Remedy) -> str:
    return _("“%(work)s” comes first, so that it can be done again.") % {"work": remedy}


def _held_sentence(hold: Hold) -> str:
    told = {"why": hold.get_kind_display(), "reason": hold.reason}
    if hold.last is None:
        return _("The bike is held until somebody lets it go: %(why)s (%(reason)s).") % told
    told["last"] = date_format(hold.last)
    return _("The bike is held until %(last)s: %(why)s (%(reason)s).") % told


def _held_at_the_bench(hold: Hold) -> str:
    if hold.last is None:
        return _("The bike is held: do not work on it until the desk says so.")
    return _("The bike is held until %(last)s: do not work on it.") % {"last": date_format(hold.last)}


def _of_money(say: Callable[[], str]) -> Why:
    return Why(Cause.MONEY, say, tell=_money_at_the_bench)


def _money_at_the_bench() -> str:
    return _("It may not go out yet: the desk knows why.")


def _open_remedies(found: Graph, restorations: Collection[int]) -> dict[int, list[Remedy]]:
    """Part to what has to be done to it before it can go round again."""
    rows = Remedy.objects.filter(
        task__restoration__in=restorations, task__kind=Task.Kind.REWORK, task__closed_at__isnull=True, done_at=None
    )
    part_of: dict[UUID | None, int] = {step.uid: step.part_id for step in found.steps.values()}
    waiting: dict[int, list[Remedy]] = {}
    for row in rows.select_related("task", "operation", "service").order_by("task", "position"):
        if row.task.origin_uid in part_of:
            waiting.setdefault(part_of[row.task.origin_uid], []).append(row)
    return waiting


def with_money(restoration: Restoration, found: States) -> States:
    """``found`` with what is ready to leave the house, but not covered by what came in, waiting for that."""
    leaving = [one for one in found.values() if one.is_ready and funding.leaves(one.step)]
    if not leaving:
        return found
    gone = (one for one in found.values() if one.done is not None or one.is_out)
    out = {one.step.uid for one in gone if funding.leaves(one.step)}
    waiting = funding.not_covered(restoration, [one.step for one in leaving], out=out)
    more = {pk: _of_money(partial(str, sentence)) for pk, sentence in waiting.items()}
    return found | {
        pk: replace(found[pk], standing=Standing.WAITING, why=(*found[pk].why, one)) for pk, one in more.items()
    }


def became_ready(before: States, after: States) -> list[Step]:
    """The steps that are ready now and were not before, in the order of parts and routes."""
    new = [one.step for pk, one in after.items() if one.is_ready and not (pk in before and before[pk].is_ready)]
    return sorted(new, key=lambda step: (step.part.position, step.part_id, step.position))

"""The ready day of a draft: planned, tried out, and kept on the routes for everybody to read."""

from dataclasses import dataclass, replace
from datetime import date, datetime

from quotes.engine import canonical, inputs
from quotes.engine.chance.promise import Promise, promise
from quotes.engine.errors import BadInput
from quotes.engine.network import network, whole
from quotes.engine.plan import plan
from quotes.engine.planned import Plan as Planned
from quotes.engine.results import Explained, StepResult
from quotes.pricing.building import engine_input
from quotes.pricing.models import Draft
from quotes.pricing.remembered import remembered
from quotes.pricing.selectors import Priced, priced
from shop.restorations.models import Restoration
from shop.routes.models import Plan
from shop.routes.planning import Taken, keep_plan
from shop.routes.schedules import schedule
from shop.routes.selectors import Scope, scope


@dataclass(frozen=True, slots=True)
class Worked:
    """A plan and the days that came out of trying it."""

    planned: Planned
    promise: Promise


def scheduled(found: Scope, draft: Draft, *, today: date) -> inputs.Restoration:
    """What the engine prices, with when work can go on."""
    return replace(engine_input(found, draft), schedule=schedule(found, today=today))


def scheduled_as_priced(found: Priced, when: inputs.Schedule) -> inputs.Restoration:
    """What was priced, with when work can go on; raises the `BadInput` of what could not be priced."""
    if found.given is None:
        assert found.error is not None
        raise found.error
    return replace(found.given, schedule=when)


def rests_on(given: inputs.Restoration) -> str:
    """SHA-256 of what a plan rests on besides the scope: the schedule, the rate book's times and lead times, and how
    things are done (condition factors, remedies), which change without the scope.
    """
    book = (given.schedule, given.policy, given.grades, given.operations, given.services, given.purchases)
    done = [(step.factor, step.ways_back) for part in given.parts for step in part.steps]
    return canonical.sha256(canonical.dump((book, done)))


def work_out(given: inputs.Restoration, explained: Explained, *, restoration: Restoration) -> Worked:
    """Plan a scheduled and priced ``restoration``. Raises `BadInput` where it cannot be planned."""
    return _worked(given, explained.steps, explained.batches, seed=str(restoration.uid))


def _work(
    given: inputs.Restoration, steps: tuple[StepResult, ...], batches: tuple[tuple[str, ...], ...], *, seed: str
) -> Worked:
    planned = plan(given, steps, batches)
    return Worked(planned, promise(given, steps, batches, planned, seed=seed))


_worked = remembered(_work, most=16)


@dataclass(frozen=True, slots=True)
class Tried:
    """A priced draft with when work can go on, and what came out of planning it."""

    found: Priced
    given: inputs.Restoration
    worked: Worked


def plan_draft(*, found: Priced, today: date, now: datetime) -> Worked | None:
    """Work out and keep the plan of a priced draft; None where the scope moved on meanwhile.

    Raises `BadInput` where it cannot be priced or planned.
    """
    tried = try_out(found, today=today)
    return tried.worked if keep(tried, now=now) else None


def try_out(found: Priced, *, today: date) -> Tried:
    """Plan a priced draft without keeping it. Raises `BadInput` where it cannot be priced or planned."""
    given = scheduled_as_priced(found, schedule(found.scope, today=today))
    assert found.explained is not None
    return Tried(found, given, work_out(given, found.explained, restoration=found.draft.restoration))


def keep(tried: Tried, *, now: datetime) -> Plan | None:
    """Keep a plan that was tried out; None where the scope moved on meanwhile."""
    found, worked = tried.found, tried.worked
    assert found.explained is not None
    return keep_plan(
        restoration=found.draft.restoration,
        scope_version=found.scope.restoration.scope_version,
        rests_on=rests_on(tried.given),
        planned=worked.planned,
        likely=date.fromisoformat(worked.promise.likely),
        kept=date.fromisoformat(worked.promise.day),
        takes=_takes(tried.given, found.explained),
        content=worked,
        now=now,
    )


def bring_up_to_date(draft: Draft, *, today: date, now: datetime) -> bool:
    """Make the plan anew where the one kept is stale; false where the scope moved on meanwhile. Raises `BadInput`."""
    kept = kept_plan(draft.restoration)
    if kept is not None and is_fresh(kept, draft=draft, today=today):
        return True
    return plan_draft(found=priced(draft), today=today, now=now) is not None


def _takes(given: inputs.Restoration, explained: Explained) -> dict[str, Taken]:
    minutes = {step.uid: step.first.minutes for step in explained.steps}
    found = {}
    for node in network(given, explained.steps, explained.batches).nodes:
        for uid in node.uids:
            taken = node.taken if uid == node.uid else 0
            found[uid] = Taken(node.uid, 0 if node.is_settled else whole(minutes[uid]), node.place, taken)
    return found


def kept_plan(restoration: Restoration) -> Plan | None:
    """The plan that is kept, fresh or stale."""
    return Plan.objects.filter(restoration=restoration).first()


def content(kept: Plan) -> Worked:
    """What was worked out when the plan was kept."""
    return canonical.load(Worked, kept.content.encode())


def worked_out(given: inputs.Restoration, explained: Explained, *, restoration: Restoration) -> Worked:
    """The plan that is kept where it rests on the same, else the same worked out for this look. Raises `BadInput`."""
    kept = kept_plan(restoration)
    if kept is not None and kept.scope_version == restoration.scope_version and kept.rests_on == rests_on(given):
        return content(kept)
    return work_out(given, explained, restoration=restoration)


def is_fresh(kept: Plan, *, draft: Draft, today: date) -> bool:
    """Whether nothing that the plan rests on has changed since."""
    found = scope(draft.restoration)
    if kept.scope_version != found.restoration.scope_version:
        return False
    try:
        return kept.rests_on == rests_on(scheduled(found, draft, today=today))
    except BadInput:
        return False

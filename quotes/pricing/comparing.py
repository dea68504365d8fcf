"""Two versions of a quote side by side: what changed, in the order it was changed, and what each change did."""

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db.models import Max

from quotes.engine import canonical, inputs
from quotes.engine.chance.swings import Reading, days_between, read
from quotes.engine.comparing import Change, ChangeKind, changes, walk
from quotes.engine.errors import BadInput
from quotes.pricing.models import Draft, IssuedQuote
from quotes.pricing.selectors import priced
from shop.journal.models import Entry
from shop.routes.schedules import schedule

#: Of more changes than this, those of one part are told together.
MOST_ONE_BY_ONE = 60


@dataclass(frozen=True, slots=True)
class Effect:
    """A change, or several of one part, and what it did [money, calendar days]; ``days`` is None where nothing is planned."""

    changes: tuple[Change, ...]
    cost: Decimal
    price: Decimal
    contingency: Decimal
    days: Decimal | None


@dataclass(frozen=True, slots=True)
class Compared:
    """Both ends, and the effects between them, which add up to the difference."""

    before: Reading
    after: Reading
    effects: tuple[Effect, ...]


def snapshot(quote: IssuedQuote) -> inputs.Restoration:
    """What an issued quote was priced from."""
    return canonical.load(inputs.Restoration, quote.snapshot.encode())


def present(draft: Draft, *, today: date) -> inputs.Restoration:
    """The draft as it stands, with its days. Raises the `BadInput` of what cannot be priced."""
    found = priced(draft)
    if found.given is None:
        assert found.error is not None
        raise found.error
    return replace(found.given, schedule=schedule(found.scope, today=today))


def compare(before: inputs.Restoration, after: inputs.Restoration) -> Compared:
    """Compare two versions of one restoration by the present formulas. Raises `BadInput` where an end cannot be priced.

    Days are compared where both versions were planned.
    """
    if before.schedule is None or after.schedule is None:
        before, after = replace(before, schedule=None), replace(after, schedule=None)
    start, turned = walk(before, after, _turns(before, after))
    first = last = read(start)
    effects: list[Effect] = []
    waiting: list[Change] = []
    group = len(turned) > MOST_ONE_BY_ONE
    for place, step in enumerate(turned):
        waiting.append(step.change)
        following = turned[place + 1].change if place + 1 < len(turned) else None
        if group and following is not None and _part(following) == _part(step.change):
            continue
        try:
            now = read(step.after)
        except BadInput:
            if following is None:
                raise
            continue  # it makes sense only with the next one
        effects.append(_effect(tuple(waiting), last, now))
        last, waiting = now, []
    return Compared(first, last, tuple(effects))


def _part(change: Change) -> str:
    """The part a change belongs to, or its own name where it belongs to none."""
    of_part = {ChangeKind.STEP, ChangeKind.STEP_IN, ChangeKind.STEP_OUT}
    return change.part if change.kind in of_part else change.name


def _effect(made: tuple[Change, ...], before: Reading, after: Reading) -> Effect:
    days = days_between(before.day, after.day) if before.day and after.day else None
    return Effect(
        made, after.cost - before.cost, after.price - before.price, after.contingency - before.contingency, days
    )


def _turns(before: inputs.Restoration, after: inputs.Restoration) -> dict[str, int]:
    """When what changed was last touched, by the journal: key to the number of the entry. One query."""
    uids: dict[str, UUID] = {}
    for change in changes(before, after):
        word = change.key.rpartition(" ")[2]
        try:
            uids[change.key] = UUID(word)
        except ValueError:  # terms and policy: not one thing of the restoration
            continue
    rows = Entry.objects.filter(subject_uid__in=set(uids.values())).order_by().values("subject_uid")
    last = {row["subject_uid"]: row["last"] for row in rows.annotate(last=Max("id"))}
    return {key: last[uid] for key, uid in uids.items() if uid in last}

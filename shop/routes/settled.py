"""What nobody has to begin any more: steps that are done, and those that are out or on order until a day.

The plan reads a part that was split as the one it was agreed as. So a step is done when it is for all its pieces, and out
until the last of them is back; while some of them are still here and not done, it is to be done. What was lost is to be done in
full, since nobody knows a day.
"""

from collections.abc import Iterable, Sequence
from datetime import date

from django.db.models import Exists, OuterRef, Q

from quotes.engine import inputs
from quotes.engine.calendars import WorkingTime, there_and_back
from shop.methods.calendars import vendor_calendars
from shop.people.calendars import shop_calendar
from shop.people.models import Shop
from shop.routes.models import Away, Done, Step
from shop.routes.selectors import Scope
from shop.routes.splits import LIVE_PART, LIVE_STEP

#: Of a piece: done; not done and here. Else the day on which it is back.
DONE, HERE = date.min, date.max


def settled(found: Scope) -> tuple[inputs.Settled, ...]:
    """The steps in scope that are done or out, in the order of the scope. Two queries; four more where nobody told a day."""
    pieces: dict[int, list[date]] = {}
    back = _back(found)
    for pk, origin, is_done in _pieces(found):
        pieces.setdefault(origin or pk, []).append(DONE if is_done else back.get(pk, HERE))
    last = {pk: max(pieces.get(pk, [HERE])) for pk in found.step_by_pk}
    return tuple(
        inputs.Settled(str(found.step_by_pk[pk].uid), "" if day == DONE else day.isoformat())
        for pk, day in last.items()
        if day != HERE
    )


def _pieces(found: Scope) -> Iterable[tuple[int, int | None, bool]]:
    """Steps with work on the way through the workshop and their copies, what they were split from, and whether they are done."""
    done = Done.objects.filter(step=OuterRef("pk"), visit=OuterRef("visit"), undone_at__isnull=True)
    parts = found.restoration.parts.filter(LIVE_PART, pieces__gt=0)
    with_work = Step.objects.filter(LIVE_STEP, Q(quantity__isnull=True) | Q(quantity__gt=0), part__in=parts)
    return with_work.order_by().annotate(is_done=Exists(done)).values_list("pk", "split_from", "is_done")


def _back(found: Scope) -> dict[int, date]:
    """Step to the day on which what is out of it is back."""
    out = Away.objects.filter(step__part__restoration=found.restoration, ended_on__isnull=True, lost=False)
    rows = list(out.select_related("step__service__vendor"))
    return {row.step_id: row.due_on for row in rows if row.due_on} | expected([row for row in rows if not row.due_on])


def expected(rows: Sequence[Away]) -> dict[int, date]:
    """Step to the day on which what is out of it can be expected by its lead time, where nobody told one. Four queries, or none.

    ``rows`` come with their steps, services and vendors. Raises `BadInput` for a country whose holidays nobody knows.
    """
    if not rows:
        return {}
    shop, first = Shop.objects.first(), min(row.since for row in rows)
    vendors = {row.step.service.vendor_id for row in rows if row.step.service}
    calendars = (shop_calendar(shop=shop, first=first), *vendor_calendars(vendors, shop=shop, first=first))
    working = {item.key: WorkingTime(item, first.toordinal()) for item in calendars}
    return {row.step_id: date.fromordinal(_expected(row, working)) for row in rows}


def _expected(row: Away, working: dict[str, WorkingTime]) -> int:
    step, since, ours = row.step, row.since.toordinal(), working[""]
    if step.service is None:
        return ours.after(since, step.buy_lead_days)
    vendor = step.service.vendor
    return there_and_back(
        ours, working[str(vendor.uid)], since, road=vendor.transport_days, lead=step.service.lead_days
    )

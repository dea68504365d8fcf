"""What the desk's pictures show: from a priced and planned restoration to the plain values a picture is drawn from."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from quotes.engine.chance import swings as engine_swings
from quotes.engine.chance.swings import Reading, Swing, SwingKind, days_between, longest
from quotes.engine.inputs import Basis, Calendar, Restoration, Schedule
from quotes.engine.planned import Plan
from quotes.pricing.planning import Worked
from quotes.pricing.selectors import Priced
from shop import text
from shop.papers.pictures import calendar, cost_curve, figure, route_line, sums, swings
from shop.papers.pictures.calendar_rows import Calendar as Sheet
from shop.papers.pictures.calendar_rows import Row
from shop.papers.pictures.ways_back import WayBack
from shop.restorations.models import Part
from shop.routes.models import Step

MOST_BARS = 8


@dataclass(frozen=True, slots=True)
class FixedLines:
    """What the fixed lines are sold for and expected to cost [money]."""

    price: Decimal
    cost: Decimal


def fixed_lines(found: Priced) -> FixedLines:
    """The lines whose price is a promise."""
    assert found.explained is not None
    lines = [line for line in found.explained.result.lines if line.basis == Basis.FIXED]
    zero = Decimal(0)
    return FixedLines(sum((line.net for line in lines), zero), sum((line.cost for line in lines), zero))


def costs(found: Priced) -> SafeString | None:
    """What such bikes cost, with the price on it; None where nothing is promised at a fixed price."""
    if found.assessment is None or found.given is None:
        return None
    lines = fixed_lines(found)
    if not lines.price:
        return None
    shown = cost_curve.CostCurve(
        points=found.assessment.curve,
        expected=found.assessment.mean,
        price=lines.price,
        kept=found.assessment.quantile,
        currency=found.given.policy.currency,
        kept_chance=found.assessment.kept,
    )
    return figure.on_page(
        lambda ident, width: cost_curve.draw(shown, ident=ident, width=width),
        ident="costs",
        words=cost_curve.cost_curve_in_words(shown),
    )


def route(found: Priced, part: Part) -> SafeString | None:
    """The route of a part; None where it has no steps."""
    steps = found.scope.steps.get(part.pk, [])
    if not steps:
        return None
    names = {other.pk: other.name for other in found.scope.parts}
    at = {step.pk: place for place, step in enumerate(steps)}
    shown = route_line.RouteLine(
        part=part.name,
        stops=tuple(_stop(found, step, names) for step in steps),
        ways_back=tuple(
            WayBack(start=place, to=at[found.scope.way_back(step).pk], chance=step.fail_chance / 100)
            for place, step in enumerate(steps)
            if step.fail_chance
        ),
    )
    return figure.on_page(
        lambda ident, width: route_line.draw(shown, width=width),  # noqa: ARG005  (its lines need no name)
        ident="route",
        words=route_line.route_in_words(shown),
    )


def _stop(found: Priced, step: Step, names: Mapping[int, str]) -> route_line.Stop:
    waits = tuple(
        names[found.scope.step_by_pk[wait.on_id].part_id]
        for wait in found.scope.waits.get(step.pk, ())
        if found.scope.step_by_pk[wait.on_id].part_id != step.part_id
    )
    waits = tuple(dict.fromkeys(waits))
    if step.service:
        return route_line.Stop(
            name=str(step),
            kind=route_line.VENDOR,
            outside=step.service.vendor.name,
            days=Decimal(step.service.lead_days) if step.service.lead_days else None,
            waits_on=waits,
        )
    if step.buy:
        days = Decimal(step.buy_lead_days) if step.buy_lead_days else None
        return route_line.Stop(
            name=str(step), kind=route_line.PURCHASE, outside=step.get_buy_source_display(), days=days, waits_on=waits
        )
    assert step.operation is not None
    elapsed = step.operation.elapsed
    return route_line.Stop(name=str(step), then_waits=text.minutes(Decimal(elapsed)) if elapsed else "", waits_on=waits)


def days(worked: Worked, given: Restoration) -> SafeString:
    """The calendar to the ready day: parts, what is out at vendors, and what drives it."""
    planned = worked.planned
    assert given.schedule is not None
    rows = [*_lots(planned, given), *_parts(planned, given)]
    shown = Sheet(
        rows=tuple(rows),
        closed=_closed(given.schedule, date.fromisoformat(planned.starts[:10]), _last(worked, rows)),
        likely=date.fromisoformat(worked.promise.likely),
        kept=date.fromisoformat(worked.promise.day),
        kept_chance=worked.promise.kept,
    )
    return figure.on_page(
        lambda ident, width: calendar.draw(shown, ident=ident, width=width),
        ident="days",
        words=calendar.calendar_in_words(shown),
    )


def _last(worked: Worked, rows: Iterable[Row]) -> date:
    ends = [row.end for row in rows]
    return max([*ends, date.fromisoformat(worked.promise.day), date.fromisoformat(worked.promise.likely)])


def _closed(schedule: Schedule, first: date, last: date) -> frozenset[date]:
    shop: Calendar = next(item for item in schedule.calendars if not item.key)
    weekdays, shut = {day for day, _opens, _closes in shop.hours}, set(shop.closed)
    count = (last - first).days + 1
    every = (first + timedelta(days=number) for number in range(count))
    return frozenset(day for day in every if day.weekday() not in weekdays or day.isoformat() in shut)


def _lots(planned: Plan, given: Restoration) -> Iterable[Row]:
    names = {step.uid: part.name for part in given.parts for step in part.steps}
    driving = set(planned.chain)
    for lot in planned.lots:
        parts = list(dict.fromkeys(names[uid] for uid in lot.steps))
        of = parts[0] if len(parts) == 1 else _("%(count)s parts") % {"count": len(parts)}
        start, finish = _day(lot.leaves or planned.starts), _day(lot.back)
        yield Row(
            label=_("%(vendor)s: %(parts)s") % {"vendor": lot.vendor, "parts": of},
            start=start,
            finish=max(start, finish),
            latest=max(finish, _day(lot.must_be_back)),
            drives=lot.steps[0] in driving,
            must_leave=None if lot.is_out else _day(lot.must_leave),
        )


def _parts(planned: Plan, given: Restoration) -> Iterable[Row]:
    """Own work that is left, part by part, from its first step to its last."""
    away = {uid for lot in planned.lots for uid in lot.steps} | {order.step for order in planned.orders}
    away |= {one.step for one in (given.schedule.settled if given.schedule else ())}
    driving = set(planned.chain)
    held = tuple(
        (date.fromisoformat(h.first), date.fromisoformat(h.last))
        for h in (given.schedule.held if given.schedule else ())
    )
    for part in given.parts:
        own = [step for step in planned.steps if step.part == part.uid and step.uid not in away]
        if not own:
            continue
        start, finish = min(_day(s.early_start) for s in own), max(_day(s.early_finish) for s in own)
        yield Row(
            label=part.name,
            start=start,
            finish=finish,
            latest=max(finish, *(_day(step.late_finish) for step in own)),
            drives=any(step.uid in driving for step in own),
            held=tuple(span for span in held if span[0] <= finish and span[1] >= start),
        )


def _day(instant: str) -> date:
    return date.fromisoformat(instant[:10])


KIND_WORDS: Mapping[SwingKind, Callable[[Swing], str]] = {
    SwingKind.PACE: lambda _bar: _("how the whole bike goes"),
    SwingKind.TIME: lambda bar: _("time of “%(name)s”") % {"name": bar.name},
    SwingKind.PRICE: lambda bar: _("price of “%(name)s”") % {"name": bar.name},
    SwingKind.DAMAGE: lambda bar: _("%(part)s: %(name)s") % {"part": bar.part, "name": bar.name},
    SwingKind.FINISH: lambda bar: _("finish of %(part)s") % {"part": bar.part},
    SwingKind.FAILURE: lambda bar: _("“%(name)s” done again") % {"name": bar.name},
    SwingKind.LEAD: lambda bar: _("lead time of “%(name)s”") % {"name": bar.name},
}


def label(bar: Swing) -> str:
    """What was swung, in words."""
    return KIND_WORDS[bar.kind](bar)


def moved(found: engine_swings.Swings, currency: str) -> list[SafeString]:
    """What moves cost, price and ready day most, a picture each."""
    pictures = [
        _moved(found, _("expected cost"), currency, lambda reading: reading.cost, "cost"),
        _moved(found, _("net price"), currency, lambda reading: reading.price, "price"),
    ]
    if found.base.day:
        start = found.base.day
        late: Callable[[Reading], Decimal] = lambda reading: days_between(start, reading.day)  # noqa: E731
        pictures.append(_moved(found, _("ready day"), sums.DAYS_OFF, late, "day"))
    return pictures


def _moved(
    found: engine_swings.Swings, name: str, unit: str, of: Callable[[Reading], Decimal], ident: str
) -> SafeString:
    bars: Sequence[Swing] = longest(found, of, most=MOST_BARS)
    shown = swings.Swings(
        figure=name,
        base=of(found.base),
        unit=unit,
        bars=tuple(swings.Swing(label=label(bar), low=of(bar.low), high=of(bar.high)) for bar in bars),
    )
    return figure.on_page(
        lambda ident, width: swings.draw(shown, ident=ident, width=width),
        ident=f"moves-{ident}",
        words=swings.swings_in_words(shown),
    )

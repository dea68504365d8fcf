"""What a customer reads of how their restoration goes. It holds what the desk shared and what they agreed to, nothing else."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Exists, OuterRef, Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from quotes.pricing import planning, selectors
from quotes.pricing.customers import messages, sharing, waiting_quotes
from quotes.pricing.customers.messages import Asked
from quotes.pricing.models import Draft, Instalment, IssuedQuote, Outcome, Shared, Stage
from quotes.pricing.money import money_in
from shop.papers.pictures import chances
from shop.rates.models import PaymentStage
from shop.rates.selectors import odds
from shop.restorations.models import Intake, Restoration
from shop.routes.models import Authorisation, Hold, Step
from shop.text import money

Event = PaymentStage.Event
#: How long an answer is pointed at from the head of the page.
NEWS = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Stop:
    """Something on the way of a bike: done on ``day``, or still to come, perhaps without a day."""

    text: str
    day: date | None
    done: bool


@dataclass(frozen=True, slots=True)
class Ready:
    """The ready day as planned today. ``chance`` says how often the second is kept."""

    likely: date
    kept: date
    chance: str


@dataclass(frozen=True, slots=True)
class Agreed:
    """What may be worked on, since the customer agreed to it."""

    parts: int
    steps: int
    outside: int


@dataclass(frozen=True, slots=True)
class Progress:
    """The customer's page about one restoration on ``day``.

    Until a main offer is accepted no day is named: that of the whole bike would promise what nobody agreed to.
    """

    restoration: Restoration
    day: date
    agreed: Agreed
    way: tuple[Stop, ...]
    ready: Ready | None
    being_worked_out: bool
    only_inspecting: bool
    named: IssuedQuote | None
    waits: tuple[str, ...]
    shared: Sequence[Shared]
    asked: Sequence[Asked]


def progress(restoration: Restoration, *, now: datetime) -> Progress:
    """A fixed number of queries, however much was agreed, shared and said."""
    day = timezone.localdate(now)
    quotes = list(restoration.quotes.select_related("outcome").defer(*selectors.HEAVY).order_by("number"))
    accepted = [quote for quote in quotes if selectors.standing(quote, day) == Outcome.Kind.ACCEPTED]
    asked = messages.conversation(restoration)
    standing = money_in.standing(restoration, day)
    events = _events(restoration)
    over = any(event.event == Event.HANDED_OVER and event.reached_on for event in events)
    whole = any(quote.stage == Stage.MAIN for quote in accepted)
    ready = _ready(restoration, day) if whole and not over else None
    return Progress(
        restoration=restoration,
        day=day,
        agreed=_agreed(restoration),
        way=tuple(_way(restoration, accepted, events)),
        ready=ready,
        being_worked_out=whole and not over and ready is None,
        only_inspecting=bool(accepted) and not whole and not over,
        named=next((quote for quote in reversed(accepted) if quote.ready_kept and quote.stage != Stage.INSPECT), None),
        waits=(
            *waiting_quotes.told(quotes, now),
            *_due(standing),
            *_rests(restoration, day),
            *_answered(asked, now),
        ),
        shared=list(sharing.shown(restoration)),
        asked=asked,
    )


def _ready(restoration: Restoration, day: date) -> Ready | None:
    """The plan that is kept, if it is that of today; nothing where anything it rests on has changed since."""
    plan = planning.kept_plan(restoration)
    if plan is None or plan.scope_version != restoration.scope_version or plan.starts_on < day:
        return None
    draft = Draft.objects.filter(restoration=restoration).select_related("restoration").first()
    if draft is None or not planning.is_fresh(plan, draft=draft, today=day):
        return None
    return Ready(plan.ready_likely, plan.ready_kept, chances.odds(odds(day).kept / 100))


def _agreed(restoration: Restoration) -> Agreed:
    allowed = Exists(Authorisation.objects.filter(step_uid=OuterRef("uid")))
    live = Step.objects.filter(
        allowed,
        part__restoration=restoration,
        part__removed_at__isnull=True,
        removed_at__isnull=True,
        split_from__isnull=True,
    )
    counts = live.aggregate(
        parts=Count("part", distinct=True), steps=Count("pk"), outside=Count("pk", filter=Q(service__isnull=False))
    )
    return Agreed(**counts)


def _events(restoration: Restoration) -> list[Instalment]:
    """What payments wait for, once each, in the order in which it happens."""
    order = list(Event)
    first: dict[str, Instalment] = {}
    for row in money_in.in_force([restoration]):
        known = first.get(row.event)
        if known is None or (row.reached_on and not known.reached_on):
            first[row.event] = row
    del_accepted = {event: row for event, row in first.items() if event != Event.ACCEPTED}
    return sorted(del_accepted.values(), key=lambda row: order.index(Event(row.event)))


def _way(restoration: Restoration, accepted: Sequence[IssuedQuote], events: Sequence[Instalment]) -> Iterator[Stop]:
    done = [Stop(_accepted(quote), quote.outcome.said_on, done=True) for quote in accepted]
    done += [Stop(_event(row), row.reached_on, done=True) for row in events if row.reached_on]
    if came := Intake.objects.filter(restoration=restoration).values_list("came_on", flat=True).first():
        done.append(Stop(_("The bike came to us"), came, done=True))
    yield from sorted(done, key=lambda stop: stop.day or date.max)
    yield from (Stop(_event(row), None, done=False) for row in events if not row.reached_on)


def _accepted(quote: IssuedQuote) -> str:
    return {
        Stage.INSPECT: _("You agreed to strip and inspect (%(quote)s)"),
        Stage.VARIATION: _("You agreed to the variation %(quote)s"),
    }.get(Stage(quote.stage), _("You accepted the offer %(quote)s")) % {"quote": quote}


def _event(row: Instalment) -> str:
    name = row.get_event_display()
    return name[:1].upper() + name[1:]


def _due(standing: money_in.Standing) -> Iterator[str]:
    for payment in standing.payments:
        if payment.is_due and payment.open and payment.due_on:
            said = {"name": payment.name, "amount": money(payment.open, standing.currency), "day": _day(payment.due_on)}
            yield _("%(name)s: %(amount)s is to be paid, due %(day)s.") % said


def _rests(restoration: Restoration, day: date) -> Iterator[str]:
    """Held days that are the customer's to end. The reason somebody noted is not theirs to read."""
    until = Q(last__isnull=True) | Q(last__gte=day)
    rows = restoration.holds.filter(until, removed_at__isnull=True, first__lte=day)
    kinds = set(rows.values_list("kind", flat=True))
    if Hold.Kind.DECIDING in kinds:
        yield _("Work rests until you have decided what we asked you.")
    if Hold.Kind.UNPAID in kinds:
        yield _("Work rests until the payment is there.")


def _answered(asked: Sequence[Asked], now: datetime) -> Iterator[str]:
    for item in asked:
        if item.answers and now - item.answers[-1].at < NEWS:
            yield _("Your question of %(day)s is answered below.") % {"day": _day(timezone.localdate(item.question.at))}


def _day(day: date) -> str:
    return date_format(day, "DATE_FORMAT")

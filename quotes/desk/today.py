"""What is to be done next, role by role, and where each restoration stands. Nothing is priced here."""

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from quotes.engine.money import from_minor, places
from quotes.pricing import selectors
from quotes.pricing.models import Draft, IssuedQuote, Outcome, Stage
from quotes.pricing.money.money_in import accepted
from shop import currency
from shop.rereading import reread
from shop.restorations.models import Part, Restoration

SHOWN = 10
SOON = timedelta(days=7)
GOOD, MIND, BAD = "good", "mind", "bad"
ACCEPTED, DECLINED, WITHDRAWN = Outcome.Kind.ACCEPTED, Outcome.Kind.DECLINED, Outcome.Kind.WITHDRAWN

Rows = QuerySet[Restoration]
OFFERED = ~Q(stage=Stage.BALLPARK)


@dataclass(frozen=True, slots=True)
class Tag:
    text: str
    tone: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A restoration in a list: how it stands, and what its newest quote asks for."""

    restoration: Restoration
    tags: tuple[Tag, ...]
    total: Decimal | None = None
    currency: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """A list of the first page. ``standing`` finds all of it among the restorations."""

    title: str
    about: str
    lines: list[Line]
    more: bool
    standing: str


def restorations() -> Rows:
    """All restorations, newest first, with what they can be told apart by: their newest offer, draft and parts.

    A ballpark is no offer: nobody answers it, and it does not lapse.
    """
    newest = IssuedQuote.objects.filter(OFFERED, restoration=OuterRef("pk")).order_by("-number")
    return selectors.restorations().annotate(
        until=Subquery(newest.values("valid_until")[:1]),
        outcome=Subquery(newest.values("outcome__kind")[:1]),
        quoted_scope=Subquery(newest.values("scope_version")[:1]),
        won=Exists(newest.filter(outcome__kind=ACCEPTED)),
        drafted=Exists(Draft.objects.filter(restoration=OuterRef("pk"))),
        has_parts=Exists(Part.objects.filter(restoration=OuterRef("pk"), removed_at__isnull=True)),
    )


QUOTED = Q(until__isnull=False)
UNANSWERED = QUOTED & Q(outcome__isnull=True)
CHANGED = QUOTED & ~Q(quoted_scope=F("scope_version"))
READY = Q(drafted=True, has_parts=True)
IN_HAND = READY & (~QUOTED | Q(outcome=WITHDRAWN) | (Q(outcome__isnull=False) & CHANGED))

#: How restorations stand, for finding them.
STANDINGS = {
    "unready": gettext_lazy("without draft or parts"),
    "draft": gettext_lazy("draft in hand"),
    "open": gettext_lazy("quote open"),
    "lapsed": gettext_lazy("quote lapsed"),
    "accepted": gettext_lazy("accepted"),
    "declined": gettext_lazy("declined"),
    "withdrawn": gettext_lazy("withdrawn"),
}
SEARCHED = ("title", "customer__name", "machine__maker", "machine__model", "machine__frame_number")


def _that_stand(standing: str, day: date) -> Q:
    return {
        "unready": ~QUOTED & ~READY,
        "draft": IN_HAND,
        "open": UNANSWERED & Q(until__gte=day),
        "lapsed": UNANSWERED & Q(until__lt=day),
        "accepted": Q(won=True),
        "declined": Q(outcome=DECLINED),
        "withdrawn": Q(outcome=WITHDRAWN),
    }[standing]


def found(search: str, standing: str, day: date) -> Rows:
    """Restorations in which each word of ``search`` is found somewhere; ``standing`` is one of ``STANDINGS`` or any."""
    rows = restorations()
    if standing in STANDINGS:
        rows = rows.filter(_that_stand(standing, day))
    for word in search.split():
        anywhere = Q()
        for name in SEARCHED:
            anywhere |= Q(**{f"{name}__icontains": word})
        rows = rows.filter(anywhere)
    return rows


def line(restoration: Restoration, day: date) -> Line:
    """A restoration out of `restorations` as a line."""
    quote = next((quote for quote in restoration.quotes.all() if quote.stage != Stage.BALLPARK), None)
    if quote is None:
        return Line(restoration, _unquoted(restoration, day))
    tags = (_standing(quote, day), *_also(restoration, quote))
    return Line(restoration, tags, selectors.amount(quote, "total"), quote.currency)


def _unquoted(restoration: Restoration, day: date) -> tuple[Tag, ...]:
    """Without an offer; a ballpark that is out says more than that there is a draft."""
    rough = next((quote for quote in restoration.quotes.all() if selectors.standing(quote, day) == "open"), None)
    if rough is not None:
        return (Tag(_("ballpark %(quote)s out") % {"quote": rough}),)
    drafted, has_parts = restoration.drafted, restoration.has_parts  # type: ignore[attr-defined]
    tags = [Tag(_("draft"))] if drafted else [Tag(_("no draft yet"), MIND)]
    return (*tags,) if has_parts else (*tags, Tag(_("no parts yet"), MIND))


def _standing(quote: IssuedQuote, day: date) -> Tag:
    until = {"quote": quote, "day": date_format(quote.valid_until, "DATE_FORMAT")}
    match selectors.standing(quote, day):
        case "open" if quote.valid_until == day:
            return Tag(_("%(quote)s lapses today") % until, MIND)
        case "open" if quote.valid_until - day <= SOON:
            left = (quote.valid_until - day).days
            text = ngettext("%(quote)s lapses in %(left)s day", "%(quote)s lapses in %(left)s days", left)
            return Tag(text % {"quote": quote, "left": left}, MIND)
        case "open":
            return Tag(_("%(quote)s open until %(day)s") % until)
        case "lapsed":
            return Tag(_("%(quote)s lapsed after %(day)s") % until, BAD)
        case "accepted":
            return Tag(_("%(quote)s accepted") % until, GOOD)
        case "declined":
            return Tag(_("%(quote)s declined") % until)
        case _:
            return Tag(_("%(quote)s withdrawn") % until)


def _also(restoration: Restoration, quote: IssuedQuote) -> list[Tag]:
    """An older quote that stands, and whether the restoration still is what the newest one offers."""
    tags = []
    for older in restoration.quotes.all():
        if older != quote and getattr(older, "outcome", None) and older.outcome.kind == ACCEPTED:
            tags.append(Tag(_("%(quote)s accepted") % {"quote": older}, GOOD))
    if quote.scope_version != restoration.scope_version:
        tags.append(Tag(_("changed since"), MIND))
    return tags


def for_desk(day: date) -> list[Section]:
    """What the front desk has to do, the most pressing first; sections with nothing in them are left out."""
    sections = [
        _section(
            "lapsed",
            _("Lapsed without an answer"),
            _("Ask the customer, then record the answer or issue a new quote."),
            day,
            order="until",
        ),
        _section("open", _("Waiting for an answer"), _("What lapses first comes first."), day, order="until"),
        _section("draft", _("Drafts in hand"), _("Finish these and issue them."), day),
        _section(
            "unready", _("Not ready to price"), _("Add parts first; a draft is begun when you open the page."), day
        ),
    ]
    return [section for section in sections if section.lines]


def _section(standing: str, title: str, about: str, day: date, *, order: str = "") -> Section:
    rows = found("", standing, day)
    if order:
        rows = rows.order_by(order, "pk")
    shown = list(rows[: SHOWN + 1])
    return Section(title, about, [line(row, day) for row in shown[:SHOWN]], len(shown) > SHOWN, standing)


@dataclass(frozen=True, slots=True)
class Totals:
    """What is offered and what was won, net of tax."""

    open_count: int
    open_net: Decimal
    accepted_count: int
    accepted_net: Decimal
    since: date
    below_floor: list[Line] = field(default_factory=list)


@reread(most=2)
def for_manager(day: date) -> Totals:
    """Sums over quotes, and the open ones that went out below the floor."""
    since = day.replace(month=1, day=1)
    unanswered = IssuedQuote.objects.filter(OFFERED, outcome__isnull=True, valid_until__gte=day)
    won = accepted().filter(outcome__said_on__gte=since)
    open_count, open_net = _sum(unanswered)
    accepted_count, accepted_net = _sum(won)
    low = unanswered.exclude(below_floor_reason="").select_related("restoration", "outcome")
    return Totals(
        open_count,
        open_net,
        accepted_count,
        accepted_net,
        since,
        [_below_floor(quote, day) for quote in low.defer(*selectors.HEAVY).order_by("-number")[:SHOWN]],
    )


def _sum(quotes: QuerySet[IssuedQuote]) -> tuple[int, Decimal]:
    sums = quotes.aggregate(count=Count("pk"), net=Sum("net_minor"))
    return sums["count"], from_minor(sums["net"] or 0, digits=places(currency.code()))


def _below_floor(quote: IssuedQuote, day: date) -> Line:
    total = selectors.amount(quote, "total")
    return Line(quote.restoration, (_standing(quote, day),), total, quote.currency, quote.below_floor_reason)

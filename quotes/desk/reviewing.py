"""The review as the manager reads it: sums rounded once, changes and causes in words."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from quotes.engine.margin.changes import Change
from quotes.engine.margin.earned import Rule
from quotes.engine.margin.exact import added
from quotes.engine.margin.ranking import Band, Margins, Offers, PoorQuality
from quotes.engine.margin.variances import WORDS
from quotes.engine.money import from_minor, places, rounded
from quotes.margin import closing, review, weeks
from quotes.margin.course import course_of
from quotes.margin.figures import words
from quotes.margin.jobs import Job
from quotes.margin.models import Close, Overhead
from quotes.margin.review import Review, Row
from quotes.margin.workshop import Hours
from shop import currency, text
from shop.papers.pictures import bridge, three_lines
from shop.papers.workbooks import Value
from shop.restorations.models import Restoration

#: So many weeks make a line.
ENOUGH = 2


@dataclass(frozen=True, slots=True)
class Fact:
    """A line about a job; ``bad`` where somebody must do something about it."""

    name: str
    words: str
    bad: bool = False


@dataclass(frozen=True, slots=True)
class Shown:
    """A job on the review page."""

    restoration: Restoration
    left: Decimal
    share: str
    change: Decimal
    cause: str
    facts: Sequence[Fact]
    look_at: Sequence[str]
    notes: Sequence[object]

    @property
    def loses(self) -> bool:
        return self.left < 0


def money(amount: Decimal) -> Decimal:
    """Rounded to what can be paid."""
    return rounded(amount, digits=places(currency.code()))


def shown(found: Review) -> list[Shown]:
    return [one(row) for row in found.rows]


def one(row: Row) -> Shown:
    figures = row.figures
    margin = figures.leaves.margin
    return Shown(
        restoration=row.restoration,
        left=money(figures.money),
        share="" if margin is None else text.percent(margin.quantize(Decimal("0.01"))),
        change=money(row.change.amount),
        cause=row.cause,
        facts=[*_hours(row), *_days(row), *_beside(row)],
        look_at=[name for name, _amount in savings(row)[:3]],
        notes=row.beside.notes,
    )


def _named(row: Row, uid: str) -> str:
    step = row.figures.job.step_names.get(uid, "")
    part = row.figures.job.part_of(uid)
    return f"{part}: {step}" if step else part


def _hours(row: Row) -> list[Fact]:
    found = row.figures.forecast
    left, budgeted = text.minutes(int(found.left)), text.minutes(int(found.left_budgeted))
    said = _("%(left)s, %(budgeted)s still budgeted") % {"left": left, "budgeted": budgeted}
    return [Fact(_("Mechanic hours left"), said, bad=found.left > found.left_budgeted * Decimal("1.1"))]


def _days(row: Row) -> list[Fact]:
    job = row.figures.job
    if job.handed_over:
        return [Fact(_("Handed over"), text.day(job.handed_over))]
    if not job.ready:
        return [Fact(_("Ready, kept 4 times in 5"), _("not planned yet"))]
    driven = [Fact(_("The day hangs on"), row.beside.driver)] if row.beside.driver else []
    said = text.day(job.ready)
    if job.promised:
        late = row.late_by or 0
        told = {"day": said, "promised": text.day(job.promised)}
        said = _("%(day)s, promised %(promised)s") % told
        return [Fact(_("Ready, kept 4 times in 5"), said, bad=late > 0), *driven]
    return [Fact(_("Ready, kept 4 times in 5"), said), *driven]


def _beside(row: Row) -> list[Fact]:
    figures, beside = row.figures, row.beside
    found = [_exposure(row), *_unclocked(row)]
    if beside.stuck:
        found.append(Fact(_("Stuck on"), "; ".join(beside.stuck[:3]), bad=True))
    if beside.reports:
        said = ngettext("%(count)s damage report", "%(count)s damage reports", beside.reports)
        found.append(Fact(_("Not agreed with the customer"), said % {"count": beside.reports}, bad=True))
    if beside.overrides:
        said = ngettext("%(count)s time", "%(count)s times", beside.overrides) % {"count": beside.overrides}
        found.append(Fact(_("Let pass against the rules"), said, bad=True))
    if beside.redone:
        found.append(Fact(_("Done again"), ", ".join(f"{cause} {times}×" for cause, times in beside.redone)))
    if figures.job.agreed_only:
        said = ngettext("%(count)s bill", "%(count)s bills", figures.job.agreed_only)
        found.append(Fact(_("Not charged yet"), said % {"count": figures.job.agreed_only}))
    return found


def _exposure(row: Row) -> Fact:
    """What of its own the shop has in the bike, or what of the customer's money is not in it yet."""
    exposure = money(row.figures.exposure)
    said = text.money(abs(exposure), currency.code())
    if exposure > 0:
        return Fact(_("Exposure"), said, bad=True)
    return Fact(_("Exposure"), _("none: %(sum)s came in that is not spent yet") % {"sum": said})


def _unclocked(row: Row) -> list[Fact]:
    """Steps that count as done and have no minute: they look as if they had cost nothing."""
    budgeted = {step.uid for step in row.figures.job.budget.steps if step.first.minutes}
    steps = [item for item in row.figures.job.spent if item.done and item.uid in budgeted and not item.first.minutes]
    if not steps:
        return []
    said = ngettext("%(count)s step", "%(count)s steps", len(steps)) % {"count": len(steps)}
    return [Fact(_("Done, and no time was clocked"), said, bad=True)]


def causes(change: Change) -> list[tuple[str, Decimal]]:
    """What moved it in words, the largest first; rounded so that the steps lead from one sum to the other exactly."""
    steps = sorted(change.causes.items(), key=lambda item: -abs(item[1]))
    told, at = [], change.before
    for cause, amount in steps:
        after = added((at, amount))
        if moved := money(after) - money(at):
            told.append((str(words(cause, amount)), moved))
        at = after
    return told


def bridged(change: Change, *, first: str, last: str, ident: str) -> SafeString:
    """From one sum to the other, cause by cause."""
    drawing = bridge.Bridge(
        title=_("From %(first)s to %(last)s") % {"first": first.lower(), "last": last.lower()},
        first=first,
        before=money(change.before),
        steps=tuple(causes(change)),
        last=last,
        after=money(change.after),
        currency=currency.code(),
    )
    return bridge.draw(drawing, ident=ident)


def week_words(week: date) -> str:
    """A week by its number and its Monday."""
    return _("week %(number)s, from %(day)s") % {"number": week.isocalendar().week, "day": text.day(week)}


# -- one job ------------------------------------------------------------------------------------------------------------

CLASS_WORDS = {
    "labour": gettext_lazy("Labour"),
    "overhead": gettext_lazy("Overhead"),
    "material": gettext_lazy("Material"),
    "vendor": gettext_lazy("Vendor work"),
    "bought_in": gettext_lazy("Bought-in parts"),
}


@dataclass(frozen=True, slots=True)
class ClassLine:
    """A cost class of a job: budget, spent, on order, still to come, at completion."""

    name: object
    budget: Decimal
    spent: Decimal
    ordered: Decimal
    to_come: Decimal
    at_completion: Decimal


def classes(row: Row) -> list[ClassLine]:
    """Rounded so that each line adds up."""
    found = []
    for name, one_class in row.figures.forecast.classes.items():
        spent, ordered, whole = money(one_class.spent), money(one_class.ordered), money(one_class.at_completion)
        line = ClassLine(CLASS_WORDS[name], money(one_class.budget), spent, ordered, whole - spent - ordered, whole)
        found.append(line)
    return found


def earned(row: Row) -> list[tuple[str, Decimal]]:
    """What is earned against what it cost, and the rest."""
    found = row.figures
    return [
        (_("Budget at completion"), money(found.forecast.budget)),
        (_("Earned: budget of what is done"), money(found.so_far.earned)),
        (_("Actual cost so far"), money(found.so_far.actual)),
        (_("Of it in work that is not done"), money(found.so_far.terms.in_progress)),
        (_("Estimate at completion"), money(found.forecast.at_completion)),
        (_("Price, before tax"), money(found.leaves.price.total)),
    ]


def savings(row: Row) -> list[tuple[str, Decimal]]:
    """Steps on which money can still be saved, most first."""
    return [(_named(row, one.uid), money(one.amount)) for one in row.figures.standing.steps[:10] if money(one.amount)]


def history(restoration: Restoration) -> list[tuple[str, Decimal, str]]:
    """Weeks that were closed: what the job was to leave, and that as a share of its price."""
    found = []
    for week, left, price in review.history(restoration):
        share = text.percent((left / price).quantize(Decimal("0.01"))) if price else ""
        found.append((week_words(week), left, share))
    return found


def terms(row: Row) -> list[tuple[str, str, Decimal]]:
    """Why what was spent is not what was earned: each term with its formula; they add up to the difference."""
    found = row.figures.so_far.terms._asdict()
    return [(*map(_, WORDS[name]), money(amount)) for name, amount in found.items() if money(amount)]  # type: ignore[misc]


def lines(job: Job, today: date) -> SafeString | str:
    """Planned, earned and spent over the weeks; nothing before there are two."""
    points = course_of(job, today=today)
    if len(points) < ENOUGH:
        return ""
    drawing = three_lines.ThreeLines(
        title=_("Planned, earned and spent"),
        days=tuple(point.sunday for point in points),
        lines=(
            (_("had to be done by then"), tuple(money(point.progress.planned) for point in points)),
            (_("earned"), tuple(money(point.progress.earned) for point in points)),
            (_("spent"), tuple(money(point.progress.actual) for point in points)),
        ),
        currency=currency.code(),
    )
    return three_lines.draw(drawing)


def headings() -> list[str]:
    """The columns of the list of jobs with the textbook's figures."""
    return [
        _("job"),
        _("price before tax"),
        _("budget at completion (BAC)"),
        _("planned value (PV)"),
        _("earned value (EV)"),
        _("actual cost (AC)"),
        _("cost variance (CV)"),
        _("schedule variance (SV)"),
        _("cost performance index (CPI)"),
        _("schedule performance index (SPI)"),
        _("estimate, the rest as budgeted"),
        _("estimate, the rest as so far"),
        _("estimate, the rest as so far and late"),
        _("estimate of the review"),
        _("to-complete index (TCPI) for the budget"),
        _("will leave"),
        _("hours left [min]"),
        _("hours still budgeted [min]"),
    ]


def listed(rows: Iterable[Row], today: date) -> Iterator[list[Value]]:
    """The jobs as rows of plain values; money rounded to what can be paid, indices to three places."""

    def maybe(amount: Decimal | None) -> Decimal | None:
        return None if amount is None else money(amount)

    def index(figure: Decimal | None) -> Decimal | None:
        return None if figure is None else figure.quantize(Decimal("0.001"))

    for row in rows:
        found, at = row.figures, row.figures.progress(today)
        yield [
            str(row.restoration),
            money(found.leaves.price.total),
            money(at.at_completion),
            money(at.planned),
            money(at.earned),
            money(at.actual),
            money(at.cost_variance),
            money(at.schedule_variance),
            index(at.cost_index),
            index(at.schedule_index),
            *(maybe(at.estimate(rule)) for rule in Rule),
            money(found.forecast.at_completion),
            index(at.index_to_complete(at.at_completion)),
            money(found.money),
            int(found.forecast.left),
            int(found.forecast.left_budgeted),
        ]


# -- weeks and overhead --------------------------------------------------------------------------------------------------


def past(close: Close) -> list[tuple[Restoration, Decimal, Decimal, str]]:
    """Jobs as they stood when a week was closed: what each was to leave, what was spent, its ready day."""
    digits = places(currency.code())
    return [
        (
            row.restoration,
            from_minor(row.left_minor, digits=digits),
            money(kept.spent),
            text.day(row.ready) if row.ready else "",
        )
        for row, kept in review.past(close)
    ]


def late(close: Close) -> list[tuple[str, int, Decimal]]:
    """By the week it belongs to: how many entries came in late, and what they come to."""
    found: dict[date, list[int]] = {}
    for entry in closing.late(close):
        found.setdefault(weeks.week_of(entry.on), []).append(entry.cost_minor)
    digits = places(currency.code())
    return [(week_words(week), len(rows), from_minor(sum(rows), digits=digits)) for week, rows in sorted(found.items())]


def spent(rows: Iterable[Overhead]) -> list[tuple[Overhead, Decimal]]:
    digits = places(currency.code())
    return [(row, from_minor(row.net_minor, digits=digits)) for row in rows]


#: Accounts in words, and whether a credit is how they usually stand.
ACCOUNTS = {
    "materials": (gettext_lazy("Materials on the shelf"), False),
    "in progress": (gettext_lazy("Bikes in progress"), False),
    "finished": (gettext_lazy("Bikes finished"), False),
    "cost of sales": (gettext_lazy("Cost of sales"), False),
    "overhead incurred": (gettext_lazy("Overhead as it was"), False),
    "overhead applied": (gettext_lazy("Overhead that jobs bear"), True),
    "wages to pay": (gettext_lazy("Wages"), True),
    "owed to suppliers and vendors": (gettext_lazy("Suppliers and vendors"), True),
    "bank": (gettext_lazy("Received from customers"), False),
    "deposits": (gettext_lazy("Deposits owed as work"), True),
    "owed by customers": (gettext_lazy("Owed by customers"), False),
    "sales": (gettext_lazy("Sales before tax"), True),
    "tax to pay": (gettext_lazy("Tax on sales"), True),
}


@dataclass(frozen=True, slots=True)
class Balance:
    """An account after a close, on the side on which it usually stands."""

    name: object
    debit: Decimal | None
    credit: Decimal | None


def ledger(close: Close) -> tuple[list[Balance], Decimal, Decimal | None]:
    """Each account, the sum of either side, and overhead that no job bore (below zero: jobs bore more than there was)."""
    digits = places(currency.code())
    found, sides = [], {False: Decimal(0), True: Decimal(0)}
    kept = {row.account: from_minor(row.amount_minor, digits=digits) for row in close.ledger.all()}
    for account, amount in kept.items():
        name, is_credit = ACCOUNTS[account]
        sides[is_credit] += -amount if is_credit else amount
        found.append(Balance(name, None if is_credit else amount, -amount if is_credit else None))
    bare = kept.get("overhead incurred", Decimal(0)) + kept.get("overhead applied", Decimal(0))
    return found, sides[False], bare if kept else None


# -- the shop as a whole -------------------------------------------------------------------------------------------------


def hours(rows: Iterable[Hours]) -> list[tuple[str, str, str, str, str]]:
    """Each grade: hours on bikes, done again, on no bike with paid breaks, and the share on bikes."""
    return [
        (
            row.grade or _("without a grade"),
            text.minutes(row.first // 60),
            text.minutes(row.again // 60),
            text.minutes((row.indirect + row.breaks) // 60),
            "" if row.productive is None else text.percent(row.productive.quantize(Decimal("0.01"))),
        )
        for row in rows
    ]


@dataclass(frozen=True, slots=True)
class Poor:
    """What poor quality cost, by cause and by the work it came from, the largest first."""

    total: Decimal
    after: Decimal
    causes: list[tuple[str, Decimal]]
    origins: list[tuple[str, Decimal]]


def poor_quality(found: PoorQuality) -> Poor:
    return Poor(
        money(found.total),
        money(found.after_hand_over),
        [(cause, money(amount)) for cause, amount in found.by_cause.items()],
        [(origin or _("not said"), money(amount)) for origin, amount in found.by_origin.items()],
    )


def offers(found: Mapping[Band, Offers]) -> list[tuple[str, str]]:
    """Each band of margin in which an offer was answered: how many of how many were won."""
    told = []
    for band, count in found.items():
        if count.made:
            said = _("%(won)s of %(made)s") % {"won": count.won, "made": count.made}
            told.append((_band(band), said))
    return told


def _band(band: Band) -> str:
    if band.least is None:
        return _("under %(most)s") % {"most": text.percent(band.most or Decimal(0))}
    if band.most is None:
        return _("%(least)s and more") % {"least": text.percent(band.least)}
    return _("%(least)s to %(most)s") % {"least": text.percent(band.least), "most": text.percent(band.most)}


def sold(found: Mapping[str, Margins]) -> list[tuple[str, int, Decimal, str, str]]:
    """Each kind of bike handed over: how many, their price, margin at hand-over, and after comebacks."""

    def share(margin: Decimal | None) -> str:
        return "" if margin is None else text.percent(margin.quantize(Decimal("0.001")))

    return [
        (kind, row.jobs, money(row.price), share(row.at_hand_over), share(row.after_comebacks))
        for kind, row in found.items()
    ]

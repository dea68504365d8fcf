"""The PDF of a closed week: every job as it stood then, from what was kept and nothing else. Made once, in the background."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from quotes.desk import reviewing
from quotes.engine.margin import changes
from quotes.margin import review
from quotes.margin.models import Close, Pack, Reviewed, WeekNote
from shop import currency, text
from shop.outbox.handlers import Delivery
from shop.outbox.selectors import asked_for
from shop.outbox.services import publish
from shop.papers import pdf
from shop.papers.services import store
from shop.people.models import Shop

PACK_HANDLER = "closed week as PDF"
STYLES = Path(__file__).resolve().parent.parent.parent / "static" / "css" / "review-pack.css"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One job of the week: what it was to leave, what changed since the week before and why, hours, days, notes."""

    row: Reviewed
    left: Decimal
    change: Decimal | None
    why: Sequence[tuple[str, Decimal]]
    facts: Sequence[tuple[str, str]]
    notes: Sequence[WeekNote]


def sheets(close: Close) -> list[Sheet]:
    """The jobs of a closed week, those first that lost most since the week before. Four queries."""
    before = {row.restoration_id: kept for earlier in _before(close) for row, kept in review.past(earlier)}
    notes: dict[int, list[WeekNote]] = {}
    for note in WeekNote.objects.filter(week=close.week, restoration__isnull=False):
        notes.setdefault(note.restoration_id or 0, []).append(note)
    found = [
        _sheet(row, kept, before.get(row.restoration_id), notes.get(row.restoration_id, []))
        for row, kept in review.past(close)
    ]
    return sorted(found, key=lambda sheet: (sheet.change or Decimal(0), sheet.left, sheet.row.pk))


def _before(close: Close) -> list[Close]:
    """The close before this one, if there is one."""
    return list(Close.objects.filter(week__lt=close.week).order_by("-week")[:1])


def _sheet(row: Reviewed, kept: review.Kept, before: review.Kept | None, notes: Sequence[WeekNote]) -> Sheet:
    moved = changes.change(before.leaves, kept.leaves) if before else None
    left, budgeted = text.minutes(int(kept.left)), text.minutes(int(kept.left_budgeted))
    facts = [
        (_("Price, before tax"), _money(kept.leaves.price.total)),
        (_("Spent"), _money(kept.spent)),
        (_("On order"), _money(kept.ordered)),
        (_("At completion"), _money(kept.leaves.at_completion)),
        (
            _("Mechanic hours left"),
            _("%(left)s, %(budgeted)s still budgeted") % {"left": left, "budgeted": budgeted},
        ),
        (_("Ready, kept 4 times in 5"), text.day(row.ready) if row.ready else _("not planned yet")),
        (_("Promised"), text.day(row.promised) if row.promised else _("not said")),
    ]
    return Sheet(
        row,
        reviewing.money(kept.leaves.money),
        reviewing.money(moved.amount) if moved else None,
        reviewing.causes(moved) if moved else [],
        facts,
        notes,
    )


def _money(amount: Decimal) -> str:
    return text.money(reviewing.money(amount), currency.code())


def html(close: Close) -> SafeString:
    """The page that becomes the PDF, in the shop's language."""
    with translation.override(settings.LANGUAGE_CODE):
        jobs = sheets(close)
        balances, total, bare = reviewing.ledger(close)
        context = {
            "close": close,
            "week": reviewing.week_words(close.week),
            "shop": Shop.objects.first(),
            "jobs": jobs,
            "left": sum((job.left for job in jobs), Decimal(0)),
            "late": reviewing.late(close),
            "balances": balances,
            "total": total,
            "bare": bare,
            "notes": WeekNote.objects.filter(week=close.week, restoration__isnull=True),
            "language": settings.LANGUAGE_CODE,
        }
        return render_to_string("desk/paper_review.html", context)


def render(close: Close) -> bytes:
    """The PDF, made in the bounded child."""
    styles = pdf.FONT_FACES + STYLES.read_text(encoding="utf-8")
    return pdf.render(html(close), assets={STYLES.name: styles.encode()} | pdf.fonts())


def prepare(delivery: Delivery) -> bytes:
    """Render, outside any transaction."""
    return render(Close.objects.get(pk=delivery.payload["close"]))


def keep(delivery: Delivery) -> None:
    """Store what was rendered; a PDF that is there already stays."""
    close = Close.objects.get(pk=delivery.payload["close"])
    if Pack.objects.filter(close=close).exists():
        return
    assert isinstance(delivery.prepared, bytes)
    name = f"{close}.pdf"
    document = store(name=name, media_type="application/pdf", content=delivery.prepared, now=delivery.now)
    Pack.objects.create(close=close, document=document)


def mend(*, now: datetime) -> None:
    """Ask for the PDF of every closed week that has none, once."""
    without = {f"week/{close.uid}/pdf": close for close in Close.objects.filter(pack__isnull=True).order_by("-week")}
    asked = asked_for(PACK_HANDLER, list(without))
    missing = {key: close for key, close in without.items() if key not in asked}
    if missing:
        with transaction.atomic():
            for key, close in missing.items():
                publish(key=key, handler=PACK_HANDLER, payload={"close": close.pk}, due_at=now, now=now)

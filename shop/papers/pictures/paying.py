"""What is agreed, what of it is due by now, and what came in: three strips of one scale under one another."""

from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from shop import text
from shop.papers import drawings
from shop.papers.pictures import PHONE, pencil
from shop.papers.pictures.lettering import LINE, SIZE, fit, width_of

LEFT = 4
STRIP = 12
ROW = LINE + STRIP + 12
NOTHING = Decimal(0)


@dataclass(frozen=True, kw_only=True)
class Paying:
    """Amounts with tax; ``late`` is what of ``due`` should have come in before the day looked at."""

    agreed: Decimal
    due: Decimal
    received: Decimal
    late: Decimal
    currency: str

    @property
    def most(self) -> Decimal:
        """What the longest strip stands for."""
        return max(self.agreed, self.due, self.received, Decimal(1))


def draw(paying: Paying, *, ident: str, width: int = PHONE) -> SafeString:
    """``ident`` is alone on its page; ``width`` in the picture's units. An amount below zero has no strip."""
    over = f"{ident}-due"
    sheet = _Sheet(paying, width)
    return drawings.picture(
        drawings.hatching(over, gap=5),
        sheet.label(0, _("Agreed"), paying.agreed),
        sheet.strip(0, paying.agreed, fill="none"),
        sheet.label(1, _("Due so far"), paying.due),
        sheet.strip(1, paying.due, fill=drawings.hatched(over)),
        sheet.label(2, _("Received"), paying.received, _late(paying)),
        sheet.strip(2, paying.received, fill=drawings.INK),
        *_gap(sheet, paying),
        width=width,
        height=ROW * 3 + 2,
        title=_("Agreed, due and received"),
        words=in_words(paying),
    )


def in_words(paying: Paying) -> str:
    said = _("Agreed is %(agreed)s, of which %(due)s is due so far. Received: %(received)s.") % {
        name: text.money(getattr(paying, name), paying.currency) for name in ("agreed", "due", "received")
    }
    return f"{said} {_late(paying)[:1].upper()}{_late(paying)[1:]}." if paying.late else said


def _late(paying: Paying) -> str:
    if not paying.late:
        return ""
    return _("%(late)s is late") % {"late": text.money(paying.late, paying.currency)}


def _gap(sheet: "_Sheet", paying: Paying) -> list[SafeString]:
    """From what came in to what is due, where something is late: what is missing, dashed."""
    start, end = sheet.at(paying.received), sheet.at(paying.due)
    if not paying.late or end - start < 1:
        return []
    top = sheet.top(2)
    corners = [(start, top), (end, top), (end, top + STRIP), (start, top + STRIP)]
    return [pencil.straight(*first, *last, dashes="3 4") for first, last in pairwise(corners)]


class _Sheet:
    def __init__(self, paying: Paying, width: int) -> None:
        self.paying, self.width = paying, width

    def top(self, row: int) -> float:
        return ROW * row + LINE + 4

    def at(self, amount: Decimal) -> float:
        """Where an amount ends on the strip."""
        share = min(max(amount, NOTHING) / self.paying.most, Decimal(1))
        return LEFT + float(share) * (self.width - LEFT * 2)

    def strip(self, row: int, amount: Decimal, *, fill: str) -> SafeString:
        length = self.at(amount) - LEFT
        return drawings.box(LEFT, self.top(row), length, STRIP, fill=fill) if length > 0 else drawings.group()

    def label(self, row: int, name: str, amount: Decimal, note: str = "") -> SafeString:
        line = ROW * row + LINE - 2
        shown = text.money(amount, self.paying.currency)
        words = f"{name}, {note}" if note else name
        room = self.width - LEFT * 2 - width_of(shown, bold=True) - 12
        return drawings.group(
            drawings.text(LEFT, line, fit(words, room), size=SIZE),
            drawings.text(self.width - LEFT, line, shown, size=SIZE, anchor="end", bold=True),
        )

"""From one sum to another, cause by cause: each a bar that begins where the one before it ended."""

from dataclasses import dataclass
from decimal import Decimal

from django.utils.safestring import SafeString

from shop import text
from shop.papers import drawings
from shop.papers.pictures import PHONE, pencil, sums
from shop.papers.pictures.lettering import LINE, SIZE, fit, width_of

LEFT = 6
THICK = 12
ROW = LINE + THICK + 10
LESS, MORE = "bridge-less", "bridge-more"


@dataclass(frozen=True, kw_only=True)
class Bridge:
    """``steps`` are causes in words and what each adds; together they lead from ``before`` to ``after`` [money]."""

    title: str
    first: str
    before: Decimal
    steps: tuple[tuple[str, Decimal], ...]
    last: str
    after: Decimal
    currency: str


def draw(bridge: Bridge, *, ident: str = "", width: int = PHONE) -> SafeString:
    """``ident`` keeps the hatchings of several bridges on a page apart."""
    rows = _rows(bridge)
    ends = [end for row in rows for end in (row.begin, row.end)] + [Decimal(0)]
    least, most = min(ends), max(ends)
    scale = (width - 2 * LEFT) / float(most - least or 1)

    def x(value: Decimal) -> float:
        return LEFT + float(value - least) * scale

    height = ROW * len(rows) + 6
    drawn = [
        drawings.hatching(LESS + ident, gap=5, width=1.2),
        drawings.hatching(MORE + ident, gap=5, width=1.2, leaning="left"),
        pencil.straight(x(Decimal(0)), 4, x(Decimal(0)), height, dashes="2 4", faint=pencil.FAINT),
    ]
    for place, row in enumerate(rows):
        drawn += _bar(row, place * ROW, x, width, ident, bridge.currency)
    return drawings.picture(*drawn, width=width, height=height, title=bridge.title, words=in_words(bridge))


def in_words(bridge: Bridge) -> str:
    """The same as the picture says."""
    steps = "; ".join(f"{_signed(amount, bridge.currency)} {words}" for words, amount in bridge.steps)
    told = [f"{bridge.first} {sums.money(bridge.before, bridge.currency)}"]
    told += [steps] if steps else []
    return ". ".join([*told, f"{bridge.last} {sums.money(bridge.after, bridge.currency)}."])


@dataclass(frozen=True)
class _Row:
    words: str
    begin: Decimal
    end: Decimal
    whole: bool = False


def _rows(bridge: Bridge) -> list[_Row]:
    found = [_Row(bridge.first, Decimal(0), bridge.before, whole=True)]
    at = bridge.before
    for words, amount in bridge.steps:
        found.append(_Row(words, at, at + amount))
        at += amount
    return [*found, _Row(bridge.last, Decimal(0), bridge.after, whole=True)]


def _bar(row: _Row, top: float, x: object, width: int, ident: str, currency: str) -> list[SafeString]:
    assert callable(x)
    amount = sums.money(row.end, currency) if row.whole else _signed(row.end - row.begin, currency)
    room = width - 2 * LEFT - width_of(amount, bold=row.whole) - 8
    left, right = sorted((x(row.begin), x(row.end)))
    fill = drawings.INK if row.whole else drawings.hatched((LESS if row.end < row.begin else MORE) + ident)
    base = top + LINE - 2
    return [
        drawings.text(LEFT, base, fit(row.words, room, bold=row.whole), size=SIZE, bold=row.whole),
        drawings.text(width - LEFT, base, amount, size=SIZE, anchor="end", bold=row.whole),
        drawings.box(left, top + LINE + 3, max(right - left, 1.5), THICK, fill=fill, stroke=drawings.INK),
    ]


def _signed(amount: Decimal, currency: str) -> str:
    said = sums.money(abs(amount), currency)
    return f"{text.MINUS}{said}" if amount < 0 else f"+{said}"

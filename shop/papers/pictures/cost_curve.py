"""What such bikes cost: ten of them one above the other, the cheapest at the bottom, each a stroke as long as its cost.

The curve runs along their ends. What lies beyond the price is lost: its height is the chance of losing money, and its
area, over all bikes, the average loss.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from shop.papers import drawings
from shop.papers.pictures import PHONE, chances, pencil, posts, sums
from shop.papers.pictures.lettering import LINE, SIZE, fit, width_of

BIKES = 10
LEFT = 4
TOP = LINE * 2 + 12
FOUR_IN_FIVE = Decimal("0.8")


@dataclass(frozen=True, kw_only=True)
class CostCurve:
    """``points`` are costs [money] in rising order, each with the chance that such a bike costs at most that;
    ``expected``, ``price`` (net) and ``kept`` [money]: the bike costs at most ``kept`` with ``kept_chance``.

    Raises ``ValueError`` where points fall or a chance is none.
    """

    points: tuple[tuple[Decimal, Decimal], ...]
    expected: Decimal
    price: Decimal
    kept: Decimal
    currency: str
    kept_chance: Decimal = FOUR_IN_FIVE

    def __post_init__(self) -> None:
        if any(later[0] < sooner[0] or later[1] < sooner[1] for sooner, later in pairwise(self.points)):
            raise ValueError("The points of a cost curve rise: give them by cost, each with no smaller chance.")
        if not all(0 <= chance <= 1 for chance in (*(chance for _cost, chance in self.points), self.kept_chance)):
            raise ValueError("A chance is a figure from 0 to 1.")

    @property
    def is_known(self) -> bool:
        return len({cost for cost, _chance in self.points}) > 1

    @property
    def loss(self) -> Decimal:
        """The chance that the bike costs more than the price."""
        return 1 - _between(self.points, self.price)

    def cost_at(self, chance: Decimal) -> Decimal:
        return _between([(share, cost) for cost, share in self.points], chance, outside_is_end=True)


def draw(curve: CostCurve, *, ident: str, width: int = PHONE) -> SafeString:
    """``ident`` is alone on its page; ``width`` in the picture's units."""
    sheet = _Sheet(curve, width)
    below, bottom = posts.draw(_posts(sheet), left=LEFT, right=width - LEFT, top=sheet.ground)
    return drawings.picture(
        *(_bikes(sheet, ident) if curve.is_known else []),
        *(_rises(sheet)),
        pencil.stroke(LEFT, sheet.ground, width - LEFT, sheet.ground, width=2),
        below,
        *_writing(sheet),
        width=width,
        height=bottom,
        title=_("What such bikes cost"),
        words=cost_curve_in_words(curve),
    )


def cost_curve_in_words(curve: CostCurve) -> str:
    figures = _("Expected cost %(expected)s, price %(price)s; %(kept_chance)s such bikes cost at most %(kept)s.") % {
        "expected": sums.money(curve.expected, curve.currency),
        "price": sums.money(curve.price, curve.currency),
        "kept_chance": chances.in_words(curve.kept_chance),
        "kept": sums.money(curve.kept, curve.currency),
    }
    return f"{figures} {_ending(curve)}"


def _ending(curve: CostCurve) -> str:
    if not curve.is_known:
        return _("How far the cost may spread is not known yet.")
    return _("At this price, %(such_bikes_lose)s.") % {"such_bikes_lose": chances.such_bikes_lose(curve.loss)}


class _Sheet:
    """Where costs and chances lie on the paper."""

    def __init__(self, curve: CostCurve, width: int) -> None:
        self.curve = curve
        self.width = width
        self.high = 40.0 if not curve.is_known else 150.0 if width < 500 else 180.0
        self.ground = TOP + self.high
        costs = [*(cost for cost, _chance in curve.points), curve.expected, curve.price, curve.kept]
        self.least, most = min(costs), max(costs)
        self.span = (most - self.least) or Decimal(1)

    def x(self, cost: Decimal) -> float:
        left, right = LEFT + self.width * 0.08, self.width - LEFT - 14
        return left + float((cost - self.least) / self.span) * (right - left)

    def y(self, chance: Decimal) -> float:
        return self.ground - float(chance) * self.high


def _bikes(sheet: _Sheet, ident: str) -> list[SafeString]:
    curve = sheet.curve
    shares = [(Decimal(number) + Decimal("0.5")) / BIKES for number in range(BIKES)]
    ends = [(sheet.x(curve.cost_at(share)), sheet.y(share)) for share in shares]
    price = sheet.x(curve.price)
    return [
        *(pencil.stroke(LEFT, y, x, y, width=1, faint=pencil.FAINT) for x, y in ends),
        *(pencil.straight(price, y, x, y, width=2) for x, y in ends if x > price),
        *_lost(sheet, f"{ident}-lost"),
        drawings.curve([(sheet.x(cost), sheet.y(chance)) for cost, chance in curve.points], width=2.5),
    ]


def _lost(sheet: _Sheet, name: str) -> list[SafeString]:
    """Between the post of the price, the curve, and the dearest bike's height."""
    curve, price = sheet.curve, sheet.curve.price
    beyond = [(cost, chance) for cost, chance in curve.points if cost > price]
    if not beyond:
        return []
    edge = [(price, 1 - curve.loss), *beyond, (beyond[-1][0], Decimal(1)), (price, Decimal(1))]
    shape = [(sheet.x(cost), sheet.y(chance)) for cost, chance in edge]
    return [drawings.hatching(name, gap=5), pencil.outline(shape, fill=drawings.hatched(name), width=1)]


def _rises(sheet: _Sheet) -> list[SafeString]:
    """The posts above the ground: the price through all bikes, the others up to the curve."""
    curve = sheet.curve
    rises = [pencil.straight(sheet.x(curve.price), TOP - 3, sheet.x(curve.price), sheet.ground, width=2.5)]
    for cost, dashes in ((curve.expected, "none"), (curve.kept, "5 4")):
        x = sheet.x(cost)
        y = sheet.y(_between(curve.points, cost)) if curve.is_known else TOP
        rises.append(pencil.straight(x, y, x, sheet.ground, width=1.2, dashes=dashes))
        rises.append(drawings.dot(x, y, 3.5))
    return rises


def _posts(sheet: _Sheet) -> list[posts.Post]:
    curve = sheet.curve
    say = [sums.money(cost, curve.currency) for cost in (curve.expected, curve.kept, curve.price)]
    kept = _("kept %(chance)s: %(cost)s") % {"chance": chances.in_words(curve.kept_chance), "cost": say[1]}
    return [
        posts.Post(sheet.x(curve.expected), _("expected cost %(cost)s") % {"cost": say[0]}),
        posts.Post(sheet.x(curve.kept), kept, dashes="5 4"),
        posts.Post(sheet.x(curve.price), _("price %(price)s") % {"price": say[2]}, bold=True),
    ]


def _writing(sheet: _Sheet) -> list[SafeString]:
    """What the strokes are, at the left; what lies beyond the price, over it at the right."""
    right = sheet.width - LEFT
    if not sheet.curve.is_known:
        return [_line(_ending(sheet.curve), LEFT, LINE, right)]
    lost = chances.such_bikes_lose(sheet.curve.loss)
    written = fit(lost, right - LEFT, bold=True)
    start = min(sheet.x(sheet.curve.price), right - width_of(written, bold=True))
    return [
        _line(_("Ten such bikes, the cheapest at the bottom"), LEFT, LINE, right),
        drawings.text(start, LINE * 2 + 2, written, size=SIZE, bold=True),
    ]


def _line(words: str, x: float, y: float, right: float) -> SafeString:
    return drawings.text(x, y, fit(words, right - x), size=SIZE)


def _between(points: Sequence[tuple[Decimal, Decimal]], at: Decimal, *, outside_is_end: bool = False) -> Decimal:
    """By a straight line between the two points around ``at``. Left of all points nothing, right of them all; or, if
    ``outside_is_end``, as at the nearest."""
    if not points:
        return Decimal(0)
    if at < points[0][0]:
        return points[0][1] if outside_is_end else Decimal(0)
    for (left, low), (right, high) in pairwise(points):
        if at < right:
            return low + (high - low) * (at - left) / (right - left)
    return points[-1][1] if outside_is_end or at == points[-1][0] else Decimal(1)

"""Three sums over the weeks on one scale: what was planned, what was earned, what was spent; told apart by their strokes."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from shop import text
from shop.papers import drawings
from shop.papers.drawings import move, to
from shop.papers.pictures import PHONE, pencil, sums
from shop.papers.pictures.lettering import LINE, SIZE, fit

LEFT, RISE = 6, 120
#: Widths and dashes in the order of the lines.
STROKES: tuple[tuple[float, str], ...] = ((1.5, "3 4"), (3.0, "none"), (1.5, "9 3"))


@dataclass(frozen=True, kw_only=True)
class ThreeLines:
    """``days`` in order; ``lines`` are names with a figure for each day [money]."""

    title: str
    days: tuple[date, ...]
    lines: tuple[tuple[str, tuple[Decimal, ...]], ...]
    currency: str

    def __post_init__(self) -> None:
        if not self.days or any(len(values) != len(self.days) for _name, values in self.lines):
            raise ValueError("Each line needs one figure for each day.")


def draw(told: ThreeLines, *, width: int = PHONE) -> SafeString:
    """``width`` in the picture's units."""
    top = LINE * len(told.lines) + 10
    most = max((value for _name, values in told.lines for value in values), default=Decimal(0)) or Decimal(1)
    span = max((told.days[-1] - told.days[0]).days, 1)

    def at(day: date, value: Decimal) -> tuple[float, float]:
        across = (day - told.days[0]).days / span * (width - 2 * LEFT)
        return LEFT + across, top + RISE - float(value / most) * RISE

    drawn = [pencil.straight(LEFT, top + RISE, width - LEFT, top + RISE, faint=pencil.FAINT)]
    for place, ((name, values), (thick, dashes)) in enumerate(zip(told.lines, STROKES, strict=True)):
        first, *rest = [at(day, value) for day, value in zip(told.days, values, strict=True)]
        drawn.append(drawings.path(move(*first) + "".join(to(*point) for point in rest), width=thick, dashes=dashes))
        drawn.append(drawings.dot(*(rest or [first])[-1], 3))
        drawn += _key(name, values[-1], told.currency, place, thick, dashes, width)
    base = top + RISE + LINE
    drawn.append(drawings.text(LEFT, base, fit(text.day(told.days[0]), width / 2), size=SIZE))
    drawn.append(drawings.text(width - LEFT, base, text.day(told.days[-1]), size=SIZE, anchor="end"))
    return drawings.picture(*drawn, width=width, height=base + 8, title=told.title, words=in_words(told))


def _key(
    name: str, last: Decimal, currency: str, place: int, thick: float, dashes: str, width: int
) -> list[SafeString]:
    """What a stroke stands for, and what it comes to."""
    base = LINE * (place + 1) - 2
    return [
        drawings.line(LEFT, base - 4, LEFT + 34, base - 4, width=thick, dashes=dashes),
        drawings.text(LEFT + 42, base, fit(name, width / 2), size=SIZE),
        drawings.text(width - LEFT, base, sums.money(last, currency), size=SIZE, anchor="end"),
    ]


def in_words(told: ThreeLines) -> str:
    """The same as the picture says of its last day."""
    said = "; ".join(f"{name} {sums.money(values[-1], told.currency)}" for name, values in told.lines)
    return _("On %(day)s: %(told)s.") % {"day": text.day(told.days[-1]), "told": said}

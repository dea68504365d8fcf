"""What the pages of the rate book show."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

from django.http import QueryDict
from django.utils.safestring import SafeString
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from quotes.desk.rates.hints import explain
from quotes.desk.rates.kinds import BOOK, Chances, Figure, Kind, Policy, Rate, Subject, Thing, ours, sure
from quotes.desk.rates.tables import AMOUNTS, MORE, RateForm, column, sent_rows
from shop import currency, text
from shop.papers.pictures import figure, price_line

#: Kinds with at most so many figures have a column for each in their history.
MOST_COLUMNS = 5


@dataclass(frozen=True, slots=True)
class Line:
    """A thing in the list: what holds, how sure it is, and what comes."""

    thing: Thing
    figures: list[Figure]
    sure: str
    tag: str
    coming: list[tuple[date, list[Figure]]]
    by: str
    fee: list[Figure]  # where the line is how we price: the fee that stands on another page


@dataclass(frozen=True, slots=True)
class Noted:
    """A revision in the history. ``figures`` are all of it, or where it has many, those that changed."""

    row: Rate
    figures: list[Figure]
    sure: str
    tag: str
    holds: bool
    comes: bool
    replaced: bool
    by: str


def _by(row: Rate) -> str:
    return _("starter set") if ours(row) else getattr(row, "noted_by", "")


def _fee(kind: Kind, today: date) -> list[Figure]:
    chances = Chances()
    held = chances.held("", today) if isinstance(kind, Policy) else None
    if held is None:
        return []
    figures = chances.figures(held, only=("inspect_fee", "credit_days"))
    names = (_("Fee for strip and inspect"), _("credited within [days]"))
    return [Figure(figure.name, name, figure.text) for figure, name in zip(figures, names, strict=True)]


def book(today: date) -> list[tuple[Kind, list[Line]]]:
    """Every kind with its things, in a fixed number of queries."""
    return [(kind, [_line(kind, thing, today) for thing in kind.book(today)]) for kind in (made() for made in BOOK)]


def _line(kind: Kind, thing: Thing, today: date) -> Line:
    figures = kind.brief(thing.holds) if thing.holds else []
    words, tag = sure(thing.holds, today) if thing.holds else ("", "")
    coming = [(row.valid_from, kind.brief(row)) for row in thing.coming]
    return Line(thing, figures, words, tag, coming, _by(thing.holds), _fee(kind, today))


def headings(kind: Kind) -> list[str]:
    """The columns of its history; none where it has too many figures."""
    names = kind.names()
    if len(names) > MOST_COLUMNS or kind.form.rows:
        return []
    return [capfirst(str(column(kind.model, name).verbose_name)) for name in names]


def history(kind: Kind, rows: list[Rate], today: date) -> list[Noted]:
    """``rows`` newest first, as they stand in the history."""
    holds = next((row for row in rows if row.valid_from <= today), None)
    whole = bool(headings(kind))
    result = []
    for number, row in enumerate(rows):
        figures = kind.figures(row)
        before = rows[number + 1] if number + 1 < len(rows) else None
        words, tag = sure(row, today)
        result.append(
            Noted(
                row,
                figures if whole or before is None else _changed(figures, kind.figures(before)),
                words,
                tag,
                row is holds,
                row.valid_from > today,
                number > 0 and rows[number - 1].valid_from == row.valid_from,
                _by(row),
            )
        )
    return result


def _changed(figures: list[Figure], before: list[Figure]) -> list[Figure]:
    return [figure for figure in figures if figure not in before]


def lines(kind: Kind, rows: list[Rate], today: date) -> list[SafeString]:
    """A picture for each main figure that has ever changed."""
    return [picture for name in kind.lined if (picture := _picture(kind, name, rows, today))]


def _picture(kind: Kind, name: str, rows: list[Rate], today: date) -> SafeString | None:
    by_day: dict[date, Decimal] = {row.valid_from: Decimal(kind.value(row, name)) for row in reversed(rows)}
    if len(set(by_day.values())) < 2:
        return None
    shown = price_line.PriceLine(
        figure=_figure_name(kind, name),
        notes=tuple(sorted(by_day.items())),
        today=today,
        written=partial(_written, name),
    )
    return figure.on_page(
        lambda _ident, width: price_line.draw(shown, width=width),
        ident=f"line-{name}",
        words=price_line.in_words(shown),
    )


def _figure_name(kind: Kind, name: str) -> str:
    if name == "rate":
        return str(capfirst(str(kind.form.cells["rate"]().label)))
    return capfirst(str(column(kind.model, name).verbose_name))


def _written(name: str, value: Decimal) -> str:
    if name == "rate":
        return text.rate(value, currency.code())
    return text.money(value, currency.code()) if name in AMOUNTS else text.quantity(value)


def begun(kind: Kind, subject: Subject, today: date, data: Any = None) -> RateForm:
    """The form: what was typed, or what holds today to begin with."""
    held = kind.held(subject, today)
    return explain(kind.form(data, initial=kind.initial(held, today), table=kind.table(held)), kind, today)


def with_more_rows(kind: Kind, today: date, data: QueryDict) -> RateForm:
    """What was typed with more rows below, unchecked: nobody has finished yet."""
    return explain(kind.form(initial=data.dict(), count=sent_rows(data) + MORE), kind, today)

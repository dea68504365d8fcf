"""The rate book back from a file: what it would note, or what is wrong, row by row.

What comes back is read by the same forms as the pages, so that it is refused for the same reasons in the same words. A
cell that is empty, or has no column, keeps what holds on that day. What is so already is not noted again.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _

from quotes.desk import cells
from quotes.desk.cells import Names, Reading, Refused, key, quoted, suggestion
from quotes.desk.importing import Wrong
from quotes.desk.rates.files import (
    BAR,
    FROM,
    KIND,
    NAME,
    SEVERAL,
    SURE,
    VALUE,
    boxes_of,
    columns,
    is_whole,
    joined,
    label_of,
)
from quotes.desk.rates.kinds import ALL, Kind, Rate, Subject
from quotes.desk.rates.tables import RateForm
from quotes.desk.records import WrongFile, records
from quotes.engine import canonical
from shop.methods.dated import imagining
from shop.papers.spreadsheets import Unread
from shop.people.models import Grade

MOST_ROWS = 2_000
MOST_WRONG = 200


@dataclass(slots=True)
class Change:
    """One revision a file would note: what was said in which row, and once it is read, its form."""

    kind: Kind
    subject: Subject
    day: date
    row: int
    told: dict[str, str] = field(default_factory=dict)
    at: dict[str, int] = field(default_factory=dict)
    form: RateForm | None = None
    held: Rate | None = None
    imagined: Rate | None = None

    @property
    def name(self) -> str:
        return self.kind.name(self.subject)

    @property
    def said(self) -> dict[str, Any]:
        assert self.form is not None
        return self.form.said()

    def differences(self) -> list[tuple[str, str, str]]:
        """What it changes: figure, before, after."""
        row = self.imagined
        before = {figure.label: figure.text for figure in self.kind.figures(self.held)} if self.held else {}
        after = {figure.label: figure.text for figure in self.kind.figures(row)}
        return [
            (label, before.get(label, "—"), after.get(label, "—"))
            for label in [*after, *(label for label in before if label not in after)]
            if before.get(label) != after.get(label)
        ]


@dataclass(slots=True)
class Book:
    """What a file says. Nothing may be noted while anything is wrong."""

    changes: list[Change] = field(default_factory=list)
    same: int = 0
    wrong: list[Wrong] = field(default_factory=list)

    def note(self, *, who: str, now: datetime) -> None:
        """All of it, inside one transaction or inside `imagining`."""
        for change in self.changes:
            change.kind.note(change.subject, change.said, who=who, now=now)


def read(content: bytes, *, now: datetime) -> Book:
    """Read a CSV or XLSX file: what it would note, or what is wrong with it. Never raises for what is in it."""
    book = Book()
    try:
        _read(content, book, now)
    except WrongFile as error:
        book.wrong.append(Wrong(error.row, "", error.text))
    if book.wrong:
        book.changes.clear()
    return book


def _read(content: bytes, book: Book, now: datetime) -> None:
    given = records(content, most=MOST_ROWS + 1)
    number, first = next(given.rows, (0, []))
    if not number:
        raise WrongFile(_("The file is empty. It needs a line of headings, then a line for each price."))
    headings = _headings(number, first)
    nothing = Names("", "")
    reader = _Reader(book, Reading(nothing, nothing, nothing, nothing, given.grouping), headings)
    for number, record in given.rows:
        reader.line(number, record)
        if len(book.wrong) >= MOST_WRONG:
            return
    if not number or not (reader.changes or book.wrong):
        raise WrongFile(_("There are headings, but no prices below them. Give each price a line."))
    if not book.wrong:
        for change in reader.changes.values():
            _check(change, book, now)


def _headings(number: int, record: Sequence[str]) -> list[str]:
    known = {key(name): name for name in columns()}
    for english in (KIND, NAME, FROM, VALUE):
        known.setdefault(key(english), _(english))
    found = []
    for cell in record:
        if cell and key(cell) not in known:
            near = suggestion(cell, known)
            advice = _("Did you mean “%(name)s”?") % {"name": near} if near else _("Leave it out.")
            raise WrongFile(_("The heading %(name)s is not known.") % {"name": quoted(cell)} + f" {advice}", row=number)
        found.append(known.get(key(cell), ""))
    for name in (KIND, NAME, FROM):
        if _(name) not in found:
            text = _("There is no heading “%(name)s”. The first line must hold the headings.") % {"name": _(name)}
            raise WrongFile(text, row=number)
    return found


class _Reader:
    """Lines into changes: a line for each thing and day, or several where each says one figure."""

    def __init__(self, book: Book, reading: Reading, headings: Sequence[str]) -> None:
        self.book, self.reading, self.headings = book, reading, headings
        self.changes: dict[tuple[str, str, date], Change] = {}
        self.kinds = {key(str(kind.label)): kind for kind in (made() for made in ALL)}
        self.subjects = {kind.slug: {key(kind.name(s)): s for s in kind.subjects()} for kind in self.kinds.values()}
        self.boxes = {kind.slug: kind.form() for kind in self.kinds.values()}
        self.labels = {kind.slug: {label_of(kind, box): box for box in boxes_of(kind)} for kind in self.kinds.values()}
        self.grades = {key(grade.name): str(grade.pk) for grade in Grade.objects.all()}

    def line(self, number: int, record: Sequence[str]) -> None:
        told: dict[str, str] = {}
        for heading_, cell in zip(self.headings, record, strict=False):
            if isinstance(cell, Unread):
                self._wrong(number, heading_, str(cell))
            elif cell and heading_:
                told[heading_] = cell
        kind = self.kinds.get(key(told.pop(_(KIND), "")))
        name = told.pop(_(NAME), "")
        day = _day(told.pop(_(FROM), ""))
        if kind is None:
            names = ", ".join(str(kind.label) for kind in self.kinds.values())
            return self._wrong(
                number, _(KIND), _("That is no kind of rate. Choose one of these: %(names)s.") % {"names": names}
            )
        if day is None:
            return self._wrong(number, _(FROM), _("Give a day as year-month-day, such as 2026-03-14."))
        if is_whole(kind):
            return self._figure(number, kind, name, day, told)
        return self._thing(number, kind, name, day, told)

    def _wrong(self, number: int, heading_: str, text: str) -> None:
        self.book.wrong.append(Wrong(number, heading_, text))

    def _thing(self, number: int, kind: Kind, name: str, day: date, told: dict[str, str]) -> None:
        subjects = self.subjects[kind.slug]
        if key(name) not in subjects:
            near = suggestion(name, {folded: kind.name(subject) for folded, subject in subjects.items()})
            text = _("There is no %(one)s of that name.") % {"one": kind.one}
            more = _("Did you mean “%(name)s”?") % {"name": near} if near else _("Define it on the pages first.")
            return self._wrong(number, _(NAME), f"{text} {more}")
        place = (kind.slug, key(name), day)
        if place in self.changes:
            text = _("The same thing and day is in row %(row)s already. Leave one of them out.")
            return self._wrong(number, _(NAME), text % {"row": self.changes[place].row})
        change = self.changes[place] = Change(kind, subjects[key(name)], day, number)
        labels = self.labels[kind.slug]
        for heading_, cell in told.items():
            if heading_ in labels:
                self._put(change, labels[heading_], cell, number, heading_)
            else:
                text = _("%(kind)s have no such figure. Empty the cell.") % {"kind": kind.label}
                self._wrong(number, heading_, text)
        return None

    def _figure(self, number: int, kind: Kind, name: str, day: date, told: dict[str, str]) -> None:
        labels = {key(label): box for label, box in self.labels[kind.slug].items()}
        head, _space, tail = key(name).rpartition(" ")
        box = labels.get(key(name)) or (labels.get(head, "") if tail.isdecimal() else "")
        if not box:
            near = suggestion(name, {label: label for label in labels})
            more = _("Did you mean “%(name)s”?") % {"name": near} if near else ""
            return self._wrong(number, _(NAME), _("There is no such figure.") + f" {more}".rstrip())
        change = self.changes.setdefault((kind.slug, "", day), Change(kind, "", day, number))
        if box in change.told and box not in SEVERAL:
            return self._wrong(number, _(NAME), _("The same figure and day is there twice. Leave one of them out."))
        return self._put(change, box, told.get(_(VALUE), ""), number, _(VALUE))

    def _put(self, change: Change, box: str, cell: str, number: int, heading_: str) -> None:
        change.at.setdefault(box, number)
        try:
            text = self._text(change.kind, box, cell)
        except Refused as error:
            return self._wrong(number, heading_, str(error))
        change.told[box] = f"{change.told[box]}\n{text}" if box in change.told else text
        return None

    def _text(self, kind: Kind, box: str, cell: str) -> str:
        """A cell as its box takes it."""
        if box == kind.form.rows or not cell:
            return cell
        field_ = self.boxes[kind.slug].fields[box]
        if isinstance(field_, forms.ModelChoiceField):
            if key(cell) not in self.grades:
                raise Refused(_("%(cell)s is not a labour grade of this shop.") % {"cell": quoted(cell)})
            return self.grades[key(cell)]
        if isinstance(field_, forms.ChoiceField):
            return _chosen(field_, cell)
        if isinstance(field_, forms.IntegerField):
            return canonical.text(cells.figure(12, 6)(cell, self.reading))
        return cell


def _chosen(box: forms.ChoiceField, cell: str) -> str:
    choices: Any = box.choices
    for value, label in choices:
        if key(cell) in {key(str(label)), key(str(value))}:
            return str(value)
    names = ", ".join(str(label) for _value, label in choices)
    raise Refused(_("Choose one of these: %(names)s.") % {"names": names})


def _day(text: str) -> date | None:
    try:
        return parse_date(text[:10])
    except ValueError:
        return None


def _check(change: Change, book: Book, now: datetime) -> None:
    """Read a change by its form and by its service; what is wrong is told at its row."""
    kind = change.kind
    change.held = kind.held(change.subject, change.day)
    data = _data(change)
    change.form = form = kind.form(data)
    if form.is_valid():
        if change.held is not None and _same(change):
            book.same += 1
            return
        try:
            with imagining():
                change.imagined = kind.note(change.subject, form.said(), who="", now=now)
        except ValidationError as error:
            form.place(error)
    for box, errors in form.errors.items():
        base = _base(kind, box)
        label = "" if base == "__all__" else label_of(kind, base) if base != "valid_from" else _(FROM)
        for text in errors:
            book.wrong.append(Wrong(change.at.get(base, change.row), label, str(text)))
    if not form.errors:
        book.changes.append(change)


def _base(kind: Kind, box: str) -> str:
    name, dash, tail = box.rpartition("-")
    return kind.form.rows if dash and tail.isdecimal() and name in kind.form.cells else box


def _data(change: Change) -> dict[str, str]:
    """What the file says, over what holds."""
    kind = change.kind
    data = {"valid_from": change.day.isoformat()}
    begun = kind.form(initial=kind.initial(change.held, change.day))
    for box in boxes_of(kind):
        if box == kind.form.rows:
            told = change.told.get(box, "")
            held = [joined(line) for line in kind.table(change.held)] if change.held else []
            lines = [line for line in told.replace(BAR.strip(), "\n").split("\n") if line.strip()] if told else held
            data |= _line_data(kind, lines)
        elif change.told.get(box):
            data[box] = change.told[box]
        elif box not in {"said_by", "valid_until"}:
            value = begun[box].value()
            data[box] = "" if value is None else str(value)
    return data


def _line_data(kind: Kind, lines: Sequence[str]) -> dict[str, str]:
    data: dict[str, str] = {}
    names = list(kind.form.cells)
    mark = ":" if len(names) == 2 else ";"
    for number, line in enumerate(lines):
        pieces = [piece.strip() for piece in line.split(mark)]
        for name, piece in zip(names, pieces, strict=False):
            box = kind.form.cells[name]()
            data[f"{name}-{number}"] = piece
            if isinstance(box, forms.ChoiceField):
                try:
                    data[f"{name}-{number}"] = _chosen(box, piece)
                except Refused:
                    continue  # the form says which are known
    return data


def _same(change: Change) -> bool:
    kind, held = change.kind, change.held
    assert change.form is not None
    said = change.form.cleaned_data
    figures = all(said[box] == _held_value(kind, held, box) for box in change.form.boxes if box != "valid_from")
    if not kind.form.rows or not figures:
        return figures
    return change.form.filled() == kind.table(held)


def _held_value(kind: Kind, held: Rate, box: str) -> Any:
    return getattr(held, box) if box in SURE else kind.value(held, box)

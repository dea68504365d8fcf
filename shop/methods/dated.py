"""Rows that are dated and never edited: which one holds on a day, and how the next one is added.

The latest day from which a row is valid, not after the day asked for; of several for that day the highest revision.

Inside `imagining` a row that is noted is checked as ever, holds for whoever reads rates in this thread, and is never
stored nor told: so one can see what a change would do before it is made.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.db.models import OuterRef, Subquery

from shop.journal.services import Subject, record
from shop.rereading import nothing_kept

TRIES = 20

Row = TypeVar("Row", bound=models.Model)

_imagined: ContextVar[list[models.Model] | None] = ContextVar("imagined", default=None)


@contextmanager
def imagining() -> Iterator[None]:
    """Whatever dated row is noted inside is only imagined."""
    token = _imagined.set([])
    try:
        with nothing_kept():
            yield
    finally:
        _imagined.reset(token)


def _always(_row: Any) -> bool:
    return True


def held_by(rows: models.QuerySet[Row], *, of: str, on: date, also: Callable[[Row], bool] = _always) -> dict[Any, Row]:
    """``rows`` in force by their column ``of``, and over them what is imagined, if it is one of those ``also`` wanted."""
    found = {getattr(row, of): row for row in rows}
    for row in filter(also, _imagined_rows(rows.model, on)):
        held = found.get(getattr(row, of))
        if held is None or _day(row) >= _day(held):
            found[getattr(row, of)] = row
    return found


def holding(rows: models.QuerySet[Row], *, on: date) -> Row | None:
    """Of dated ``rows`` of one thing the one that holds ``on`` a day, or what is imagined over it."""
    held = latest_first(rows, on=on).first()
    for row in _imagined_rows(rows.model, on):
        if held is None or _day(row) >= _day(held):
            held = row
    return held


def _imagined_rows(model: type[Row], on: date) -> Iterable[Row]:
    return [row for row in _imagined.get() or () if isinstance(row, model) and _day(row) <= on]


def add_children(row: models.Model, name: str, children: Sequence[models.Model]) -> None:
    """Store what belongs to a dated ``row`` under its related ``name``; imagined with it when that is imagined."""
    if _imagined.get() is None:
        type(children[0])._default_manager.bulk_create(children)
    else:
        row._prefetched_objects_cache = {name: children}  # type: ignore[attr-defined]  # as if they had been fetched


def latest_first(rows: models.QuerySet[Row], *, on: date) -> models.QuerySet[Row]:
    """Dated ``rows`` that were valid ``on`` a day or before it; the first is the one that holds."""
    return rows.filter(valid_from__lte=on).order_by("-valid_from", "-revision")


def in_force(rows: models.QuerySet[Row], *, of: str, on: date) -> models.QuerySet[Row]:
    """Of dated ``rows`` the one that holds ``on`` a day, for each value of the field ``of``."""
    same = rows.model._default_manager.filter(**{of: OuterRef(of)})
    return rows.filter(pk=Subquery(latest_first(same, on=on).values("pk")[:1]))


def add_revision(row: Row, *, of: str = "") -> Row:
    """Save a dated ``row`` under the next free revision of its day, for its value of the field ``of``.

    Must run inside a transaction. Somebody else may take the same revision at the same moment: then the next is tried.
    """
    failure: IntegrityError | None = None
    for _try in range(TRIES):
        taken = _of_the_same(row, of).filter(valid_from=_day(row)).aggregate(last=models.Max("revision"))["last"]
        row.revision = (taken or 0) + 1  # type: ignore[attr-defined]  # dated rows have it
        row.full_clean(exclude={"revision"})
        imagined = _imagined.get()
        if imagined is not None:
            imagined.append(row)
            row.pk = -len(imagined)  # no stored row has such a key, and what belongs to the row needs one
            return row
        try:
            with transaction.atomic():
                row.save(force_insert=True)
        except IntegrityError as error:
            failure = error
        else:
            return row
    assert failure is not None
    raise failure


def held_before(row: Row, *, of: str = "") -> Row | None:
    """The row that held on the day from which ``row`` shall."""
    if not isinstance(_day(row), date):
        return None  # what was typed is no day: validation says so
    return latest_first(_of_the_same(row, of), on=_day(row)).first()


def tell(
    row: Row, *, what: str, subject: Subject, before: Row | None, who: str, now: datetime, **more: tuple[Any, Any]
) -> None:
    """Write a new dated ``row`` into the journal; ``more`` are pairs (before, after) that are not columns of it."""
    if _imagined.get() is not None:
        return
    old = facts(before) | {name: pair[0] for name, pair in more.items()} if before else {}
    new = facts(row) | {name: pair[1] for name, pair in more.items()}
    record(who=who, at=now, what=what, subject=subject, before=old, after=new)


def facts(row: models.Model) -> dict[str, Any]:
    """The columns of a row as the journal tells them: what it belongs to by name."""
    values = {field: getattr(row, field.name) for field in row._meta.concrete_fields if not field.primary_key}
    return {
        field.name: str(value) if field.is_relation and value is not None else value for field, value in values.items()
    }


def at_field(field: str, error: ValidationError) -> ValidationError:
    """The same sentences, at another field."""
    return ValidationError({field: error.messages})


def _of_the_same(row: Row, of: str) -> models.QuerySet[Row]:
    rows = type(row)._default_manager.all()
    return rows.filter(**{of: getattr(row, of)}) if of else rows


def _day(row: models.Model) -> Any:
    return row.valid_from  # type: ignore[attr-defined]  # dated rows have it

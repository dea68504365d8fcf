"""One change for many parts of a restoration at once: for all of them, told part by part, or for none."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shop.journal.models import Entry
from shop.journal.services import told_together
from shop.restorations.models import Part, Restoration
from shop.restorations.services import PART_FIELDS, hold_scope, remove_part
from shop.routes.laying import all_routes
from shop.routes.models import Step
from shop.routes.order import refuse_circles
from shop.routes.parts import ROUTE_FIELDS, edit_part
from shop.routes.services import add_step

#: What can be said of many parts in one go.
FIELDS = (*PART_FIELDS, *ROUTE_FIELDS)


class ScopeMovedError(Exception):
    """Somebody changed the restoration after the person looked."""


class NotForAllError(Exception):
    """What cannot be done, part by part; nothing was changed."""

    def __init__(self, wrong: Sequence[tuple[Part, str]]) -> None:
        self.wrong = list(wrong)
        super().__init__(len(self.wrong))


@transaction.atomic
def edit_parts(
    *, restoration: Restoration, parts: Sequence[UUID], seen: int, changes: Mapping[str, Any], who: str, now: datetime
) -> list[Part]:
    """Set ``changes`` on every part named, its route following; ``seen`` is the scope version the person looked at.

    Gives back the parts. Raises `ScopeMovedError` and `NotForAllError`.
    """
    rows = _held(restoration, parts, seen)
    routes = all_routes()

    def edit(part: Part) -> None:
        edit_part(part=part, who=who, now=now, changes=changes, routes=routes, look_for_circles=False)

    _all_or_none(rows, edit)
    if changes.keys() & set(ROUTE_FIELDS):
        refuse_circles(restoration)
    return rows


@transaction.atomic
def add_step_to_parts(
    *, restoration: Restoration, parts: Sequence[UUID], seen: int, step: Mapping[str, Any], who: str, now: datetime
) -> list[Part]:
    """Add the same step to every part named: ``step`` as `add_step` takes it."""
    rows = _held(restoration, parts, seen)
    given = {**step, "origin": Step.Origin(step["origin"])}
    _all_or_none(rows, lambda part: add_step(part=part, who=who, now=now, **given))
    return rows


@transaction.atomic
def remove_parts(*, restoration: Restoration, parts: Sequence[UUID], seen: int, who: str, now: datetime) -> list[Part]:
    """Take every part named out of scope."""
    rows = _held(restoration, parts, seen)
    _all_or_none(rows, lambda part: remove_part(part=part, who=who, now=now))
    return rows


def _held(restoration: Restoration, parts: Sequence[UUID], seen: int) -> list[Part]:
    """The parts named, in order of the outline, held until the transaction ends."""
    hold_scope(restoration.pk)
    restoration.refresh_from_db(fields=["scope_version"])
    if restoration.scope_version != seen:
        raise ScopeMovedError
    rows = list(restoration.parts.filter(uid__in=parts, removed_at__isnull=True).order_by("position"))
    if not rows:
        raise ValidationError(_("Choose the parts first: tick them in the list."))
    return rows


def _all_or_none(rows: Sequence[Part], change: Callable[[Part], object]) -> None:
    """Try every part, so that all that is wrong is told at once; where anything is, the transaction ends with nothing."""
    wrong: list[tuple[Part, str]] = []
    with told_together(f"many {uuid4()}"):
        for part in rows:
            try:
                with transaction.atomic():
                    change(part)
            except ValidationError as error:
                wrong.append((part, " ".join(error.messages)))
    if wrong:
        raise NotForAllError(wrong)


def many_of(entry: Entry) -> bool:
    """Whether an entry begins a change of many parts."""
    return entry.reference.startswith("many ")

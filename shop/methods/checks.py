"""Writes on the checks of an operation. One that is not wanted any more ends; what was checked with it stays."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.methods.defining import add_thing, change_thing
from shop.methods.models import Cause, Check, Operation

LONGEST = 200


@transaction.atomic
def add_check(*, check: Check, who: str, now: datetime) -> Check:
    """A new check, behind those that its operation has."""
    Operation.objects.select_for_update().get(pk=check.operation_id)
    last = Check.objects.filter(operation=check.operation_id).aggregate(last=Max("position"))["last"] or 0
    check.position = last + 1
    return add_thing(thing=check, who=who, now=now)


@transaction.atomic
def change_check(
    *, check: Check, changes: Mapping[str, Any], seen: Mapping[str, Any], who: str, now: datetime
) -> Check:
    """Change a check from now on; ``seen`` is what the person saw, see `defining.change_thing`."""
    return change_thing(thing=check, changes=changes, seen=seen, who=who, now=now)


@transaction.atomic
def move_check(*, check: Check, up: bool, who: str, now: datetime) -> bool:
    """Ask it one place earlier, or later, among those in use; whether there was such a place."""
    Operation.objects.select_for_update().get(pk=check.operation_id)
    check.refresh_from_db(fields=["position", "ended"])
    others = Check.objects.filter(operation=check.operation_id, ended=False)
    other = (
        others.filter(position__lt=check.position).order_by("-position").first()
        if up
        else others.filter(position__gt=check.position).order_by("position").first()
    )
    if check.ended or other is None:
        return False
    before, after = check.position, other.position
    free = Check.objects.filter(operation=check.operation_id).aggregate(last=Max("position"))["last"] + 1
    for row, position in ((other, free), (check, after), (other, before)):  # no two share a place, even for a moment
        row.position = position
        row.save(update_fields=["position"])
    subject = subject_of(check)
    record(who=who, at=now, what="check moved", subject=subject, before={"position": before}, after={"position": after})
    return True


@transaction.atomic
def answer_cause(*, cause: Cause, operation: Operation, wanted: bool, who: str, now: datetime) -> Check:
    """Put in the check that would have caught ``cause``, or say that it is not wanted: then it is there, but not used.

    Either way it is not proposed again. There already, nothing changes.
    """
    Operation.objects.select_for_update().get(pk=operation.pk)
    known = Check.objects.filter(operation=operation, against=cause).order_by("position").first()
    if known is not None:
        return known
    words = (cause.check_words or _("Look for this: %(cause)s") % {"cause": cause})[:LONGEST]
    return add_check(check=Check(operation=operation, words=words, against=cause, ended=not wanted), who=who, now=now)

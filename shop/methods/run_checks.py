"""What is looked at before a bike leaves: the shop's own list. One that is not wanted any more ends; what came out stays."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from shop.journal.services import record, subject_of
from shop.methods.defining import add_thing, change_thing
from shop.methods.models import RunCheck, Stage


def asked(stage: str | None = None) -> list[RunCheck]:
    """The checks in use, of one stage or of all, in the order of the stages."""
    order = list(Stage.values)
    rows = RunCheck.objects.filter(ended=False, **({"stage": stage} if stage else {}))
    return sorted(rows, key=lambda row: (order.index(row.stage), row.position))


@transaction.atomic
def add_run_check(*, check: RunCheck, who: str, now: datetime) -> RunCheck:
    """A new check, behind those that its stage has."""
    check.position = _last(check.stage) + 1
    return add_thing(thing=check, who=who, now=now)


def _last(stage: str) -> int:
    """The last place taken in a stage; whoever asks holds it until the transaction ends."""
    held = list(RunCheck.objects.select_for_update().filter(stage=stage).values_list("position", flat=True))
    return max(held, default=0)


@transaction.atomic
def change_run_check(
    *,
    check: RunCheck,
    changes: Mapping[str, Any],
    seen: Mapping[str, Any],
    caution_may_go: bool = False,
    who: str,
    now: datetime,
) -> RunCheck:
    """Change words, caution or whether it is used; ``seen`` as in `defining.change_thing`."""
    return change_thing(thing=check, changes=changes, seen=seen, caution_may_go=caution_may_go, who=who, now=now)


@transaction.atomic
def move_run_check(*, check: RunCheck, up: bool, who: str, now: datetime) -> bool:
    """Ask it one place earlier, or later, in its stage; whether there was such a place."""
    free = _last(check.stage) + 1
    check.refresh_from_db(fields=["position", "ended"])
    others = RunCheck.objects.filter(stage=check.stage, ended=False)
    earlier, later = others.filter(position__lt=check.position), others.filter(position__gt=check.position)
    other = earlier.order_by("-position").first() if up else later.order_by("position").first()
    if check.ended or other is None:
        return False
    before, after = check.position, other.position
    for row, position in ((other, free), (check, after), (other, before)):  # no two share a place, even for a moment
        row.position = position
        row.save(update_fields=["position"])
    subject = subject_of(check)
    record(who=who, at=now, what="check moved", subject=subject, before={"position": before}, after={"position": after})
    return True

"""What is looked at before a step counts as done, and how it came out.

The newest answer of the present visit counts. What is not as it should be holds the step until somebody with a name lets it
pass, and says why.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.floor.models import Checked
from shop.floor.proofs import proofs
from shop.journal.services import record, subject_of
from shop.methods.models import Check
from shop.people.models import User
from shop.restorations.services import hold_scope
from shop.routes.models import Done, Step
from shop.text import quantity

LONGEST = Checked._meta.get_field("words").max_length
MEASURED = (Check.Kind.MEASURE, Check.Kind.COUNT, Check.Kind.WEIGHT)


@dataclass(frozen=True, slots=True)
class Asked:
    """A check as it is asked of one step, with the newest answer of its present visit.

    Where a finish is looked at, ``finish`` is the agreed one and ``proof`` says how sure it is that it left the works so.
    """

    step: Step
    check: Check
    low: Decimal | None = None
    high: Decimal | None = None
    finish: str = ""
    proof: str = ""
    result: Checked | None = None

    @property
    def is_measured(self) -> bool:
        return self.check.kind in MEASURED

    @property
    def is_answered(self) -> bool:
        return self.result is not None

    @property
    def is_out(self) -> bool:
        """Not as it should be, and nobody has let it pass."""
        return self.result is not None and not self.result.as_it_should and not self.result.passed_by

    @property
    def holds(self) -> bool:
        return self.result is None or self.is_out

    @property
    def limits(self) -> str:
        """What the value has to lie within, in words; empty where there is no limit."""
        told = {"unit": self.check.unit, "low": _plain(self.low), "high": _plain(self.high)}
        if self.low is None and self.high is None:
            return ""
        if self.low == self.high:
            return (_("%(low)s %(unit)s") % told).strip()
        if self.high is None:
            return (_("at least %(low)s %(unit)s") % told).strip()
        if self.low is None:
            return (_("at most %(high)s %(unit)s") % told).strip()
        return (_("%(low)s to %(high)s %(unit)s") % told).strip()

    @property
    def words(self) -> str:
        """What was asked, as it is kept: limits and finishes may be others one day."""
        more = self.finish or self.limits
        text = _("%(words)s: %(more)s") % {"words": self.check.words, "more": more} if more else self.check.words
        return text[:LONGEST]

    @property
    def why(self) -> str:
        """Why the step is not done yet; empty where this check does not hold it."""
        told = {"check": self.check.words}
        if self.result is None:
            return _("“%(check)s” is not answered yet.") % told
        if self.is_out:
            return (
                _(
                    "“%(check)s” is not as it should be. Put it right and check again, or let somebody let it pass by name."
                )
                % told
            )
        return ""

    def is_within(self, value: Decimal) -> bool:
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)


def _plain(value: Decimal | None) -> str:
    return "" if value is None else quantity(value)


def checks_of(step: Step) -> list[Asked]:
    """What is asked of one step, in order."""
    return checks_for([step])[step.pk]


def checks_for(steps: Collection[Step]) -> dict[int, list[Asked]]:
    """Step to what is asked of it, in at most eight queries for any number of them.

    Steps come with their part and its restoration, machine and agreed finish.
    """
    operations = {step.operation_id for step in steps if step.operation_id}
    by_operation: dict[int, list[Check]] = {}
    for check in Check.objects.filter(operation__in=operations, ended=False).order_by("operation", "position"):
        by_operation.setdefault(check.operation_id, []).append(check)
    asked = {
        step.pk: [one for one in by_operation.get(step.operation_id or 0, ()) if _is_for(one, step)] for step in steps
    }
    results = _results(steps) if any(asked.values()) else {}
    finished = [step.part for step in steps if any(one.kind == Check.Kind.FINISH for one in asked[step.pk])]
    sure = proofs(finished, on=timezone.localdate())
    return {step.pk: [_asked(step, one, results, sure) for one in asked[step.pk]] for step in steps}


def _is_for(check: Check, step: Step) -> bool:
    if check.kind == Check.Kind.FINISH and (step.origin != Step.Origin.FINISH or step.part.agreed_finish_id is None):
        return False
    return check.kind_of_part_id is None or check.kind_of_part_id == step.part.kind_id


def _results(steps: Iterable[Step]) -> dict[tuple[int, int], Checked]:
    """Step and check to the newest answer of the present visit. One query."""
    visits = {step.pk: step.visit for step in steps}
    rows = Checked.objects.filter(step__in=visits, visit=F("step__visit")).select_related("person")
    return {
        (row.step_id, row.check_asked_id): row for row in rows.order_by("at", "pk") if row.visit == visits[row.step_id]
    }


def _asked(step: Step, check: Check, results: Mapping[tuple[int, int], Checked], sure: Mapping[int, str]) -> Asked:
    low, high = check.low, check.high
    if check.kind == Check.Kind.COUNT and low is None and high is None:
        low = high = Decimal(step.part.pieces)
    if check.kind not in MEASURED:
        low = high = None
    is_finish = check.kind == Check.Kind.FINISH
    return Asked(
        step,
        check,
        low,
        high,
        finish=str(step.part.agreed_finish) if is_finish else "",
        proof=sure.get(step.part_id, "") if is_finish else "",
        result=results.get((step.pk, check.pk)),
    )


def known_step(pk: int) -> Step:
    """A step read anew, with all that checks and pages say of it."""
    rows = Step.objects.select_related(
        "part__restoration__machine", "part__agreed_finish", "part__kind", "operation__place", "service__vendor"
    )
    return rows.get(pk=pk)


def refuse_other_visit(step: Step, visit: int | None) -> None:
    """What a person saw on another visit says nothing about this one."""
    if visit is not None and visit != step.visit:
        said = _("It was opened anew meanwhile, to be done again. Look at it once more.")
        raise ValidationError(said, code="other visit")


@transaction.atomic
def answer_check(
    *,
    step: Step,
    check: Check,
    visit: int,
    value: Decimal | None = None,
    as_it_should: bool | None = None,
    person: User,
    now: datetime,
) -> Checked:
    """Note how a check came out: a ``value`` where it is measured, else whether it is as it should be.

    ``visit`` is the one that the person saw. Raises `ValidationError` at ``value`` or ``as_it_should``.
    """
    asked = _held(step, check, visit)
    if asked.is_measured:
        if value is None:
            raise ValidationError({"value": _("Give what you measured.")}, code="required")
        return _write(asked, value=value, as_it_should=asked.is_within(value), person=person, now=now)
    if as_it_should is None:
        raise ValidationError({"as_it_should": _("Say whether it is as it should be.")}, code="required")
    return _write(asked, value=None, as_it_should=as_it_should, person=person, now=now)


@transaction.atomic
def let_pass(
    *, step: Step, check: Check, visit: int, passed_by: str, reason: str, person: User, now: datetime
) -> Checked:
    """Let pass what is not as it should be: ``passed_by`` puts a name to it and says why."""
    asked = _held(step, check, visit)
    if not asked.is_out or asked.result is None:
        raise ValidationError(
            _("Nothing has to be let pass here: it is not answered, or as it should be."), code="not out"
        )
    if not passed_by.strip():
        raise ValidationError({"passed_by": _("Say who lets it pass.")}, code="required")
    if not reason.strip():
        raise ValidationError({"reason": _("Say why it may pass.")}, code="required")
    return _write(
        asked,
        value=asked.result.value,
        as_it_should=False,
        passed_by=passed_by.strip(),
        reason=reason.strip(),
        person=person,
        now=now,
    )


def _held(step: Step, check: Check, visit: int) -> Asked:
    """The check as it stands, once nobody else writes."""
    hold_scope(step.part.restoration_id)
    fresh = known_step(step.pk)
    refuse_other_visit(fresh, visit)
    if Done.objects.filter(step=fresh, visit=fresh.visit, undone_at__isnull=True).exists():
        raise ValidationError(_("It is done already. Take that back first, then check again."), code="done")
    found = next((one for one in checks_of(fresh) if one.check.pk == check.pk), None)
    if found is None:
        raise ValidationError(_("This is not asked here any more. Look at the step again."), code="not asked")
    return found


def _write(
    asked: Asked,
    *,
    value: Decimal | None,
    as_it_should: bool,
    passed_by: str = "",
    reason: str = "",
    person: User,
    now: datetime,
) -> Checked:
    row = Checked(
        step=asked.step,
        visit=asked.step.visit,
        check_asked=asked.check,
        words=asked.words,
        value=value,
        as_it_should=as_it_should,
        passed_by=passed_by,
        reason=reason,
        person=person,
        at=now,
    )
    row.full_clean(exclude={"step", "check_asked", "person"})
    row.save(force_insert=True)
    after: dict[str, object] = {
        "part": asked.step.part.name,
        "what was asked": row.words,
        "as it should be": as_it_should,
    }
    after |= {"measured": value} if value is not None else {}
    after |= {"let pass by": passed_by, "reason": reason} if passed_by else {}
    what = "check let pass" if passed_by else "check answered"
    record(who=person.username, at=now, what=what, subject=subject_of(asked.step), after=after)
    return row

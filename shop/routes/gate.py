"""What may not begin yet: everything while numbers do not match, and what waits for the finish evidence, which are steps
that destroy the traces, and steps that put a finish on.

A step that destroys traces waits until one of the listed finishes is proven. A step of the finish itself also waits until
that is the agreed one, unless the customer signed for another knowing how it departs: that frees putting it on, not
destroying. Somebody who puts a name to it lets one step begin all the same.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from functools import partial
from itertools import groupby
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from quotes.engine import evidence, inputs
from quotes.engine.errors import BadInput
from quotes.engine.evidence import Standing, Verdict
from shop.journal.services import record, subject_of
from shop.papers.pictures.chances import belief_in_words
from shop.rates.models import Odds
from shop.restorations.models import Machine, Part
from shop.restorations.numbers import stopped
from shop.restorations.services import hold_scope, refuse_out_of_scope
from shop.routes.models import Override, Step
from shop.routes.numbers import why_nothing_begins, why_nothing_begins_in
from shop.routes.questions import HUNDRED, Heard, heard, heard_in, heard_of, question_of, signed_deviation, strength_of
from shop.routes.selectors import Scope
from shop.routes.splits import origin_step


class Cause(StrEnum):
    """Why a step is held back."""

    DESTROYS = "destroys"
    UNPROVEN = "unproven"
    ANOTHER = "another"
    NUMBERS = "numbers"


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a step may not begin, in a sentence that says what to do; it is made where somebody reads it."""

    step: str
    part: str
    cause: Cause
    say: Callable[[], str] = field(compare=False)

    @property
    def sentence(self) -> str:
        return self.say()


@dataclass(frozen=True, slots=True)
class Belief:
    """How the question of one part stands; ``error`` says why nothing can be worked out."""

    question: inputs.FinishQuestion | None
    verdict: Verdict | None
    error: BadInput | None = None

    @property
    def proven(self) -> str:
        """The key of the listed finish that is proven; empty when none is."""
        found = self.verdict
        return found.answer if found and found.standing == Standing.PROVEN else ""

    def name_of(self, key: str) -> str:
        """An answer by name."""
        listed = self.question.candidates if self.question else ()
        return next((item.name for item in listed if item.key == key), _("none of those listed"))

    def sentence(self) -> str:
        """How it stands, in words."""
        if self.error is not None:
            return self.error.sentence(_(self.error.template))
        if self.verdict is None or self.question is None:
            return _("Nothing says yet which finish it had.")
        if self.verdict.standing == Standing.OPEN and _are_alike(self.question):
            return _("It is open: nothing speaks for one of those listed rather than another.")
        return _(_SENTENCES[self.verdict.standing]) % {
            "finish": self.name_of(self.verdict.answer),
            "chance": belief_in_words(self.verdict.chance),
        }


_SENTENCES = {
    Standing.PROVEN: gettext_noop("%(finish)s is proven (%(chance)s)."),
    Standing.LIKELY: gettext_noop("%(finish)s is likely, but not proven (%(chance)s)."),
    Standing.OPEN: gettext_noop("It is open; %(finish)s is the likeliest (%(chance)s)."),
    Standing.CONTRADICTING: gettext_noop("The evidence contradicts itself; %(finish)s is the likeliest (%(chance)s)."),
}


def _are_alike(question: inputs.FinishQuestion) -> bool:
    """Whether several answers are the likeliest together, as far as anybody would see."""
    chances = sorted(round(chance, 6) for chance in evidence.belief(question).values())
    return len(chances) > 1 and chances[-1] == chances[-2]


def belief_of(part: Part, machine: Machine, known: Heard, odds: Odds) -> Belief:
    """How the question which finish ``part`` had stands."""
    question = question_of(part, machine, known, odds)
    if question is None:
        return Belief(None, None)
    try:
        evidence.checked(question)
    except BadInput as error:
        return Belief(question, None, error)
    proven = odds.proven / HUNDRED
    return Belief(question, evidence.verdict(question, proven=proven, fair=strength_of("fair", odds)))


def refusals(step: Step, *, odds: Odds) -> list[Refusal]:
    """Why ``step`` may not begin yet; empty when it may. Steps come with their part, operation and service."""
    stop = why_nothing_begins(step.part.restoration)
    return [*_of_numbers(step, step.part, stop), *_of_evidence(step, odds)]


def _of_numbers(step: Step, part: Part, stop: str) -> list[Refusal]:
    return [Refusal(str(step.uid), str(part.uid), Cause.NUMBERS, partial(str, stop))] if stop else []


def _of_evidence(step: Step, odds: Odds) -> list[Refusal]:
    part = step.part
    if not _is_held(step, part):
        return []
    overridden = set(_overrides(step=step))
    return _refusals(part, [step], part.restoration.machine, heard_of(part), odds, overridden)


def gate_for_scope(scope: Scope, odds: Odds) -> dict[str, tuple[Refusal, ...]]:
    """Step uid to why it may not begin yet, for the steps that are held back, in six queries."""
    overridden = set(_overrides(step__part__restoration=scope.restoration))
    known, machine = heard(scope), scope.restoration.machine
    stop = why_nothing_begins(scope.restoration)
    of_numbers = [
        item for part in scope.parts for step in scope.steps[part.pk] for item in _of_numbers(step, part, stop)
    ]
    of_evidence = [
        item for part in scope.parts for item in _refusals(part, scope.steps[part.pk], machine, known, odds, overridden)
    ]
    return _by_step([*of_numbers, *of_evidence])


def gate_for_part(part: Part, steps: Iterable[Step], known: Heard, odds: Odds) -> dict[str, tuple[Refusal, ...]]:
    """Which ``steps`` of one part wait for its evidence, which was read already, and why: one query."""
    overridden = set(_overrides(step__part=part))
    return _by_step(_refusals(part, steps, part.restoration.machine, known, odds, overridden))


def gate_in(
    routes: Iterable[tuple[Part, Sequence[Step]]], restorations: Collection[int], odds: Odds
) -> dict[str, tuple[Refusal, ...]]:
    """The same for parts of several restorations with their steps, in six queries for any number of them.

    Parts come with their machine and agreed finish, steps with their operation and service.
    """
    overridden, known = set(_overrides(step__part__restoration__in=restorations)), heard_in(restorations)
    stop = why_nothing_begins_in(restorations)
    found: list[Refusal] = []
    for part, steps in routes:
        for step in steps:
            found += _of_numbers(step, part, stop.get(part.restoration_id, ""))
        found += _refusals(part, steps, part.restoration.machine, known, odds, overridden)
    return _by_step(found)


def before_leaving(restorations: Collection[int], odds: Odds) -> dict[UUID, Cause]:
    """Step uid to what a step of several restorations waits for before it can leave the house, in eight queries at most.

    What is sent out goes after the steps before it on its part, so that what holds one of those holds it too. What is
    bought waits for no finish: it can be ordered before.
    """
    rows = Step.objects.filter(
        part__restoration__in=restorations, part__removed_at__isnull=True, removed_at__isnull=True
    ).select_related("part__restoration__machine", "part__agreed_finish", "operation", "service")
    overridden, known = set(_overrides(step__part__restoration__in=restorations)), heard_in(restorations)
    stop = stopped(restorations)
    found: dict[UUID, Cause] = {}
    for _part, group in groupby(rows.order_by("part", "position", "pk"), key=lambda step: step.part_id):
        steps = list(group)
        part = steps[0].part
        held = {
            item.step: item.cause for item in _refusals(part, steps, part.restoration.machine, known, odds, overridden)
        }
        found |= _carried_on(steps, held, stopped=part.restoration_id in stop)
    return found


def _carried_on(steps: Sequence[Step], held: Mapping[str, Cause], *, stopped: bool) -> dict[UUID, Cause]:
    found: dict[UUID, Cause] = {}
    so_far: Cause | None = None
    for step in steps:
        own = held.get(str(step.uid))
        so_far = so_far or own
        cause = Cause.NUMBERS if stopped else own if step.buy else so_far
        if cause is not None:
            found[step.uid] = cause
    return found


def _overrides(**steps: Any) -> Iterable[int]:
    return Override.objects.filter(kind=Override.Kind.FINISH, **steps).values_list("step", flat=True)


def _by_step(refusals: Iterable[Refusal]) -> dict[str, tuple[Refusal, ...]]:
    found: dict[str, tuple[Refusal, ...]] = {}
    for refusal in refusals:
        found[refusal.step] = (*found.get(refusal.step, ()), refusal)
    return found


def destroys_evidence(step: Step, part: Part) -> bool:
    """Whether ``step`` destroys traces of the factory finish; what spares bare metal does so under an old finish only."""
    if step.operation is not None:
        spared = step.operation.spares_bare_metal and part.old_finish_id is None
        return step.operation.destroys_evidence and not spared
    return step.service is not None and step.service.destroys_evidence


def _is_held(step: Step, part: Part) -> bool:
    return destroys_evidence(step, part) or (step.origin == Step.Origin.FINISH and not step.buy)


def _refusals(
    part: Part, steps: Iterable[Step], machine: Machine, known: Heard, odds: Odds, overridden: set[int]
) -> list[Refusal]:
    held = [step for step in steps if not {step.pk, origin_step(step)} & overridden and _is_held(step, part)]
    if not held:
        return []
    belief = belief_of(part, machine, known, odds)
    knowingly = signed_deviation(part, known) is not None
    found = [(step, _cause(step, part, belief, knowingly=knowingly)) for step in held]
    return [_refusal(step, part, cause, belief) for step, cause in found if cause is not None]


def _cause(step: Step, part: Part, belief: Belief, *, knowingly: bool) -> Cause | None:
    applies = step.origin == Step.Origin.FINISH and not knowingly
    if not belief.proven:
        return Cause.DESTROYS if destroys_evidence(step, part) else Cause.UNPROVEN if applies else None
    agreed = str(part.agreed_finish.uid) if part.agreed_finish else ""
    return Cause.ANOTHER if applies and belief.proven != agreed else None


def _refusal(step: Step, part: Part, cause: Cause, belief: Belief) -> Refusal:
    return Refusal(str(step.uid), str(part.uid), cause, partial(_sentence, step, part, cause, belief))


def _sentence(step: Step, part: Part, cause: Cause, belief: Belief) -> str:
    told = {
        "step": step,
        "belief": belief.sentence(),
        "proven": belief.name_of(belief.proven),
        "agreed": part.agreed_finish or "",
    }
    sentences = {
        Cause.DESTROYS: _(
            "“%(step)s” destroys the traces of the factory finish. %(belief)s Add evidence that proves it, or let somebody "
            "decide by name."
        ),
        Cause.UNPROVEN: _(
            "“%(step)s” belongs to “%(agreed)s”, and that it is the factory finish is not proven. %(belief)s Add evidence, "
            "let the customer sign for a deviation, or let somebody decide by name."
        ),
        Cause.ANOTHER: _(
            "“%(step)s” belongs to “%(agreed)s”, but “%(proven)s” is proven. Agree on that, let the customer sign for the "
            "deviation, or let somebody decide by name."
        ),
    }
    return sentences[cause] % told


@transaction.atomic
def override(
    *, steps: Sequence[Step], who_decided: str, reason: str, odds: Odds, who: str, now: datetime
) -> list[Override]:
    """Let ``steps`` begin all the same: ``who_decided`` puts a name to it. All of them, or none.

    Refused where nothing holds one of them back, and at ``who`` and ``reason`` where these say nothing.
    """
    if not steps:
        raise ValidationError(_("No step waits for the evidence: what there is can begin."), code="not held back")
    return [
        _override(step, who_decided=who_decided, reason=reason, odds=odds, who=who, now=now)
        for step in sorted(steps, key=lambda step: step.pk)
    ]


def _override(step: Step, *, who_decided: str, reason: str, odds: Odds, who: str, now: datetime) -> Override:
    hold_scope(step.part.restoration_id)
    known = Step.objects.select_related("part__restoration__machine", "part__agreed_finish", "operation", "service")
    step.refresh_from_db(from_queryset=known)
    refuse_out_of_scope(step.part)
    if step.removed_at is not None:
        raise ValidationError(_("This step is off the route. Bring it back first."), code="off the route")
    row = Override(step=step, who=who_decided.strip(), reason=reason.strip(), at=now, recorded_by=who)
    row.full_clean(exclude={"step"})
    held = _of_evidence(step, odds)
    if not held:
        said = _("Nothing holds “%(step)s” back: it can begin as it is.") % {"step": step}
        raise ValidationError(said, code="not held back")
    row.save()
    after = {"who decided": row.who, "reason": row.reason, "held back by": held[0].sentence}
    record(who=who, at=now, what="finish evidence overridden", subject=subject_of(step), after=after)
    return row

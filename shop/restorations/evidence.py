"""Writes on finish evidence: which finishes a part may have had, and what says so.

Every write is a change of scope, since a price rests on it, and is kept whole or not at all. Evidence belongs to one part:
what says something of the upper one says nothing of the lower.
"""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from quotes.engine.evidence import origin_of
from shop.journal.services import record, subject_of
from shop.journal.telling import told
from shop.methods.models import Finish
from shop.papers.models import Photograph
from shop.restorations.models import FinishCandidate, FinishEvidence, Part
from shop.restorations.services import change_scope, hold_part, hold_scope, refuse_out_of_scope, set_fields
from shop.restorations.speaking import number_of, speaks_of

EVIDENCE_FIELDS = (
    "kind",
    "source",
    "origin",
    "says",
    "strength",
    "years_from",
    "years_to",
    "markets",
    "numbers_from",
    "numbers_to",
    "note",
)
FIRST_YEAR, LAST_YEAR = 1880, 2100
ONE = Decimal(1)


# -- the list ----------------------------------------------------------------------------------------------------------


@transaction.atomic
def list_candidate(*, part: Part, finish: Finish, weight: Decimal = ONE, who: str, now: datetime) -> FinishCandidate:
    """Put ``finish`` on the list of what ``part`` may have had; ``weight`` against the others, before any evidence.

    Whether the shop can put it on is looked at by `routes.finishes.list_finish`.
    """
    hold_part(part)
    refuse_out_of_scope(part)
    if part.candidates.filter(finish=finish).exists():
        raise ValidationError({"finish": _("“%(finish)s” is on the list already.") % {"finish": finish}})
    row = FinishCandidate(part=part, finish=finish, weight=weight)
    row.full_clean(exclude={"part"})
    row.save()
    change_scope(part.restoration)
    after = {"finish": finish.name, "weight": row.weight}
    record(who=who, at=now, what="finish listed", subject=subject_of(part), after=after)
    return row


@transaction.atomic
def weigh_candidate(*, candidate: FinishCandidate, weight: Decimal, who: str, now: datetime) -> FinishCandidate:
    """Change the weight of a listed finish against the others."""
    _hold_candidate(candidate)
    part = candidate.part
    refuse_out_of_scope(part)
    before = set_fields(candidate, changes={"weight": weight}, allowed={"weight"})
    if before:
        candidate.save(update_fields=["weight"])
        change_scope(part.restoration)
        name = candidate.finish.name
        record(
            who=who,
            at=now,
            what="listed finish weighed",
            subject=subject_of(part),
            before={name: before["weight"]},
            after={name: weight},
        )
    return candidate


@transaction.atomic
def unlist_candidate(*, candidate: FinishCandidate, who: str, now: datetime) -> None:
    """Take a finish off the list. Refused while evidence speaks for it; off already, nothing changes."""
    hold_scope(candidate.part.restoration_id)
    part = candidate.part
    hold_part(part)
    refuse_out_of_scope(part)
    if not part.candidates.filter(pk=candidate.pk).exists():
        return
    speaking = _live(part).filter(says=candidate.finish).first()
    if speaking is not None:
        said = _("“%(origin)s” says it was “%(finish)s”. Take that evidence away first.")
        raise ValidationError({"finish": said % {"origin": speaking.origin, "finish": candidate.finish}})
    before = {"finish": candidate.finish.name, "weight": candidate.weight}
    candidate.delete()
    change_scope(part.restoration)
    record(who=who, at=now, what="finish taken off the list", subject=subject_of(part), before=before)


def _hold_candidate(candidate: FinishCandidate) -> None:
    hold_scope(candidate.part.restoration_id)
    candidate.refresh_from_db(from_queryset=FinishCandidate.objects.select_related("part__restoration", "finish"))


# -- evidence ----------------------------------------------------------------------------------------------------------


@transaction.atomic
def add_evidence(*, part: Part, who: str, now: datetime, **fields: Any) -> FinishEvidence:
    """Add what says which finish ``part`` had: fields of ``EVIDENCE_FIELDS``. ``says`` None is "none of those listed".

    Without an origin of its own, what comes from a source has the source's name as its origin. All that is wrong is said at
    its field, and nothing is kept.
    """
    hold_part(part)
    refuse_out_of_scope(part)
    given = {name: fields[name] for name in EVIDENCE_FIELDS if name in fields}
    row = FinishEvidence(part=part, added_at=now, added_by=who, **given)
    if not row.origin.strip() and row.source is not None:
        row.origin = row.source.name
    _trim(row)
    _refuse_years_out_of_order(row.years_from, row.years_to)
    row.full_clean(exclude={"part", "source", "says"}, validate_unique=False)
    _refuse_unsound(row)
    row.save()
    change_scope(part.restoration)
    after = told({name: getattr(row, name) for name in EVIDENCE_FIELDS if getattr(row, name) not in (None, "")})
    record(who=who, at=now, what="finish evidence added", subject=subject_of(row), after={"part": part.name, **after})
    return row


@transaction.atomic
def change_evidence(
    *,
    evidence: FinishEvidence,
    who: str,
    now: datetime,
    changes: Mapping[str, Any],
    seen: Mapping[str, Any] | None = None,
) -> FinishEvidence:
    """Change fields of ``EVIDENCE_FIELDS``; ``seen`` as in `change_part`. Where nothing differs, nothing is written."""
    _hold(evidence)
    part = evidence.part
    refuse_out_of_scope(part)
    if evidence.removed_at is not None:
        raise ValidationError(_("This evidence was taken away. Bring it back first."), code="taken away")
    given = {name: value.strip() if isinstance(value, str) else value for name, value in changes.items()}
    _refuse_years_out_of_order(*(given.get(name, getattr(evidence, name)) for name in ("years_from", "years_to")))
    before = set_fields(evidence, changes=given, seen=seen, allowed=EVIDENCE_FIELDS)
    if before:
        _refuse_unsound(evidence)
        evidence.save(update_fields=list(before))
        change_scope(part.restoration)
        after = {field: given[field] for field in before}
        subject = subject_of(evidence)
        record(who=who, at=now, what="finish evidence changed", subject=subject, before=told(before), after=told(after))
    return evidence


@transaction.atomic
def remove_evidence(*, evidence: FinishEvidence, who: str, now: datetime) -> FinishEvidence:
    """Take evidence away; `bring_back_evidence` undoes it. Away already, nothing changes."""
    _hold(evidence)
    refuse_out_of_scope(evidence.part)
    if evidence.removed_at is None:
        _mark(evidence, now)
        record(who=who, at=now, what="finish evidence taken away", subject=subject_of(evidence))
    return evidence


@transaction.atomic
def bring_back_evidence(*, evidence: FinishEvidence, who: str, now: datetime) -> FinishEvidence:
    """Undo a removal: the same uid returns. Refused where its origin says something else by now, or its finish went."""
    _hold(evidence)
    refuse_out_of_scope(evidence.part)
    if evidence.removed_at is not None:
        _refuse_unsound(evidence)
        _mark(evidence, None)
        record(who=who, at=now, what="finish evidence brought back", subject=subject_of(evidence))
    return evidence


@transaction.atomic
def add_photograph(*, evidence: FinishEvidence, photograph: Photograph, who: str, now: datetime) -> FinishEvidence:
    """Put a photograph that was kept already beside the evidence it shows. What is believed stays as it is."""
    _hold(evidence)
    refuse_out_of_scope(evidence.part)
    evidence.photographs.add(photograph)
    after = {"photograph": photograph.caption}
    record(who=who, at=now, what="photograph added to finish evidence", subject=subject_of(evidence), after=after)
    return evidence


def _mark(evidence: FinishEvidence, at: datetime | None) -> None:
    change_scope(evidence.part.restoration)
    evidence.removed_at = at
    evidence.save(update_fields=["removed_at"])


def _hold(evidence: FinishEvidence) -> None:
    """Hold the restoration and read the evidence anew: what a page brought along may be old."""
    hold_scope(evidence.part.restoration_id)
    known = FinishEvidence.objects.select_related("part__restoration__machine", "source", "says")
    evidence.refresh_from_db(from_queryset=known)


def _live(part: Part) -> Any:
    return part.evidence.filter(removed_at__isnull=True)


def _trim(row: FinishEvidence) -> None:
    for name in ("origin", "markets", "numbers_from", "numbers_to", "note"):
        setattr(row, name, getattr(row, name).strip())


# -- what is refused ---------------------------------------------------------------------------------------------------


def _refuse_unsound(row: FinishEvidence) -> None:
    """Raise `ValidationError` at every field that no evidence can have beside what is there."""
    wrong = _wrong_years(row) | _wrong_numbers(row) | _wrong_words(row)
    if wrong:
        raise ValidationError(wrong)


def _wrong_years(row: FinishEvidence) -> dict[str, str]:
    limits = {"first": FIRST_YEAR, "last": LAST_YEAR}
    said = _("Give a year from %(first)s to %(last)s.") % limits
    years = {name: getattr(row, name) for name in ("years_from", "years_to")}
    return {name: said for name, year in years.items() if year is not None and not FIRST_YEAR <= year <= LAST_YEAR}


def _refuse_years_out_of_order(first: int | None, last: int | None) -> None:
    if first is not None and last is not None and last < first:
        raise ValidationError({"years_to": _("The last year is before the first. Swap them.")})


def _wrong_numbers(row: FinishEvidence) -> dict[str, str]:
    given = {name: getattr(row, name) for name in ("numbers_from", "numbers_to")}
    numbers = {name: number_of(text) for name, text in given.items()}
    wrong = {
        name: _("There is no figure in it. Give a frame number, such as CB57-10482 or 10482.")
        for name, text in given.items()
        if text and numbers[name] is None
    }
    first, last = numbers.values()
    if first is None or last is None:
        return wrong
    if first.series and last.series and first.series != last.series:
        return {"numbers_to": _("The two numbers are of different series. Give one piece of evidence for each.")}
    return {"numbers_to": _("The last number is before the first. Swap them.")} if last.serial < first.serial else {}


def _wrong_words(row: FinishEvidence) -> dict[str, str]:
    """A finish that is not listed; an origin that says something else already, of this machine."""
    if row.says is not None and not row.part.candidates.filter(finish=row.says).exists():
        said = _("“%(finish)s” is not on the list of what this part may have had. List it first.")
        return {"says": said % {"finish": row.says}}
    machine = row.part.restoration.machine
    others = _live(row.part).exclude(pk=row.pk).exclude(Q(says=row.says) if row.says else Q(says__isnull=True))
    for other in others.select_related("says") if speaks_of(row, machine) else ():
        if origin_of(other.origin) == origin_of(row.origin) and speaks_of(other, machine):
            said = _(
                "Contradicting evidence: “%(origin)s” says already that it was “%(finish)s”. One origin is one witness: "
                "put right what it says, or name the second origin."
            )
            return {"says": said % {"origin": other.origin, "finish": other.says or _("none of these")}}
    return {}

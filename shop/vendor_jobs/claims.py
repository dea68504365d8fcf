"""What we ask for pieces lost, damaged, or not as agreed; and how it was settled."""

from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.restorations.services import hold_scope
from shop.routes.again import again
from shop.routes.models import Away, Done
from shop.vendor_jobs.models import Claim, Job, Line


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for, of whom, and within what: ``asked_minor`` None while no sum is asked, ``cap_minor`` None without a cap."""

    asked_minor: int | None
    payer: str = Claim.Payer.VENDOR
    redo_free: bool = False
    cap_minor: int | None = None


def usual(line: Line) -> Asked:
    """What is asked for a line by the vendor's terms: its replacement value, at most what the vendor pays per claim.

    A rejected line asks for no money where the vendor does it again free.
    """
    terms = getattr(line.job.vendor, "terms", None)
    free = line.outcome == Line.Outcome.REJECTED and (terms is None or terms.redo_free)
    cap = terms.claim_cap_minor if terms else None
    value = None if free else line.replacement_minor
    return Asked(value if value is None or cap is None else min(value, cap), redo_free=free, cap_minor=cap)


@transaction.atomic
def ask(*, line: Line, words: str, asked: Asked | None = None, who: str, now: datetime) -> Claim:
    """Make a claim for a line, as `usual` where nothing else is said. Said twice, it is kept once. Raises at the field."""
    Job.objects.select_for_update().get(pk=line.job_id)
    line = Line.objects.select_related("job__service__vendor__terms", "step__part").get(pk=line.pk)
    asked = asked or usual(line)
    _refuse_claim(line, asked)
    same = line.claims.filter(words=words.strip(), settled_at__isnull=True).first()
    if same is not None:
        return same
    row = Claim(
        line=line,
        words=words.strip(),
        asked_minor=asked.asked_minor,
        cap_minor=asked.cap_minor,
        redo_free=asked.redo_free,
        payer=asked.payer,
        made_at=now,
        made_by=who,
    )
    row.full_clean(exclude={"line"})
    row.save(force_insert=True)
    after = {
        "parts": str(line.step.part),
        "what happened": row.words,
        "we ask for minor": row.asked_minor,
        "who pays": str(row.get_payer_display()),
        "again free": row.redo_free,
    }
    record(who=who, at=now, what="claim made", subject=subject_of(line.job), after=after)
    return row


def _refuse_claim(line: Line, asked: Asked) -> None:
    if line.job.sent_on is None or line.outcome == Line.Outcome.NOT_SENT:
        said = _("It did not go out with this lot, so nothing can have happened to it there.")
        raise ValidationError({"line": said}, code="not sent")
    by_vendor = asked.payer == Claim.Payer.VENDOR
    if by_vendor and None not in (asked.asked_minor, asked.cap_minor) and asked.asked_minor > asked.cap_minor:  # type: ignore[operator]
        said = _("That is more than the vendor pays for a claim. Ask for that at most, or change what it pays.")
        raise ValidationError({"asked_minor": said}, code="cap")


@transaction.atomic
def settle_claim(
    *,
    claim: Claim,
    settled_minor: int,
    payer: str,
    how: str,
    replaced: bool = False,
    who: str,
    now: datetime,
) -> Claim:
    """Settle a claim once: what it comes to, and who pays it. ``replaced`` sends a replacement of what is lost round from the start.

    Raises at the field.
    """
    line = Line.objects.select_related("job", "step__part").get(pk=claim.line_id)
    hold_scope(line.step.part.restoration_id)
    claim = Claim.objects.select_for_update().get(pk=claim.pk)
    if claim.settled_at is not None:
        raise ValidationError(_("This claim is settled already. Look at the page again."), code="settled")
    if not how.strip():
        raise ValidationError({"settled_how": _("Say how it was settled: it is what somebody asks for in a year.")})
    if claim.cap_minor is not None and payer == Claim.Payer.VENDOR and settled_minor > claim.cap_minor:
        said = _(
            "The vendor's terms say that it pays less than that for a claim. Give the sum it pays, or change the terms."
        )
        raise ValidationError({"settled_minor": said}, code="cap")
    claim.settled_at, claim.settled_by = now, who
    claim.settled_minor, claim.payer, claim.settled_how = settled_minor, payer, how.strip()
    claim.full_clean(exclude={"line"})
    claim.save()
    if replaced:
        _begin_anew(line, who=who, now=now)
    after = {
        "parts": str(line.step.part),
        "comes to minor": settled_minor,
        "who pays": str(Claim.Payer(payer).label),
        "how": claim.settled_how,
    }
    record(who=who, at=now, what="claim settled", subject=subject_of(line.job), after=after)
    return claim


def _begin_anew(line: Line, *, who: str, now: datetime) -> None:
    """A replacement is here: nothing is out any more, and what was done to the lost pieces is done to it again."""
    if line.outcome != Line.Outcome.LOST:
        said = _("These pieces are not lost, so nothing takes their place.")
        raise ValidationError({"replaced": said}, code="not lost")
    today = timezone.localdate(now)
    Away.objects.filter(step=line.step, ended_on__isnull=True).update(ended_on=today, changed_at=now)
    route = line.step.part.steps.filter(removed_at__isnull=True, position__lte=line.step.position, buy="")
    done = Done.objects.filter(step__in=route, undone_at__isnull=True).values_list("step", flat=True)
    first = route.filter(pk__in=[*done, line.step_id]).order_by("position").first()
    assert first is not None, "the step itself is on its route"
    again(step=line.step, back_to=first, remedies=[], who=who, now=now)

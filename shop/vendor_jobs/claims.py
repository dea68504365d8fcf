"""What we ask of a vendor: for pieces lost, damaged, or not as agreed; and how it was settled."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.restorations.services import hold_scope
from shop.routes.again import again
from shop.routes.models import Away, Done
from shop.vendor_jobs.models import Claim, Line


@transaction.atomic
def ask(*, line: Line, words: str, asked_minor: int | None = None, who: str, now: datetime) -> Claim:
    """Make a claim for a line; what is asked begins as its replacement value, at most what the vendor pays per claim.

    A rejected line asks for no money where the vendor does it again free.
    """
    terms = getattr(line.job.vendor, "terms", None)
    free = line.outcome == Line.Outcome.REJECTED and (terms is None or terms.redo_free)
    cap = terms.claim_cap_minor if terms else None
    asked = asked_minor
    if asked is None and not free and line.replacement_minor is not None:
        asked = line.replacement_minor if cap is None else min(line.replacement_minor, cap)
    row = Claim(
        line=line, words=words.strip(), asked_minor=asked, cap_minor=cap, redo_free=free, made_at=now, made_by=who
    )
    row.full_clean(exclude={"line"})
    row.save(force_insert=True)
    after = {"parts": str(line.step.part), "what happened": row.words, "we ask for minor": asked, "again free": free}
    record(who=who, at=now, what="claim made", subject=subject_of(line.job), after=after)
    return row


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

"""Writes where a finish meets the route: listing one the shop can put on, and signing for the agreed one."""

from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.methods.models import Finish, FinishRoute
from shop.restorations.evidence import ONE, list_candidate
from shop.restorations.models import FinishAgreement, FinishCandidate, Part
from shop.restorations.services import hold_part, refuse_out_of_scope
from shop.routes.laying import NoRouteError, all_routes
from shop.routes.parts import edit_part


@transaction.atomic
def list_finish(*, part: Part, finish: Finish, weight: Decimal = ONE, who: str, now: datetime) -> FinishCandidate:
    """List a finish that ``part`` may have had and that the shop can put on it; else `ValidationError` at the finish."""
    row = list_candidate(part=part, finish=finish, weight=weight, who=who, now=now)
    try:
        all_routes().of(finish, part.material, FinishRoute.Direction.APPLY, part=part.name)
    except NoRouteError as error:
        raise ValidationError({"finish": error.messages}) from None
    return row


@transaction.atomic
def sign_finish(
    *,
    part: Part,
    finish: Finish,
    deviation: str = "",
    who_agreed: str,
    how: str,
    said_on: date,
    who: str,
    now: datetime,
) -> FinishAgreement:
    """Note what the customer signed for; the part's agreed finish, its deviation and its route follow.

    Another finish than the factory's needs its deviation named. All that is wrong is said at its field, nothing is kept.
    """
    hold_part(part)
    refuse_out_of_scope(part)
    row = FinishAgreement(
        part=part,
        finish=finish,
        deviation=deviation.strip(),
        who=who_agreed.strip(),
        how=how,
        said_on=said_on,
        at=now,
        recorded_by=who,
    )
    row.full_clean(exclude={"part", "finish"})
    _refuse_unsigned(row, today=timezone.localdate(now))
    try:
        changes = {"agreed_finish": finish, "deviation": row.deviation}
        edit_part(part=part, who=who, now=now, changes=changes)
    except NoRouteError as error:
        raise ValidationError({"finish": error.messages}) from None
    row.save()
    _record_agreed(row)
    return row


@transaction.atomic
def note_signed(
    *,
    part: Part,
    finish: Finish,
    deviation: str,
    who_agreed: str,
    how: str,
    said_on: date,
    who: str,
    now: datetime,
) -> FinishAgreement:
    """Note what the customer signed for in a quote. The part stays as it is by now: what differs becomes a variation."""
    row = FinishAgreement(
        part=part,
        finish=finish,
        deviation=deviation,
        who=who_agreed.strip(),
        how=how,
        said_on=said_on,
        at=now,
        recorded_by=who,
    )
    row.full_clean(exclude={"part", "finish"})
    row.save()
    _record_agreed(row)
    return row


def _record_agreed(row: FinishAgreement) -> None:
    after = {
        "finish": row.finish.name,
        "deviation": row.deviation,
        "who agreed": row.who,
        "how": row.how,
        "agreed on": row.said_on,
    }
    record(who=row.recorded_by, at=row.at, what="finish agreed", subject=subject_of(row.part), after=after)


def _refuse_unsigned(row: FinishAgreement, *, today: date) -> None:
    if row.said_on > today:
        raise ValidationError({"said_on": _("That day is yet to come. Give the day on which it was agreed.")})
    factory = row.part.factory_finish
    if factory is not None and factory != row.finish and not row.deviation:
        said = _("The factory finish is “%(finish)s”. Say how the agreed one departs from it.")
        raise ValidationError({"deviation": said % {"finish": factory}})

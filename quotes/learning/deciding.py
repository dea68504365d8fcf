"""The manager accepts a suggestion, which becomes a dated revision, or refuses it with a reason. Once."""

import json
from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from quotes.engine.money import from_minor, places
from quotes.learning.models import Decision, Study, Suggestion
from shop import currency
from shop.journal.services import record, subject_of
from shop.methods import defining
from shop.methods.models import Finish, FinishStep, Frequency, Operation, PossibleDamage, Service
from shop.methods.selectors import standard_times
from shop.methods.services import note_standard_time
from shop.people.models import Grade
from shop.rates.models import Odds
from shop.rates.selectors import grade_rates, odds
from shop.rates.services import note_grade_rate, note_odds

Kind = Suggestion.Kind
THREE = Decimal("0.001")
TWO = Decimal("0.01")


class DecidedError(ValidationError):
    """Somebody said yes or no to it before, or there is a newer study."""


@transaction.atomic
def accept(*, suggestion: Suggestion, today: date, who: str, now: datetime) -> Decision:
    """Note what is suggested from ``today`` on, through the service that notes such a thing."""
    _refuse_old(suggestion)
    noted = _NOTE[Kind(suggestion.kind)](suggestion, today, who, now)
    return _keep(suggestion, Decision.Kind.ACCEPTED, reason="", noted=noted, who=who, now=now)


@transaction.atomic
def refuse(*, suggestion: Suggestion, reason: str, who: str, now: datetime) -> Decision:
    """Leave things as they are, and say why."""
    _refuse_old(suggestion)
    if not reason.strip():
        raise ValidationError({"reason": _("Say in a word why not, so that the next one to look knows.")})
    return _keep(suggestion, Decision.Kind.REFUSED, reason=reason.strip(), noted="", who=who, now=now)


def _refuse_old(suggestion: Suggestion) -> None:
    newest = Study.objects.filter(ended_at__isnull=False).first()
    if newest is not None and newest.pk != suggestion.study_id:
        raise DecidedError(_("There is a newer look at what happened. Answer that one."))
    if Decision.objects.filter(suggestion=suggestion).exists():
        raise DecidedError(_("Somebody answered this already. Look at the page again."))


def _keep(suggestion: Suggestion, kind: str, *, reason: str, noted: str, who: str, now: datetime) -> Decision:
    # By key: given the suggestion itself, the row would hang on it from now on, even when it is refused.
    row = Decision(suggestion_id=suggestion.pk, kind=kind, reason=reason, noted=noted[:200], who=who, at=now)
    row.full_clean(validate_unique=False)
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:
        raise DecidedError(_("Somebody answered this already. Look at the page again.")) from None
    after: dict[str, object] = {"suggested": suggestion.suggested, "assumed": suggestion.assumed}
    after |= {"reason": reason} if reason else {}
    after |= {"noted": noted} if noted else {}
    record(who=who, at=now, what=f"suggestion {kind}", subject=subject_of(suggestion), after=after)
    return row


# -- what each kind becomes ------------------------------------------------------------------------------------------------


def details_of(suggestion: Suggestion) -> dict[str, Any]:
    """What was kept beside the figures."""
    found: dict[str, Any] = json.loads(suggestion.details)
    return found


def _operation(suggestion: Suggestion, today: date, who: str, now: datetime) -> str:
    """A new standard time: another shop factor, or set-up and run each by its own where both are known."""
    operation = Operation.objects.get(uid=UUID(suggestion.subject))
    time = standard_times(today, only=[str(operation.uid)])[operation.pk]
    details = details_of(suggestion)
    setup, run, factor = time.setup, time.run, suggestion.suggested
    if {"set-up factor", "run factor"} <= details.keys():
        setup = (setup * Decimal(details["set-up factor"])).quantize(THREE)
        run = (run * Decimal(details["run factor"])).quantize(THREE)
        factor = Decimal(1)
    row = note_standard_time(
        operation=operation,
        valid_from=today,
        setup=setup,
        run=run,
        allowance=time.allowance,
        shop_factor=factor,
        spread=Decimal(details["spread"]).quantize(THREE),
        who=who,
        now=now,
    )
    return _("standard time of %(row)s") % {"row": row}


def _grade(suggestion: Suggestion, today: date, who: str, now: datetime) -> str:
    grade = Grade.objects.get(uid=UUID(suggestion.subject))
    held, digits = grade_rates(today)[grade.pk], places(currency.code())
    row = note_grade_rate(
        grade=grade,
        valid_from=today,
        cost_rate=from_minor(held.cost_rate_minor, digits=digits),
        charge_rate=from_minor(held.charge_rate_minor, digits=digits),
        pace=suggestion.suggested.quantize(THREE),
        who=who,
        now=now,
    )
    return _("labour rate of %(row)s") % {"row": row}


#: Columns of the odds that are money or belong to the row itself.
_NOT_BELIEFS = {"id", "valid_from", "revision", "noted_by", "inspect_fee_minor"}


def _bikes(suggestion: Suggestion, today: date, who: str, now: datetime) -> str:
    held = odds(today)
    beliefs = {
        field.name: getattr(held, field.name) for field in Odds._meta.concrete_fields if field.name not in _NOT_BELIEFS
    }
    fee = from_minor(held.inspect_fee_minor, digits=places(currency.code()))
    beliefs |= {"pace": suggestion.suggested.quantize(TWO)}
    row = note_odds(valid_from=today, inspect_fee=fee, who=who, now=now, **beliefs)
    return _("chances of %(row)s") % {"row": row}


def _service(suggestion: Suggestion, _today: date, who: str, now: datetime) -> str:
    service = Service.objects.select_related("vendor").get(uid=UUID(suggestion.subject))
    days = max(0, int(suggestion.suggested) - 2 * service.vendor.transport_days)
    _changed(service, {"lead_days": days}, who, now)
    return _("lead time of %(service)s") % {"service": service}


def nearest_word(chance: Decimal, on: date) -> str:
    """The word whose chance is nearest to ``chance`` [%], by ratio; of two that are as near the rarer."""
    believed = odds(on)
    chances = {word: getattr(believed, word) for word in (Frequency.RARE, Frequency.SOMETIMES, Frequency.COMMON)}
    least = max(chance, TWO)
    return min(chances, key=lambda word: max(chances[word] / least, least / chances[word]))


def _damage(suggestion: Suggestion, today: date, who: str, now: datetime) -> str:
    damage = PossibleDamage.objects.get(uid=UUID(suggestion.subject))
    word = nearest_word(suggestion.suggested, today)
    if word == damage.frequency:
        raise ValidationError(_("It is called that already: no other word is nearer."))
    _changed(damage, {"frequency": word}, who, now)
    return _("how often: %(word)s") % {"word": Frequency(word).label}


def _changed(thing: Any, changes: Mapping[str, Any], who: str, now: datetime) -> None:
    seen = {field: getattr(thing, field) for field in changes}
    defining.change_thing(thing=thing, changes=changes, seen=seen, who=who, now=now)


def _rework(suggestion: Suggestion, _today: date, who: str, now: datetime) -> str:
    """Every route of the finish with that operation, where it can fail."""
    finish_uid, operation_uid = map(UUID, suggestion.subject.split())
    finish = Finish.objects.get(uid=finish_uid)
    operation = Operation.objects.get(uid=operation_uid)
    routes = {
        step.route_id: step.route
        for step in FinishStep.objects.filter(
            route__finish=finish, operation=operation, fail_chance__gt=0
        ).select_related("route")
    }
    for route in routes.values():
        before = defining.steps_of(route)
        after = [
            step | {"fail_chance": suggestion.suggested.quantize(TWO)}
            if step["operation"] == operation and step["fail_chance"]
            else step
            for step in before
        ]
        defining.set_route(
            finish=finish,
            material=route.material,
            direction=route.direction,
            steps=after,
            seen=defining.stamp_of(before),
            who=who,
            now=now,
        )
    return _("chance of failing in the route of %(finish)s") % {"finish": finish}


_NOTE: dict[Suggestion.Kind, Callable[[Suggestion, date, str, datetime], str]] = {
    Kind.OPERATION: _operation,
    Kind.GRADE: _grade,
    Kind.BIKES: _bikes,
    Kind.SERVICE: _service,
    Kind.DAMAGE: _damage,
    Kind.REWORK: _rework,
}

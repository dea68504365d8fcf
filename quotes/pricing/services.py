"""Writes on drafts and quotes: opening, changing, issuing, outcomes."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F, Max, QuerySet
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.engine import canonical, inputs
from quotes.engine.errors import BadInput
from quotes.engine.formulas import PRESENT
from quotes.engine.money import places, rounded, to_minor
from quotes.engine.results import Result
from quotes.pricing import damages, paper, planning, variations
from quotes.pricing import offer as offers
from quotes.pricing.customers import deviations
from quotes.pricing.models import Draft, IssuedLine, IssuedQuote, IssuedStep, Outcome, Stage
from quotes.pricing.money import instalments, money_in
from quotes.pricing.selectors import HEAVY, Priced
from quotes.pricing.stages import Offered, offered
from shop import currency
from shop.journal import services as journal
from shop.journal.selectors import head
from shop.journal.services import record, subject_of
from shop.people.models import Shop
from shop.rates.selectors import policy
from shop.restorations.models import Restoration
from shop.restorations.numbers import stop_sentence
from shop.restorations.services import ChangedMeanwhileError
from shop.routes.consent import no_longer_authorise
from shop.routes.models import Authorisation, Plan
from shop.routes.schedules import schedule
from shop.routes.services import authorise

NUMBER_TRIES = 20
CHANGED_MEANWHILE = gettext_lazy("Somebody changed this restoration after you looked at it. Look at the price again.")
DRAFT_FIELDS = ("stage", "discount", "note")

#: Which open quotes of the same restoration a new one takes the place of. A ballpark is no offer, so it never withdraws
#: one; a variation leaves everything alone but the variation that nobody has answered yet.
REPLACES: dict[str, tuple[Stage, ...]] = {
    Stage.BALLPARK: (Stage.BALLPARK,),
    Stage.INSPECT: (Stage.BALLPARK, Stage.INSPECT, Stage.MAIN),
    Stage.MAIN: (Stage.BALLPARK, Stage.INSPECT, Stage.MAIN),
    Stage.VARIATION: (Stage.VARIATION,),
}

#: Stages whose price must keep the floor. A ballpark is no offer; the fee for an inspection is the manager's own.
KEEP_THE_FLOOR = (Stage.MAIN, Stage.VARIATION)

#: Stages that name a ready day: what is no offer promises none, and nobody knows it before strip-down.
PROMISE_A_DAY = (Stage.MAIN, Stage.VARIATION)

#: What is offered next once a stage is accepted.
NEXT = {Stage.INSPECT: Stage.MAIN, Stage.MAIN: Stage.VARIATION}


class CannotIssueError(ValidationError):
    """The draft cannot go out as it is; the messages say what to do."""


class SettledError(ValidationError):
    """The quote has an outcome already."""


@transaction.atomic
def open_draft(*, restoration: Restoration, today: date, who: str, now: datetime) -> Draft:
    """The draft of ``restoration``, begun today when there is none."""
    draft, made = Draft.objects.get_or_create(restoration=restoration, defaults={"priced_on": today})
    if made:
        record(who=who, at=now, what="draft opened", subject=subject_of(restoration), after={"priced on": today})
    return draft


@transaction.atomic
def change_draft(
    *, draft: Draft, who: str, now: datetime, changes: Mapping[str, Any], seen: Mapping[str, Any] | None = None
) -> Draft:
    """Change stage, discount or note. ``seen`` as in ``restorations.services.change_part``."""
    Draft.objects.filter(pk=draft.pk).update(version=F("version") + 1)
    draft.refresh_from_db()
    for field, value in (seen or {}).items():
        if getattr(draft, field) != value and getattr(draft, field) != changes.get(field):
            raise ChangedMeanwhileError(field, getattr(draft, field))
    before = {field: getattr(draft, field) for field in DRAFT_FIELDS if field in changes}
    for field in before:
        setattr(draft, field, changes[field])
    draft.full_clean()
    draft.save()
    record(
        who=who,
        at=now,
        what="draft changed",
        subject=subject_of(draft.restoration),
        before=before,
        after={field: changes[field] for field in before},
    )
    return draft


@transaction.atomic
def price_anew(*, draft: Draft, today: date, who: str, now: datetime) -> Draft:
    """Price with the rates of ``today`` from now on."""
    before = draft.priced_on
    draft.priced_on = today
    draft.version = F("version") + 1
    draft.save(update_fields=["priced_on", "version"])
    draft.refresh_from_db()
    record(
        who=who,
        at=now,
        what="draft priced anew",
        subject=subject_of(draft.restoration),
        before={"priced on": before},
        after={"priced on": today},
    )
    return draft


def issue(
    *,
    draft: Draft,
    seen_scope: int,
    seen_draft: int,
    today: date,
    who: str,
    now: datetime,
    may_go_below_floor: bool = False,
    below_floor_reason: str = "",
    guesses_are_told: bool = False,
) -> IssuedQuote:
    """Issue what the person saw: the draft at scope version ``seen_scope`` and draft version ``seen_draft``.

    Must not be called inside a transaction: the journal is sealed first, and its head is printed on the quote.
    Raises `CannotIssueError` when the scope or draft changed meanwhile, cannot be priced, has blocking remarks, rests on
    guessed prices that nobody acknowledged, or is below the floor without a reason by someone who may.
    """
    _have_planned(draft, today=today, now=now)
    journal.seal(now=now)
    for attempt in range(NUMBER_TRIES):
        try:
            return _issue(
                draft=draft,
                seen=(seen_scope, seen_draft),
                today=today,
                who=who,
                now=now,
                below_floor=below_floor_reason.strip() if may_go_below_floor else "",
                guesses_are_told=guesses_are_told,
            )
        except IntegrityError:
            if attempt == NUMBER_TRIES - 1:
                raise
    raise AssertionError("not reached")


def _have_planned(draft: Draft, *, today: date, now: datetime) -> None:
    """Work out the ready day before anybody is kept waiting: it takes longer than all the rest."""
    if draft.stage not in PROMISE_A_DAY:
        return
    try:
        planning.bring_up_to_date(draft, today=today, now=now)
    except BadInput as error:
        raise CannotIssueError(error.sentence(_(error.template))) from None


@transaction.atomic(durable=True)
def _issue(
    *,
    draft: Draft,
    seen: tuple[int, int],
    today: date,
    who: str,
    now: datetime,
    below_floor: str,
    guesses_are_told: bool,
) -> IssuedQuote:
    restoration = _held(draft, seen)
    offer = offered(draft)
    found = offer.found
    _check_issuable(found, below_floor=below_floor, guesses_are_told=guesses_are_told)
    _check_credit(offer, today)
    assert found.given is not None
    assert found.explained is not None
    offer, ready = _with_days(offer, today=today)
    quote = _row(restoration, offer, today=today, who=who, now=now, below_floor=below_floor, ready=ready)
    quote.save(force_insert=True)
    _save_lines(quote, found)
    # Whoever looked at the same draft has to look again: one look is issued once.
    Draft.objects.filter(pk=draft.pk).update(version=F("version") + 1)
    _withdraw_older(quote, who=who, now=now)
    paper.ask(quote, now=now)
    record(
        who=who,
        at=now,
        what="quote issued",
        subject=subject_of(quote),
        after={
            "stage": quote.stage,
            "total": found.explained.result.total,
            "valid until": quote.valid_until,
            "below floor": below_floor,
        },
    )
    return quote


def _held(draft: Draft, seen: tuple[int, int]) -> Restoration:
    """The restoration, held until the transaction ends, if nobody changed it or the draft since ``seen``."""
    scope_version, draft_version = seen
    same = Restoration.objects.filter(pk=draft.restoration_id, scope_version=scope_version)
    untouched = same.update(scope_version=F("scope_version"))
    draft.refresh_from_db()
    if not untouched or draft.version != draft_version:
        raise CannotIssueError(CHANGED_MEANWHILE)
    return Restoration.objects.select_related("customer", "machine").get(pk=draft.restoration_id)


def _check_issuable(found: Priced, *, below_floor: str, guesses_are_told: bool) -> None:
    if found.error is not None:
        raise CannotIssueError(found.error.sentence(_(found.error.template)))
    if found.draft.stage != Stage.BALLPARK and (stop := stop_sentence(found.scope.restoration)):
        raise CannotIssueError(
            _("Only a ballpark may go out while the numbers do not match. %(stop)s") % {"stop": stop}
        )
    explained = found.explained
    assert explained is not None
    if not explained.result.lines:
        raise CannotIssueError(_("There is nothing to quote yet. Add parts first."))
    no_offer = found.draft.stage == Stage.BALLPARK  # it authorises nothing: the same things are only said
    blocking = [] if no_offer else [remark for remark in explained.remarks if remark.blocking]
    if blocking:
        raise CannotIssueError([told(remark) for remark in blocking])
    if any(not remark.blocking for remark in explained.remarks) and not guesses_are_told:
        raise CannotIssueError(
            _("Some prices are only guessed. Tick that you know, or note better ones."), code="guessed"
        )
    if explained.result.below_floor and not below_floor and found.draft.stage in KEEP_THE_FLOOR:
        raise CannotIssueError(_("The price is below the floor. Only the manager may issue it, with a reason."))


def _with_days(offer: Offered, *, today: date) -> tuple[Offered, Plan | None]:
    """The offer with when work can go on in what is frozen, and the plan kept for it; no plan where no day is promised."""
    found = offer.found
    if found.draft.stage not in PROMISE_A_DAY:
        return offer, None
    ready = planning.kept_plan(found.draft.restoration)
    if ready is None or ready.scope_version != found.scope.restoration.scope_version:
        raise CannotIssueError(CHANGED_MEANWHILE)
    given = planning.scheduled_as_priced(found, schedule(found.scope, today=today))
    return replace(offer, found=replace(found, given=given)), ready


def _check_credit(offer: Offered, today: date) -> None:
    if offer.last_day is not None and offer.last_day < today:
        raise CannotIssueError(
            _("The fee of %(quote)s was credited until %(day)s only. Price with today's rates, then issue it.")
            % {"quote": offer.credits, "day": date_format(offer.last_day)}
        )


def told(remark: Any) -> str:
    """A remark as a sentence in the reader's language, with its place in front."""
    where = ", ".join(word for word in (remark.part, remark.step) if word)
    text = _(remark.text).format(**dict(remark.values))
    return f"{where}: {text}" if where else text


def _row(
    restoration: Restoration,
    offer: Offered,
    *,
    today: date,
    who: str,
    now: datetime,
    below_floor: str,
    ready: Plan | None,
) -> IssuedQuote:
    found = offer.found
    assert found.given is not None
    assert found.explained is not None
    result = found.explained.result
    number = (IssuedQuote.objects.aggregate(last=Max("number"))["last"] or 0) + 1
    version = (restoration.quotes.aggregate(last=Max("version"))["last"] or 0) + 1
    rules = policy(found.draft.priced_on)
    assert rules is not None
    position, sealed = head()
    valid_until = today + timedelta(days=rules.validity_days)
    if offer.last_day is not None:
        valid_until = min(valid_until, offer.last_day)
    with translation.override(settings.LANGUAGE_CODE):  # the customer reads the shop's language, whoever issues
        paper_offer = offers.build(
            number=f"Q{number:05d}",
            version=version,
            issued_on=today,
            valid_until=valid_until,
            currency=currency.code(),
            shop=Shop.objects.first(),
            draft=found.draft,
            scope=found.scope,
            result=result,
            assumptions=rules.assumptions,
            record=f"{position}:{sealed}",
            terms=_terms(offer, ready, today),
        )
    values = (("snapshot", found.given), ("result", result), ("offer", paper_offer))
    frozen = {name: canonical.dump(value) for name, value in values}
    return IssuedQuote(
        number=number,
        restoration=restoration,
        version=version,
        stage=found.draft.stage,
        varies=offer.varies,
        credits=offer.credits,
        scope_version=restoration.scope_version,
        issued_at=now,
        issued_by=who,
        valid_until=valid_until,
        currency=currency.code(),
        below_floor_reason=below_floor,
        variants=canonical.dump(dict(PRESENT)).decode(),
        journal_position=position,
        journal_hash=sealed,
        contingency_minor=_contingency(result),
        ready_likely=ready.ready_likely if ready else None,
        ready_kept=ready.ready_kept if ready else None,
        **_minor(result),
        **{name: content.decode() for name, content in frozen.items()},
        **{f"{name}_sha256": canonical.sha256(content) for name, content in frozen.items()},
    )


def _terms(offer: Offered, ready: Plan | None, today: date) -> offers.Terms:
    """What the paper says of the stage."""
    assert offer.found.given is not None
    return offers.Terms(
        stage=Stage(offer.found.draft.stage),
        steps=frozenset(_steps(offer.found.given)),
        varies=str(offer.varies or ""),
        credited_until=offer.last_day,
        credit_days=offer.credit_days,
        low=offer.low,
        high=offer.high,
        ready=offers.Ready(ready.starts_on, ready.ready_likely, ready.ready_kept) if ready else None,
        **_varied(offer, today),
    )


def _varied(offer: Offered, today: date) -> dict[str, Any]:
    """Why a variation is offered, and what was agreed before it."""
    if offer.varies is None:
        return {}
    assert offer.found.given is not None
    restoration = offer.found.scope.restoration
    parts = {part.uid for part in offer.found.given.parts}
    found = damages.found_for(variations.agreed(restoration), parts)
    return {
        "found": tuple(offers.OfferFound(row.part.name, row.name, row.note) for row in found),
        "agreed_before": money_in.standing(restoration, today).agreed,
    }


def _steps(given: inputs.Restoration) -> dict[str, str]:
    """The uid of every step offered to that of its part."""
    return {step.uid: part.uid for part in given.parts for step in part.steps}


def _contingency(result: Result) -> int:
    digits = places(currency.code())
    return to_minor(rounded(result.contingency, digits=digits), digits=digits)


def _minor(result: Result) -> dict[str, int]:
    digits = places(currency.code())
    names = ("price", "discount", "net", "tax", "total")
    return {f"{name}_minor": to_minor(getattr(result, name), digits=digits) for name in names}


def _save_lines(quote: IssuedQuote, found: Priced) -> None:
    assert found.explained is not None
    assert found.given is not None
    digits = places(currency.code())
    IssuedLine.objects.bulk_create(
        IssuedLine(
            quote=quote,
            position=position,
            part_uid=line.uid,
            price_minor=to_minor(line.price, digits=digits),
            discount_minor=to_minor(line.discount, digits=digits),
            net_minor=to_minor(line.net, digits=digits),
            tax=line.tax,
        )
        for position, line in enumerate(found.explained.result.lines, start=1)
    )
    IssuedStep.objects.bulk_create(
        IssuedStep(quote=quote, step_uid=step, part_uid=part) for step, part in _steps(found.given).items()
    )


def _withdraw_older(quote: IssuedQuote, *, who: str, now: datetime) -> None:
    """What a new quote takes the place of is on offer no longer; see ``REPLACES``. What was answered stays answered."""
    older = list(_unanswered(quote.restoration, quote.stage).exclude(pk=quote.pk))
    reason = _("replaced by %(quote)s") % {"quote": quote}
    Outcome.objects.bulk_create(
        Outcome(
            quote=old,
            kind=Outcome.Kind.WITHDRAWN,
            who=who,
            how=Outcome.How.PERSON,
            reason=reason,
            said_on=timezone.localdate(now),
            at=now,
            recorded_by=who,
        )
        for old in older
    )
    for old in older:
        record(who=who, at=now, what="quote withdrawn", subject=subject_of(old), after={"reason": reason})


def _unanswered(restoration: Restoration, stage: str) -> QuerySet[IssuedQuote]:
    return restoration.quotes.filter(outcome__isnull=True, stage__in=REPLACES[stage])


def would_replace(draft: Draft) -> list[IssuedQuote]:
    """The offers nobody has answered that are taken back when ``draft`` goes out; a ballpark is no offer."""
    return list(_unanswered(draft.restoration, draft.stage).exclude(stage=Stage.BALLPARK).defer(*HEAVY))


def record_outcome(
    *,
    quote: IssuedQuote,
    kind: Outcome.Kind,
    said_by: str,
    how: Outcome.How,
    reason: str = "",
    said_on: date | None = None,
    signed: Collection[str] = (),
    today: date,
    who: str,
    now: datetime,
) -> Outcome:
    """Record what became of a quote, once. Acceptance authorises exactly the steps that were issued.

    Who said it, how and when is kept before anything is authorised. A ballpark cannot be accepted. An accepted variation
    also takes back the authorisation of the steps it credits. The draft goes on to what is offered next.

    ``said_on`` is the day it was said, which may be before today; validity goes by it. Whoever accepts on their own page
    signs there for each deviation of finish: ``signed`` holds their keys, and one that is missing refuses the acceptance.
    """
    said_on = said_on or today
    # By key: given the quote itself, the row would hang on it from now on, even when it is refused.
    outcome = Outcome(
        quote_id=quote.pk,
        kind=kind,
        who=said_by.strip(),
        how=how,
        reason=reason.strip(),
        said_on=said_on,
        at=now,
        recorded_by=who,
    )
    outcome.full_clean(validate_unique=False)
    if not timezone.localdate(quote.issued_at) <= said_on <= today:
        raise ValidationError({"said_on": _("Give a day from the day of issue to today.")})
    if kind == Outcome.Kind.ACCEPTED and quote.stage == Stage.BALLPARK:
        raise ValidationError(
            {"kind": _("A ballpark is no offer, so nobody can accept it. Issue strip and inspect, or the main offer.")}
        )
    if kind == Outcome.Kind.ACCEPTED and said_on > quote.valid_until:
        day = date_format(quote.valid_until)
        raise ValidationError(
            {"kind": _("This quote was valid until %(day)s. Price it anew and issue it again.") % {"day": day}}
        )
    if kind == Outcome.Kind.DECLINED and not outcome.reason:
        raise ValidationError({"reason": _("Say in a word why it was declined.")})
    if kind == Outcome.Kind.ACCEPTED and how == Outcome.How.ONLINE:
        _refuse_unsigned(quote, signed)
    return _settle(quote, outcome, who=who, now=now)


def _refuse_unsigned(quote: IssuedQuote, signed: Collection[str]) -> None:
    open_ones = [one.part for one in deviations.deviations(paper.offer_of(quote)) if one.key not in signed]
    if open_ones:
        said = _("Tick that you agree to the finish of: %(parts)s. If you do not, ask us before you accept.")
        raise ValidationError({"signed": said % {"parts": ", ".join(open_ones)}})


@transaction.atomic
def _settle(quote: IssuedQuote, outcome: Outcome, *, who: str, now: datetime) -> Outcome:
    # Held, so that issuing a newer version and answering this one come one after the other.
    Restoration.objects.filter(pk=quote.restoration_id).update(scope_version=F("scope_version"))
    try:
        with transaction.atomic():
            outcome.save(force_insert=True)
    except IntegrityError:
        raise SettledError(_("This quote has an outcome already. Look at the page again.")) from None
    if outcome.kind == Outcome.Kind.ACCEPTED:
        _agree(quote, who=who, now=now)
        if outcome.how == Outcome.How.ONLINE:
            deviations.sign(quote=quote, who_agreed=outcome.who, said_on=outcome.said_on, who=who, now=now)
    record(
        who=who,
        at=now,
        what=f"quote {outcome.kind}",
        subject=subject_of(quote),
        after={"who": outcome.who, "how": outcome.how, "said on": outcome.said_on, "reason": outcome.reason},
    )
    return outcome


def _agree(quote: IssuedQuote, *, who: str, now: datetime) -> None:
    """What an acceptance does: exactly the steps of the quote are authorised, and none that it credits."""
    if quote.stage == Stage.VARIATION:
        no_longer_authorise(step_uids=variations.credited_steps(quote))
    uids = quote.steps.values_list("step_uid", flat=True)
    authorise(step_uids=uids, kind=Authorisation.Kind.QUOTE, reference=str(quote), now=now)
    damages.agree(quote=quote, now=now)
    instalments.ask_for(quote=quote, now=now)
    following = NEXT.get(Stage(quote.stage))
    draft = Draft.objects.filter(restoration=quote.restoration_id, stage=quote.stage).first()
    if following is not None and draft is not None:
        change_draft(draft=draft, changes={"stage": following}, who=who, now=now)

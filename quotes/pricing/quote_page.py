"""The page of an issued quote, whichever of its forms was sent."""

import uuid
from typing import Any

from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from quotes.pricing import paper as papers
from quotes.pricing import rise, selectors
from quotes.pricing.customers import letters, sending
from quotes.pricing.forms import MailForm, OutcomeForm, WithdrawForm
from quotes.pricing.models import IssuedQuote, Stage
from quotes.pricing.stages import fee_credited_until
from shop.outbox import mail
from shop.people.models import User

UNPROCESSABLE = 422


def page(request: HttpRequest, found: IssuedQuote, *, sent: forms.Form | None = None, **more: Any) -> HttpResponse:
    """The quote, with the form that was ``sent`` and is not in order, if there is one."""
    context = _context(request, found) | _forms(found, sent) | more
    return render(request, "pricing/quote.html", context, status=UNPROCESSABLE if sent else None)


def _context(request: HttpRequest, found: IssuedQuote) -> dict[str, Any]:
    now = timezone.now()
    today = timezone.localdate(now)
    standing = selectors.standing(found, today)
    others = selectors.quotes(found.restoration).exclude(pk=found.pk).defer(*selectors.HEAVY)
    base = sending.base_of(request)
    return {
        "quote": found,
        "issued_by": _called(found.issued_by),
        "offer": papers.offer_of(found),
        "language": settings.LANGUAGE_CODE,
        "outcome": getattr(found, "outcome", None),
        "credit_day": fee_credited_until(found) if standing == "accepted" and found.stage == Stage.INSPECT else None,
        "links": sending.links_of(found, now=now),
        "mails": sending.mail_of(found),
        "has_mail": mail.configured(),
        "base": base,
        "opens_only_here": sending.opens_only_here(base),
        **_standing(found, standing),
        "rise": rise.of_quote(found),
        "others": [(other, _word(other, selectors.standing(other, today), [found, *others])) for other in others],
        **paper_context(found),
    }


def _called(sign_in: str) -> str:
    """Somebody by name; whoever is not on the list any more by what they signed in with."""
    person = User.objects.filter(username=sign_in).first()
    return (person.get_full_name() if person else "") or sign_in


def _standing(found: IssuedQuote, standing: str) -> dict[str, Any]:
    newer = selectors.replaced_by(found)
    word = selectors.STANDINGS["replaced" if newer else standing]
    return {"standing": standing, "standing_word": word, "replaced_by": newer}


def _word(other: IssuedQuote, standing: str, among: list[IssuedQuote]) -> str:
    """What another quote is; one that was replaced says so, since the shop did not withdraw it by hand."""
    is_replaced = standing == "withdrawn" and any(one.issued_at == other.outcome.at for one in among)
    return str(selectors.STANDINGS["replaced" if is_replaced else standing])


def _forms(found: IssuedQuote, sent: forms.Form | None) -> dict[str, Any]:
    if getattr(found, "outcome", None) is not None:
        # What was accepted may be sent once more, to have it in writing; what is off the table may not.
        may_send = found.outcome.kind == "accepted"
        return {"form": None, "withdraw_form": None, "mail_form": _mail(found, sent) if may_send else None}
    return {
        "form": sent if isinstance(sent, OutcomeForm) else _outcome(found),
        "withdraw_form": sent if isinstance(sent, WithdrawForm) else WithdrawForm(auto_id="withdraw_%s"),
        "mail_form": _mail(found, sent),
    }


def _outcome(found: IssuedQuote) -> OutcomeForm:
    first = {"who": papers.offer_of(found).customer, "said_on": timezone.localdate()}
    return OutcomeForm(stage=found.stage, initial=first)


def _mail(found: IssuedQuote, sent: forms.Form | None) -> MailForm:
    if isinstance(sent, MailForm):
        return sent
    offer = papers.offer_of(found)
    first = {
        "address": found.restoration.customer.email,
        "subject": letters.subject(offer),
        "text": letters.text(offer),
        "once": uuid.uuid4(),
    }
    return MailForm(initial=first, auto_id="mail_%s")


def paper_context(found: IssuedQuote) -> dict[str, Any]:
    """Where its PDF is."""
    kept = getattr(found, "paper", None)
    return {"document": kept.document if kept else None, "stuck": not kept and papers.stuck(found)}

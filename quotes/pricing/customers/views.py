"""A customer's pages of a quote. Looking never changes anything; an answer is a form that was sent."""

from typing import Any

from django import forms
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.pricing import paper as papers
from quotes.pricing import selectors, services
from quotes.pricing.customers import links
from quotes.pricing.customers.customer import closed, for_customer, private
from quotes.pricing.customers.deviations import deviations
from quotes.pricing.customers.forms import AcceptForm, AnswerForm, DeclineForm
from quotes.pricing.models import IssuedQuote, Link, Outcome, Stage
from quotes.pricing.money import money_in
from quotes.pricing.offer import Offer
from quotes.pricing.stages import fee_credited_until
from shop.papers.selectors import content
from shop.people.models import Shop

UNPROCESSABLE = 422


@login_not_required
@require_safe
def enter(request: HttpRequest, secret: str) -> HttpResponse:
    """Exchange the secret of a link for a cookie, and leave the address that holds it. Nothing is written."""
    link = links.find(secret, timezone.now())
    if link is None:
        return closed(request)
    response = redirect(f"customer:{link.purpose}")
    links.set_cookie(response, link)
    response["Referrer-Policy"] = "no-referrer"
    return private(response)


@require_http_methods(["GET", "HEAD", "POST"])
@for_customer(Link.Purpose.QUOTE)
def quote(request: HttpRequest, link: Link) -> HttpResponse:
    """A quote as on its paper, where it stands, and the forms that answer it."""
    found = selectors.issued().get(links=link)
    if request.method != "POST":
        return render(request, "customer/quote.html", _context(found, link))
    form = _form(found, request.POST)
    if form.is_valid() and not _is_for(form, link):
        return render(request, "customer/quote.html", _context(found, link, other=True), status=UNPROCESSABLE)
    if form.is_valid():
        try:
            _record(found, link, form)
        except services.SettledError:
            return redirect("customer:quote")  # which says calmly what was settled
        except ValidationError as error:
            _say(form, error)
        else:
            return redirect("customer:quote")
    return render(request, "customer/quote.html", _context(found, link, form), status=UNPROCESSABLE)


def _form(found: IssuedQuote, data: Any) -> AnswerForm:
    if data.get("act") == DeclineForm.ACT:
        return DeclineForm(data)
    return AcceptForm(data, deviations=deviations(papers.offer_of(found)))


def _is_for(form: AnswerForm, link: Link) -> bool:
    """Whether what was answered is what this browser has open: not another quote whose link was opened since."""
    return bool(form.cleaned_data["link"] == link.uid)


def _record(found: IssuedQuote, link: Link, form: AnswerForm) -> None:
    now, said = timezone.now(), form.cleaned_data
    services.record_outcome(
        quote=found,
        kind=Outcome.Kind.ACCEPTED if isinstance(form, AcceptForm) else Outcome.Kind.DECLINED,
        said_by=said["said_by"],
        how=Outcome.How.ONLINE,
        reason=said.get("reason", ""),
        signed=said.get("signed", ()),
        today=timezone.localdate(now),
        who=_("customer, by link %(link)s") % {"link": links.short(link)},
        now=now,
    )


def _say(form: forms.Form, error: ValidationError) -> None:
    """Put what a service says at the field it speaks of, else before the form."""
    told = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
    for field, sentences in told.items():
        name = "said_by" if field == "who" else field
        form.add_error(name if name in form.fields else None, sentences)


def _context(found: IssuedQuote, link: Link, sent: AnswerForm | None = None, *, other: bool = False) -> dict[str, Any]:
    today = timezone.localdate(timezone.now())
    offer, standing = papers.offer_of(found), selectors.standing(found, today)
    kept, outcome = getattr(found, "paper", None), getattr(found, "outcome", None)
    accept, decline = _forms(offer, link, sent) if standing == "open" else (None, None)
    return {
        "quote": found,
        "offer": offer,
        "shop": Shop.objects.first(),
        "language": settings.LANGUAGE_CODE,
        "standing": standing,
        "outcome": outcome,
        "how": _("on this page")
        if outcome and outcome.how == Outcome.How.ONLINE
        else outcome and outcome.get_how_display(),
        "replaced_by": selectors.replaced_by(found),
        "credit_day": fee_credited_until(found) if standing == "accepted" and found.stage == Stage.INSPECT else None,
        "to_pay": money_in.to_pay_first(found, today) if standing == "accepted" else [],
        "document": kept.document if kept else None,
        "today": today,
        "other": other,
        "accept": accept,
        "decline": decline,
    }


def _forms(offer: Offer, link: Link, sent: AnswerForm | None) -> tuple[AnswerForm | None, AnswerForm]:
    """The forms to accept and to decline, as sent or empty. Nobody can accept a ballpark."""
    accept: AnswerForm | None = None
    if offer.stage != Stage.BALLPARK:
        accept = AcceptForm(initial={"link": link.uid}, deviations=deviations(offer))
    decline: AnswerForm = DeclineForm(initial={"link": link.uid})
    if isinstance(sent, DeclineForm):
        return accept, sent
    return (sent or accept) if accept else None, decline


@require_safe
@for_customer(Link.Purpose.QUOTE)
def paper(request: HttpRequest, link: Link) -> HttpResponse:  # noqa: ARG001 # the guard has read it
    """The PDF, to be kept."""
    found = selectors.issued().get(links=link)
    kept = getattr(found, "paper", None)
    if kept is None:
        return redirect("customer:quote")
    response = HttpResponse(content(kept.document), content_type=kept.document.media_type)
    response["Content-Disposition"] = content_disposition_header(True, kept.document.name) or "attachment"
    response["Content-Security-Policy"] = "sandbox"
    return response

"""Sending a quote to its customer, making and closing links to it, taking it off the table."""

from collections.abc import Callable
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from quotes.pricing import selectors, services
from quotes.pricing.customers import links, mailing, sending
from quotes.pricing.forms import MailForm, WithdrawForm
from quotes.pricing.models import IssuedQuote, Link, Mailed, Outcome
from quotes.pricing.quote_page import page
from shop.outbox import mail
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, role_required

DESK = (ROLE_DESK, ROLE_MANAGER)
Act = Callable[[HttpRequest, IssuedQuote], HttpResponse]


def of_a_quote(act: Act) -> Callable[..., HttpResponseBase]:
    """A form on a quote's page. Whoever only looks at its address is brought to that page."""

    @require_http_methods(["GET", "HEAD", "POST"])
    @role_required(*DESK)
    def view(request: HttpRequest, uid: UUID) -> HttpResponse:
        found = get_object_or_404(selectors.issued(), uid=uid)
        return act(request, found) if request.method == "POST" else redirect("pricing:quote", uid=uid)

    return view


@of_a_quote
def send(request: HttpRequest, found: IssuedQuote) -> HttpResponse:
    """Have the quote mailed, with its PDF and a link made for this mail."""
    form = MailForm(request.POST, auto_id="mail_%s")
    if form.is_valid():
        if mail.configured():
            return _sent(request, found, form)
        form.add_error(None, _("No mail server is set up, so nothing can be sent from here. Make a link instead."))
    return page(request, found, sent=form)


def _sent(request: HttpRequest, found: IssuedQuote, form: MailForm) -> HttpResponse:
    try:
        mailing.ask(
            kind=Mailed.Kind.QUOTE,
            restoration=found.restoration,
            quote=found,
            base=sending.base_of(request),
            who=request.user.get_username(),
            now=timezone.now(),
            **form.cleaned_data,
        )
    except ValidationError as error:
        form.add_error(None, error)
        return page(request, found, sent=form)
    messages.success(request, _("It is on its way. How far it got stands below."))
    return redirect("pricing:quote", uid=found.uid)


@of_a_quote
def make_link(request: HttpRequest, found: IssuedQuote) -> HttpResponse:
    """Make a link and show it, this once: nobody can look it up later."""
    _link, secret = links.make(
        purpose=Link.Purpose.QUOTE,
        restoration=found.restoration,
        quote=found,
        who=request.user.get_username(),
        now=timezone.now(),
    )
    response = page(request, found, **sending.shown_once(request, secret))
    response["Cache-Control"] = "private, no-store"
    return response


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def revoke(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Close a link, also for whoever has its page open."""
    link = get_object_or_404(Link.objects.select_related("quote"), uid=uid, purpose=Link.Purpose.QUOTE)
    assert link.quote is not None
    if request.method == "POST":
        links.revoke(link=link, who=request.user.get_username(), now=timezone.now())
        messages.success(request, _("The link opens nothing any more."))
    return redirect("pricing:quote", uid=link.quote.uid)


@of_a_quote
def withdraw(request: HttpRequest, found: IssuedQuote) -> HttpResponse:
    """Take a quote off the table."""
    form = WithdrawForm(request.POST, auto_id="withdraw_%s")
    if not form.is_valid():
        return page(request, found, sent=form)
    who, now = request.user.get_username(), timezone.now()
    try:
        services.record_outcome(
            quote=found,
            kind=Outcome.Kind.WITHDRAWN,
            said_by=who,
            how=Outcome.How.PERSON,
            reason=form.cleaned_data["why"],
            today=timezone.localdate(now),
            who=who,
            now=now,
        )
    except services.SettledError as error:
        messages.error(request, error.messages[0])
    else:
        messages.success(request, _("It is withdrawn, and can no longer be accepted."))
    return redirect("pricing:quote", uid=found.uid)

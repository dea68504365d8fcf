"""A customer's page about their restoration: read, looked at, and asked on. Looking changes nothing."""

from datetime import datetime
from uuid import UUID

from django.contrib import messages as told
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.pricing import selectors
from quotes.pricing.customers import asking, links, messages, sharing, waiting_quotes
from quotes.pricing.customers import progress as progresses
from quotes.pricing.customers.customer import NOT_FOUND, closed, for_customer, private
from quotes.pricing.models import Link
from shop.papers import selectors as papers
from shop.papers.models import Photograph
from shop.papers.photographs_views import NOT_KEPT, POLICY_ALONE, answer
from shop.people.models import Shop

UNPROCESSABLE = 422
PAGES = {Link.Purpose.PROGRESS: "customer:progress", Link.Purpose.QUOTE: "customer:quote"}


@require_safe
@for_customer(Link.Purpose.PROGRESS)
def progress(request: HttpRequest, link: Link) -> HttpResponse:
    now = timezone.now()
    quotes = list(link.restoration.quotes.select_related("outcome").defer(*selectors.HEAVY))
    context = {
        "shop": Shop.objects.first(),
        "link": link,
        "progress": progresses.progress(link.restoration, now=now),
        "ask_for_link": bool(waiting_quotes.open_ones(quotes, timezone.localdate(now))),
    }
    return render(request, "customer/progress.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_customer(Link.Purpose.PROGRESS)
def ask_for_link(request: HttpRequest, link: Link) -> HttpResponse:
    """Ask the desk for the link to the quote that waits: this page does not open it."""
    if request.method != "POST":
        return redirect("customer:progress")
    try:
        if waiting_quotes.ask_for_link(link=link, now=timezone.now()):
            told.success(request, _("We have your wish, and send you the link. It stands below with what you asked."))
    except ValidationError as error:
        told.error(request, error.messages[0])
    return redirect(f"{reverse('customer:progress')}#said")


@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def ask(request: HttpRequest) -> HttpResponse:
    """Take in a question from either page. A form that is not in order comes back on a page of its own."""
    now = timezone.now()
    open_links = [link for purpose in PAGES if (link := links.from_cookie(request, purpose, now))]
    if not open_links:
        return closed(request)
    if request.method != "POST":
        return redirect(PAGES[Link.Purpose(open_links[0].purpose)])
    form = asking.AskForm(request.POST)
    is_valid = form.is_valid()
    link = next((link for link in open_links if link.uid == form.cleaned_data.get("link")), None)
    if link is None:
        form.add_error(None, _("Another link was opened in this browser meanwhile. Open yours again, then send it."))
    elif is_valid and _kept(link, form, now):
        told.success(request, _("Sent. Our answer will stand on this page."))
        return redirect(f"{_page(link)}#said")
    context = {"shop": Shop.objects.first(), "ask_form": form, "page": _page(link or open_links[0])}
    return private(render(request, "customer/ask.html", context, status=UNPROCESSABLE))


def _page(link: Link) -> str:
    return reverse(PAGES[Link.Purpose(link.purpose)])


def _kept(link: Link, form: asking.AskForm, now: datetime) -> bool:
    said = form.cleaned_data
    try:
        messages.ask(
            restoration=link.restoration,
            quote=link.quote,
            text=said["text"],
            name=said["name"],
            uid=said["uid"],
            who=_("customer, by link %(link)s") % {"link": links.short(link)},
            now=now,
        )
    except ValidationError as error:
        form.add_error(None, error.messages)
        return False
    return True


@require_safe
@for_customer(Link.Purpose.PROGRESS)
def photograph(request: HttpRequest, link: Link, uid: UUID) -> HttpResponse:
    """As large as we keep it. It is shown, not saved: a customer wants to look at it."""
    found = _shown(link, uid)
    if found is None:
        return _gone(request)
    content = papers.photograph_content(found)
    return answer(found, content, attachment=False, cache=NOT_KEPT, policy=POLICY_ALONE)


@require_safe
@for_customer(Link.Purpose.PROGRESS)
def small_photograph(request: HttpRequest, link: Link, uid: UUID) -> HttpResponse:
    """For ``<img>``."""
    found = _shown(link, uid)
    if found is None:
        return _gone(request)
    return answer(found, papers.thumbnail_content(found), attachment=False, cache=NOT_KEPT)


def _shown(link: Link, uid: UUID) -> Photograph | None:
    """A photograph this customer is shown now."""
    shown = sharing.shown(link.restoration).order_by().values("photograph")
    return Photograph.objects.filter(uid=uid, pk__in=shown).first()


def _gone(request: HttpRequest) -> HttpResponse:
    """Taken back, another customer's, never shared, or never there: all the same."""
    return render(request, "customer/gone.html", {"shop": Shop.objects.first()}, status=NOT_FOUND)

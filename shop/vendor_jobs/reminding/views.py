"""What a calendar program reads: open to whoever has the address, which is in no log."""

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.vendor_jobs.reminding import feeds


@login_not_required
@require_safe
def feed(request: HttpRequest, secret: str) -> HttpResponse:  # noqa: ARG001 # the secret is all that lets it in
    """The calendar of whoever has this address; every wrong one gets the same answer."""
    if feeds.find(secret) is None:
        raise Http404
    response = HttpResponse(feeds.file(now=timezone.now()), content_type="text/calendar; charset=utf-8")
    response["Cache-Control"] = "private, no-store"
    response["X-Robots-Tag"] = "noindex"
    response["Referrer-Policy"] = "no-referrer"
    return response

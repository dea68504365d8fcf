"""The door to a customer's pages: open to whoever holds the cookie of a link, and to nobody else."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from quotes.pricing.customers import links
from quotes.pricing.models import Link

NOT_FOUND = 404

CustomerView = Callable[..., HttpResponse]
View = Callable[..., HttpResponse]


def for_customer(purpose: Link.Purpose) -> Callable[[CustomerView], View]:
    """A page without an account. The view is given the link that opened it; without one, every answer is the same."""

    def guard(view: CustomerView) -> View:
        @login_not_required
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            link = links.from_cookie(request, purpose, timezone.now())
            return closed(request) if link is None else private(view(request, link, *args, **kwargs))

        return guarded

    return guard


def closed(request: HttpRequest) -> HttpResponse:
    """The one answer to a link or cookie that is wrong, run out, revoked or for something else."""
    return private(render(request, "customer/closed.html", status=NOT_FOUND))


def private(response: HttpResponse) -> HttpResponse:
    """Kept by no cache and listed by no search."""
    response["Cache-Control"] = "private, no-store"
    response["X-Robots-Tag"] = "noindex"
    return response

"""Addresses that only take what a form sends: when one is left in the bar after a refusal, looking at it again leads to the form."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


def posted_from(page: str) -> Callable[[View[P]], View[P]]:
    """Only POST; whoever looks is sent to ``page``, which goes by the same ``uid``."""

    def decorate(view: View[P]) -> View[P]:
        @require_http_methods(["GET", "HEAD", "POST"])
        @wraps(view)
        def either(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            if request.method == "POST":
                return view(request, *args, **kwargs)
            given: dict[str, Any] = dict(kwargs)
            return redirect(page, uid=given["uid"])

        return either

    return decorate

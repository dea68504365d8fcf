"""Addresses that only take what a form sends: when one is left in the bar after a refusal, looking at it again leads to the form."""

from collections.abc import Callable, Sequence
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.db.models import Model
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]
#: A model, and the way from its row to the ``uid`` that the page goes by.
Row = tuple[type[Model], str]


def posted_from(page: str, *, takes: Sequence[str] = ("uid",), row: Row | None = None) -> Callable[[View[P]], View[P]]:
    """Only POST; whoever looks is sent to ``page``.

    The page goes by those values of the address that it ``takes``, or by the ``uid`` found from the ``row`` of the
    address. Stands below the roles, so that nobody learns of a row by where its address leads.
    """

    def decorate(view: View[P]) -> View[P]:
        @require_http_methods(["GET", "HEAD", "POST"])
        @wraps(view)
        def either(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            if request.method == "POST":
                return view(request, *args, **kwargs)
            given: dict[str, Any] = dict(kwargs)
            goes_by = {"uid": _found(row, given)} if row else {name: given[name] for name in takes}
            leading: HttpResponseBase = redirect(page, **goes_by)
            return leading

        return either

    return decorate


def _found(row: Row, given: dict[str, Any]) -> Any:
    model, way = row
    key = "pk" if "pk" in given else "uid"
    return get_object_or_404(model._default_manager.values_list(way, flat=True), **{key: given[key]})

"""The box at the head of every page, and the page of what it found."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.desk import finding
from quotes.desk.context import DESK
from shop.people.roles import role_required

ALL = 200


@require_safe
@role_required(*DESK)
def search(request: HttpRequest) -> HttpResponse:
    term = finding.asked(request.GET.get("search", ""))
    context: dict[str, Any] = {"sought": term, "said": _said(term)}
    if request.headers.get("HX-Target") == "found":
        return render(request, "desk/_found.html", context | _few(term))
    only = request.GET.get("only", "")
    found = _one_kind(only, term) if only in finding.KINDS else _few(term)
    return render(request, "desk/search.html", context | found)


def _said(term: str) -> str:
    """Why nothing is looked for."""
    if not term:
        return _("Type a name, a frame number, a part, or the number of a quote.")
    if finding.too_short(term):
        return _("Type at least two letters or figures.")
    return ""


def _few(term: str) -> dict[str, Any]:
    return {"groups": [] if finding.too_short(term) else finding.groups(term)}


def _one_kind(only: str, term: str) -> dict[str, Any]:
    if finding.too_short(term):
        return {"groups": []}
    hits = finding.all_of(only, term, ALL + 1)
    group = finding.Group(only, str(finding.KINDS[only].title), hits[:ALL], False)
    return {"groups": [group] if hits else [], "cut": ALL if len(hits) > ALL else 0, "only": only}


urlpatterns = [path("search/", search, name="search")]

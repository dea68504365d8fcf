"""All restorations, and the page that begins one."""

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import importing, today
from quotes.desk.context import DESK
from quotes.desk.forms_beginning import CUSTOMER_FIELDS, MACHINE_FIELDS, BeginForm
from quotes.desk.selectors import known
from quotes.desk.services import begin_restoration
from shop.people.roles import role_required
from shop.restorations.models import Restoration
from shop.routes.laying import NoRouteError
from shop.text import quantity

EACH_PAGE = 25
LONGEST_SEARCH = 100


@require_safe
@role_required(*DESK)
def restorations(request: HttpRequest) -> HttpResponse:
    day = timezone.localdate()
    search = request.GET.get("search", "").replace("\0", "").strip()[:LONGEST_SEARCH]
    wanted = request.GET.get("standing", "")
    page = Paginator(today.found(search, wanted, day), EACH_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "lines": [today.line(restoration, day) for restoration in page],
        "search": search,
        "standing": wanted,
        "standings": today.STANDINGS.items(),
    }
    return render(request, "desk/restorations.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def begin(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    day = timezone.localdate(now)
    if request.method != "POST":
        return _begin_page(request, BeginForm(today=day))
    form = BeginForm(request.POST, request.FILES, today=day)
    if not form.is_valid():
        return _begin_page(request, form)
    given = form.given()
    try:
        restoration = begin_restoration(**given, today=day, who=request.user.get_username(), now=now)
    except ValidationError as error:
        in_template = given["template"] is not None and isinstance(error, NoRouteError)
        form.add_error("template" if in_template else None, ValidationError(error.messages))
        return _begin_page(request, form)
    messages.success(request, _begun(restoration))
    return redirect("desk:restoration", uid=restoration.uid)


def _begin_page(request: HttpRequest, form: BeginForm) -> HttpResponse:
    status = 422 if form.errors else 200
    form.say_optional_only_where_it_is()
    context: dict[str, Any] = {
        "form": form,
        "customer_fields": [form[name] for name in ("customer", *CUSTOMER_FIELDS)],
        "machine_fields": [form[name] for name in MACHINE_FIELDS],
        "restoration_fields": [form["title"], form["begun_on"]],
        "parts_fields": [form[name] for name in ("parts_from", "template", "file") if name in form.fields],
        "wrong": form.parts.wrong,
        "cut": form.parts.full,
        "headings": importing.headings(),
    }
    return render(request, "desk/begin.html", context, status=status)


def _begun(restoration: Restoration) -> str:
    count = restoration.parts.count()
    if not count:
        return _("“%(restoration)s” is begun. Add its first part.") % {"restoration": restoration}
    text = ngettext(
        "“%(restoration)s” is begun, with %(count)s part.", "“%(restoration)s” is begun, with %(count)s parts.", count
    )
    return text % {"restoration": restoration, "count": count}


@require_safe
@role_required(*DESK)
def sample_parts(_request: HttpRequest) -> HttpResponse:
    """A parts list to begin with. Where decimals have a comma, spreadsheets expect semicolons between the cells."""
    comma = "," in quantity(Decimal("0.5"))
    content = importing.sample(known(), decimal_comma=comma)
    headers = {"Content-Disposition": 'attachment; filename="parts.csv"'}
    return HttpResponse(content, content_type="text/csv; charset=utf-8", headers=headers)


urlpatterns = [
    path("restorations/", restorations, name="restorations"),
    path("restorations/begin/", begin, name="begin"),
    path("restorations/parts.csv", sample_parts, name="sample_parts"),
]

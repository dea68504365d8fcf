"""Lists of the desk, and the cost sheet of a draft, as files."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.desk import exporting, today
from quotes.desk.context import DESK
from quotes.desk.tables import CSV, XLSX, answer, download
from quotes.desk.views.beginning import LONGEST_SEARCH
from quotes.desk.views.editor import draft_for, restoration_of
from quotes.pricing.selectors import priced
from quotes.pricing.workbook.book import workbook
from shop.people.roles import role_required


@require_safe
@role_required(*DESK)
def restorations(request: HttpRequest, kind: str) -> HttpResponse:
    """What the page lists, all pages of it."""
    day = timezone.localdate()
    search = request.GET.get("search", "").replace("\0", "").strip()[:LONGEST_SEARCH]
    found = today.found(search, request.GET.get("standing", ""), day)
    rows = exporting.restoration_rows(found, day)
    return answer(kind, name=_("restorations"), headings=exporting.restoration_headings(), rows=rows)


@require_safe
@role_required(*DESK)
def parts(_request: HttpRequest, uid: UUID, kind: str) -> HttpResponse:
    """The parts of a bike, as a list that can be taken in again."""
    restoration = restoration_of(uid)
    name = f"{_('parts')} {restoration}"
    return answer(kind, name=name, headings=exporting.part_headings(), rows=exporting.part_rows(restoration))


@require_safe
@role_required(*DESK)
def costs(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The cost sheet of a draft as a spreadsheet that computes."""
    found = priced(draft_for(request, restoration_of(uid)))
    if found.given is None:
        return redirect("desk:restoration", uid=uid)
    title = _("Draft of %(restoration)s") % {"restoration": found.scope.restoration}
    return download(workbook(found.given, title=title), kind=XLSX, name=f"costs {found.scope.restoration}")


urlpatterns = [
    path("restorations/list.csv", restorations, {"kind": CSV}, name="restorations_csv"),
    path("restorations/list.xlsx", restorations, {"kind": XLSX}, name="restorations_xlsx"),
    path("restorations/<uuid:uid>/parts.csv", parts, {"kind": CSV}, name="parts_csv"),
    path("restorations/<uuid:uid>/parts.xlsx", parts, {"kind": XLSX}, name="parts_xlsx"),
    path("restorations/<uuid:uid>/costs.xlsx", costs, name="costs_file"),
]

import json
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.engine.formulas import PRESENT
from quotes.pricing import selectors, services
from quotes.pricing import sheet as sheets
from quotes.pricing.forms import OutcomeForm
from quotes.pricing.models import IssuedQuote, Outcome
from quotes.pricing.quote_page import page, paper_context
from quotes.pricing.verify import Recomputed, recomputed
from quotes.pricing.workbook.book import workbook
from shop.papers.downloads import XLSX, download
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, role_required
from shop.rereading import reread


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_DESK, ROLE_MANAGER)
def quote(request: HttpRequest, uid: UUID) -> HttpResponse:
    """An issued quote as its customer reads it, where it stands, and the form that records what was said."""
    found = get_object_or_404(selectors.issued(), uid=uid)
    if request.method != "POST":
        return page(request, found)
    form = OutcomeForm(request.POST, stage=found.stage)
    if form.is_valid():
        try:
            _record(request, found, form)
        except services.SettledError as error:
            messages.error(request, error.messages[0])
            return redirect("pricing:quote", uid=uid)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("The outcome is recorded."))
            return redirect("pricing:quote", uid=uid)
    return page(request, found, sent=form)


def _record(request: HttpRequest, found: IssuedQuote, form: OutcomeForm) -> None:
    now, said = timezone.now(), form.cleaned_data
    services.record_outcome(
        quote=found,
        kind=Outcome.Kind(said["kind"]),
        said_by=said["who"],
        how=Outcome.How(said["how"]),
        reason=said["reason"],
        said_on=said["said_on"],
        today=timezone.localdate(now),
        who=request.user.get_username(),
        now=now,
    )


@require_safe
@role_required(ROLE_DESK, ROLE_MANAGER)
def paper(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Whether the PDF is there yet: a piece of the page, asked for again and again until it is."""
    found = get_object_or_404(selectors.issued().defer(*selectors.HEAVY), uid=uid)
    return render(request, "pricing/_paper.html", {"quote": found, **paper_context(found)})


@require_safe
@role_required(ROLE_DESK, ROLE_MANAGER)
def sheet(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The cost sheet of an issued quote, recomputed from what was frozen."""
    found = get_object_or_404(IssuedQuote.objects.select_related("restoration"), uid=uid)
    again, shown = _sheet(found, PRESENT)
    context = {"quote": found, "found": again, "sheet": shown}
    return render(request, "pricing/costs.html", context)


@reread(most=8, frozen=(Recomputed, sheets.Sheet))
def _sheet(quote: IssuedQuote, _formulas: dict[str, str]) -> tuple[Recomputed, sheets.Sheet | None]:
    again = recomputed(quote)
    return again, sheets.sheet(again.explained, again.given) if again.explained and again.given else None


@require_safe
@role_required(ROLE_DESK, ROLE_MANAGER)
def sheet_file(_request: HttpRequest, uid: UUID) -> HttpResponse:
    """The cost sheet of an issued quote as a spreadsheet that computes, from what was frozen."""
    found = get_object_or_404(IssuedQuote.objects.select_related("restoration"), uid=uid)
    again = recomputed(found)
    if again.given is None:
        return redirect("pricing:sheet", uid=uid)
    title = f"{found}, {found.restoration}"
    content = workbook(again.given, title=title, variants=json.loads(found.variants))
    return download(content, kind=XLSX, name=f"costs {found}")

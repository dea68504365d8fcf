"""The weekly review: what each job will still leave, why, and what can still be done; closing weeks; notes. For the manager."""

from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import reviewing, saving
from quotes.desk.forms_review import NoteForm, OverheadForm
from quotes.desk.tables import CSV, XLSX, answer, download
from quotes.margin import closing, overhead, posting, review, weeks
from quotes.margin import workshop as margin_workshop
from quotes.margin.models import Close, Overhead, Pack, WeekNote
from shop.papers.downloads import PDF
from shop.papers.selectors import content
from shop.people.roles import ROLE_MANAGER, role_required
from shop.posting import posted_from
from shop.restorations.models import Restoration

UNPROCESSABLE = 422
YEAR = timedelta(days=365)


def _said(request: HttpRequest) -> dict[str, Any]:
    return {"who": request.user.get_username(), "now": timezone.now()}


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def page(request: HttpRequest) -> HttpResponse:
    """All jobs, those first where most can still be saved; a note on the week is sent here."""
    form = NoteForm(request.POST or None)
    now = timezone.now()
    week = weeks.to_close(timezone.localdate(now)) or weeks.week_of(timezone.localdate(now))
    if request.method == "POST" and form.is_valid() and _noted(form, week, None, request):
        return redirect("desk:review")
    return _page(request, form=form)


def _page(request: HttpRequest, *, form: NoteForm) -> HttpResponse:
    now = timezone.now()
    found = review.look(now=now)
    to_close = weeks.to_close(timezone.localdate(now))
    context = {
        "rows": reviewing.shown(found),
        "leaves": reviewing.money(found.leaves),
        "change": reviewing.money(found.change),
        "closed": found.closed,
        "closed_words": reviewing.week_words(found.closed.week) if found.closed else "",
        "to_close": to_close,
        "to_close_words": reviewing.week_words(to_close) if to_close else "",
        "unrated": found.unrated,
        "posted_at": posting.posted_at(),
        "notes": WeekNote.objects.filter(week=found.week, restoration__isnull=True),
        "closes": Close.objects.all()[:12],
        "form": form,
    }
    return render(request, "desk/review.html", context, status=UNPROCESSABLE if form.errors else 200)


def _noted(form: NoteForm, week: date, restoration: Restoration | None, request: HttpRequest) -> bool:
    try:
        review.note(week=week, restoration=restoration, **form.cleaned_data, **_said(request))
    except ValidationError as error:
        saving.place(form, error, "words")
        return False
    messages.success(request, _("Kept with the week."))
    return True


@role_required(ROLE_MANAGER)
@posted_from("desk:review", takes=())
def look_again(request: HttpRequest) -> HttpResponse:
    """Post what happened up to now, without waiting for the background process."""
    posting.everything(now=timezone.now())
    messages.success(request, _("Costs are counted up to now."))
    return redirect("desk:review")


@role_required(ROLE_MANAGER)
@posted_from("desk:review", takes=())
def close_week(request: HttpRequest) -> HttpResponse:
    try:
        week = date.fromisoformat(request.POST.get("week", ""))
    except ValueError:
        messages.error(request, _("That is no week. Look at the page again."))
        return redirect("desk:review")
    try:
        close = closing.close_week(week=week, **_said(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(
            request, _("Closed: %(week)s. It stays as it is.") % {"week": reviewing.week_words(close.week)}
        )
    return redirect("desk:review")


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def job(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One job: from the quoted to the present margin, its weeks, its terms, what was said about it."""
    restoration = get_object_or_404(Restoration, uid=uid)
    now = timezone.now()
    row = next((one for one in review.look(now=now).rows if one.restoration.pk == restoration.pk), None)
    if row is None:
        raise Http404
    week = weeks.to_close(timezone.localdate(now)) or weeks.week_of(timezone.localdate(now))
    form = NoteForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and _noted(form, week, restoration, request):
        return redirect("desk:review_job", uid)
    context = {
        "restoration": restoration,
        "row": reviewing.one(row),
        "bridge": reviewing.bridged(
            row.figures.since_quoted, first=_("Quoted to leave"), last=_("Will leave now"), ident="quoted"
        ),
        "classes": reviewing.classes(row),
        "earned": reviewing.earned(row),
        "lines": reviewing.lines(row.figures.job, timezone.localdate(now)),
        "terms": reviewing.terms(row),
        "savings": reviewing.savings(row),
        "history": reviewing.history(restoration),
        "said": restoration.week_notes.order_by("-week", "-pk"),
        "form": form,
    }
    return render(request, "desk/review_job.html", context, status=UNPROCESSABLE if form.errors else 200)


@require_safe
@role_required(ROLE_MANAGER)
def listed(_request: HttpRequest, kind: str) -> HttpResponse:
    """All jobs with the textbook's figures of earned value, as a file."""
    now = timezone.now()
    rows = reviewing.listed(review.look(now=now).rows, timezone.localdate(now))
    return answer(kind, name=_("review"), headings=reviewing.headings(), rows=rows)


@require_safe
@role_required(ROLE_MANAGER)
def week(request: HttpRequest, monday: str) -> HttpResponse:
    """A week as it was closed."""
    try:
        close = get_object_or_404(Close, week=date.fromisoformat(monday))
    except ValueError as error:
        raise Http404 from error
    balances, total, bare = reviewing.ledger(close)
    context = {
        "close": close,
        "words": reviewing.week_words(close.week),
        "rows": reviewing.past(close),
        "pack": Pack.objects.filter(close=close).exists(),
        "balances": balances,
        "total": total,
        "bare": bare,
        "late": reviewing.late(close),
        "said": WeekNote.objects.filter(week=close.week).select_related("restoration"),
    }
    return render(request, "desk/review_week.html", context)


@require_safe
@role_required(ROLE_MANAGER)
def workshop(request: HttpRequest) -> HttpResponse:
    """The shop as a whole, over the last year."""
    since = timezone.localdate() - YEAR
    context = {
        "since": since,
        "hours": reviewing.hours(margin_workshop.hours(since)),
        "poor": reviewing.poor_quality(margin_workshop.poor_quality(since)),
        "offers": reviewing.offers(margin_workshop.offers()),
        "sold": reviewing.sold(margin_workshop.sold()),
    }
    return render(request, "desk/review_workshop.html", context)


@require_safe
@role_required(ROLE_MANAGER)
def pack(_request: HttpRequest, monday: str) -> HttpResponse:
    """The PDF of a closed week, once the background process has made it."""
    try:
        row = get_object_or_404(Pack.objects.select_related("document"), close__week=date.fromisoformat(monday))
    except ValueError as error:
        raise Http404 from error
    return download(content(row.document), kind=PDF, name=row.document.name.removesuffix(".pdf"))


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def spent(request: HttpRequest) -> HttpResponse:
    """What the shop spends that is for no one bike."""
    form = OverheadForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            overhead.note(**form.cleaned_data, **_said(request))
        except ValidationError as error:
            saving.place(form, error, "net_minor")
        else:
            messages.success(request, _("Noted."))
            return redirect("desk:review_spent")
    rows = reviewing.spent(overhead.standing()[:200])
    return render(
        request,
        "desk/review_spent.html",
        {"form": form, "rows": rows},
        status=UNPROCESSABLE if form.errors else 200,
    )


@role_required(ROLE_MANAGER)
@posted_from("desk:review_spent", takes=())
def spent_back(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(Overhead, uid=uid)
    try:
        overhead.reverse(overhead=row, **_said(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Taken back by a row of its own."))
    return redirect("desk:review_spent")


urlpatterns = [
    path("review/", page, name="review"),
    path("review/look/", look_again, name="review_look"),
    path("review/close/", close_week, name="review_close"),
    path("review/jobs.csv", listed, {"kind": CSV}, name="review_csv"),
    path("review/jobs.xlsx", listed, {"kind": XLSX}, name="review_xlsx"),
    path("review/workshop/", workshop, name="review_workshop"),
    path("review/spent/", spent, name="review_spent"),
    path("review/spent/<uuid:uid>/back/", spent_back, name="review_spent_back"),
    path("review/weeks/<str:monday>/", week, name="review_week"),
    path("review/weeks/<str:monday>/pack.pdf", pack, name="review_pack"),
    path("review/<uuid:uid>/", job, name="review_job"),
]

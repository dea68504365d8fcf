"""The days of a restoration: ready day, what must leave when, held days, and when work can begin."""

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from quotes.desk import drawing, saving, showing
from quotes.desk.context import DESK
from quotes.desk.forms import PlainForm
from quotes.desk.views.editor import draft_for, restoration_of, who
from quotes.engine.errors import BadInput
from quotes.pricing import planning
from quotes.pricing.selectors import priced
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.restorations.models import Restoration
from shop.restorations.services import start_on
from shop.routes.models import Hold
from shop.routes.planning import end_on, hold, let_go
from shop.routes.schedules import holds, schedule


class DayField(forms.DateField):
    """A day, typed or picked; what was typed stays as it was."""

    def __init__(self, **options: Any) -> None:
        super().__init__(widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **options)


class HoldForm(PlainForm):
    """Days on which nothing is done, and whose reason it is; without a last day until somebody lets it go."""

    kind = forms.ChoiceField(
        label=gettext_lazy("Why"), choices=[("", gettext_lazy("choose")), *Hold.Kind.choices], initial=""
    )
    first = DayField(label=gettext_lazy("First day"))
    last = DayField(
        label=gettext_lazy("Last day"), required=False, help_text=gettext_lazy("If empty, until you let it go.")
    )
    reason = forms.CharField(
        label=gettext_lazy("Reason"),
        max_length=200,
        help_text=gettext_lazy("What is missing, and from whom. Storage goes by the days held for the customer."),
    )


class EndForm(PlainForm):
    """The last day of a hold that is let go. ``hold`` is its key, so that every form of the page has ids of its own."""

    last = DayField(label=gettext_lazy("Last held day"))

    def __init__(self, data: Any = None, *, hold: int) -> None:
        super().__init__(data, initial={"last": timezone.localdate()}, auto_id=f"end-{hold}-%s")
        self.hold = hold


class StartForm(PlainForm):
    starts_on = DayField(label=gettext_lazy("Work can begin on"), required=False)


@require_safe
@role_required(*DESK)
def days(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = restoration_of(uid)
    return _page(request, row, HoldForm(), StartForm(initial={"starts_on": row.starts_on}))


def _page(
    request: HttpRequest,
    row: Restoration,
    hold_form: forms.Form,
    start_form: forms.Form,
    *,
    end_form: EndForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """The days as they are now, worked out for this look; what is kept on the routes is left alone."""
    today = timezone.localdate()
    found = priced(draft_for(request, row))
    context = showing.sums(found) | {
        "holds": [_held(one, end_form, today) for one in holds(row)],
        "hold_form": hold_form,
        "start_form": start_form,
    }
    try:
        given = planning.scheduled_as_priced(found, schedule(found.scope, today=today))
        assert found.explained is not None
        worked = planning.worked_out(given, found.explained, restoration=row)
        context |= {"worked": worked, "picture": drawing.days(worked, given), "table": showing.days(worked, given)}
        context["leaving"] = _leaving(context["table"])
    except BadInput as error:
        context["error"] = error.sentence(_(error.template))
    return render(request, "desk/days.html", context, status=status)


def _leaving(table: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Lots and orders in one list, by the day on which each must be on its way, the first first."""
    lots = [
        {
            "by": lot["leave_by"],
            "what": _("%(work)s leaves for %(vendor)s") % {"work": lot["service"], "vendor": lot["vendor"]},
            "parts": lot["parts"],
            "then": _("back by %(day)s") % {"day": date_format(lot["back_by"], "DATE_FORMAT")},
            "drives": lot["drives"],
        }
        for lot in table["lots"]
    ]
    orders = [
        {
            "by": order["order_by"],
            "what": _("order %(what)s") % {"what": order["purchase"]},
            "parts": [order["part"]],
            "then": _("needed on %(day)s") % {"day": date_format(order["needed"], "DATE_FORMAT")},
            "drives": False,
        }
        for order in table["orders"]
    ]
    return sorted([*lots, *orders], key=lambda row: (row["by"], row["what"]))


def _held(row: Hold, refused: EndForm | None, today: date) -> tuple[Hold, EndForm | None]:
    """A hold with the form that lets it go; without one where none of its days has come or all have passed."""
    if refused is not None and refused.hold == row.pk:
        return row, refused
    runs = row.first <= today and (row.last is None or row.last > today)
    return row, EndForm(hold=row.pk) if runs else None


@role_required(*DESK)
@posted_from("desk:days")
def ready_day(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Work out the ready day where the one kept is stale, and show it."""
    now = timezone.now()
    today = timezone.localdate(now)
    draft = draft_for(request, restoration_of(uid))
    error = ""
    try:
        moved_on = not planning.bring_up_to_date(draft, today=today, now=now)
    except BadInput as wrong:
        error, moved_on = wrong.sentence(_(wrong.template)), False
    if not request.htmx:  # type: ignore[attr-defined]
        return redirect("desk:days", uid=uid)
    if moved_on:  # maybe from another desk, so that this box has to ask again
        draft.restoration.refresh_from_db()
    context = {"restoration": draft.restoration, "ready": showing.ready(draft, today, error=error)}
    return render(request, "desk/_ready.html", context)


@role_required(*DESK)
@posted_from("desk:days")
def add_hold(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = restoration_of(uid), HoldForm(request.POST)
    if form.is_valid():
        try:
            hold(restoration=row, who=who(request), now=timezone.now(), **form.cleaned_data)
            messages.success(request, _("Held. The ready day has moved."))
            return redirect("desk:days", uid=uid)
        except ValidationError as error:
            saving.place(form, error, "first")
    return _page(request, row, form, StartForm(initial={"starts_on": row.starts_on}), status=422)


@role_required(*DESK)
@posted_from("desk:days", row=(Hold, "restoration__uid"))
def let_hold_go(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a hold go that runs: the days up to the last one stay held."""
    held = get_object_or_404(Hold.objects.select_related("restoration"), pk=pk)
    row, form = restoration_of(held.restoration.uid), EndForm(request.POST, hold=pk)
    if form.is_valid():
        try:
            end_on(hold=held, last=form.cleaned_data["last"], who=who(request), now=timezone.now())
            messages.success(request, _("Let go. The ready day has moved."))
            return redirect("desk:days", uid=row.uid)
        except ValidationError as error:
            saving.place(form, error, "last")
    start_form = StartForm(initial={"starts_on": row.starts_on})
    return _page(request, row, HoldForm(), start_form, end_form=form, status=422)


@role_required(*DESK)
@posted_from("desk:days", row=(Hold, "restoration__uid"))
def end_hold(request: HttpRequest, pk: int) -> HttpResponseRedirect:
    row = get_object_or_404(Hold.objects.select_related("restoration"), pk=pk)
    let_go(hold=row, who=who(request), now=timezone.now())
    messages.success(request, _("These days are free again."))
    return redirect("desk:days", uid=row.restoration.uid)


@role_required(*DESK)
@posted_from("desk:days")
def begin_on(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = restoration_of(uid), StartForm(request.POST)
    if form.is_valid():
        try:
            start_on(restoration=row, who=who(request), now=timezone.now(), **form.cleaned_data)
            messages.success(request, _("Saved."))
            return redirect("desk:days", uid=uid)
        except ValidationError as error:
            form.add_error(None, error)
    return _page(request, row, HoldForm(), form, status=422)


urlpatterns = [
    path("restorations/<uuid:uid>/days/", days, name="days"),
    path("restorations/<uuid:uid>/ready-day/", ready_day, name="ready_day"),
    path("restorations/<uuid:uid>/holds/", add_hold, name="add_hold"),
    path("holds/<int:pk>/end/", end_hold, name="end_hold"),
    path("holds/<int:pk>/let-go/", let_hold_go, name="let_hold_go"),
    path("restorations/<uuid:uid>/begins/", begin_on, name="begin_on"),
]

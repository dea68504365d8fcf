"""The monthly count of material: what is on the shelf, what went since, and what should have gone by the book.

What came by orders counts as come in wherever nobody says otherwise: it is read from the orders as they stand, and kept with the count.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from quotes.desk.context import DESK
from quotes.desk.forms import Number, PlainForm
from quotes.desk.views.editor import who
from shop.floor.material import Between, by_month, counted_before, note_count, standing
from shop.methods.models import Consumable
from shop.people.roles import role_required
from shop.vendor_jobs.buying import came_in

UNPROCESSABLE = 422
MONTHS = 6
NONE = Decimal(0)


class DayForm(PlainForm):
    day = forms.DateField(
        label=gettext_lazy("Counted in the evening of"),
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
    )


class CountForm(PlainForm):
    """One line of the count; left empty, it was not counted."""

    tells_optional = False

    counted = Number(
        label=gettext_lazy("Counted"), min_value=0, max_value=100_000, max_digits=12, decimal_places=3, required=False
    )
    came_in = Number(
        label=gettext_lazy("Came in since"),
        min_value=0,
        max_value=100_000,
        max_digits=12,
        decimal_places=3,
        required=False,
    )

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if given.get("came_in") is not None and given.get("counted") is None and "counted" not in self.errors:
            self.add_error("counted", _("Count it as well: what came in is reckoned against it."))
        return given


@dataclass(frozen=True, slots=True)
class Shown:
    """A line of the page: a consumable, its standing, its months, and the boxes to count in."""

    stands: Between
    months: Sequence[Decimal]
    form: CountForm
    came: Decimal


def _came(day: date) -> dict[int, Decimal]:
    """Consumable to what came by orders since its last count before ``day`` [unit]: the floor knows no orders."""
    return came_in(counted_before(day), until=day)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def material(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    today = timezone.localdate(now)
    data = request.POST if request.method == "POST" else None
    day = DayForm(data, initial={"day": today})
    rows = standing(today)
    came = _came(today)
    boxes = {row.consumable.pk: CountForm(data, prefix=str(row.consumable.uid)) for row in rows}
    if request.method == "POST":
        right = all([day.is_valid(), *(form.is_valid() for form in boxes.values())])
        if right and _counted(request, day, rows, boxes):
            return redirect("desk:material")
    months = _months(today)
    used = by_month(months)
    none = [Decimal(0)] * len(months)
    shown = [
        Shown(row, used.get(row.consumable.pk, none), boxes[row.consumable.pk], came.get(row.consumable.pk, NONE))
        for row in rows
    ]
    wrong = bool(day.errors) or any(form.errors for form in boxes.values())
    context = {"rows": shown, "months": months, "form": day, "wrong": wrong}
    return render(request, "desk/material.html", context, status=UNPROCESSABLE if wrong else 200)


def _counted(request: HttpRequest, day: DayForm, rows: Sequence[Between], boxes: dict[int, CountForm]) -> bool:
    """Keep all lines, or none of them."""
    given = {pk: form.cleaned_data for pk, form in boxes.items() if form.cleaned_data.get("counted") is not None}
    if not given:
        day.add_error(None, _("Nothing is counted yet. Fill in at least one line."))
        return False
    items: dict[int, Consumable] = {row.consumable.pk: row.consumable for row in rows}
    came = _came(day.cleaned_data["day"])
    try:
        with transaction.atomic():
            for pk, said in given.items():
                note_count(
                    consumable=items[pk],
                    day=day.cleaned_data["day"],
                    counted=said["counted"],
                    came_in=came.get(pk, NONE) if said.get("came_in") is None else said["came_in"],
                    who=who(request),
                    now=timezone.now(),
                )
    except ValidationError as error:
        day.add_error("day" if "day" in getattr(error, "error_dict", {}) else None, error.messages)
        return False
    messages.success(request, _("The count is kept."))
    return True


def _months(today: date) -> list[date]:
    """The first days of the last months, this one at the end."""
    months = [today.replace(day=1)]
    while len(months) < MONTHS:
        last = months[0]
        months.insert(0, date(last.year - (last.month == 1), (last.month - 2) % 12 + 1, 1))
    return months


urlpatterns = [path("workshop/material/", material, name="material")]

"""The shelves of the workshop: where tags can hang. Kept by the desk, used on the floor."""

from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from quotes.desk import saving
from quotes.desk.context import DESK
from quotes.desk.forms import PlainForm
from quotes.desk.views.editor import who
from shop.floor.custody import add_shelf, rename_shelf
from shop.floor.models import Shelf
from shop.people.roles import role_required
from shop.posting import posted_from

UNPROCESSABLE = 422


class ShelfForm(PlainForm):
    name = forms.CharField(
        label=gettext_lazy("Name"),
        max_length=Shelf._meta.get_field("name").max_length,
        help_text=gettext_lazy("As it is written on it: shelf A2, bin 7, hook by the oven."),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def shelves(request: HttpRequest) -> HttpResponse:
    form = ShelfForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            add_shelf(name=form.cleaned_data["name"], who=who(request), now=timezone.now())
            messages.success(request, _("Added. It can be tapped on the floor from now on."))
            return redirect("desk:shelves")
        except ValidationError as error:
            saving.place(form, error, "name")
    return _page(request, form, status=UNPROCESSABLE if form.errors else 200)


@role_required(*DESK)
@posted_from("desk:shelves", takes=())
def rename(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = get_object_or_404(Shelf, uid=uid), _of(uid, request.POST)
    if form.is_valid():
        try:
            rename_shelf(shelf=row, name=form.cleaned_data["name"], who=who(request), now=timezone.now())
            messages.success(request, _("Renamed. What is on it stays there."))
            return redirect("desk:shelves")
        except ValidationError as error:
            saving.place(form, error, "name")
    return _page(request, ShelfForm(), renaming={uid: form}, status=UNPROCESSABLE)


def _of(uid: UUID, data: object = None, initial: str = "") -> ShelfForm:
    """Each on the page has ids of its own."""
    form = ShelfForm(data, initial={"name": initial}, auto_id=f"{uid}-%s")
    form.fields["name"].help_text = ""  # said once on the page
    return form


def _page(
    request: HttpRequest, form: ShelfForm, *, renaming: dict[UUID, ShelfForm] | None = None, status: int = 200
) -> HttpResponse:
    rows = Shelf.objects.annotate(used=Count("moves")).order_by("name")
    forms_of = renaming or {}
    shown = [(row, forms_of.get(row.uid) or _of(row.uid, initial=row.name)) for row in rows]
    return render(request, "desk/shelves.html", {"form": form, "shelves": shown}, status=status)


urlpatterns = [
    path("workshop/shelves/", shelves, name="shelves"),
    path("workshop/shelves/<uuid:uid>/", rename, name="rename_shelf"),
]

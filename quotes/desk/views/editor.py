"""The restoration's page: parts, finishes and steps, with the price following every change."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import drawing, finishes, saving, showing
from quotes.desk.context import DESK
from quotes.desk.forms import DraftForm, NewPartForm, PartForm
from quotes.desk.templatetags.desk_boxes import boxed
from quotes.pricing import selectors, services
from quotes.pricing.models import Draft
from quotes.pricing.selectors import Priced, priced
from shop.journal.selectors import latest
from shop.journal.services import subject_of
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.rates.selectors import odds
from shop.restorations.models import Part, Restoration
from shop.restorations.services import ChangedMeanwhileError, remove_part
from shop.routes.laying import NoRouteError
from shop.routes.models import Step
from shop.routes.parts import add_routed_part, bring_back_routed_part, edit_part

ROUTE_CHANGES = {"material", "agreed_finish", "old_finish"}


def way_to_undo(request: HttpRequest, row: Part | Step | Restoration, now: datetime) -> str:
    """Where to undo what was just done to a row; empty where the journal has nothing of it."""
    entry = latest(subject_of(row), who=who(request), at=now)
    restoration = (
        row if isinstance(row, Restoration) else row.restoration if isinstance(row, Part) else row.part.restoration
    )
    return reverse("desk:undo", args=(restoration.uid, entry.uid)) if entry else ""


def who(request: HttpRequest) -> str:
    """The name the journal keeps."""
    return request.user.get_username()


def draft_for(request: HttpRequest, restoration: Restoration) -> Draft:
    """The draft of a restoration. Where there is none, looking makes one for the eye only; writing begins it."""
    draft = selectors.draft_of(restoration)
    now = timezone.now()
    if draft is None and request.method in {"GET", "HEAD"}:
        draft = Draft(restoration=restoration, priced_on=timezone.localdate(now))
    elif draft is None:
        draft = services.open_draft(restoration=restoration, today=timezone.localdate(now), who=who(request), now=now)
    draft.restoration = restoration
    return draft


def restoration_of(uid: UUID) -> Restoration:
    """The restoration, or 404."""
    return get_object_or_404(Restoration.objects.select_related("customer", "machine"), uid=uid)


def part_of(uid: UUID) -> Part:
    """A part with what its page needs, or 404."""
    query = Part.objects.select_related(
        "restoration__customer",
        "restoration__machine",
        "kind",
        "size_class",
        "agreed_finish",
        "factory_finish",
        "old_finish",
    )
    return get_object_or_404(query, uid=uid)


@require_safe
@role_required(*DESK)
def restoration(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _restoration_page(request, priced(draft_for(request, restoration_of(uid))))


def _restoration_page(request: HttpRequest, found: Priced, *, status: int = 200, **forms: BaseForm) -> HttpResponse:
    """The whole page; ``forms`` stand in for those somebody filled in wrongly."""
    row = found.scope.restoration
    context: dict[str, Any] = page(found) | {
        "new_part": NewPartForm(),
        "draft_form": DraftForm(instance=found.draft),
        "taken_out": row.parts.filter(removed_at__isnull=False, split_from__isnull=True),
        "quotes": selectors.quotes(row).defer(*selectors.HEAVY),
        "today": timezone.localdate(),
    }
    return render(request, "desk/restoration.html", context | forms, status=status)


def page(found: Priced) -> dict[str, Any]:
    """Context of the list and of the sum."""
    return showing.sums(found) | {"areas": showing.areas(found), "found": found}


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def part(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One part: its fields and its route. A change is saved field by field and answered with the new price."""
    row = part_of(uid)
    if request.method == "POST":
        return _change_part(request, row)
    found = priced(draft_for(request, row.restoration))
    return _part_page(request, row, found, PartForm(instance=row))


def _part_page(request: HttpRequest, row: Part, found: Priced, form: BaseForm, status: int = 200) -> HttpResponse:
    template = "desk/part_panel.html" if request.htmx else "desk/part.html"  # type: ignore[attr-defined]
    context = (
        _part_context(row, found, form)
        | {"picture": drawing.route(found, row)}
        | finishes.brief(row, odds(timezone.localdate()))
    )
    return render(request, template, context | showing.sums(found), status=status)


def _part_context(row: Part, found: Priced, form: BaseForm) -> dict[str, Any]:
    return {
        "part": row,
        "owner": row.uid,
        "form": form,
        "boxes": boxed(form),
        "steps": showing.step_rows(found, row),
        "taken_off": showing.taken_off(found, row),
        "restoration": row.restoration,
    }


def _change_part(request: HttpRequest, row: Part) -> HttpResponse:
    data = saving.settle(request.POST, PartForm(instance=row))
    form = PartForm(data, instance=row)
    names = saving.typed(form, data)
    before = {name: getattr(row, name) for name in form.fields}
    seen = saving.seen(form, data, names)
    form.is_valid()
    for name, value in before.items():  # binding a form writes to its instance
        setattr(row, name, value)
    if any(name in form.errors for name in names):
        return _answer(request, row, form, names, wrong=True)
    try:
        changes = saving.changes(form, names)
        if changes:
            edit_part(part=row, who=who(request), now=timezone.now(), changes=changes, seen=seen)
    except ChangedMeanwhileError as conflict:
        saving.tell_conflict(form, conflict)
        return _answer(request, row, form, names, wrong=True)
    except ValidationError as error:
        without_route = isinstance(error, NoRouteError) and "agreed_finish" in names
        saving.place(form, error, "agreed_finish" if without_route else names[0])
        return _answer(request, row, form, names, wrong=True)
    return _answer(request, part_of(row.uid), form, names, wrong=False)


def _answer(request: HttpRequest, row: Part, form: BaseForm, names: list[str], *, wrong: bool) -> HttpResponse:
    """The changed boxes, the new prices, and the route where it changed; or the whole page without scripting."""
    restoration_row = row.restoration if wrong else restoration_of(row.restoration.uid)
    found = priced(draft_for(request, restoration_row))
    if not request.htmx:  # type: ignore[attr-defined]
        if wrong:
            return _part_page(request, part_of(row.uid), found, form, status=422)
        messages.success(request, _("Saved."))
        return redirect("desk:part", uid=row.uid)
    if not wrong:
        form = PartForm(instance=row)
    context = page(found) | _part_context(row, found, form)
    asked = [*names, "side"] if "kind" in names else names  # another kind asks another question there
    context["boxes"] = saving.answered(context["boxes"], asked, request.POST)
    context["route_changed"] = not wrong and bool(ROUTE_CHANGES & set(names))
    if context["route_changed"]:
        context["picture"] = drawing.route(found, row)
        context |= finishes.brief(row, odds(timezone.localdate()))
    return render(request, "desk/_answer.html", context)


@role_required(*DESK)
@posted_from("desk:restoration")
def add_part(request: HttpRequest, uid: UUID) -> HttpResponse:
    found = restoration_of(uid)
    form = NewPartForm(request.POST)
    if not form.is_valid():
        return _not_added(request, found, form)
    try:
        new = add_routed_part(restoration=found, who=who(request), now=timezone.now(), **form.cleaned_data)
    except ValidationError as error:
        saving.place(form, error, "name")
        return _not_added(request, found, form)
    if request.htmx:  # type: ignore[attr-defined]
        return _added(request, new)
    return redirect("desk:part", uid=new.uid)


def _not_added(request: HttpRequest, row: Restoration, form: BaseForm) -> HttpResponse:
    """The form with what is wrong in it; without scripting on the whole page."""
    if request.htmx:  # type: ignore[attr-defined]
        return render(request, "desk/_another.html", {"restoration": row, "new_part": form, "oob": True})
    return _restoration_page(request, priced(draft_for(request, row)), status=422, new_part=form)


def _added(request: HttpRequest, new: Part) -> HttpResponse:
    """The row of a part just added, at the end of the list, with the new prices."""
    found = priced(draft_for(request, restoration_of(new.restoration.uid)))
    context = page(found)
    area = context["areas"][-1]
    first = len(context["areas"]) == 1 and len(area.rows) == 1
    return render(request, "desk/_added.html", context | {"area": area, "added": area.rows[-1], "first": first})


@role_required(*DESK)
@posted_from("desk:restoration", row=(Part, "restoration__uid"))
def take_out(request: HttpRequest, uid: UUID) -> HttpResponseRedirect:
    row, now = part_of(uid), timezone.now()
    remove_part(part=row, who=who(request), now=now)
    said = _("“%(part)s” is out of scope. You can bring it back below.") % {"part": row}
    messages.success(request, said, extra_tags=way_to_undo(request, row, now))
    return redirect("desk:restoration", uid=row.restoration.uid)


@role_required(*DESK)
@posted_from("desk:restoration", row=(Part, "restoration__uid"))
def bring_back(request: HttpRequest, uid: UUID) -> HttpResponseRedirect:
    row = part_of(uid)
    try:
        bring_back_routed_part(part=row, who=who(request), now=timezone.now())
        messages.success(request, _("“%(part)s” is back.") % {"part": row})
    except ValidationError as error:
        messages.error(request, error.messages[0])
    return redirect("desk:restoration", uid=row.restoration.uid)


@role_required(*DESK)
@posted_from("desk:restoration")
def change_draft(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Discount and note, field by field like the parts."""
    draft = draft_for(request, restoration_of(uid))
    data = saving.settle(request.POST, DraftForm(instance=draft))
    form = DraftForm(data, instance=draft)
    names = saving.typed(form, data)
    seen = saving.seen(form, data, names)
    form.is_valid()
    draft.refresh_from_db()
    wrong = any(name in form.errors for name in names)
    if names and not wrong:
        try:
            changes = saving.changes(form, names)
            services.change_draft(draft=draft, who=who(request), now=timezone.now(), changes=changes, seen=seen)
            form = DraftForm(instance=draft)
        except ChangedMeanwhileError as conflict:
            saving.tell_conflict(form, conflict)
            wrong = True
    found = priced(draft_for(request, restoration_of(uid)))
    if not request.htmx:  # type: ignore[attr-defined]
        if wrong:
            return _restoration_page(request, found, status=422, draft_form=form)
        return redirect("desk:restoration", uid=uid)
    changed = saving.answered(boxed(form), names, request.POST)
    return render(request, "desk/_answer.html", page(found) | {"boxes": changed, "owner": "draft"})


@role_required(*DESK)
@posted_from("desk:restoration")
def price_anew(request: HttpRequest, uid: UUID) -> HttpResponseRedirect:
    now = timezone.now()
    draft = draft_for(request, restoration_of(uid))
    services.price_anew(draft=draft, today=timezone.localdate(now), who=who(request), now=now)
    messages.success(request, _("Priced with the rates of today."))
    return redirect("desk:restoration", uid=uid)


urlpatterns = [
    path("restorations/<uuid:uid>/", restoration, name="restoration"),
    path("restorations/<uuid:uid>/parts/", add_part, name="add_part"),
    path("restorations/<uuid:uid>/draft/", change_draft, name="change_draft"),
    path("restorations/<uuid:uid>/price-anew/", price_anew, name="price_anew"),
    path("parts/<uuid:uid>/", part, name="part"),
    path("parts/<uuid:uid>/take-out/", take_out, name="take_out"),
    path("parts/<uuid:uid>/bring-back/", bring_back, name="bring_back"),
]

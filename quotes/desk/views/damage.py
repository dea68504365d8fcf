"""Possible damage of a part: what strip-down may reveal, who pays if it is found, and what became of it."""

from functools import partial
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from quotes.desk import damages, saving
from quotes.desk.context import DESK
from quotes.desk.forms_damage import DamageForm, SettleForm, UsualForm
from quotes.desk.templatetags.desk_boxes import boxed
from quotes.desk.views.editor import draft_for, page, part_of, restoration_of, who
from quotes.pricing.damages import carried_in, settle
from quotes.pricing.selectors import priced
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.restorations import damage as services
from shop.restorations.models import Part, PartDamage
from shop.routes.damages import on_route
from shop.routes.models import Step


def damage_of(uid: UUID) -> PartDamage:
    """A possible damage with what its page needs, or 404."""
    query = PartDamage.objects.select_related("part__restoration", "part__kind", "damage")
    return get_object_or_404(query, uid=uid)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def listing(request: HttpRequest, uid: UUID) -> HttpResponse:
    """All possible damage of a part, and the form that adds one by hand."""
    part = part_of(uid)
    if request.method != "POST":
        return _listing(request, part)
    form = DamageForm(request.POST)
    if form.is_valid():
        try:
            row = services.add_by_hand(part=part, who=who(request), now=timezone.now(), **form.cleaned_data)
            messages.success(request, _("“%(damage)s” is on the list.") % {"damage": row.name})
            return redirect("desk:damages", uid=uid)
        except ValidationError as error:
            saving.place(form, error, "name")
    return _listing(request, part, status=422, form=form)


def _listing(request: HttpRequest, part: Part, *, status: int = 200, **forms: BaseForm) -> HttpResponse:
    context: dict[str, Any] = {
        "part": part,
        "restoration": part.restoration,
        "listed": damages.listed(part),
        "form": DamageForm(),
        "usual_form": UsualForm(),
    }
    return render(request, "desk/damages.html", context | forms, status=status)


@role_required(*DESK)
@posted_from("desk:damages")
def add_usual(request: HttpRequest, uid: UUID) -> HttpResponse:
    part, form = part_of(uid), UsualForm(request.POST)
    if form.is_valid():
        try:
            treatment = PartDamage.Treatment(form.cleaned_data["treatment"])
            added = services.add_usual(part=part, treatment=treatment, who=who(request), now=timezone.now())
            messages.success(request, _added(len(added)))
            return redirect("desk:damages", uid=uid)
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
    return _listing(request, part, status=422, usual_form=form)


def _added(count: int) -> str:
    if not count:
        return _("All its usual damages are on the list already.")
    return ngettext("%(count)s usual damage is added.", "%(count)s usual damages are added.", count) % {"count": count}


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def damage(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One possible damage: changed box by box, and settled once."""
    row = damage_of(uid)
    if request.method == "POST":
        return _change(request, row)
    return _show(request, row, DamageForm(instance=row))


def _show(
    request: HttpRequest, row: PartDamage, form: BaseForm, *, settling: SettleForm | None = None, status: int = 200
) -> HttpResponse:
    found = priced(draft_for(request, row.part.restoration))
    methods = list(row.damage.steps.select_related("operation", "service__vendor")) if row.damage else []
    there = {} if row.settled else on_route(row.part, methods)
    context = {
        "damage": row,
        "owner": row.uid,
        "part": row.part,
        "restoration": row.part.restoration,
        "form": form,
        "boxes": boxed(form),
        "settle_form": settling or SettleForm(),
        "methods": [(method, there.get(method.pk)) for method in methods],
        "on_route": there,
        "library_cost": damages.library_cost(found, row.part, methods),
        "carried_in": carried_in(row),
        "photographs": row.photographs.all(),
    }
    return render(request, "desk/damage.html", context, status=status)


def _change(request: HttpRequest, row: PartDamage) -> HttpResponse:
    def write(changes: dict[str, Any], seen: dict[str, Any]) -> None:
        services.change_damage(
            damage=damage_of(row.uid), who=who(request), now=timezone.now(), changes=changes, seen=seen
        )

    form, names, wrong = saving.keep(request.POST, partial(DamageForm, instance=row), write)
    return _answer(request, row, form, names, wrong=wrong)


def _answer(request: HttpRequest, row: PartDamage, form: BaseForm, names: list[str], *, wrong: bool) -> HttpResponse:
    """The changed boxes; or the whole page without scripting."""
    if not request.htmx:  # type: ignore[attr-defined]
        if wrong:
            return _show(request, damage_of(row.uid), form, status=422)
        messages.success(request, _("Saved."))
        return redirect("desk:damage", uid=row.uid)
    if not wrong:
        form = DamageForm(instance=damage_of(row.uid))
    found = priced(draft_for(request, restoration_of(row.part.restoration.uid)))
    changed = saving.answered(boxed(form), names, request.POST)
    return render(request, "desk/_answer.html", page(found) | {"boxes": changed, "owner": row.uid})


@role_required(*DESK)
@posted_from("desk:damage")
def say(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Found or not found, once."""
    row, form = damage_of(uid), SettleForm(request.POST)
    if form.is_valid():
        settled = PartDamage.Settled(form.cleaned_data["settled"])
        try:
            steps = settle(
                damage=row,
                settled=settled,
                note=form.cleaned_data["note"],
                again=form.cleaned_data["again"],
                who=who(request),
                now=timezone.now(),
            )
            messages.success(request, said_of(damage_of(uid), steps))
            return redirect("desk:damages", uid=row.part.uid)
        except ValidationError as error:
            if damage_of(uid).settled:  # its page has no form any more to say it at
                messages.error(request, error.messages[0])
                return redirect("desk:damage", uid=uid)
            saving.place(form, error, "note")
    row = damage_of(uid)
    return _show(request, row, DamageForm(instance=row), settling=form, status=422)


def said_of(row: PartDamage, steps: list[Step]) -> str:
    """What became of a damage, and what is to be done next."""
    name = {"damage": row.name}
    if row.settled == PartDamage.Settled.NOT_FOUND:
        return _("“%(damage)s” was not found. It is no longer counted with.") % name
    if not steps and row.damage and row.damage.steps.exists():
        return _("“%(damage)s” was found. Its steps were on the route already; nothing is laid twice.") % name
    if not steps:
        return _("“%(damage)s” was found. Add the steps it needs to the route.") % name
    if carried_in(row):
        return _("“%(damage)s” was found. Its steps are on the route and authorised: its price was agreed.") % name
    return _("“%(damage)s” was found. Its steps are on the route; the customer has not agreed to them yet.") % name


@role_required(*DESK)
@posted_from("desk:damages", row=(PartDamage, "part__uid"))
def take_away(request: HttpRequest, uid: UUID) -> HttpResponseRedirect:
    row = damage_of(uid)
    try:
        services.remove_damage(damage=row, who=who(request), now=timezone.now())
        messages.success(request, _("“%(damage)s” is taken away. You can bring it back below.") % {"damage": row.name})
    except ValidationError as error:
        messages.error(request, error.messages[0])
    return redirect("desk:damages", uid=row.part.uid)


@role_required(*DESK)
@posted_from("desk:damages", row=(PartDamage, "part__uid"))
def bring_back(request: HttpRequest, uid: UUID) -> HttpResponseRedirect:
    row = damage_of(uid)
    try:
        services.bring_back_damage(damage=row, who=who(request), now=timezone.now())
        messages.success(request, _("“%(damage)s” is back.") % {"damage": row.name})
    except ValidationError as error:
        messages.error(request, error.messages[0])
    return redirect("desk:damages", uid=row.part.uid)


urlpatterns = [
    path("parts/<uuid:uid>/damages/", listing, name="damages"),
    path("parts/<uuid:uid>/damages/usual/", add_usual, name="add_usual_damages"),
    path("damages/<uuid:uid>/", damage, name="damage"),
    path("damages/<uuid:uid>/settle/", say, name="settle_damage"),
    path("damages/<uuid:uid>/take-away/", take_away, name="take_away_damage"),
    path("damages/<uuid:uid>/bring-back/", bring_back, name="bring_back_damage"),
]

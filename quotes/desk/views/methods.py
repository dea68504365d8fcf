"""How things are done: operations, consumables, vendors, finishes with their routes. The manager changes them; the desk reads."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk.context import DESK
from quotes.desk.methods import showing
from quotes.desk.methods.definitions import DEFINITIONS, Definition, DefinitionForm, definition_of, said
from quotes.desk.methods.tables import CautionGoes, DamageStepsForm, FirstTimeForm, RouteForm, UsesForm
from quotes.desk.views.editor import who
from shop.methods import defining
from shop.methods.models import Finish, FinishRoute, Material, Operation, PossibleDamage, Template
from shop.people.roles import ROLE_MANAGER, has_role, refusal, role_required


@require_safe
@role_required(*DESK)
def methods(request: HttpRequest) -> HttpResponse:
    context = {
        "definitions": DEFINITIONS,
        "lists": showing.lists(timezone.localdate()),
        "templates": Template.objects.order_by("name"),
        "may_change": has_role(request.user, ROLE_MANAGER),
    }
    return render(request, "desk/methods/list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def new(request: HttpRequest, slug: str) -> HttpResponse:
    definition = definition_of(slug)
    form = definition.form(request.POST or None)
    time = FirstTimeForm(request.POST or None) if definition.model is Operation else None
    if request.method == "POST" and all(checked.is_valid() for checked in (form, time) if checked is not None):
        given, many = form.new()
        thing = definition.model(**given)
        try:
            _add(request, thing, many, time)
            messages.success(request, _("Added."))
            return redirect("desk:method", slug=slug, uid=thing.uid)
        except ValidationError as error:
            _place_new(error, definition, form, time)
    meant = showing.meant(definition, timezone.localdate())
    context = {"definition": definition, "form": form, "time": time, "meant": meant}
    return render(request, "desk/methods/new.html", context, status=422 if request.method == "POST" else 200)


def _add(request: HttpRequest, thing: Any, many: dict[str, Any], time: FirstTimeForm | None) -> None:
    now = timezone.now()
    if time is None:
        defining.add_thing(thing=thing, many=many, who=who(request), now=now)
        return
    minutes = {name: time.cleaned_data[name] for name in ("setup", "run")}
    defining.add_operation(operation=thing, **minutes, today=timezone.localdate(now), who=who(request), now=now)


def _place_new(
    error: ValidationError, definition: Definition, form: DefinitionForm, time: FirstTimeForm | None
) -> None:
    named = error.error_dict if hasattr(error, "error_dict") else {}
    if time is not None and named and named.keys() <= time.fields.keys():
        time.add_error(None, error)
    else:
        form.place(error, definition.model())


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def method(request: HttpRequest, slug: str, uid: UUID) -> HttpResponse:
    definition = definition_of(slug)
    thing = get_object_or_404(definition.rows(), uid=uid)
    if request.method != "POST":
        return _page(request, definition, thing, definition.form(instance=thing), _rows(thing))
    _only_the_manager(request)
    form = definition.form(request.POST, instance=definition.rows().get(pk=thing.pk))
    rows = _rows(thing, request.POST)
    if all(checked.is_valid() for checked in (form, rows) if checked is not None) and _kept(request, thing, form, rows):
        messages.success(request, _("Saved. Quotes already issued keep what they say."))
        return redirect("desk:method", slug=slug, uid=uid)
    return _page(request, definition, thing, form, rows, status=422)


def _only_the_manager(request: HttpRequest) -> None:
    if not has_role(request.user, ROLE_MANAGER):
        raise PermissionDenied(refusal(ROLE_MANAGER))


Rows = UsesForm | DamageStepsForm


def _rows(thing: Any, data: Any = None) -> Rows | None:
    """The form of the rows that belong to a thing, where it has any."""
    if isinstance(thing, PossibleDamage):
        return DamageStepsForm(data, damage=thing)
    return UsesForm(data, operation=thing) if isinstance(thing, Operation) else None


def _kept(request: HttpRequest, thing: Any, form: DefinitionForm, rows: Rows | None) -> bool:
    """All that was changed, or nothing of it and the reason at its box."""
    by: dict[str, Any] = {"who": who(request), "now": timezone.now()}
    with transaction.atomic():
        right = _tried(lambda: _change(request, thing, form, by), lambda error: form.place(error, _stored(thing)))
        if rows is not None:
            right &= _tried(lambda: _set_rows(thing, rows, by), rows.place)
        if not right:
            transaction.set_rollback(True)
    return right


def _stored(thing: Any) -> Any:
    return type(thing)._default_manager.get(pk=thing.pk)


def _tried(write: Callable[[], object], place: Callable[[ValidationError], None]) -> bool:
    try:
        with transaction.atomic():
            write()
    except ValidationError as error:
        place(error)
        return False
    return True


def _change(request: HttpRequest, thing: Any, form: DefinitionForm, by: dict[str, Any]) -> None:
    changes = form.changes()
    if changes:
        may_go = bool(request.POST.get("caution_goes"))
        defining.change_thing(thing=thing, changes=changes, seen=form.seen(), caution_may_go=may_go, **by)


def _set_rows(thing: Any, rows: Rows, by: dict[str, Any]) -> None:
    seen = rows.cleaned_data
    if isinstance(rows, DamageStepsForm):
        defining.set_damage_steps(damage=thing, steps=rows.steps(), seen=seen["seen"], **by)
        return
    defining.set_factors(operation=thing, factors=rows.factors(), seen=seen["seen_factors"], **by)
    defining.set_usages(operation=thing, usages=rows.usages(), seen=seen["seen_usages"], **by)


def _page(
    request: HttpRequest,
    definition: Definition,
    thing: Any,
    form: DefinitionForm,
    rows: Rows | None,
    *,
    status: int = 200,
) -> HttpResponse:
    stored, today = _stored(thing) if status != 200 else thing, timezone.localdate()
    goes = any(error.code == defining.CAUTION_GOES for error in form.errors.as_data().get("caution", []))
    context = {
        "definition": definition,
        "thing": stored,
        "form": form,
        "uses": rows if isinstance(rows, UsesForm) else None,
        "usages": defining.usages_of(stored) if isinstance(rows, UsesForm) else [],
        "steps": rows if isinstance(rows, DamageStepsForm) else None,
        "laid": stored.steps.select_related("operation", "service") if isinstance(rows, DamageStepsForm) else [],
        "goes": CautionGoes(request.POST or None) if goes or request.POST.get("caution_goes") else None,
        "said": said(stored, definition.fields),
        "beside": showing.beside(stored, today),
        "meant": showing.meant(definition, today),
        "past": showing.happened(stored),
        "may_change": has_role(request.user, ROLE_MANAGER),
    }
    return render(request, "desk/methods/method.html", context, status=status)


@require_safe
@role_required(*DESK)
def operation(_request: HttpRequest, uid: UUID) -> HttpResponse:
    """The short way to an operation."""
    return redirect("desk:method", slug="operations", uid=uid)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def route(request: HttpRequest, uid: UUID, material: str, direction: str) -> HttpResponse:
    if material not in Material.values or direction not in FinishRoute.Direction.values:
        raise Http404
    finish = get_object_or_404(Finish, uid=uid)
    held = FinishRoute.objects.filter(finish=finish, material=material, direction=direction).first()
    form = RouteForm(request.POST or None, route=held)
    if request.method == "POST" and form.is_valid():
        try:
            defining.set_route(
                finish=finish,
                material=material,
                direction=direction,
                steps=form.steps(),
                seen=form.cleaned_data["seen"],
                who=who(request),
                now=timezone.now(),
            )
            messages.success(request, _("Saved. Parts that have the finish already keep their steps."))
            return redirect("desk:method", slug="finishes", uid=uid)
        except ValidationError as error:
            form.place(error)
    context = {
        "finish": finish,
        "material": Material(material).label,
        "direction": FinishRoute.Direction(direction).label,
        "form": form,
        "picture": showing.route_picture(held) if held else None,
    }
    return render(request, "desk/methods/route.html", context, status=422 if request.method == "POST" else 200)


@require_safe
@role_required(*DESK)
def template(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(Template, uid=uid)
    parts = row.parts.select_related("finish", "old_finish", "size_class", "kind").prefetch_related(
        "steps__operation", "steps__service"
    )
    return render(request, "desk/methods/template.html", {"template": row, "parts": parts, "zero": Decimal(0)})


urlpatterns = [
    path("methods/", methods, name="methods"),
    path("methods/operations/<uuid:uid>/look/", operation, name="operation"),
    path("methods/templates/<uuid:uid>/", template, name="template"),
    path("methods/<slug:slug>/new/", new, name="method_new"),
    path("methods/<slug:slug>/<uuid:uid>/", method, name="method"),
    path("methods/finishes/<uuid:uid>/<slug:material>/<slug:direction>/", route, name="method_route"),
]

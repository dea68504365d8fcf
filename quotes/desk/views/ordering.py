"""Buying as the desk does it: what is to be ordered, what is on order, what came, old parts that go back, suppliers."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Page, Paginator
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from quotes.desk import saving
from quotes.desk.context import DESK
from quotes.desk.forms_ordering import (
    ArrivalForm,
    CameForm,
    CoreForm,
    CreditForm,
    NewDayForm,
    OrderForm,
    PackForm,
    SupplierForm,
    WantedForm,
    chosen,
)
from quotes.desk.views.editor import who
from shop import currency
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.routes.models import Step
from shop.vendor_jobs import buying
from shop.vendor_jobs.models import CoreReturn, Order, Ordered, Supplier

UNPROCESSABLE = 422
#: Things to order on one page.
SHOWN = 25


@dataclass(frozen=True, slots=True)
class Row:
    """Something to order: by when, and its boxes."""

    wanted: buying.ToOrder
    form: WantedForm


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def orders(request: HttpRequest) -> HttpResponse:
    """What is to be ordered, and an order for what is ticked."""
    if request.method != "POST":
        return _orders_page(request)
    rows, page = _rows(request, request.POST)
    form, pack = OrderForm(request.POST), PackForm(request.POST)
    right = all([form.is_valid(), pack.is_valid(), *(row.form.is_valid() for row in rows)])
    if right and (order := _ordered(request, form, rows, pack)) is not None:
        messages.success(request, _("%(order)s is noted.") % {"order": order})
        return redirect("desk:order", order.uid)
    return _orders_page(request, wrong=True, rows=rows, page=page, form=form, pack=pack)


def _rows(request: HttpRequest, data: QueryDict | None = None) -> tuple[list[Row], Page[buying.ToOrder]]:
    page = Paginator(buying.to_order(), SHOWN).get_page(request.GET.get("page"))
    return [Row(one, WantedForm(data, step=one.step)) for one in page.object_list], page


def _orders_page(
    request: HttpRequest,
    *,
    wrong: bool = False,
    typed: CoreForm | CreditForm | None = None,
    rows: Sequence[Row] | None = None,
    **boxes: object,
) -> HttpResponse:
    """The page, with what was ``typed`` for an old part where that was not right."""
    if rows is None:
        rows, boxes["page"] = _rows(request)
    waiting = Order.objects.filter(closed_on__isnull=True).select_related("supplier")
    cores = [CoreForm(step=step) for step in buying.cores_to_return()]
    given_back = [CreditForm(core=core) for core in _not_credited()]
    context = {
        "rows": rows,
        "form": OrderForm(),
        "pack": PackForm(),
        "open": waiting.annotate(things=Count("lines", filter=Q(lines__outcome=""))).order_by("due_on", "number"),
        "cores": [typed if typed and typed.prefix == form.prefix else form for form in cores],
        "credits": [typed if typed and typed.prefix == form.prefix else form for form in given_back],
        "suppliers": Supplier.objects.exists(),
        "today": timezone.localdate(),
        "wrong": wrong,
        "code": currency.code(),
        **boxes,
    }
    return render(request, "desk/orders.html", context, status=UNPROCESSABLE if wrong or typed else 200)


def _not_credited() -> list[CoreReturn]:
    rows = CoreReturn.objects.filter(credited_minor__isnull=True)
    return list(rows.select_related("step__part__restoration__machine"))


def _ordered(request: HttpRequest, form: OrderForm, rows: Sequence[Row], pack: PackForm) -> Order | None:
    """The order; None where something is not right, which is said at its box."""
    lines = [
        buying.Wanted(one.cleaned_data["price_minor"], step=one.step) for one in chosen([row.form for row in rows])
    ]
    if given := pack.cleaned_data.get("consumable"):
        said = pack.cleaned_data
        lines.append(
            buying.Wanted(said["price_minor"], consumable=given, quantity=said["packs"], pack_size=said["pack_size"])
        )
    try:
        return buying.place_order(lines=lines, who=who(request), now=timezone.now(), **form.cleaned_data)
    except ValidationError as error:
        _at_its_place(form, error)
        return None


def _at_its_place(form: OrderForm, error: ValidationError) -> None:
    """What is wrong with a line is said above all: its own box is a tick."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, errors in error.error_dict.items():
        form.add_error(name if name in form.fields else None, errors)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def order(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One order: what is in it, and what came of it."""
    row = get_object_or_404(Order.objects.select_related("supplier"), uid=uid)
    data = request.POST if request.method == "POST" else None
    lines = list(row.lines.select_related("step__part__restoration__machine", "consumable").order_by("pk"))
    boxes = {line.pk: CameForm(data, line=line) for line in lines if line.outcome == Ordered.Outcome.OPEN}
    form = ArrivalForm(data, looked_by=request.user.get_full_name() or request.user.get_username())  # type: ignore[union-attr]
    right = data is not None and all([form.is_valid(), *(box.is_valid() for box in boxes.values())])
    if right and _came(request, row, form, list(boxes.values())):
        return redirect("desk:order", row.uid)
    return _order_page(request, row, lines, boxes, form, NewDayForm(), wrong=data is not None)


def _order_page(
    request: HttpRequest,
    row: Order,
    lines: Sequence[Ordered],
    boxes: dict[int, CameForm],
    form: ArrivalForm,
    day: NewDayForm,
    *,
    wrong: bool,
) -> HttpResponse:
    context = {
        "order": row,
        "lines": [(line, boxes.get(line.pk)) for line in lines],
        "form": form,
        "day": day,
        "wrong": wrong,
        "today": timezone.localdate(),
    }
    return render(request, "desk/order.html", context, status=UNPROCESSABLE if wrong else 200)


def _came(request: HttpRequest, row: Order, form: ArrivalForm, boxes: Sequence[CameForm]) -> bool:
    came = [
        buying.Came(
            box.line,
            box.cleaned_data["outcome"],
            box.cleaned_data["quantity"],
            box.cleaned_data["charged_minor"],
            box.cleaned_data["note"],
        )
        for box in boxes
        if box.cleaned_data["outcome"]
    ]
    try:
        ready = buying.receive_order(order=row, came=came, who=who(request), now=timezone.now(), **form.cleaned_data)
    except ValidationError as error:
        saving.place(form, error, "on") if hasattr(error, "error_dict") else form.add_error(None, error)
        return False
    said = ngettext("%(count)s step is ready now.", "%(count)s steps are ready now.", len(ready))
    messages.success(request, _("Noted.") + (" " + said % {"count": len(ready)} if ready else ""))
    return True


@role_required(*DESK)
@posted_from("desk:order")
def order_day(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The supplier told us another day."""
    row, day = get_object_or_404(Order.objects.select_related("supplier"), uid=uid), NewDayForm(request.POST)
    if day.is_valid():
        try:
            buying.told_it_comes(order=row, who=who(request), now=timezone.now(), **day.cleaned_data)
            messages.success(request, _("Noted. What waits for it is planned anew."))
            return redirect("desk:order", row.uid)
        except ValidationError as error:
            saving.place(day, error, "due_on")
    lines = list(row.lines.select_related("step__part__restoration__machine", "consumable").order_by("pk"))
    boxes = {line.pk: CameForm(line=line) for line in lines if line.outcome == Ordered.Outcome.OPEN}
    return _order_page(request, row, lines, boxes, ArrivalForm(), day, wrong=True)


@role_required(*DESK)
@posted_from("desk:orders", takes=())
def core_back(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The old part for an exchange one went back."""
    step = get_object_or_404(Step.objects.select_related("part__restoration"), uid=uid)
    form = CoreForm(request.POST, step=step)
    if form.is_valid():
        try:
            buying.send_core_back(step=step, who=who(request), now=timezone.now(), **form.cleaned_data)
            messages.success(request, _("Noted. What is given for it is entered when it is known."))
            return redirect("desk:orders")
        except ValidationError as error:
            saving.place(form, error, "sent_on")
    return _orders_page(request, typed=form)


@role_required(*DESK)
@posted_from("desk:orders", takes=())
def core_credit(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What was given for an old part."""
    core = get_object_or_404(CoreReturn.objects.select_related("step__part"), uid=uid)
    form = CreditForm(request.POST, core=core)
    if form.is_valid():
        try:
            buying.credit_core(core=core, who=who(request), now=timezone.now(), **form.cleaned_data)
            messages.success(request, _("Noted."))
            return redirect("desk:orders")
        except ValidationError as error:
            saving.place(form, error, "on")
    return _orders_page(request, typed=form)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def suppliers(request: HttpRequest) -> HttpResponse:
    """Whoever sells to us."""
    form = SupplierForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            buying.add_supplier(who=who(request), now=timezone.now(), **form.cleaned_data)
            messages.success(request, _("Added. Orders can go there from now on."))
            return redirect("desk:suppliers")
        except ValidationError as error:
            saving.place(form, error, "name")
    context = {"form": form, "rows": Supplier.objects.annotate(count=Count("orders")).order_by("name")}
    return render(request, "desk/suppliers.html", context, status=UNPROCESSABLE if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def supplier(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One of them: address, and what was ordered there."""
    row = get_object_or_404(Supplier, uid=uid)
    form = SupplierForm(request.POST or None, initial={name: getattr(row, name) for name in buying.SUPPLIER})
    if request.method == "POST" and form.is_valid():
        try:
            buying.change_supplier(supplier=row, who=who(request), now=timezone.now(), **form.cleaned_data)
            messages.success(request, _("Saved."))
            return redirect("desk:supplier", row.uid)
        except ValidationError as error:
            saving.place(form, error, "name")
    page = Paginator(row.orders.order_by("-number"), SHOWN).get_page(request.GET.get("page"))
    context = {"form": form, "supplier": row, "page": page}
    return render(request, "desk/supplier.html", context, status=UNPROCESSABLE if form.errors else 200)


urlpatterns = [
    path("orders/", orders, name="orders"),
    path("orders/<uuid:uid>/", order, name="order"),
    path("orders/<uuid:uid>/day/", order_day, name="order_day"),
    path("orders/core/<uuid:uid>/", core_back, name="core_back"),
    path("orders/core/<uuid:uid>/credit/", core_credit, name="core_credit"),
    path("suppliers/", suppliers, name="suppliers"),
    path("suppliers/<uuid:uid>/", supplier, name="supplier"),
]

"""The prices a draft rests on that are still to confirm, and a better one noted right there."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import prices as shown
from quotes.desk import saving
from quotes.desk.context import DESK
from quotes.desk.forms import in_minor
from quotes.desk.forms_buying import PurchasePriceForm, dated
from quotes.desk.forms_prices import AsTheyAreForm, ConsumablePriceForm, ServicePriceForm, brought_to
from quotes.desk.templatetags.desk_prices import few
from quotes.desk.views.editor import draft_for, restoration_of, who
from quotes.pricing import confirming
from quotes.pricing.confirming import Unsure
from quotes.pricing.selectors import Priced, priced
from shop.people.roles import ROLE_MANAGER, has_role, role_required
from shop.rates.anew import Said, note_consumable_anew, note_service_anew
from shop.rates.models import Status
from shop.restorations.services import ChangedMeanwhileError
from shop.routes.models import Step
from shop.routes.services import change_step

#: Where the session keeps the keys of the prices confirmed a moment ago, until the next look at the list.
JUST = "confirmed_prices"
#: A day is given with what is said: a price, how sure it is, or who said so.
SAID = ("buy_price_minor", "buy_status", "buy_said_by")


@require_safe
@role_required(*DESK)
def prices(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _page(request, priced(draft_for(request, restoration_of(uid))))


def _page(
    request: HttpRequest,
    found: Priced,
    *,
    wrong: dict[str, BaseForm] | None = None,
    status: int = 200,
    **forms: BaseForm,
) -> HttpResponse:
    """The whole page; ``wrong`` are row forms filled in wrongly, by the key of their price. Their page is shown."""
    today, manager = timezone.localdate(), has_role(request.user, ROLE_MANAGER)
    listed = confirming.unsure(found, today=today)
    page = Paginator(listed, shown.ON_A_PAGE).get_page(_number(request, listed, wrong))
    just = request.session.pop(JUST, []) if request.method == "GET" and JUST in request.session else []
    rows = shown.rows(page.object_list, manager=manager, today=today, wrong=wrong, just=just)
    for form in (wrong or {}).values():
        brought_to(form, next(iter(form.fields)))
    if "stand_form" in forms:
        brought_to(forms["stand_form"], "all")
    context: dict[str, Any] = {
        "restoration": found.scope.restoration,
        "draft": found.draft,
        "page": page,
        "rows": rows,
        "form_rows": any(row.form for row in rows),
        "wrong": set(wrong or {}),
        "count": len(listed),
        "counts": confirming.counts(listed),
        "guessed": confirming.rests_on_guesses(listed),
        "manager": manager,
        "overtaken": any(item.overtaken for item in listed),
        "old_day": found.draft.priced_on < today,
        "error": found.error.sentence(_(found.error.template)) if found.error else "",
        "stand_form": AsTheyAreForm(initial={"status": Status.PHONED, "said_on": today}),
    }
    return render(request, "desk/prices.html", context | forms, status=status)


def _number(request: HttpRequest, listed: tuple[Unsure, ...], wrong: dict[str, BaseForm] | None) -> int | str | None:
    place = next((n for n, item in enumerate(listed) if item.key in (wrong or {})), None)
    return request.GET.get("page") if place is None else place // shown.ON_A_PAGE + 1


def _found(request: HttpRequest, uid: UUID, key: UUID) -> tuple[Priced, Unsure | None]:
    """The draft, and the price ``key`` of it; none where it is confirmed by now."""
    found = priced(draft_for(request, restoration_of(uid)))
    listed = confirming.unsure(found, today=timezone.localdate())
    return found, next((item for item in listed if item.key == str(key)), None)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def note_purchase(request: HttpRequest, uid: UUID, key: UUID) -> HttpResponse:
    """A better price of a bought-in part. What somebody else changed meanwhile is asked about at its box."""
    if request.method != "POST":
        return _list(request, uid)
    steps = Step.objects.filter(part__restoration__uid=uid, uid=key).exclude(buy="").select_related("part__restoration")
    row = steps.first()
    if row is None:
        raise Http404
    form, names, wrong = saving.keep(
        request.POST, lambda data=None: PurchasePriceForm(data, step=row), lambda *said: _write(request, row, *said)
    )
    if wrong:
        return _page(request, priced(draft_for(request, restoration_of(uid))), wrong={str(key): form}, status=422)
    if names:
        request.session[JUST] = [str(key)]
    return _back(request, uid, _("“%(thing)s” is noted.") % {"thing": row} if names else _("Nothing was changed."))


def _write(request: HttpRequest, row: Step, changes: dict[str, Any], seen: dict[str, Any]) -> None:
    now = timezone.now()
    change_step(
        step=row,
        who=who(request),
        now=now,
        changes=dated(in_minor(changes), timezone.localdate(now), by=SAID),
        seen=saving.seen_in_columns(seen),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def note_service(request: HttpRequest, uid: UUID, key: UUID) -> HttpResponse:
    if request.method != "POST":
        return _list(request, uid)
    return _note_rate(request, uid, key, note_service_anew)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def note_consumable(request: HttpRequest, uid: UUID, key: UUID) -> HttpResponse:
    if request.method != "POST":
        return _list(request, uid)
    return _note_rate(request, uid, key, note_consumable_anew)


def _note_rate(request: HttpRequest, uid: UUID, key: UUID, note: Any) -> HttpResponse:
    """A new revision in the rate book, from today on."""
    found, item = _found(request, uid, key)
    if item is None or isinstance(item.row, Step):
        return _back(request, uid, _("This price is confirmed already."))
    form = shown.form_of(item, request.POST)
    assert isinstance(form, ConsumablePriceForm | ServicePriceForm)
    if form.is_valid() and _noted(request, form, item, note):
        request.session[JUST] = [item.key]
        return _back(request, uid, _("“%(thing)s” is noted, from today on.") % {"thing": item.name})
    return _page(request, found, wrong={item.key: form}, status=422)


def _noted(request: HttpRequest, form: ConsumablePriceForm | ServicePriceForm, item: Unsure, note: Any) -> bool:
    if form.cleaned_data["seen"] != item.row.pk:
        form.add_error(None, _("Another price was noted meanwhile. Look again, then note yours."))
        return False
    now = timezone.now()
    given = form.amounts() | {"said": form.said(), "today": timezone.localdate(now), "now": now}
    try:
        note(price=item.row, who=who(request), **given)
    except ValidationError as error:
        boxes = form.fields.keys()
        if hasattr(error, "error_dict"):
            for name, said in error.error_dict.items():
                form.add_error({"breaks": "rate_0"}.get(name, name if name in boxes else None), ValidationError(said))
        else:
            form.add_error(None, error)
        return False
    return True


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def as_they_are(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Several prices that somebody confirmed as they stand: all of them or none."""
    if request.method != "POST":
        return _list(request, uid)
    found = priced(draft_for(request, restoration_of(uid)))
    manager = has_role(request.user, ROLE_MANAGER)
    listed = confirming.unsure(found, today=timezone.localdate())
    mine = {shown.value_of(item): item for item in listed if shown.may_note(item, manager=manager)}
    told = [value for value, item in mine.items() if item.told]
    form = AsTheyAreForm(request.POST, known=list(mine), told=told)
    if form.is_valid():
        chosen = [mine[value] for value in form.cleaned_data["chosen"]]
        if _confirmed(request, form, chosen):
            request.session[JUST] = [item.key for item in chosen]
            return _back(request, uid, _told(form, chosen))
    return _page(request, found, status=422, stand_form=form)


def _told(form: AsTheyAreForm, chosen: list[Unsure]) -> str:
    names = few([item.name for item in chosen])
    if form.cleaned_data["status"] == Status.PHONED:
        said = ngettext(
            "%(count)s price is confirmed, told by phone: %(names)s.",
            "%(count)s prices are confirmed, told by phone: %(names)s.",
            len(chosen),
        )
    else:
        said = ngettext(
            "%(count)s price is confirmed, seen in writing: %(names)s.",
            "%(count)s prices are confirmed, seen in writing: %(names)s.",
            len(chosen),
        )
    return said % {"count": len(chosen), "names": names}


def _confirmed(request: HttpRequest, form: AsTheyAreForm, chosen: list[Unsure]) -> bool:
    given, now = form.cleaned_data, timezone.now()
    said = Said(given["status"], given["said_by"], given["valid_until"])
    words = {"said": said, "said_on": given["said_on"], "today": timezone.localdate(now)}
    try:
        shown.confirm(chosen, who=who(request), now=now, **words)
    except ChangedMeanwhileError:
        form.add_error(None, _("One of them was changed meanwhile. Look again, then confirm it."))
        return False
    except ValidationError as error:
        form.add_error(None, ValidationError(error.messages))
        return False
    return True


def _back(request: HttpRequest, uid: UUID, said: str) -> HttpResponse:
    messages.success(request, said)
    return _list(request, uid)


def _list(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Back to the page of the list; also for whoever follows a link on a page that answered a form."""
    number = request.GET.get("page", "")
    address = reverse("desk:prices", args=[uid])
    return redirect(f"{address}?page={number}" if number.isdecimal() else address)


urlpatterns = [
    path("restorations/<uuid:uid>/prices/", prices, name="prices"),
    path("restorations/<uuid:uid>/prices/as-they-are/", as_they_are, name="prices_as_they_are"),
    path("restorations/<uuid:uid>/prices/purchase/<uuid:key>/", note_purchase, name="note_purchase"),
    path("restorations/<uuid:uid>/prices/service/<uuid:key>/", note_service, name="note_service"),
    path("restorations/<uuid:uid>/prices/consumable/<uuid:key>/", note_consumable, name="note_consumable"),
]

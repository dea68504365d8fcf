"""Hand-over as the desk sees it: what is missing, the sheet the owner signs, and what it says once it is signed."""

import json
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from quotes.desk.context import DESK
from quotes.desk.forms_leaving import HandOverForm
from quotes.desk.intakes import MARK
from quotes.desk.views.editor import restoration_of, who
from quotes.desk.views.intake import _at_its_box
from quotes.pricing.money import funded, instalments
from quotes.pricing.money.money_in import in_force
from shop.floor import handing_over
from shop.floor.comebacks import comebacks
from shop.floor.leaving import not_ready, open_snags, stages
from shop.floor.models import HandedOver
from shop.people.models import Shop
from shop.people.roles import role_required
from shop.rates.models import PaymentStage
from shop.restorations.intake import mark
from shop.restorations.models import Restoration

UNPROCESSABLE = 422


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def hand_over(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The form; ``show`` puts what was typed on the sheet, ``signed`` keeps that it was signed as it was shown."""
    row = restoration_of(uid)
    gone = HandedOver.objects.filter(restoration=row).first()
    if gone is not None:
        return render(request, "desk/handed_over.html", _gone(row, gone))
    if request.method != "POST":
        return _page(request, row, HandOverForm(initial=_begins_with(row)))
    form = HandOverForm(request.POST)
    if not form.is_valid():
        return _page(request, row, form, status=UNPROCESSABLE)
    if request.POST.get("then") != "signed":
        return _page(request, row, form, said=form.said())
    said = form.said()
    if _handed(request, row, form, said):
        messages.success(request, _("Handed over. What was signed is on record."))
        return redirect("desk:hand_over", uid=uid)
    return _page(request, row, form, status=UNPROCESSABLE, said=said)


def _begins_with(row: Restoration) -> dict[str, Any]:
    keys, papers = handing_over.came_with(row)
    return {
        "received_by": row.customer.name,
        "on": timezone.localdate(),
        "keys": keys,
        "papers": papers,
        "replaced": handing_over.replaced_of(row),
        "after_care": handing_over.last_after_care(),
    }


def _handed(request: HttpRequest, row: Restoration, form: HandOverForm, said: handing_over.Said) -> bool:
    given, now = form.cleaned_data, timezone.now()
    try:
        with transaction.atomic():
            handing_over.hand_over(
                restoration=row,
                said=said,
                seen=given["seen"],
                let_go_by=given["let_go_by"],
                let_go_why=given["let_go_why"],
                who=who(request),
                now=now,
            )
            _due(row, said, who(request), now)
    except ValidationError as error:
        _at_its_box(form, error, {})
        return False
    return True


def _due(row: Restoration, said: handing_over.Said, by: str, now: Any) -> None:
    """What is to be paid at hand-over is due with it; often nothing waits for that any more."""
    event = PaymentStage.Event.HANDED_OVER
    if in_force([row]).filter(event=event, reached_on__isnull=True).exists():
        instalments.reach(event=event, restoration=row, day=said.on, who=by, now=now)


def _page(
    request: HttpRequest,
    row: Restoration,
    form: HandOverForm,
    *,
    said: handing_over.Said | None = None,
    status: int = 200,
) -> HttpResponse:
    """With the sheet of what was ``said``."""
    context: dict[str, Any] = {
        "restoration": row,
        "form": form,
        "held": handing_over.Held(not_ready(row), funded.funds(row, timezone.localdate()).late),
        "stages": stages(row),
        "snags": open_snags(row),
        "deviations": handing_over.deviations(row),
    }
    if said is not None:
        words = handing_over.words(row, said)
        form.data = form.data.copy()  # type: ignore[attr-defined]  # what a page sends can be copied
        form.data["seen"] = mark(words)  # type: ignore[index]
        context |= {"sheet": _sheet(words), "shop": Shop.objects.first()}
    return render(request, "desk/hand_over.html", context, status=status)


def _sheet(words: str) -> dict[str, Any]:
    """What is signed, for the template: the very words that are kept."""
    told: dict[str, Any] = json.loads(words)
    day = parse_date(told["on"])
    return told | {"day": day, "care": told["after_care"].splitlines(), "mark": mark(words)[:MARK]}


def _gone(row: Restoration, gone: HandedOver) -> dict[str, Any]:
    return {
        "restoration": row,
        "gone": gone,
        "intact": mark(gone.words) == gone.words_sha256,
        "sheet": _sheet(gone.words),
        "shop": Shop.objects.first(),
        "comebacks": comebacks().filter(restoration=row),
    }


urlpatterns = [path("restorations/<uuid:uid>/hand-over/", hand_over, name="hand_over")]

"""One change for many parts: chosen in the list, set on a page of their own or in the bar below the list."""

from collections.abc import Callable, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from quotes.desk.context import DESK
from quotes.desk.earlier_bikes import uid_of
from quotes.desk.forms import NewStepForm
from quotes.desk.forms_many import ManyForm
from quotes.desk.views.editor import restoration_of, who
from quotes.pricing.selectors import draft_of, priced
from shop.journal.selectors import latest
from shop.journal.services import subject_of
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.restorations.models import Part, Restoration
from shop.routes import many
from shop.text import money

SET, STEP, OUT = "set", "step", "out"
NAMED = 5


@role_required(*DESK)
@posted_from("desk:restoration")
def change(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Without a ``do``, what can be done with the parts chosen; with one, it is done to all of them or to none."""
    row = restoration_of(uid)
    asked = request.POST.get("do", "")
    fields = ManyForm(request.POST if asked == SET else None, initial=request.POST.dict())
    step = NewStepForm(request.POST if asked == STEP else None, prefix="step", auto_id="many-%s")
    forms = {SET: fields, STEP: step}
    chosen = _chosen(request, row)
    if asked not in {SET, STEP, OUT}:
        return _page(request, row, chosen, fields, step)
    form = forms.get(asked)
    if form is not None and not form.is_valid():
        return _page(request, row, chosen, fields, step, status=422)
    return _done(request, row, chosen, asked, fields, step)


def _done(
    request: HttpRequest, row: Restoration, chosen: list[Part], asked: str, fields: ManyForm, step: NewStepForm
) -> HttpResponse:
    now = timezone.now()
    given: dict[str, Any] = {
        "restoration": row,
        "parts": [part.uid for part in chosen],
        "seen": _number(request.POST.get("seen")),
        "who": who(request),
        "now": now,
    }
    ways: dict[str, Callable[[], list[Part]]] = {
        SET: lambda: many.edit_parts(changes=fields.changes(), **given),
        STEP: lambda: many.add_step_to_parts(step=step.cleaned_data, **given),
        OUT: lambda: many.remove_parts(**given),
    }
    bare = _bare(chosen, fields.changes()) if asked == SET and "sure" not in request.POST else []
    before = _price(row)
    try:
        with transaction.atomic():
            parts = ways[asked]()
            transaction.set_rollback(bool(bare))
    except many.ScopeMovedError:
        return _page(request, restoration_of(row.uid), chosen, fields, step, moved=True, status=409)
    except many.NotForAllError as error:
        return _page(request, row, chosen, fields, step, wrong=error.wrong, status=422)
    except ValidationError as error:
        return _page(request, row, chosen, fields, step, said=error.messages, status=422)
    if bare:
        return _page(request, restoration_of(row.uid), chosen, fields, step, bare=_names(bare))
    return _told(request, row, parts, asked, before=before, now=now)


def _bare(chosen: list[Part], changes: dict[str, Any]) -> list[Part]:
    """Parts that get a finish for the first time: maybe they were to stay as they are, so that it is asked."""
    return [part for part in chosen if part.agreed_finish_id is None] if changes.get("agreed_finish") else []


def _names(parts: Sequence[Part]) -> str:
    first, more = ", ".join(str(part) for part in parts[:NAMED]), len(parts) - NAMED
    if more <= 0:
        return first
    return ngettext("%(parts)s and %(more)s more", "%(parts)s and %(more)s more", more) % {"parts": first, "more": more}


def _price(row: Restoration) -> tuple[Decimal, str] | None:
    """What the customer would pay for the draft as it is now, and in which currency; None without draft or price."""
    draft = draft_of(restoration_of(row.uid))
    found = priced(draft) if draft else None
    if found is None or found.explained is None or found.given is None:
        return None
    return found.explained.result.total, found.given.policy.currency


def _change_of_price(row: Restoration, before: tuple[Decimal, str] | None) -> str:
    after = _price(row)
    if before is None or after is None:
        return ""
    if before == after:
        return _("The price stays as it was.")
    said = {"before": money(*before), "after": money(*after)}
    return _("The price goes from %(before)s to %(after)s.") % said


def _told(
    request: HttpRequest,
    row: Restoration,
    parts: list[Part],
    asked: str,
    *,
    before: tuple[Decimal, str] | None,
    now: datetime,
) -> HttpResponse:
    count = len(parts)
    words = {
        SET: ngettext("%(count)s part is set: %(parts)s.", "%(count)s parts are set: %(parts)s.", count),
        STEP: ngettext(
            "%(count)s part has the step now: %(parts)s.", "%(count)s parts have the step now: %(parts)s.", count
        ),
        OUT: ngettext(
            "%(count)s part is out of scope: %(parts)s.", "%(count)s parts are out of scope: %(parts)s.", count
        ),
    }
    way = _way_to_undo(request, row, parts, asked, now=now)
    if not way:
        messages.info(request, _("Nothing changed: all of them were like that already."))
    else:
        said = words[asked] % {"count": count, "parts": _names(parts)}
        messages.success(request, f"{said} {_change_of_price(row, before)}".rstrip(), extra_tags=way)
    return redirect(f"{reverse('desk:restoration', args=(row.uid,))}#{_place(row, parts, asked)}")


def _place(row: Restoration, parts: list[Part], asked: str) -> str:
    """Where in the list somebody was: at the first of the parts, or at what stands above it now."""
    if asked != OUT:
        return f"row-{parts[0].uid}"
    left = row.parts.filter(removed_at__isnull=True, position__lt=parts[0].position).order_by("-position").first()
    return f"row-{left.uid}" if left else "parts"


def _way_to_undo(request: HttpRequest, row: Restoration, parts: list[Part], asked: str, *, now: datetime) -> str:
    """The first entry of the batch belongs to the first part that changed, or to its new step."""
    for part in parts:
        things = part.steps.order_by("-pk")[:1] if asked == STEP else [part]
        for thing in things:
            entry = latest(subject_of(thing), who=who(request), at=now)
            if entry is not None and many.many_of(entry):
                return reverse("desk:undo", args=(row.uid, entry.uid))
    return ""


def _number(said: str | None) -> int:
    return int(said) if said and said.isdecimal() and len(said) < 10 else 0


def _chosen(request: HttpRequest, row: Restoration) -> list[Part]:
    """The parts ticked, and without scripting those of the areas ticked, in order of the outline."""
    uids = {uid for said in request.POST.getlist("part") if (uid := uid_of(said))}
    areas = set(request.POST.getlist("area"))
    live = row.parts.filter(removed_at__isnull=True).order_by("position")
    return [part for part in live if part.uid in uids or part.area_name in areas]


def _page(
    request: HttpRequest, row: Restoration, chosen: list[Part], fields: ManyForm, step: NewStepForm, **more: Any
) -> HttpResponse:
    status = more.pop("status", 200)
    seen = row.scope_version if "moved" in more else _number(request.POST.get("seen")) or row.scope_version
    fields.is_valid()  # before `show` asks for everything
    fields.show()
    context = {"restoration": row, "chosen": chosen, "fields": fields, "step": step, "seen": seen} | more
    if not chosen and status == 200:
        context["said"] = [_("Choose the parts first: tick them in the list.")]
    inside = bool(request.htmx)  # type: ignore[attr-defined]
    return render(request, "desk/_many.html" if inside else "desk/many.html", context, status=status)


urlpatterns = [path("restorations/<uuid:uid>/many/", change, name="many")]

"""For the manager: taps that wait, who is on what, the week, and what was corrected."""

from datetime import datetime, timedelta
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop.floor import selectors, settling
from shop.floor.forgotten import hangs
from shop.floor.models import Clocking, Correction, Tap
from shop.people.roles import ROLE_MANAGER, role_required
from shop.posting import posted_from
from shop.routes.my_tasks import task_card

DAYS = 7
CORRECTIONS = 20


@require_safe
@role_required(ROLE_MANAGER)
def times(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    today = timezone.localdate(now)
    week = selectors.week(today, DAYS, now=now)
    shown = {
        "waiting": settling.waiting(),
        "open": [(row, hangs(row, now=now), _waits(row, now)) for row in selectors.open_clockings()],
        "days": [today - timedelta(days=back) for back in range(DAYS - 1, -1, -1)],
        "week": [(person, list(minutes.items())) for person, minutes in week],
        "corrections": Correction.objects.select_related("person")
        .prefetch_related("superseded__task", "made__task")
        .order_by("-at", "-pk")[:CORRECTIONS],
    }
    return render(request, "floor/times.html", shown)


def _waits(row: Clocking, now: datetime) -> tuple[str, ...]:
    """What a task that somebody is on waits for. The time counts all the same."""
    return task_card(row.task, now=now).waits_for if row.task.restoration_id else ()


@role_required(ROLE_MANAGER)
@posted_from("floor:times", takes=())
def settle(request: HttpRequest, uid: UUID) -> HttpResponse:
    tap = get_object_or_404(Tap.objects.select_related("person", "task"), uid=uid)
    who, now = request.user.get_username(), timezone.now()
    try:
        if request.POST.get("how") == "apply":
            messages.success(request, settling.apply_again(tap=tap, who=who, now=now).words)
        else:
            settling.leave(tap=tap, who=who, now=now)
            messages.success(request, _("Let be. The tap itself is kept."))
    except ValidationError as error:
        for sentence in error.messages:
            messages.error(request, sentence)
    return redirect("floor:times")


urlpatterns = [
    path("times/", times, name="times"),
    path("taps/<uuid:uid>/settle/", settle, name="settle"),
]

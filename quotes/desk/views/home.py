"""The first page: for each role, what to do next."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from quotes.desk import first_page, money_jobs, today
from quotes.desk.context import DESK
from shop.outbox import selectors as outbox
from shop.people.roles import ROLE_MANAGER, ROLE_MECHANIC, has_role, roles_of
from shop.rates.set_up import is_set_up
from shop.restorations.models import Restoration


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    if roles_of(request.user) == {ROLE_MECHANIC}:
        return redirect("floor:home")
    now = timezone.now()
    day = timezone.localdate(now)
    context: dict[str, Any] = {"day": day, "no_role": not roles_of(request.user)}
    if has_role(request.user, *DESK):
        begun = Restoration.objects.exists()
        context |= {
            "desk": True,
            "blocks": (
                blocks := first_page.blocks(
                    day, fold=len(roles_of(request.user)) > 1, manager=has_role(request.user, ROLE_MANAGER)
                )
            ),
            "waits": any(block.bikes is None for block in blocks),
            "begun": begun,
            "set_up": begun or is_set_up(),
        }
    if has_role(request.user, ROLE_MANAGER):
        asleep = not outbox.awake(outbox.last_sweep(), now=now) and outbox.waiting().exists()
        context |= {
            "totals": today.for_manager(day),
            "money": money_jobs.jobs(day),
            "stuck": sum(outbox.stuck()),
            "asleep": asleep,
        }
    return render(request, "desk/home.html", context)


urlpatterns = [path("", home, name="home")]

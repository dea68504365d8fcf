import uuid
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop.outbox import handlers, selectors, services
from shop.outbox.models import Row
from shop.posting import posted_from

SHOWN = 50

may_see = permission_required("outbox.view_row", raise_exception=True)
may_retry = permission_required("outbox.retry_row", raise_exception=True)


@require_safe
@may_see
def background_jobs(request: HttpRequest) -> HttpResponse:
    beat = selectors.last_sweep()
    context = {
        "dead": _shown(selectors.dead()),
        "unknown": _shown(selectors.unknown()),
        "waiting": _shown(selectors.waiting()),
        "beat": beat,
        "asleep": not selectors.awake(beat, now=timezone.now()),
    }
    return render(request, "outbox/background_jobs.html", context)


def _shown(rows: QuerySet[Row]) -> dict[str, Any]:
    found = [{"row": row, "label": handlers.label_of(row.handler)} for row in rows[: SHOWN + 1]]
    return {"lines": found[:SHOWN], "more": len(found) > SHOWN}


@may_retry
@posted_from("outbox:background_jobs", takes=())
def try_again(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    return _by_hand(request, uid, services.retry, _("It is tried again now."))


@may_retry
@posted_from("outbox:background_jobs", takes=())
def call_done(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    return _by_hand(request, uid, services.settle, _("It is called done and will not be tried again."))


def _by_hand(request: HttpRequest, uid: uuid.UUID, act: services.ByHand, said: str) -> HttpResponse:
    row = get_object_or_404(Row, uid=uid)
    try:
        act(row_id=row.pk, who=request.user.get_username(), now=timezone.now())
    except services.NotStuckError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, said)
    return redirect("outbox:background_jobs")

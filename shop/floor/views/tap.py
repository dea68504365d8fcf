"""Where a tap comes in: from a form of a page, which goes on to a page, or as JSON from a script, which gets the answer as JSON."""

import json
import uuid
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import redirect
from django.urls import path, reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from shop.floor.models import Tap
from shop.floor.taps import Answer, take
from shop.floor.views.acting import acting
from shop.floor.views.pin import ask_for_pin
from shop.people.hands import hand, on_the_floor, person_of, pin_ok
from shop.people.models import User
from shop.routes.models import Task

TRUE = (True, "1", "true", "on")
LONGEST_BODY = 20_000


class NoTap(Exception):
    """What came is no tap; the text says what is wrong with it."""


@on_the_floor
@require_http_methods(["GET", "HEAD", "POST"])
def tap(request: HttpRequest) -> HttpResponse:
    if request.method != "POST":
        return redirect("floor:today")
    if request.content_type == "application/json":
        return _as_json(request)
    return _as_form(request)


def _as_json(request: HttpRequest) -> HttpResponse:
    try:
        sent = _read_json(request)
        person = person_of(request, sent.get("person"))
        if not pin_ok(request, person):
            return JsonResponse({"why": "pin", "words": _("Your PIN is asked for first.")}, status=403)
        answer = _take(request, sent, person)
    except (NoTap, Http404) as error:
        return JsonResponse({"why": "no tap", "words": str(error) or _("This person is not known here.")}, status=400)
    except OperationalError:  # it was not kept, so the device keeps it
        words = _("The workshop's computer is busy. The tap is sent again.")
        return JsonResponse({"why": "busy", "words": words}, status=503, headers={"Retry-After": "2"})
    return JsonResponse(asdict(answer), status=answer.status)


def _as_form(request: HttpRequest) -> HttpResponse:
    person = acting(request)
    if person is None:
        messages.error(request, _("Say first who you are."))
        return _onwards(request, reverse("floor:home"))
    asking = ask_for_pin(request, person)
    if asking is not None:
        return asking
    try:
        answer = _take(request, request.POST.dict(), person)
    except NoTap as error:
        messages.error(request, str(error))
    else:
        say = messages.success if answer.state == Tap.State.APPLIED else messages.warning
        say(request, answer.words)
    return _onwards(request, reverse("floor:day", args=[person.uid]))


def _onwards(request: HttpRequest, otherwise: str) -> HttpResponseRedirect:
    """To the page that the form names, where that is one of ours: also one of the desk, in a one-person shop."""
    wanted = request.POST.get("next", "")
    ours = url_has_allowed_host_and_scheme(wanted, allowed_hosts={request.get_host()})
    return HttpResponseRedirect(wanted if ours else otherwise)


def _read_json(request: HttpRequest) -> dict[str, Any]:
    try:
        sent = json.loads(request.body[: LONGEST_BODY + 1])
    except ValueError:
        sent = None
    if not isinstance(sent, dict):
        raise NoTap(_("This is not a tap."))
    return sent


def _take(request: HttpRequest, sent: Mapping[str, Any], person: User) -> Answer:
    """Raises `NoTap`."""
    kind = sent.get("kind")
    if kind not in Tap.Kind.values:
        raise NoTap(_("A tap is on, off or done."))
    uid, task_uid = _uid(sent.get("uid")), _uid(sent.get("task")) if sent.get("task") else None
    queued, seen = sent.get("queued") in TRUE, sent.get("seen")
    told = {
        "kind": kind,
        "person": str(person.uid),
        "task": str(task_uid or ""),
        "device_at": str(sent.get("device_at") or ""),
        "queued": queued,
        "seen": seen,
    }
    if kind == Tap.Kind.DONE:
        told["lines"] = sent.get("lines")
    body = json.dumps(told, sort_keys=True)
    if len(body) > LONGEST_BODY:
        raise NoTap(_("This is more than a tap can say. Load the page again."))
    return take(
        uid=uid,
        kind=kind,
        person=person,
        tablet=hand(request).tablet,
        task=Task.objects.filter(uid=task_uid).first() if task_uid else None,
        device_at=_moment(sent.get("device_at")),
        body=body,
        now=timezone.now(),
        queued=queued,
        seen=str(seen) if seen is not None else None,
    )


def _uid(given: Any) -> uuid.UUID:
    try:
        return uuid.UUID(str(given))
    except ValueError:
        raise NoTap(_("This is not a tap: its number is missing. Load the page again.")) from None


def _moment(given: Any) -> datetime | None:
    """What the device's clock said; None where it says nothing that could be a moment."""
    try:
        moment = parse_datetime(str(given)) if given else None
    except ValueError:
        return None
    return moment if moment is not None and timezone.is_aware(moment) else None


urlpatterns = [path("tap/", tap, name="tap")]

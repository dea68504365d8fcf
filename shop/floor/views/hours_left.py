"""How long a task still takes: said by whoever works on it."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from shop.floor import hours_left
from shop.floor.forms_left import HoursLeftForm
from shop.floor.views.acting import UNPROCESSABLE, acting, asked_for_pin, page_about, say_who, task_of
from shop.people.hands import on_the_floor
from shop.people.models import User
from shop.routes.models import Task


@never_cache
@on_the_floor
@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest, uid: UUID) -> HttpResponse:
    task, person = task_of(uid), acting(request)
    if request.method != "POST":
        return _page(request, task, HoursLeftForm())
    form = HoursLeftForm(request.POST)
    if person is None:
        say_who(form)
        return _page(request, task, form, UNPROCESSABLE)
    asking = asked_for_pin(request, person)
    if asking is not None:
        return asking
    if form.is_valid() and _said(form, task, person):
        messages.success(request, _("Thank you. It counts until something else is said."))
        return redirect(reverse("floor:task", args=[task.uid], query={"person": str(person.uid)}))
    return _page(request, task, form, UNPROCESSABLE)


def _said(form: HoursLeftForm, task: Task, person: User) -> bool:
    given = {"uid": form.cleaned_data["uid"], "minutes": form.minutes}
    try:
        hours_left.say_left(task=task, person=person, now=timezone.now(), **given)
    except ValidationError as error:
        form.place(error)
        return False
    return True


def _page(request: HttpRequest, task: Task, form: HoursLeftForm, status: int = 200) -> HttpResponse:
    context: dict[str, Any] = {"task": task, "form": form, "said": hours_left.said(task)[:10]}
    return render(request, "floor/hours_left.html", page_about(request, acting(request), **context), status=status)

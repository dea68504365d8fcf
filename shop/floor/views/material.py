"""What was mixed for a task."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from shop.floor import material
from shop.floor.forms_material import MixForm
from shop.floor.models import Mix
from shop.floor.views.acting import UNPROCESSABLE, acting, asked_for_pin, page_about, say_who, task_of
from shop.people.hands import on_the_floor
from shop.people.models import User
from shop.posting import posted_from
from shop.routes.models import Task


@never_cache
@on_the_floor
@require_http_methods(["GET", "HEAD", "POST"])
def mixes(request: HttpRequest, uid: UUID) -> HttpResponse:
    task, person = task_of(uid), acting(request)
    own, others = material.materials_of(task)
    if request.method != "POST":
        return _page(request, task, MixForm(own=own, others=others))
    form = MixForm(request.POST, own=own, others=others)
    if person is None:
        say_who(form)
        return _page(request, task, form, UNPROCESSABLE)
    asking = asked_for_pin(request, person)
    if asking is not None:
        return asking
    if form.is_valid() and _noted(form, task, person):
        messages.success(request, _("Noted: %(material)s.") % {"material": form.cleaned_data["consumable"]})
        return redirect(_here(task, person))
    return _page(request, task, form, UNPROCESSABLE)


def _noted(form: MixForm, task: Task, person: User) -> bool:
    try:
        material.note_mix(task=task, **form.cleaned_data, person=person, now=timezone.now())
    except ValidationError as error:
        form.place(error)
        return False
    return True


def _here(task: Task, person: User) -> str:
    return reverse("floor:mixes", args=[task.uid], query={"person": str(person.uid)})


def _page(request: HttpRequest, task: Task, form: MixForm, status: int = 200) -> HttpResponse:
    context: dict[str, Any] = {"task": task, "form": form, "mixes": material.mixes_of(task)}
    return render(request, "floor/mixes.html", page_about(request, acting(request), **context), status=status)


@on_the_floor
@posted_from("floor:mixes", row=(Mix, "task__uid"))
def take_back(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(Mix.objects.select_related("task", "consumable"), uid=uid)
    person = acting(request)
    if person is None:
        messages.error(request, _("Say first who you are."))
        return redirect("floor:mixes", uid=row.task.uid)
    asking = asked_for_pin(request, person)
    if asking is not None:
        return asking
    material.take_back_mix(mix=row, person=person, now=timezone.now())
    messages.success(request, _("Taken back."))
    return redirect(_here(row.task, person))

"""Checks of a step, and that it is done: each form has an address of its own, and works without scripting."""

from collections.abc import Callable
from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from shop.floor import checks, doing
from shop.floor.forms_doing import ChecksForm, PassForm
from shop.floor.showing_doing import Doing, doing_of, ready_words, whole_task
from shop.floor.views.acting import (
    UNPROCESSABLE,
    acting,
    asked_for_pin,
    may_let_pass,
    onwards,
    page_about,
    remedy_of,
    say_who,
    step_of,
    task_of,
)
from shop.methods.models import Check
from shop.people.hands import hand, on_the_floor
from shop.people.models import User
from shop.posting import posted_from
from shop.routes import finishing
from shop.routes.models import Remedy, Step


@on_the_floor
@require_http_methods(["GET", "HEAD", "POST"])
def check(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What is looked at before a step is done. Sent, the answers are kept; with ``then`` the step is done with them."""
    step = step_of(uid)
    shown = doing_of(step)
    form = ChecksForm(request.POST if request.method == "POST" else None, asked=shown.asked, visit=step.visit)
    person = acting(request)
    if request.method != "POST":
        return _page(request, shown, form, person)
    if person is None:
        say_who(form)
        return _page(request, shown, form, person)
    asking = asked_for_pin(request, person)
    if asking is not None:
        return asking
    if not form.is_valid() or not _answered(form, step, person):
        return _page(request, shown, form, person)
    if request.POST.get("then") == "done":
        return _done(request, step, person, visit=form.cleaned_data["visit"])
    messages.success(request, _("Noted."))
    return redirect(_back(step, person))


def _answered(form: ChecksForm, step: Step, person: User) -> bool:
    """Whether all that was answered could be kept; what was is kept either way."""
    now = timezone.now()
    for asked, answer in form.answers():
        try:
            given = {"step": step, "check": asked.check, "visit": form.cleaned_data["visit"]}
            checks.answer_check(**given, **answer, person=person, now=now)
        except ValidationError as error:
            form.place(error)
    return not form.errors


def _done(request: HttpRequest, step: Step, person: User, *, visit: int | None) -> HttpResponse:
    try:
        ready = doing.done(step=step, person=person, now=timezone.now(), visit=visit)
    except ValidationError as error:
        for said in error.messages:
            messages.error(request, said)
        return redirect(_back(step, person))
    messages.success(request, _("Done: %(step)s of %(part)s.") % {"step": step, "part": step.part})
    _say_ready(request, ready)
    return onwards(request, _back(step, person))


def _say_ready(request: HttpRequest, ready: list[Step]) -> None:
    if ready:
        messages.success(request, ready_words(ready))


def _back(step: Step, person: User | None) -> str:
    query = {"person": str(person.uid)} if person else {}
    return reverse("floor:check", args=[step.uid], query=query)


def _page(
    request: HttpRequest, shown: Doing, form: ChecksForm, person: User | None, refused: PassForm | None = None
) -> HttpResponse:
    """``refused`` is the form of what could not be let pass, shown in its place."""
    passing = _passing(request, shown)
    if refused is not None:
        passing |= {pk: refused for pk in passing if refused.auto_id == passing[pk].auto_id}
    context = page_about(request, person, doing=shown, step=shown.step, form=form, passing=passing)
    wrong = bool(form.errors) or refused is not None
    return render(request, "floor/checks.html", context, status=UNPROCESSABLE if wrong else 200)


def _passing(request: HttpRequest, shown: Doing) -> dict[int, PassForm]:
    """A form for each check that is not as it should be."""
    return {one.check.pk: _pass_form(request, None, one.check, shown.step) for one in shown.asked if one.is_out}


def _pass_form(request: HttpRequest, data: Any, asked: Check, step: Step) -> PassForm:
    return PassForm(
        data,
        people=may_let_pass(),
        only=hand(request).user,
        prefix=f"pass-{asked.pk}-",
        initial={"check": asked.uid, "visit": step.visit},
    )


@on_the_floor
@posted_from("floor:check")
def let_pass(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Somebody puts a name to what is not as it should be; on a tablet with their PIN, always."""
    step = step_of(uid)
    row = get_object_or_404(Check, uid=_uid(request.POST.get("check")))
    form = _pass_form(request, request.POST, row, step)
    person = acting(request)
    if form.is_valid():
        who = hand(request).user or form.cleaned_data["passed_by"]
        asking = asked_for_pin(request, who, always=True)
        if asking is not None:
            return asking
        try:
            given = {"step": step, "check": row, "visit": form.cleaned_data["visit"]}
            reason = form.cleaned_data["reason"]
            checks.let_pass(**given, passed_by=str(who), reason=reason, person=who, now=timezone.now())
        except ValidationError as error:
            form.place(error)
        else:
            messages.success(request, _("Let pass by %(who)s.") % {"who": who})
            return redirect(_back(step, person))
    shown = doing_of(step)
    if not any(one.is_out for one in shown.asked):  # it was put right meanwhile, so that its form is not there
        for said in (one for errors in form.errors.values() for one in errors):
            messages.error(request, str(said))
        return redirect(_back(step, person))
    return _page(request, shown, ChecksForm(asked=shown.asked, visit=step.visit), person, refused=form)


def _uid(given: Any) -> UUID:
    try:
        return UUID(str(given))
    except ValueError:
        return UUID(int=0)


@on_the_floor
@posted_from("floor:check")
def done(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Done, where nothing is left to answer."""
    step = step_of(uid)
    return _as_somebody(request, step, lambda person: _done(request, step, person, visit=_visit(request)))


@on_the_floor
@posted_from("floor:check")
def not_done(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Taken back: it was said by mistake."""
    step = step_of(uid)

    def take_back(person: User) -> HttpResponse:
        _tried(
            request,
            lambda: finishing.undo_done(step=step, who=person.username, now=timezone.now()),
            _("Taken back: it is not done."),
        )
        return onwards(request, _back(step, person))

    return _as_somebody(request, step, take_back)


@on_the_floor
@posted_from("floor:check")
def split(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Fewer came back than went: what is here goes on, what is missing becomes a part of its own."""
    step = step_of(uid)
    row = get_object_or_404(Check, uid=_uid(request.POST.get("check")))

    def apart(person: User) -> HttpResponse:
        visit = _visit(request) or step.visit
        _tried(
            request,
            lambda: doing.split_short(step=step, check=row, visit=visit, person=person, now=timezone.now()),
            _("The missing pieces are a part of their own now; the others go on."),
        )
        return redirect(_back(step, person))

    return _as_somebody(request, step, apart)


def _visit(request: HttpRequest) -> int | None:
    given = request.POST.get("visit", "")
    return int(given) if given.isascii() and given.isdecimal() and len(given) < 5 else None


def _as_somebody(request: HttpRequest, step: Step, act: Callable[[User], HttpResponse]) -> HttpResponse:
    person = acting(request)
    if person is None:
        messages.error(request, _("Say first who you are."))
        return redirect(_back(step, None))
    return asked_for_pin(request, person) or act(person)


def _tried(request: HttpRequest, write: Callable[[], object], words: str) -> bool:
    try:
        write()
    except ValidationError as error:
        for said in error.messages:
            messages.error(request, said)
        return False
    messages.success(request, words)
    return True


@on_the_floor
@require_safe
def task_done(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What of a task can be said to be done with one tap, and what cannot yet, and why."""
    task, person = task_of(uid), acting(request)
    whole = whole_task(task, now=timezone.now())
    context = page_about(request, person, task=task, whole=whole, tap=uuid4())
    if whole.held or person is None:
        then = reverse("floor:task_done", args=[task.uid], query={"person": str(person.uid)} if person else {})
    else:
        then = context["next"] or reverse("floor:person", args=[person.uid])
    return render(request, "floor/task_done.html", context | {"then": then})


@on_the_floor
@posted_from("floor:task_done", row=(Remedy, "task__uid"))
def remedy_done(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Work before a redo is done, or back from the vendor; with ``undo``, not yet."""
    remedy, person = remedy_of(uid), acting(request)
    here = reverse("floor:task_done", args=[remedy.task.uid], query={"person": str(person.uid)} if person else {})
    if person is None:
        messages.error(request, _("Say first who you are."))
        return redirect(here)
    asking = asked_for_pin(request, person)
    if asking is not None:
        return asking
    by: dict[str, Any] = {"remedy": remedy, "who": person.username, "now": timezone.now()}
    if request.POST.get("undo"):
        _tried(request, lambda: finishing.undo_remedy(**by), _("Taken back: it is not done."))
    else:
        ready: list[Step] = []
        if _tried(
            request, lambda: ready.extend(finishing.finish_remedy(**by)), _("Done: %(work)s.") % {"work": remedy}
        ):
            _say_ready(request, ready)
    return onwards(request, here)

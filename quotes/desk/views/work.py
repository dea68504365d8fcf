"""The work on a bike: how every step stands, what is back or here, parts that are split; and the tasks of all bikes."""

from collections.abc import Callable, Sequence
from typing import Any, TypeVar
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.desk import saving
from quotes.desk.context import DESK
from quotes.desk.forms_work import MoveForm, SplitForm, TaskForm, TrialForm
from quotes.desk.views.editor import restoration_of, who
from quotes.desk.work import work
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.restorations.models import Part, Restoration
from shop.restorations.services import ChangedMeanwhileError
from shop.routes import tasks, trial
from shop.routes.finishing import finish_step, undo_done
from shop.routes.models import Step, Task
from shop.routes.my_tasks import indirect_tasks, task_cards
from shop.routes.splitting import put_together, split_part

UNPROCESSABLE = 422
#: Parts, and tasks, on one page: more is too much to load on a telephone, and to read.
PARTS, TASKS = 20, 25
T = TypeVar("T")
OF_STEP = (Step, "part__restoration__uid")
OF_PART = (Part, "restoration__uid")


@require_safe
@role_required(*DESK)
def of_bike(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _page(request, restoration_of(uid))


def _page(
    request: HttpRequest,
    row: Restoration,
    *,
    split: SplitForm | None = None,
    trial_form: TrialForm | None = None,
    status: int = 200,
) -> HttpResponse:
    found = work(row, now=timezone.now())
    page = _page_with(request, found.parts, lambda one: split is not None and split.part == one.part.pk, each=PARTS)
    parts = [(one, _split_form(one.part, split)) for one in page]
    unplaced = tasks.unplaced_of(row).count()
    context = {"restoration": row, "work": found, "parts": parts, "page": page, "unplaced": unplaced}
    if found.untried or trial_form is not None:
        context["trial_form"] = trial_form or TrialForm(steps=found.untried)
    return render(request, "desk/work.html", context, status=status)


def _page_with(request: HttpRequest, rows: Sequence[T], wanted: Callable[[T], bool], *, each: int) -> Page[T]:
    """The page that is asked for; the one that holds a row that is ``wanted``, where a form was refused."""
    place = next((place for place, row in enumerate(rows) if wanted(row)), None)
    asked = request.GET.get("page") if place is None else place // each + 1
    return Paginator(rows, each).get_page(asked)


def _split_form(part: Part, refused: SplitForm | None) -> SplitForm | None:
    if refused is not None and refused.part == part.pk:
        return refused
    return SplitForm(part=part.pk) if part.pieces > 1 else None


def _step(uid: UUID) -> Step:
    return get_object_or_404(Step.objects.select_related("part__restoration", "operation", "service"), uid=uid)


def _told(request: HttpRequest, do: Callable[[], str]) -> None:
    """Do what a button asks for, and say what came of it or why it cannot be."""
    try:
        messages.success(request, do())
    except ValidationError as error:
        for said in error.messages:
            messages.error(request, said)


@role_required(*DESK)
@posted_from("desk:work", row=OF_STEP)
def step_done(request: HttpRequest, uid: UUID) -> HttpResponse:
    step = _step(uid)

    def do() -> str:
        ready = finish_step(step=step, who=who(request), now=timezone.now())
        if not ready:
            return _("Noted.")
        names = get_text_list([f"{one.part}: {one}" for one in ready], _("and"))
        return _("Noted. Can begin now: %(steps)s.") % {"steps": names}

    _told(request, do)
    return redirect("desk:work", uid=step.part.restoration.uid)


@role_required(*DESK)
@posted_from("desk:work", row=OF_STEP)
def step_not_done(request: HttpRequest, uid: UUID) -> HttpResponse:
    step = _step(uid)

    def do() -> str:
        undo_done(step=step, who=who(request), now=timezone.now())
        return _("Taken back: it is still to do.")

    _told(request, do)
    return redirect("desk:work", uid=step.part.restoration.uid)


@role_required(*DESK)
@posted_from("desk:work", row=OF_PART)
def split(request: HttpRequest, uid: UUID) -> HttpResponse:
    part = get_object_or_404(Part.objects.select_related("restoration"), uid=uid)
    form = SplitForm(request.POST, part=part.pk)
    if form.is_valid():
        try:
            new = split_part(part=part, pieces=form.cleaned_data["pieces"], who=who(request), now=timezone.now())
            messages.success(request, _("“%(part)s” goes its own way from here. The price stays.") % {"part": new})
            return redirect("desk:work", uid=part.restoration.uid)
        except ValidationError as error:
            saving.place(form, error, "pieces")
    return _page(request, restoration_of(part.restoration.uid), split=form, status=UNPROCESSABLE)


@role_required(*DESK)
@posted_from("desk:work", row=OF_PART)
def together(request: HttpRequest, uid: UUID) -> HttpResponse:
    part = get_object_or_404(Part.objects.select_related("restoration"), uid=uid)

    def do() -> str:
        origin = put_together(part=part, who=who(request), now=timezone.now())
        return _("Together again: %(part)s.") % {"part": origin}

    _told(request, do)
    return redirect("desk:work", uid=part.restoration.uid)


@role_required(*DESK)
@posted_from("desk:work")
def without_fitting(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = restoration_of(uid)
    form = TrialForm(request.POST, steps=work(row, now=timezone.now()).untried)
    if form.is_valid():
        try:
            trial.override(**form.cleaned_data, who=who(request), now=timezone.now())
            messages.success(request, _("It may begin without having been fitted. Your name stands beside it."))
            return redirect("desk:work", uid=uid)
        except ValidationError as error:
            saving.place(form, error, "step")
    return _page(request, row, trial_form=form, status=UNPROCESSABLE)


@role_required(*DESK)
@posted_from("desk:work")
def form_tasks(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = restoration_of(uid)
    tasks.form_tasks(restoration=row, now=timezone.now())
    messages.success(request, _("Everything that is agreed is in a task."))
    return redirect("desk:work", uid=uid)


# -- tasks -------------------------------------------------------------------------------------------------------------


@require_safe
@role_required(*DESK)
def all_tasks(request: HttpRequest) -> HttpResponse:
    return _tasks_page(request)


def _tasks_page(
    request: HttpRequest, *, move: MoveForm | None = None, change: TaskForm | None = None, status: int = 200
) -> HttpResponse:
    """The open tasks in the order in which they come at the bench; of one bike where the address says so."""
    asked = request.GET.get("bike") or request.POST.get("bike") or ""
    bike = _bike(asked)
    cards = task_cards(now=timezone.now(), restoration=bike)
    chosen = set(move.chosen) if move else set()
    page = _page_with(
        request,
        cards,
        lambda card: (
            (change is not None and change.task.pk == card.task.pk) or any(line.seen in chosen for line in card.lines)
        ),
        each=TASKS,
    )
    context: dict[str, Any] = {
        "bike": bike,
        "page": page,
        "cards": [(card, _task_form(card.task, change)) for card in page],
        "indirect": [(task, _task_form(task, change)) for task in indirect_tasks()],
        "move_form": move or MoveForm(),
        "chosen": chosen,
        "today": timezone.localdate(),
    }
    return render(request, "desk/tasks.html", context, status=status)


def _bike(asked: str) -> Restoration | None:
    try:
        return Restoration.objects.select_related("machine", "customer").filter(uid=UUID(asked)).first()
    except ValueError:
        return None


def _task_form(task: Task, refused: TaskForm | None) -> TaskForm:
    return refused if refused is not None and refused.task.pk == task.pk else TaskForm(task=task)


def _back(request: HttpRequest) -> HttpResponse:
    bike = _bike(request.POST.get("bike", ""))
    return redirect(reverse("desk:tasks", query={"bike": str(bike.uid)}) if bike else reverse("desk:tasks"))


@role_required(*DESK)
@posted_from("desk:tasks", takes=())
def move(request: HttpRequest) -> HttpResponse:
    form = MoveForm(request.POST)
    if form.is_valid():
        by: dict[str, Any] = {"who": who(request), "now": timezone.now()}
        given = form.cleaned_data
        try:
            if given["to"]:
                tasks.move_lines(lines=form.lines(), to=given["to"], **by)
            else:
                tasks.make_task(name=given["name"], lines=form.lines(), alone=given["alone"], **by)
            messages.success(request, _("Moved."))
            return _back(request)
        except ValidationError as error:
            saving.place(form, error, "to")
    return _tasks_page(request, move=form, status=UNPROCESSABLE)


@role_required(*DESK)
@posted_from("desk:tasks", takes=())
def change(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Rename a task or say whether it takes one person at a time, as it was seen."""
    task = get_object_or_404(Task, uid=uid)
    form = TaskForm(request.POST, task=task)
    if form.is_valid():
        by: dict[str, Any] = {"who": who(request), "now": timezone.now()}
        given, seen = form.cleaned_data, request.POST
        try:
            tasks.change_task(
                task=task,
                changes={"name": given["name"], "alone": given["alone"]},
                seen={"name": seen.get("seen-name", task.name), "alone": seen.get("seen-alone") == "True"},
                **by,
            )
            messages.success(request, _("Saved."))
            return _back(request)
        except ChangedMeanwhileError as conflict:
            said = _("Somebody else changed this to “%(now)s” meanwhile. Look again, then save.")
            form.add_error(conflict.field, said % {"now": conflict.now})
        except ValidationError as error:
            saving.place(form, error, "name")
    return _tasks_page(request, change=form, status=UNPROCESSABLE)


@role_required(*DESK)
@posted_from("desk:tasks", takes=())
def close(request: HttpRequest, uid: UUID) -> HttpResponse:
    task = get_object_or_404(Task, uid=uid)

    def do() -> str:
        tasks.close_task(task=task, who=who(request), now=timezone.now())
        return _("“%(task)s” is closed.") % {"task": task}

    _told(request, do)
    return _back(request)


@role_required(*DESK)
@posted_from("desk:tasks", takes=())
def new_indirect(request: HttpRequest) -> HttpResponse:
    def do() -> str:
        task = tasks.indirect_task(name=request.POST.get("name", ""), who=who(request), now=timezone.now())
        return _("“%(task)s” can be booked on from now on.") % {"task": task}

    _told(request, do)
    return _back(request)


urlpatterns = [
    path("restorations/<uuid:uid>/work/", of_bike, name="work"),
    path("restorations/<uuid:uid>/form-tasks/", form_tasks, name="form_tasks"),
    path("restorations/<uuid:uid>/without-fitting/", without_fitting, name="without_fitting"),
    path("steps/<uuid:uid>/done/", step_done, name="step_done"),
    path("steps/<uuid:uid>/not-done/", step_not_done, name="step_not_done"),
    path("parts/<uuid:uid>/split/", split, name="split"),
    path("parts/<uuid:uid>/together/", together, name="together"),
    path("tasks/", all_tasks, name="tasks"),
    path("tasks/move/", move, name="move_to_task"),
    path("tasks/for-no-bike/", new_indirect, name="new_indirect"),
    path("tasks/<uuid:uid>/", change, name="task_change"),
    path("tasks/<uuid:uid>/close/", close, name="task_close"),
]

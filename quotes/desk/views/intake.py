"""Taking a bike in: its numbers, what came with it, how it is, photographs, and what its owner signed."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from quotes.desk import intakes, saving
from quotes.desk.context import DESK
from quotes.desk.forms_intake import (
    ClearNumbersForm,
    IntakeForm,
    IntakePhotographForm,
    ShowsForm,
    SignIntakeForm,
)
from quotes.desk.templatetags.desk_boxes import boxed
from quotes.desk.views.editor import restoration_of, who
from shop.papers.photographs_forms import photograph_from
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.restorations import intake as services
from shop.restorations.models import Intake, IntakePhotograph, Restoration
from shop.restorations.numbers import Numbers, Pair, clear_numbers

#: The photograph's boxes inside the form itself, for whoever works without scripting.
INSIDE = "with"
PREFIX = "photograph"


def intake_of(uid: UUID) -> Intake:
    """The intake of a restoration; where there is none yet, one for the eye only, which writing opens."""
    restoration = restoration_of(uid)
    known = Intake.objects.select_related("restoration__machine", "restoration__customer")
    found = known.filter(restoration=restoration).first()
    return found or Intake(restoration=restoration, came_on=timezone.localdate())


def _opened(request: HttpRequest, restoration: Restoration) -> Intake:
    now = timezone.now()
    day = timezone.localdate(now)
    return services.open_intake(restoration=restoration, came_on=day, who=who(request), now=now)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def intake(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The page. What is typed is saved box by box; without scripting all of it, with a photograph, by one button."""
    row = intake_of(uid)
    if request.method != "POST":
        return _page(request, row, IntakeForm(intake=row))

    def form_for(data: Any = None) -> BaseForm:
        return IntakeForm(data, intake=row)

    def write(changes: dict[str, Any], seen: dict[str, Any]) -> None:
        opened = _opened(request, row.restoration)
        services.change_intake(intake=opened, changes=changes, seen=seen, who=who(request), now=timezone.now())

    form, names, wrong = saving.keep(request.POST, form_for, write)
    return _answer(request, uid, form, names, wrong=wrong)


def _answer(request: HttpRequest, uid: UUID, form: BaseForm, names: list[str], *, wrong: bool) -> HttpResponse:
    """The changed boxes and what depends on them; or the whole page without scripting."""
    fresh = intake_of(uid)
    if request.htmx:  # type: ignore[attr-defined]
        shown = form if wrong else IntakeForm(intake=fresh)
        boxes = saving.answered(boxed(shown), names, request.POST)
        return render(request, "desk/intake_answer.html", intakes.page(fresh) | {"boxes": boxes})
    picture = IntakePhotographForm(request.POST, request.FILES, prefix=INSIDE)
    refused = picture.given and not _photographed(request, fresh.restoration, picture)
    if wrong or refused:
        shown = form if wrong else IntakeForm(intake=fresh)
        more = {"inside_form": picture} if refused else {}
        return _page(request, fresh, shown, status=422, **more)
    messages.success(request, _("Saved."))
    return redirect("desk:intake", uid=uid)


def _photographed(request: HttpRequest, restoration: Restoration, form: IntakePhotographForm) -> bool:
    """Whether the photograph of a bound form was kept; what is wrong with it stands at its fields otherwise."""
    photograph = photograph_from(request, form)
    if photograph is None:
        return False
    row, shows = _opened(request, restoration), form.cleaned_data["shows"]
    services.add_photograph(intake=row, photograph=photograph, shows=shows, who=who(request), now=timezone.now())
    return True


def _page(request: HttpRequest, row: Intake, form: BaseForm, status: int = 200, **forms: BaseForm) -> HttpResponse:
    """The whole page; ``forms`` stand in for those somebody filled in wrongly."""
    shared = intakes.page(row)
    sign = {"signed_on": timezone.localdate(), "seen": shared["mark"]}
    next_shows = {"shows": next(iter(shared["photographs_missing"]), IntakePhotograph.Shows.WHOLE)}
    context: dict[str, Any] = shared | {
        "form": form,
        "groups": intakes.groups(form),
        "photograph_form": IntakePhotographForm(prefix=PREFIX, initial=next_shows),
        "inside_form": IntakePhotographForm(prefix=INSIDE, initial=next_shows),
        "sign_form": SignIntakeForm(initial=sign),
    }
    return render(request, "desk/intake.html", context | forms, status=status)


@role_required(*DESK)
@posted_from("desk:intake")
def photograph(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = intake_of(uid)
    form = IntakePhotographForm(request.POST, request.FILES, prefix=PREFIX)
    if not _photographed(request, row.restoration, form):
        return _page(request, row, IntakeForm(intake=row), status=422, photograph_form=form)
    messages.success(request, _("The photograph is kept."))
    return redirect("desk:intake", uid=uid)


@role_required(*DESK)
@posted_from("desk:intake", row=(IntakePhotograph, "intake__restoration__uid"))
def shows(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct what a photograph shows."""
    known = IntakePhotograph.objects.select_related("photograph", "intake__restoration")
    row = get_object_or_404(known, pk=pk)
    uid, form = row.intake.restoration.uid, ShowsForm(request.POST)
    if form.is_valid():
        services.say_what_it_shows(row=row, shows=form.cleaned_data["shows"], who=who(request), now=timezone.now())
        messages.success(request, _("Saved."))
    else:
        messages.error(request, str(form.errors["shows"][0]))
    return redirect("desk:intake", uid=uid)


@role_required(*DESK)
@posted_from("desk:intake")
def sign(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Note that the sheet was signed as it stands."""
    row, form = intake_of(uid), SignIntakeForm(request.POST)
    if form.is_valid():
        try:
            opened = _opened(request, row.restoration)
            services.sign(intake=opened, who=who(request), now=timezone.now(), **form.cleaned_data)
            messages.success(request, _("The signature is on record."))
            return redirect("desk:intake", uid=uid)
        except ValidationError as error:
            _at_its_box(form, error, {"who": "who_signed"})
    _look_anew(form, {"seen": services.mark(services.words(row))})
    return _page(request, row, IntakeForm(intake=row), status=422, sign_form=form)


def _at_its_box(form: BaseForm, error: ValidationError, boxes: dict[str, str]) -> None:
    """Put an error of a service at the box its field is typed into, or above the form."""
    if hasattr(error, "error_dict"):
        for name, said in error.error_dict.items():
            box = boxes.get(name, name)
            form.add_error(box if box in form.fields else None, ValidationError(said))
    else:
        form.add_error(None, error)


def _look_anew(form: BaseForm, seen: dict[str, str]) -> None:
    """Whoever is told that something changed reads the page with the change on it."""
    form.data = form.data.copy()  # type: ignore[attr-defined]  # what a page sends can be copied
    for name, now in seen.items():
        form.data[form.add_prefix(name)] = now  # type: ignore[index]


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def numbers(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Numbers that do not match, side by side, and the form with which a person clears them by name."""
    row = intake_of(uid)
    found = intakes.numbers(row)
    if not found.wrong:
        messages.info(request, _("The numbers match: there is nothing to clear."))
        return redirect("desk:intake", uid=uid)
    status, form = 200, ClearNumbersForm(initial=_seen(found))
    if request.method == "POST":
        form, status = ClearNumbersForm(request.POST), 422
        if form.is_valid() and _cleared(request, row, form):
            messages.success(request, _("Noted. Quotes may go out and steps may begin."))
            return redirect("desk:intake", uid=uid)
        row = intake_of(uid)
        found = intakes.numbers(row)
        _look_anew(form, _seen(found))
    context = {"restoration": row.restoration, "numbers": found, "form": form, "decisions": intakes.decisions(row)}
    return render(request, "desk/intake_numbers.html", context, status=status)


def _seen(found: Numbers) -> dict[str, str]:
    return {
        "seen_stamped_frame": found.frame.stamped,
        "seen_papers_frame": found.frame.papers,
        "seen_stamped_engine": found.engine.stamped,
        "seen_papers_engine": found.engine.papers,
    }


def _cleared(request: HttpRequest, row: Intake, form: ClearNumbersForm) -> bool:
    said, names = form.cleaned_data, intakes.numbers(row)
    seen = Numbers(
        Pair(names.frame.name, said["seen_stamped_frame"], said["seen_papers_frame"]),
        Pair(names.engine.name, said["seen_stamped_engine"], said["seen_papers_engine"]),
    )
    words = {"who_decided": said["who_decided"], "reason": said["reason"]}
    try:
        clear_numbers(intake=row, seen=seen, who=who(request), now=timezone.now(), **words)
    except ValidationError as error:
        _at_its_box(form, error, {"who": "who_decided"})
        return False
    return True


urlpatterns = [
    path("restorations/<uuid:uid>/intake/", intake, name="intake"),
    path("restorations/<uuid:uid>/intake/photograph/", photograph, name="intake_photograph"),
    path("restorations/<uuid:uid>/intake/sign/", sign, name="sign_intake"),
    path("restorations/<uuid:uid>/intake/numbers/", numbers, name="clear_numbers"),
    path("intake-photographs/<int:pk>/", shows, name="intake_photograph_shows"),
]

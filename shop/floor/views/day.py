"""A person's day: what they were on, what hangs, what waits, and what they add or put right."""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from shop.floor import corrections, forgotten, picture, selectors, settling
from shop.floor.clockings import hanging
from shop.floor.corrections import Row
from shop.floor.forms import CorrectForm, EndForm, RowForm
from shop.floor.models import Clocking, Tap
from shop.floor.views.pin import ask_for_pin
from shop.papers.pictures import PAPER, PHONE
from shop.people.hands import hand, mechanics, on_the_floor, person_of
from shop.people.models import User
from shop.posting import posted_from

ROWS = 3
DAY = timedelta(days=1)


@never_cache
@on_the_floor
@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """One's own day; on a tablet the names to choose from."""
    held = hand(request)
    if held.user is not None:
        return redirect("floor:day", uid=person_of(request, None).uid)
    return render(request, "floor/whose_day.html", {"people": mechanics()})


@never_cache
@on_the_floor
@require_safe
def day(request: HttpRequest, uid: UUID) -> HttpResponse:
    person = person_of(request, uid)
    on = _day(request.GET.get("day", ""))
    return _page(request, person, on, rows=_rows(None, on, []))


def _page(
    request: HttpRequest,
    person: User,
    on: date,
    *,
    rows: list[RowForm],
    end_form: EndForm | None = None,
    status: int = 200,
) -> HttpResponse:
    now = timezone.now()
    shown = selectors.day_of(person, on, now=now)
    hangs = hanging(person, now=now)
    closing = forgotten.closing_after(hangs.began_at) if hangs else None
    today = timezone.localdate(now)
    context: dict[str, Any] = {
        "person": person,
        "own": hand(request).user == person,
        "shown": shown,
        "is_today": on == today,
        "before": on - DAY,
        "after": on + DAY if on < today else None,
        "hangs": hangs,
        "closing": closing if closing and closing <= now else None,
        "end_form": end_form or EndForm(auto_id="end-%s"),
        "rows": rows,
        "waiting": settling.waiting(person),
        "pictures": [(name, picture.draw(shown, ident=f"day-{name}", width=width)) for name, width in PICTURES],
        "off_uid": uuid4(),
        "now": now,
    }
    return render(request, "floor/day.html", context, status=status)


PICTURES = (("phone", PHONE), ("wide", PAPER))


def _day(said: str) -> date:
    try:
        return min(date.fromisoformat(said), timezone.localdate())
    except ValueError:
        return timezone.localdate()


def _rows(data: Any, on: date, tasks: list[int]) -> list[RowForm]:
    return [RowForm(data, day=on, number=number, tasks=tasks) for number in range(ROWS)]


def _to_day(person: User, on: date) -> HttpResponseRedirect:
    return redirect(reverse("floor:day", args=[person.uid], query={"day": on.isoformat()}))


# -- what was not tapped ---------------------------------------------------------------------------------------------------


@on_the_floor
@posted_from("floor:day")
def add_time(request: HttpRequest, uid: UUID) -> HttpResponse:
    person = person_of(request, uid)
    asking = ask_for_pin(request, person)
    if asking is not None:
        return asking
    on = _day(request.POST.get("day", ""))
    forms = _rows(request.POST, on, [])
    filled = [form for form in forms if form.is_filled]
    rows = _read(filled)
    if rows:
        try:
            corrections.recall(person=person, rows=rows, who=_who(request, person), now=timezone.now())
        except ValidationError as error:
            _put(error, filled)
        else:
            messages.success(request, _("Noted, and marked as recalled."))
            return _to_day(person, on)
    elif not filled:
        messages.warning(request, _("Nothing was filled in."))
        return _to_day(person, on)
    return _page(request, person, on, rows=forms, status=422)


def _read(filled: list[RowForm]) -> list[Row] | None:
    """What the lines say; None where something is wrong with one of them."""
    rows: list[Row] = []
    wrong = False
    for form in filled:
        form.is_valid()
        row = form.row(rows[-1].ended_at if rows else None)
        if row is None:
            wrong = True
        else:
            rows.append(row)
    return None if wrong else rows


def _put(error: ValidationError, forms: list[RowForm]) -> None:
    """The service's sentences at the fields of the lines they are about."""
    for where, sentences in error.message_dict.items():
        number, _dash, field = where.partition("-")
        for sentence in sentences:
            forms[int(number)].add_error(field, sentence)


def _who(request: HttpRequest, person: User) -> str:
    held = hand(request)
    return held.user.username if held.user else person.username


# -- a forgotten end -------------------------------------------------------------------------------------------------------


@on_the_floor
@posted_from("floor:day")
def ended(request: HttpRequest, uid: UUID) -> HttpResponse:
    person = person_of(request, uid)
    asking = ask_for_pin(request, person)
    if asking is not None:
        return asking
    now = timezone.now()
    row = hanging(person, now=now)
    on = _day(request.POST.get("day", ""))
    if row is None or str(row.uid) != request.POST.get("clocking"):
        messages.warning(request, _("This has ended meanwhile. Look again."))
        return _to_day(person, on)
    form = EndForm(request.POST, auto_id="end-%s")
    ends = _said_end(request, form, row, now)
    if ends is not None:
        try:
            answers = settling.end_hanging(clocking=row, ended_at=ends, who=_who(request, person), now=now)
        except ValidationError as error:
            for sentence in error.messages:
                form.add_error("ends", sentence)
        else:
            messages.success(request, _("Noted, and marked as recalled."))
            for answer in answers:
                say = messages.success if answer.state == Tap.State.APPLIED else messages.warning
                say(request, answer.words)
            return _to_day(person, timezone.localdate(now) if answers else on)
    return _page(request, person, on, rows=_rows(None, on, []), end_form=form, status=422)


def _said_end(request: HttpRequest, form: EndForm, row: Clocking, now: datetime) -> datetime | None:
    """One of two buttons, or what was typed."""
    closing = forgotten.closing_after(row.began_at)
    if request.POST.get("at_closing") and closing:
        return closing
    if request.POST.get("just_now"):
        return now
    return form.cleaned_data["ends"] if form.is_valid() else None


# -- what was different ----------------------------------------------------------------------------------------------------


@never_cache
@on_the_floor
@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The old row stays; what is said here takes its place."""
    row = get_object_or_404(Clocking.objects.select_related("person", "task", "task__restoration"), uid=uid)
    person = person_of(request, row.person.uid)
    if person != row.person:  # a one-person shop answers with its one person
        person = row.person
    if row.superseded_at is not None:
        messages.warning(request, _("This was corrected already. Look at the day again."))
        return _to_day(person, timezone.localdate(row.began_at))
    form = CorrectForm(request.POST if request.method == "POST" else None, clocking=row)
    if request.method == "POST":
        asking = ask_for_pin(request, person, always=True)
        if asking is not None:
            return asking
        if form.is_valid() and _corrected(request, form, row):
            messages.success(request, _("Corrected. What was there before is kept."))
            return _to_day(person, timezone.localdate(row.began_at))
    told = {"form": form, "row": row, "person": person, "day": timezone.localdate(row.began_at)}
    return render(request, "floor/correct.html", told, status=422 if form.errors else 200)


def _corrected(request: HttpRequest, form: CorrectForm, row: Clocking) -> bool:
    now: datetime = timezone.now()
    try:
        corrections.correct(
            person=row.person,
            replaced=[row],
            rows=form.rows(),
            reason=form.cleaned_data["reason"],
            who=_who(request, row.person),
            now=now,
        )
    except corrections.ChangedMeanwhileError as error:
        form.add_error(None, error)
    except ValidationError as error:
        for where, sentences in error.message_dict.items():
            for sentence in sentences:
                form.add_error(form.FIELDS.get(where), sentence)
    else:
        return True
    return False


urlpatterns = [
    path("day/", today, name="today"),
    path("hands/<uuid:uid>/day/", day, name="day"),
    path("hands/<uuid:uid>/day/add/", add_time, name="add_time"),
    path("hands/<uuid:uid>/day/ended/", ended, name="ended"),
    path("clockings/<uuid:uid>/", correct, name="correct"),
]

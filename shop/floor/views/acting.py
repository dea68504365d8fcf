"""Who acts on a page of the floor, and where it goes on afterwards."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

from shop.floor.checks import known_step
from shop.floor.models import Rework
from shop.floor.views.pin import OURS, ask_for_pin
from shop.papers.models import Photograph
from shop.papers.photographs import keep_photograph
from shop.people.hands import hand, mechanics, only_person, person_of
from shop.people.models import User
from shop.people.roles import ROLE_MANAGER
from shop.people.sessions import FLOOR
from shop.restorations.models import Part
from shop.routes.models import Remedy, Step, Task

UNPROCESSABLE = 422
#: Said of a photograph that came along while the PIN was asked for: a page cannot keep a file.
LOST = "photograph_lost"


def acting(request: HttpRequest) -> User | None:
    """Whom the page is about; None on a tablet where nobody has said so yet."""
    uid = request.POST.get("person") or request.GET.get("person")
    if not uid and hand(request).user is None and only_person() is None:
        return None
    return person_of(request, uid or None)


def may_let_pass() -> Any:
    """Who may let something pass on a tablet: everybody at work, and the manager."""
    managers = User.objects.filter(is_active=True, groups__name=ROLE_MANAGER)
    people = set(mechanics().values_list("pk", flat=True)) | set(managers.values_list("pk", flat=True))
    return User.objects.filter(pk__in=people).order_by("first_name", "username")


def asked_for_pin(request: HttpRequest, person: User, *, always: bool = False) -> HttpResponse | None:
    """`ask_for_pin`, which remembers that a photograph came along."""
    if request.FILES:
        sent = request.POST
        request.POST = _and_lost(sent)
        asking = ask_for_pin(request, person, always=always)
        request.POST = sent
        return asking
    return ask_for_pin(request, person, always=always)


def _and_lost(sent: Any) -> Any:
    more = sent.copy()
    more[LOST] = "1"
    return more


def only_a_pin(request: HttpRequest) -> bool:
    """Whether nothing but a PIN was sent: it was asked for before the page was shown."""
    return request.method == "POST" and not set(request.POST) - OURS - {"person", "next"}


def page_about(request: HttpRequest, person: User | None, **context: Any) -> dict[str, Any]:
    """What each page shows: who acts, or whom one can say; and where it goes on."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    people = list(mechanics()) if person is None else []
    return {"person": person, "people": people, "next": wanted, "tablet": hand(request).tablet} | context


def onwards(request: HttpRequest, otherwise: str) -> HttpResponseRedirect:
    """To the page of the floor that the form names, where it names one."""
    wanted = request.POST.get("next", "")
    ours = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return HttpResponseRedirect(wanted if ours and wanted.startswith(FLOOR) else otherwise)


def step_of(uid: UUID) -> Step:
    return known_step(get_object_or_404(Step, uid=uid).pk)


def part_of(uid: UUID) -> Part:
    rows = Part.objects.select_related("restoration__machine", "kind", "split_from")
    return get_object_or_404(rows, uid=uid)


def task_of(uid: UUID) -> Task:
    return get_object_or_404(Task.objects.select_related("restoration"), uid=uid)


def remedy_of(uid: UUID) -> Remedy:
    return get_object_or_404(Remedy.objects.select_related("task__restoration", "operation", "service"), uid=uid)


def rework_of(uid: UUID) -> Rework:
    return get_object_or_404(Rework.objects.select_related("step__part", "task", "person", "cause"), uid=uid)


def photograph_of(form: Any, *, caption: str, person: User, now: Any) -> Photograph | None:
    """The photograph that came along, kept in the person's name, or the one kept before; says at its box what is wrong.

    Call it last, when all else is in order, and outside a transaction.
    """
    if form.cleaned_data.get("file"):
        longest = Photograph._meta.get_field("caption").max_length
        try:
            return keep_photograph(
                upload=form.cleaned_data["file"],
                caption=caption[:longest],
                taken_on=None,
                who=person.username,
                now=now,
            )
        except ValidationError as error:
            form.add_error("file", [one for errors in error.error_dict.values() for one in errors])
            return None
    kept = form.cleaned_data.get("kept")
    return Photograph.objects.filter(uid=kept, added_by=person.username).first() if kept else None


def keep_in_form(form: Any, photograph: Photograph | None) -> None:
    """A photograph taken in already stays with the form that is shown again."""
    if photograph is not None:
        form.data = form.data.copy()
        form.data["kept"] = str(photograph.uid)


#: Does what was asked for, and says so; empty where nothing has to be said.
Do = Callable[[User], str]


def acted(request: HttpRequest, form: Any, do: Do) -> HttpResponse | User | None:
    """Do what was asked for: who did it; the page that asks for a PIN; or None, with what is wrong in the form."""
    person = acting(request)
    if person is None:
        say_who(form)
        return None
    asking = asked_for_pin(request, person)
    if asking is not None:
        return asking
    if not form.is_valid():
        return None
    try:
        said = do(person)
    except ValidationError as error:
        form.place(error)
        return None
    if said:
        messages.success(request, said)
    return person


NOBODY = "nobody"


def say_who(form: Any) -> None:
    form.add_error(None, ValidationError(_("Say first who you are."), code=NOBODY))


# -- a form with a photograph, opened and sent -----------------------------------------------------------------------------

#: The form for what was sent, or an empty one for None. One that is not bound is shown again without a word about it.
Form = Callable[[Any], Any]
#: The page with the form, and HTTP's status.
Page = Callable[[User | None, Any, int], HttpResponse]
#: Keep what was sent: what to say, and where to go on; or None, with what is wrong in the form.
Keep = Callable[[User, Any], tuple[str, str] | None]


def opened(request: HttpRequest, *, form: Form, page: Page, keep: Keep) -> HttpResponse:
    """Show a form of the floor, and take it when it was sent. The PIN comes first, so that nobody types in vain."""
    person = acting(request)
    asking = asked_for_pin(request, person) if person is not None else None
    if asking is not None:
        return asking
    if request.method != "POST" or only_a_pin(request):
        return page(person, form(None), 200)
    sent = form(request.POST)
    if not sent.is_bound:
        return page(person, sent, 200)
    if person is None:
        say_who(sent)
    if sent.is_valid() and person is not None and not request.POST.get(LOST):
        kept = keep(person, sent)
        if kept is not None:
            messages.success(request, kept[0])
            return onwards(request, kept[1])
    return page(person, sent, UNPROCESSABLE)


def photograph_lost(request: HttpRequest, form: Any) -> bool:
    """Whether a photograph came along that the page cannot keep, so that it has to be chosen again."""
    return bool(request.POST.get(LOST)) or bool(form.errors and request.FILES and not form.data.get("kept"))

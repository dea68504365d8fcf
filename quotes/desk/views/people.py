"""Who works here and may sign in. For the manager; passwords are shown once."""

from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from quotes.desk import saving
from quotes.desk.forms import PlainForm
from quotes.desk.forms_review import GradeForm
from quotes.desk.views.editor import who
from shop.people import accounts, pins
from shop.people.grading import grade_person
from shop.people.models import Pin, User
from shop.people.roles import ROLE_LABELS, ROLE_MANAGER, ROLES, role_required
from shop.people.services import add_person
from shop.posting import posted_from


class RolesForm(PlainForm):
    roles = forms.MultipleChoiceField(
        label=gettext_lazy("Works here as"),
        choices=[(role, ROLE_LABELS[role]) for role in ROLES],
        widget=forms.CheckboxSelectMultiple,
    )


class PersonForm(RolesForm):
    name = forms.CharField(label=gettext_lazy("Name"), max_length=150)
    username = forms.CharField(
        label=gettext_lazy("Signs in as"),
        max_length=150,
        help_text=gettext_lazy("Letters, digits and @ . + - _, without spaces."),
    )

    field_order = ("name", "username", "roles")


#: Fields of a person that stand in another box of the form.
BOXES = {"first_name": "name", "password": "username"}


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def people(request: HttpRequest) -> HttpResponse:
    form = PersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        password = accounts.new_password()
        try:
            person = add_person(**form.cleaned_data, password=password, who=who(request))
        except ValidationError as error:
            errors = {BOXES.get(name, name): told for name, told in error.message_dict.items()}
            saving.place(form, ValidationError(errors), "username")
        else:
            return _page(request, PersonForm(), shown=(person, password))
    return _page(request, form, status=422 if form.errors else 200)


def _page(
    request: HttpRequest, form: PersonForm, *, shown: tuple[User, str] | None = None, status: int = 200
) -> HttpResponse:
    """``shown`` is a person and the password that is read once, off this very answer: it is never stored."""
    found = User.objects.prefetch_related("groups").order_by("-is_active", "first_name", "username")
    rows = [
        (person, [str(ROLE_LABELS[g.name]) for g in person.groups.all() if g.name in ROLE_LABELS]) for person in found
    ]
    context = {"form": form, "rows": rows, "shown": shown}
    response = render(request, "desk/people.html", context, status=status)
    if shown:
        response["Cache-Control"] = "no-store"
    return response


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def person(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(User, uid=uid)
    form = RolesForm(request.POST) if request.POST else _roles_of(row)
    if request.method == "POST" and form.is_valid():
        try:
            accounts.change_roles(person=row, roles=form.cleaned_data["roles"], who=who(request), now=timezone.now())
        except ValidationError as error:
            saving.place(form, error, "roles")
        else:
            if row.pk == request.user.pk:
                update_session_auth_hash(request, row)  # the others of theirs end, this one goes on under a new key
            messages.success(request, _("Saved. It holds from the next click on."))
            return redirect("desk:people")
    return _person_page(request, row, form)


def _person_page(
    request: HttpRequest, row: User, form: RolesForm, *, pin: str = "", grade_form: GradeForm | None = None
) -> HttpResponse:
    """``pin`` is read once, off this very answer."""
    grade_form = grade_form or GradeForm()
    context = {
        "grade_form": grade_form,
        "grades": row.grades.select_related("grade").order_by("-since", "-pk"),
        "person": row,
        "form": form,
        "pin": pin,
        "has_pin": Pin.objects.filter(person=row).exists(),
        "why_not": pins.why_not(row, now=timezone.now()),
    }
    response = render(request, "desk/person.html", context, status=422 if form.errors or grade_form.errors else 200)
    if pin:
        response["Cache-Control"] = "no-store"
    return response


def _roles_of(row: User) -> RolesForm:
    return RolesForm(initial={"roles": [group.name for group in row.groups.all()]})


@role_required(ROLE_MANAGER)
@posted_from("desk:person")
def give_grade(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What grade somebody has from a day on: what their hours cost the shop goes by it."""
    row = get_object_or_404(User, uid=uid)
    form = GradeForm(request.POST)
    if form.is_valid():
        grade_person(person=row, **form.cleaned_data, who=who(request), now=timezone.now())
        messages.success(request, _("Saved. Hours that are counted from now on cost what this grade costs."))
        return redirect("desk:person", uid)
    return _person_page(request, row, _roles_of(row), grade_form=form)


@role_required(ROLE_MANAGER)
@posted_from("desk:person")
def give_pin(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(User, uid=uid, is_active=True)
    pin = pins.give_pin(person=row, who=who(request), now=timezone.now())
    return _person_page(request, row, _roles_of(row), pin=pin)


@role_required(ROLE_MANAGER)
@posted_from("desk:person")
def unlock_pin(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(User, uid=uid)
    pins.unlock(person=row, who=who(request), now=timezone.now())
    messages.success(request, _("The PIN of %(person)s is taken again.") % {"person": row})
    return redirect("desk:person", uid=uid)


@role_required(ROLE_MANAGER)
@posted_from("desk:person")
def end_access(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(User, uid=uid)
    try:
        accounts.end_access(person=row, who=who(request), now=timezone.now())
        messages.success(request, _("%(person)s cannot sign in any more.") % {"person": row})
    except ValidationError as error:
        messages.error(request, error.messages[0])
    return redirect("desk:people")


@role_required(ROLE_MANAGER)
@posted_from("desk:person")
def new_password(request: HttpRequest, uid: UUID) -> HttpResponse:
    """A new password, for one forgotten or for somebody who comes back."""
    row, password, now = get_object_or_404(User, uid=uid), accounts.new_password(), timezone.now()
    if row.is_active:
        accounts.set_new_password(person=row, password=password, who=who(request), now=now)
    else:
        accounts.give_access_back(person=row, password=password, who=who(request), now=now)
    return _page(request, PersonForm(), shown=(row, password))


urlpatterns = [
    path("workshop/people/", people, name="people"),
    path("workshop/people/<uuid:uid>/", person, name="person"),
    path("workshop/people/<uuid:uid>/end/", end_access, name="end_access"),
    path("workshop/people/<uuid:uid>/password/", new_password, name="new_password"),
    path("workshop/people/<uuid:uid>/grade/", give_grade, name="give_grade"),
    path("workshop/people/<uuid:uid>/pin/", give_pin, name="give_pin"),
    path("workshop/people/<uuid:uid>/unlock/", unlock_pin, name="unlock_pin"),
]

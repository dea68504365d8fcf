"""The pages that mechanics live in: the names, what is next, how it is done, and the wall."""

from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from shop.floor import custody, showing
from shop.floor.selectors import open_clockings
from shop.floor.views.acting import acting
from shop.floor.wall import wall as wall_of
from shop.people.hands import hand, mechanics, on_the_floor, only_person, person_of
from shop.people.roles import ROLE_MECHANIC, has_role
from shop.routes.models import Task

#: A wall without scripting still shows nothing older than this [s].
WITHOUT_SCRIPT = 300


@never_cache
@on_the_floor
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """The names. Who is signed in as a mechanic goes straight to their own tasks."""
    held = hand(request)
    only = only_person()
    if only is not None or (held.user is not None and has_role(held.user, ROLE_MECHANIC)):
        return redirect("floor:person", uid=(only or held.user).uid)  # type: ignore[union-attr]  # one of them is there
    mates = showing.mates(mechanics(), now=timezone.now())
    return render(request, "floor/home.html", {"mates": mates, "tablet": held.tablet})


@never_cache
@on_the_floor
@require_safe
def person(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What somebody is on, and what is next for them."""
    who = person_of(request, uid)
    bike = request.GET.get("bike", "")
    everything = "all" in request.GET
    shown = showing.mine(who, bike=bike, everything=everything, now=timezone.now())
    context = {"person": who, "mine": shown, "bike": bike, "everything": everything, "tablet": hand(request).tablet}
    return render(request, "floor/person.html", context)


@never_cache
@on_the_floor
@require_safe
def task(request: HttpRequest, uid: UUID) -> HttpResponse:
    """How a task is done."""
    row = get_object_or_404(Task.objects.select_related("restoration", "place", "grade"), uid=uid)
    who = acting(request)
    how = showing.how(row, now=timezone.now())
    context = {
        "person": who,
        "task": row,
        "how": how,
        "where": custody.of_parts({piece.part.pk for piece in how.pieces}),
        "on": open_clockings().filter(person=who).first() if who else None,
        "uid": uuid4(),
        "tablet": hand(request).tablet,
    }
    return render(request, "floor/task.html", context)


@never_cache
@on_the_floor(quiet=True)
@require_safe
def wall(request: HttpRequest) -> HttpResponse:
    """For a screen that nobody touches; it asks for itself anew."""
    now = timezone.now()
    context = {"wall": wall_of(mechanics(), now=now), "now": now, "tablet": hand(request).tablet}
    if request.headers.get("HX-Request"):
        return render(request, "floor/_wall.html", context)
    page = render(request, "floor/wall.html", context)
    page["Refresh"] = str(WITHOUT_SCRIPT)
    return page


urlpatterns = [
    path("", home, name="home"),
    path("people/<uuid:uid>/", person, name="person"),
    path("tasks/<uuid:uid>/", task, name="task"),
    path("wall/", wall, name="wall"),
]

"""Tags and places: what hangs on a tag, where it is, and that it is somewhere else now."""

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Q
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from shop.floor import custody
from shop.floor.forms_custody import FindForm, MoveForm, TagForm
from shop.floor.models import Shelf, Tag
from shop.floor.tag_codes import is_code, spaced
from shop.floor.views.acting import UNPROCESSABLE, acted, acting, page_about, part_of
from shop.people.hands import on_the_floor
from shop.people.models import User
from shop.posting import posted_from
from shop.restorations.models import Part, Restoration
from shop.routes.models import Task

ON_THE_BIKE, WITH_ME = "bike", "me"


@never_cache
@on_the_floor
@require_safe
def tags(request: HttpRequest) -> HttpResponse:
    """Find a tag by its number, or by its bike."""
    form = FindForm(request.GET if "code" in request.GET else None)
    if form.is_bound and form.is_valid():
        tag = custody.known_tag(form.cleaned_data["code"])
        if tag is not None:
            return _to("floor:tag", tag.code, acting(request))
        form.add_error("code", _("No tag has this number. Look at the tag again."))
    live = Count("tags", filter=Q(tags__ended_at__isnull=True))
    at_work = Task.objects.filter(restoration__isnull=False, closed_at__isnull=True).values("restoration")
    bikes = Restoration.objects.annotate(live=live).filter(Q(pk__in=at_work) | Q(live__gt=0)).order_by("title", "pk")
    context = page_about(request, acting(request), form=form, bikes=bikes)
    return render(request, "floor/tags.html", context, status=UNPROCESSABLE if form.errors else 200)


@never_cache
@on_the_floor
@require_safe
def tag(request: HttpRequest, code: str) -> HttpResponse:
    """What a scanned tag is on, where it is, and where it was."""
    if not is_code(code) and is_code(code.upper()):
        return _to("floor:tag", code.upper(), acting(request))
    return _tag_page(request, _tag(code), MoveForm())


def _tag(code: str) -> Tag:
    found = custody.known_tag(code)
    if found is None:
        raise Http404(_("No tag has this number."))
    return found


def _tag_page(request: HttpRequest, row: Tag, form: MoveForm, status: int = 200) -> HttpResponse:
    moves = list(row.moves.select_related("shelf", "person").order_by("-pk")[: custody.SHOWN])
    context = {
        "tag": row,
        "here": custody.Where(row, moves[0] if moves else None),
        "moves": moves,
        "shelves": Shelf.objects.all(),
        "next_step": custody.next_of(row.part, now=timezone.now()) if row.part else None,
        "form": form,
    }
    return render(request, "floor/tag.html", page_about(request, acting(request), **context), status=status)


@on_the_floor
@posted_from("floor:tag", takes=("code",))
def move(request: HttpRequest, code: str) -> HttpResponse:
    """One tap: it is on a shelf, with whoever taps, on the bike, or somewhere else in words."""
    row, form = _tag(code), MoveForm(request.POST)

    def do(person: User) -> str:
        moved = custody.move(tag=row, **_place(request, form, person), person=person, now=timezone.now())
        return _("%(tag)s: %(place)s.") % {"tag": spaced(row.code), "place": moved.shelf or moved.at_whom}

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    return _tag_page(request, row, form, UNPROCESSABLE) if done is None else _to("floor:tag", row.code, done)


def _place(request: HttpRequest, form: MoveForm, person: User) -> dict[str, Any]:
    said = request.POST.get("at")
    if said == ON_THE_BIKE:
        return {"at_whom": _("on the bike")}
    if said == WITH_ME:
        return {"at_whom": str(person)}
    return {"shelf": form.cleaned_data["shelf"], "at_whom": form.cleaned_data["at_whom"]}


@on_the_floor
@posted_from("floor:tag", takes=("code",))
def end(request: HttpRequest, code: str) -> HttpResponse:
    """The tag came off; with ``undo``, it hangs again."""
    row, form = _tag(code), MoveForm({})

    def do(person: User) -> str:
        given: dict[str, Any] = {"tag": row, "who": person.username, "now": timezone.now()}
        if request.POST.get("undo"):
            custody.use_again(**given)
            return _("The tag is in use again.")
        custody.end_tag(**given)
        return _("The tag came off. Its number is not given out again.")

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    return _tag_page(request, row, form, UNPROCESSABLE) if done is None else _to("floor:tag", row.code, done)


# -- the tags of a bike ------------------------------------------------------------------------------------------------


@never_cache
@on_the_floor
@require_safe
def bike_tags(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _bike_page(request, _bike(uid))


@never_cache
@on_the_floor
@require_safe
def part_tags(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The tag of a part, where there is one; else the place where one is made for it."""
    part, person = part_of(uid), acting(request)
    found = custody.of_parts([part.pk]).get(part.pk, [])
    if len(found) == 1:
        return _to("floor:tag", found[0].tag.code, person)
    form = TagForm(parts=_parts(part.restoration), initial={"part": part.uid})
    return _bike_page(request, part.restoration, form=form, only=part)


def _bike(uid: UUID) -> Restoration:
    return get_object_or_404(Restoration.objects.select_related("machine"), uid=uid)


def _parts(bike: Restoration) -> Any:
    return Part.objects.filter(restoration=bike, removed_at__isnull=True).order_by("position", "pk")


def _bike_page(
    request: HttpRequest,
    bike: Restoration,
    *,
    form: TagForm | None = None,
    moving: MoveForm | None = None,
    only: Part | None = None,
    status: int = 200,
) -> HttpResponse:
    found = custody.tags_of(bike)
    context = {
        "bike": bike,
        "tags": [one for one in found if only is None or one.tag.part_id == only.pk],
        "chosen": set(request.POST.getlist("tag")),
        "without": custody.without_tag(bike).count(),
        "form": form or TagForm(parts=_parts(bike)),
        "moving": moving or MoveForm(),
        "only": only,
    }
    return render(request, "floor/bike_tags.html", page_about(request, acting(request), **context), status=status)


@on_the_floor
@posted_from("floor:bike_tags")
def make_tags(request: HttpRequest, uid: UUID) -> HttpResponse:
    """A tag for each part that has none."""
    bike, form = _bike(uid), MoveForm({})

    def do(person: User) -> str:
        made = len(custody.make_tags(restoration=bike, who=person.username, now=timezone.now()))
        if not made:
            return _("Every part has a tag already.")
        said = ngettext("%(count)d tag is made. Print it.", "%(count)d tags are made. Print them.", made)
        return said % {"count": made}

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    return _bike_page(request, bike, moving=form, status=UNPROCESSABLE) if done is None else _to_bike(bike, done)


@on_the_floor
@posted_from("floor:bike_tags")
def add_tag(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One by hand."""
    bike = _bike(uid)
    form, made = TagForm(request.POST, parts=_parts(bike)), []

    def do(person: User) -> str:
        row = custody.add_tag(restoration=bike, **form.cleaned_data, who=person.username, now=timezone.now())
        made.append(row)
        return _("The tag is made: %(code)s. Say where it is.") % {"code": spaced(row.code)}

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    if done is None:
        return _bike_page(request, bike, form=form, status=UNPROCESSABLE)
    return _to("floor:tag", made[0].code, done)


@on_the_floor
@posted_from("floor:bike_tags")
def move_many(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Several tags at once: a whole tray, or what went out in one crate."""
    bike, form = _bike(uid), MoveForm(request.POST)
    rows = list(Tag.objects.filter(restoration=bike, code__in=request.POST.getlist("tag")))

    def do(person: User) -> str:
        if not rows:
            raise ValidationError(_("Tick the tags that went there."), code="none")
        with transaction.atomic():
            for row in rows:
                custody.move(tag=row, **_place(request, form, person), person=person, now=timezone.now())
        said = ngettext("%(count)d tag is there now.", "%(count)d tags are there now.", len(rows))
        return said % {"count": len(rows)}

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    return _bike_page(request, bike, moving=form, status=UNPROCESSABLE) if done is None else _to_bike(bike, done)


def _to(name: str, code: str, person: User | None) -> HttpResponseRedirect:
    query = {"person": str(person.uid)} if person else {}
    return HttpResponseRedirect(reverse(name, args=[code], query=query))


def _to_bike(bike: Restoration, person: User) -> HttpResponse:
    return redirect(reverse("floor:bike_tags", args=[bike.uid], query={"person": str(person.uid)}))

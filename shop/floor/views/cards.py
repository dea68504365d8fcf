"""Cards and tags on paper, for whoever is on the floor. The desk prints them from pages of its own."""

from collections.abc import Callable, Iterable
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from shop.floor import cards, custody
from shop.floor.models import Tag
from shop.floor.views.acting import part_of
from shop.papers.downloads import PDF, download
from shop.papers.pdf import RenderFailed
from shop.people.hands import on_the_floor
from shop.restorations.models import Part, Restoration
from shop.routes.models import Task


def address_of(request: HttpRequest, name: str, *args: object) -> str:
    """Where a code leads: to the address that the shop has set, else to the one that was reached just now."""
    base = settings.ADDRESS or request.build_absolute_uri("/").rstrip("/")
    return base + reverse(name, args=args)


def part_paper(request: HttpRequest, part: Part) -> HttpResponse | None:
    """The route card of a part as a file; None where it could not be made, which the next page says."""
    where = address_of(request, "floor:part_tags", part.uid)
    make = lambda: cards.part_pdf(cards.part_card(part, now=timezone.now()), address=where)  # noqa: E731
    return _made(request, make, name=f"{part.restoration} {part} {part.side}")


def task_paper(request: HttpRequest, task: Task) -> HttpResponse | None:
    where = address_of(request, "floor:task", task.uid)
    make = lambda: cards.task_pdf(cards.task_sheet(task, now=timezone.now()), address=where)  # noqa: E731
    return _made(request, make, name=f"{task.restoration or ''} {task}")


def tags_paper(request: HttpRequest, bike: Restoration, codes: Iterable[str]) -> HttpResponse | None:
    """All tags of a bike that hang, or those of ``codes`` only."""
    wanted = set(codes)
    found = [one.tag for one in custody.tags_of(bike) if not wanted or one.tag.code in wanted]
    if not found:
        messages.error(request, _("There is no tag to print. Make tags first."))
        return None
    if len(found) > cards.MOST_TAGS:
        said = _("These are the first %(count)d tags. Tick the others to print them.")
        messages.warning(request, said % {"count": cards.MOST_TAGS})
    leads = {tag.code: address_of(request, "floor:tag", tag.code) for tag in found}
    return _made(
        request, lambda: cards.tags_pdf(bike, found, addresses=leads), name=_("Tags %(bike)s") % {"bike": bike}
    )


def _made(request: HttpRequest, make: Callable[[], bytes], *, name: str) -> HttpResponse | None:
    try:
        return download(make(), kind=PDF, name=name)
    except RenderFailed:
        messages.error(request, _("The paper could not be made just now. Try again, or print fewer at once."))
        return None


@never_cache
@on_the_floor
@require_safe
def part_card(request: HttpRequest, uid: UUID) -> HttpResponse:
    part = part_of(uid)
    return part_paper(request, part) or redirect("floor:bike_tags", uid=part.restoration.uid)


@never_cache
@on_the_floor
@require_safe
def task_card(request: HttpRequest, uid: UUID) -> HttpResponse:
    task = get_object_or_404(Task.objects.select_related("restoration", "place", "grade"), uid=uid)
    return task_paper(request, task) or redirect("floor:task", uid=uid)


@never_cache
@on_the_floor
@require_safe
def tag_sheet(request: HttpRequest, uid: UUID) -> HttpResponse:
    bike = get_object_or_404(Restoration, uid=uid)
    return tags_paper(request, bike, request.GET.getlist("tag")) or redirect("floor:bike_tags", uid=uid)


@never_cache
@on_the_floor
@require_safe
def one_tag(request: HttpRequest, code: str) -> HttpResponse:
    tag = get_object_or_404(Tag.objects.select_related("restoration"), code=code)
    return tags_paper(request, tag.restoration, [code]) or redirect("floor:tag", code=code)

"""Paper for the bench, from the desk: tags of a bike, route cards of its parts, cards of its tasks."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from quotes.desk.context import DESK
from quotes.desk.views.editor import who
from shop.floor import custody
from shop.floor.views.cards import part_paper, tags_paper, task_paper
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.restorations.models import Part, Restoration
from shop.routes.models import Task


@require_safe
@role_required(*DESK)
def cards(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What can be printed for a bike, and where its parts are."""
    bike = get_object_or_404(Restoration.objects.select_related("machine"), uid=uid)
    tags = custody.tags_of(bike)
    by_part: dict[int | None, list[custody.Where]] = {}
    for one in tags:
        by_part.setdefault(one.tag.part_id, []).append(one)
    parts = Part.objects.filter(restoration=bike, removed_at__isnull=True).order_by("position", "pk")
    open_tasks = Task.objects.filter(closed_at__isnull=True, lines__step__part__restoration=bike).distinct()
    context = {
        "restoration": bike,
        "tags": tags,
        "without": custody.without_tag(bike).count(),
        "parts": [(part, by_part.get(part.pk, [])) for part in parts],
        "bags": by_part.get(None, []),
        "tasks": open_tasks.order_by("name", "pk"),
    }
    return render(request, "desk/cards.html", context)


@role_required(*DESK)
@posted_from("desk:cards")
def make_tags(request: HttpRequest, uid: UUID) -> HttpResponse:
    bike = get_object_or_404(Restoration, uid=uid)
    made = len(custody.make_tags(restoration=bike, who=who(request), now=timezone.now()))
    said = ngettext("%(count)d tag is made. Print it.", "%(count)d tags are made. Print them.", made)
    messages.success(request, said % {"count": made} if made else _("Every part has a tag already."))
    return redirect("desk:cards", uid=uid)


@require_safe
@role_required(*DESK)
def tag_sheet(request: HttpRequest, uid: UUID) -> HttpResponse:
    bike = get_object_or_404(Restoration, uid=uid)
    return tags_paper(request, bike, request.GET.getlist("tag")) or redirect("desk:cards", uid=uid)


@require_safe
@role_required(*DESK)
def part_card(request: HttpRequest, uid: UUID) -> HttpResponse:
    part = get_object_or_404(Part.objects.select_related("restoration"), uid=uid)
    return part_paper(request, part) or redirect("desk:cards", uid=part.restoration.uid)


@require_safe
@role_required(*DESK)
def task_card(request: HttpRequest, uid: UUID) -> HttpResponse:
    task = get_object_or_404(Task.objects.select_related("restoration", "place", "grade"), uid=uid)
    return task_paper(request, task) or redirect("desk:tasks")


urlpatterns = [
    path("restorations/<uuid:uid>/cards/", cards, name="cards"),
    path("restorations/<uuid:uid>/cards/tags/", make_tags, name="make_tags"),
    path("restorations/<uuid:uid>/cards/tags/print/", tag_sheet, name="tag_sheet"),
    path("cards/parts/<uuid:uid>/", part_card, name="part_card"),
    path("cards/tasks/<uuid:uid>/", task_card, name="task_card"),
]

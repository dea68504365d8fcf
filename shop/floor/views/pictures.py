"""Photographs of parts in work, for tablets and mechanics."""

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from shop.floor.pictures import may_be_seen
from shop.papers import selectors
from shop.papers.models import Photograph
from shop.papers.photographs_views import NOT_KEPT, POLICY_ALONE, answer
from shop.people.hands import on_the_floor


def _seen(uid: UUID) -> Photograph:
    found = get_object_or_404(Photograph, uid=uid)
    if not may_be_seen(found):
        raise Http404
    return found


@on_the_floor
@require_safe
def photograph(request: HttpRequest, uid: UUID) -> HttpResponse:  # noqa: ARG001
    """Opened in the tablet, large; not kept by it."""
    found = _seen(uid)
    content = selectors.photograph_content(found)
    return answer(found, content, attachment=False, cache=NOT_KEPT, policy=POLICY_ALONE)


@on_the_floor
@require_safe
def thumbnail(request: HttpRequest, uid: UUID) -> HttpResponse:  # noqa: ARG001
    found = _seen(uid)
    return answer(found, selectors.thumbnail_content(found), attachment=False, cache=NOT_KEPT)

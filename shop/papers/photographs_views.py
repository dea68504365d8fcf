"""Photographs, safe out: under names and types of ours, and unable to act as a page."""

import uuid

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.cache import get_conditional_response
from django.utils.http import content_disposition_header, quote_etag
from django.views.decorators.http import require_safe

from shop.papers import selectors
from shop.papers.models import Photograph

MEDIA_TYPES = {Photograph.Kind.JPEG: ("image/jpeg", "jpg")}
# A browser may keep it, and asks each time whether it may still show it: it may have been taken away, or access with it.
CACHE = "private, no-cache"
# For who may see it now, and perhaps not in a minute.
NOT_KEPT = "private, no-store"
POLICY = "sandbox; default-src 'none'"
# What a browser shows a picture by, alone on a page, are styles of its own: without them it does not fit a phone.
POLICY_ALONE = f"{POLICY}; style-src 'unsafe-inline'"

may_see = permission_required("papers.view_photograph", raise_exception=True)


@require_safe
@may_see
def photograph(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    """Saved, never opened."""
    found = get_object_or_404(Photograph, uid=uid)
    return _or_unchanged(request, answer(found, selectors.photograph_content(found), attachment=True), found.sha256)


@require_safe
@may_see
def thumbnail(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    """For ``<img>``. It is always a JPEG."""
    found = get_object_or_404(Photograph, uid=uid)
    shown = answer(found, selectors.thumbnail_content(found), attachment=False)
    return _or_unchanged(request, shown, found.thumbnail_sha256)


def _or_unchanged(request: HttpRequest, response: HttpResponse, digest: str) -> HttpResponse:
    """Without the bytes where the browser has them already."""
    response["ETag"] = quote_etag(digest)
    return get_conditional_response(request, etag=response["ETag"], response=response) or response


def answer(
    photograph: Photograph, content: bytes, *, attachment: bool, cache: str = CACHE, policy: str = POLICY
) -> HttpResponse:
    """``content``, the photograph or its thumbnail, so that nothing in it can act. Who may see it is the caller's to say."""
    media_type, suffix = MEDIA_TYPES[Photograph.Kind(photograph.kind)]
    response = HttpResponse(content, content_type=media_type)
    name = f"photograph-{photograph.uid}.{suffix}"
    response["Content-Disposition"] = content_disposition_header(attachment, name) or "attachment"
    response["Content-Security-Policy"] = policy
    response["X-Content-Type-Options"] = "nosniff"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    response["Cache-Control"] = cache
    return response

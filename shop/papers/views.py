import uuid

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from shop.papers import selectors
from shop.papers.models import Document

# What a browser shows by itself under the sandbox policy below (a PDF too: seen in Chromium 156). All else is
# saved, so that no stored file runs as a page of ours.
SHOWN_INLINE = {"application/pdf", "image/jpeg", "image/png", "image/webp"}


@require_safe
@permission_required("papers.view_document", raise_exception=True)
def document(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:  # noqa: ARG001
    paper = get_object_or_404(Document, uid=uid)
    inline = paper.media_type in SHOWN_INLINE
    response = HttpResponse(selectors.content(paper), content_type=paper.media_type)
    response["Content-Disposition"] = content_disposition_header(not inline, paper.name) or "attachment"
    response["Cache-Control"] = "private, no-store"
    response["Content-Security-Policy"] = "sandbox"
    response["X-Content-Type-Options"] = "nosniff"
    return response

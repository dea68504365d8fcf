"""The dispatch note of a lot as a file: ours, or the copy for the vendor."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.desk import vendor_job, vendor_paper
from quotes.desk.context import DESK
from shop.floor.views.cards import address_of
from shop.papers.downloads import PDF, download
from shop.papers.pdf import RenderFailed
from shop.people.roles import role_required


@require_safe
@role_required(*DESK)
def dispatch_note(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = vendor_job.known_job(uid)
    found = vendor_paper.note(row, for_vendor=request.GET.get("for") == "vendor", now=timezone.now())
    try:
        content = vendor_paper.note_pdf(found, address=address_of(request, "desk:vendor_job", uid))
    except RenderFailed:
        messages.error(request, _("The paper could not be made just now. Try again."))
        return redirect("desk:vendor_job", uid=uid)
    return download(content, kind=PDF, name=f"{row} {row.vendor}")


urlpatterns = [path("vendor-work/jobs/<uuid:uid>/note/", dispatch_note, name="dispatch_note")]

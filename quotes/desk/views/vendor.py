"""A vendor's page: its terms, what is there and what that is worth, its services, and all that it did for us."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from quotes.desk import saving, vendor_past
from quotes.desk.context import DESK
from quotes.desk.forms_vendor import TermsForm
from quotes.desk.views.editor import who
from shop.methods.models import Vendor
from shop.people.roles import role_required
from shop.vendor_jobs.models import Terms
from shop.vendor_jobs.sending import value_there
from shop.vendor_jobs.terms import set_terms, terms_of

UNPROCESSABLE = 422
#: Jobs on one page.
EACH = 15


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def vendor(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The terms are set on it."""
    row = get_object_or_404(Vendor, uid=uid)
    terms = terms_of(row)
    if request.method != "POST":
        return _page(request, row, terms, TermsForm(terms=terms))
    form = TermsForm(request.POST, terms=terms)
    if form.is_valid():
        try:
            set_terms(vendor=row, **form.cleaned_data, who=who(request), now=timezone.now())
        except ValidationError as error:
            saving.place(form, error, None)
        else:
            messages.success(request, _("The terms are set."))
            return redirect("desk:vendor", uid=uid)
    return _page(request, row, terms, form, status=UNPROCESSABLE)


def _page(request: HttpRequest, row: Vendor, terms: Terms, form: TermsForm, *, status: int = 200) -> HttpResponse:
    worth = value_there(row)
    context: dict[str, Any] = {
        "vendor": row,
        "terms": terms,
        "form": form,
        "there": vendor_past.there(row),
        "worth": worth,
        "beyond": max(worth - terms.insured_minor, 0) if terms.insured_minor is not None else 0,
        "services": row.services.order_by("name"),
        "page": Paginator(vendor_past.jobs(row), EACH).get_page(request.GET.get("page")),
        "today": timezone.localdate(),
    }
    return render(request, "desk/vendor.html", context, status=status)


urlpatterns = [path("vendor-work/vendors/<uuid:uid>/", vendor, name="vendor")]

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied, SuspiciousOperation
from django.http import HttpRequest, HttpResponse
from django.urls import path

from shop.urls import urlpatterns as all_urls


@login_not_required
def broken(request: HttpRequest) -> HttpResponse:
    raise RuntimeError("the secret of table quotes_draft")


@login_not_required
def refused(request: HttpRequest) -> HttpResponse:
    raise PermissionDenied


@login_not_required
def suspicious(request: HttpRequest) -> HttpResponse:
    raise SuspiciousOperation("a path like /etc/passwd")


urlpatterns = [*all_urls, path("broken/", broken), path("refused/", refused), path("suspicious/", suspicious)]

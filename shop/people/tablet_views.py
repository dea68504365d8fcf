"""The door for a tablet of the workshop: whoever brings a code confirms it, and looking at the page lets nobody in."""

from django import forms
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from shop.people import tablets
from shop.people.sessions import FLOOR


class CodeForm(forms.Form):
    code = forms.CharField(
        label=gettext_lazy("Code"),
        max_length=tablets.LONGEST,
        help_text=gettext_lazy(
            "Eight letters and digits, from the manager's page “Tablets”. It works for ten minutes."
        ),
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false", "size": 12}
        ),
        error_messages={"required": gettext_lazy("Fill this in.")},
    )


@never_cache
@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def enrol(request: HttpRequest, code: str = "") -> HttpResponse:
    form = CodeForm(request.POST or None, initial={"code": code})
    if request.method == "POST" and form.is_valid():
        try:
            _tablet, secret = tablets.enrol(code=form.cleaned_data["code"], now=timezone.now())
        except ValidationError as error:
            form.add_error("code", error.messages[0])
        else:
            logout(request)
            response = redirect(FLOOR)
            tablets.set_cookie(response, secret)
            return response
    return render(request, "people/enrol.html", {"form": form}, status=422 if form.errors else 200)

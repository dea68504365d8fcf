"""How customers know this workshop: what stands at the head of every quote."""

from typing import TYPE_CHECKING

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from shop.people.models import Shop
from shop.people.roles import ROLE_MANAGER, role_required
from shop.people.services import describe_shop

if TYPE_CHECKING:  # ModelForm takes its model in brackets for the type checker only
    ShopModelForm = forms.ModelForm[Shop]
else:
    ShopModelForm = forms.ModelForm


class ShopForm(ShopModelForm):
    """Name and addresses of the workshop."""

    class Meta:
        model = Shop
        fields = ("name", "address", "email", "phone", "tax_number")


@require_http_methods(["GET", "POST"])
@role_required(ROLE_MANAGER)
def workshop(request: HttpRequest) -> HttpResponse:
    form = ShopForm(request.POST or None, instance=Shop.objects.first())
    if request.method == "POST" and form.is_valid():
        describe_shop(**form.cleaned_data, who=request.user.get_username(), now=timezone.now())
        messages.success(request, _("Saved. Quotes issued from now on carry it."))
        return redirect("desk:workshop")
    return render(request, "desk/workshop.html", {"form": form}, status=422 if form.errors else 200)


urlpatterns = [path("workshop/", workshop, name="workshop")]

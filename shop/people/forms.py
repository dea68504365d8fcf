from typing import Any

from allauth.account.forms import ChangePasswordForm, LoginForm
from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from shop.people.services import change_password


class SignInForm(LoginForm):  # type: ignore[misc]
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(self, login=_("Username"), password=_("Password"))
        self.fields["login"].widget.attrs["autocapitalize"] = "none"


class NewPasswordForm(ChangePasswordForm):  # type: ignore[misc]
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(
            self, oldpassword=_("Present password"), password1=_("New password"), password2=_("New password again")
        )
        self.fields["password1"].help_text = _("At least 8 characters, and not a common password.")

    def save(self) -> None:
        change_password(person=self.user, password=self.cleaned_data["password1"], now=timezone.now())


def _relabel(form: forms.Form, **labels: Any) -> None:
    """Our own words; and no placeholders, which vanish when somebody types."""
    for name, label in labels.items():
        form.fields[name].label = label
        form.fields[name].help_text = ""
        form.fields[name].widget.attrs.pop("placeholder", None)

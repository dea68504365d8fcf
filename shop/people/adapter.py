from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _


class ClosedAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    """Nobody signs up: the shop adds its people itself."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "username_password_mismatch": _("This username and this password do not belong together. Check both."),
        "too_many_login_attempts": _("Too many tries. Wait five minutes, then sign in again."),
        "enter_current_password": _("This is not your present password. Type it again."),
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:  # noqa: ARG002
        return False

    def get_password_change_redirect_url(self, request: HttpRequest) -> str:  # noqa: ARG002
        return resolve_url(settings.LOGIN_REDIRECT_URL)

    def respond_user_inactive(self, request: HttpRequest, user: Any) -> HttpResponse:  # noqa: ARG002
        messages.error(request, gettext("This sign-in is switched off. Ask the manager to switch it on again."))
        return redirect(settings.LOGIN_URL)

"""The form with which a page takes in a photograph; it is shown by ``components/photographs.html``.

In a view, with an address that the page posts to::

    form = PhotographForm(request.POST or None, request.FILES or None, prefix="photograph")
    if request.method == "POST" and (photograph := photograph_from(request, form)):
        link_to_evidence(..., photograph=photograph)
        return redirect(...)
    context = {"photographs": [...], "photograph_form": form, "photograph_action": request.path}
"""

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from shop.papers.models import Photograph
from shop.papers.photographs import keep_photograph

# A hint to the browser, which may also turn a HEIC picture into JPEG for it; what comes is judged by its content.
ACCEPT = "image/jpeg,image/png,image/webp"
NO_FILE = _("Choose a photograph.")


class PhotographForm(forms.Form):
    file = forms.FileField(
        label=_("Photograph"),
        help_text=_("JPEG, PNG or WebP, up to 25 MB. Place, camera and other hidden notes are not kept."),
        widget=forms.FileInput(attrs={"accept": ACCEPT}),
        error_messages={
            "required": NO_FILE,
            "missing": NO_FILE,
            "invalid": _("No file came along. Choose it again."),
            "empty": _("This file is empty. Choose another."),
        },
    )
    caption = forms.CharField(
        label=_("What it shows"),
        max_length=Photograph._meta.get_field("caption").max_length,
        error_messages={"required": _("Say what it shows.")},
    )
    taken_on = forms.DateField(
        label=_("Taken on"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": _("Enter the day as year-month-day, such as 2026-03-02.")},
    )

    @property
    def file_is_forgotten(self) -> bool:
        """A file came along and was in order, but a page that is shown again cannot keep it."""
        return bool(self.errors) and "file" not in self.errors


def photograph_from(request: HttpRequest, form: PhotographForm) -> Photograph | None:
    """The photograph of a bound form, kept; or None, with what is wrong said at its fields."""
    if not form.is_valid():
        return None
    given = form.cleaned_data
    try:
        return keep_photograph(
            upload=given["file"],
            caption=given["caption"],
            taken_on=given["taken_on"],
            who=request.user.get_username(),
            now=timezone.now(),
        )
    except ValidationError as error:
        form.add_error(None, error)
        return None

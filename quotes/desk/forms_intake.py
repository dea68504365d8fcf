"""Forms of the intake page: what came in, what a photograph shows, who signed, who cleared numbers."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from quotes.desk.forms import MinorMoney, PlainForm, plainly
from shop.papers.photographs_forms import ACCEPT, NO_FILE, PhotographForm
from shop.restorations.intake import STAMPED_FIELDS
from shop.restorations.models import Intake, IntakePhotograph

LONGEST = 4_000
NUMBERS = ("frame_number", "papers_frame_number", "engine_number", "papers_engine_number")
CAME_WITH = ("came_on", "brought_by", "papers", "keys", "reading")
STATE = ("missing", "condition", "agreed_value_minor")

#: Numbers are typed as they are read: no phone may turn them into words or capitals.
AS_READ = {"autocapitalize": "characters", "autocorrect": "off", "spellcheck": "false"}


def _day(label: Any) -> forms.DateField:
    return forms.DateField(
        label=label,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": _("Enter the day as year-month-day, such as 2026-03-02.")},
    )


def _number(label: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=40, required=False, widget=forms.TextInput(attrs=AS_READ))


def _text(label: Any, rows: int, help_text: Any = "") -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows})
    return forms.CharField(label=label, max_length=LONGEST, required=False, widget=widget, help_text=help_text)


class IntakeForm(forms.Form):
    """Every field of an intake, and the two numbers that are stamped on its machine."""

    frame_number = _number(_("Frame number, as stamped"))
    papers_frame_number = _number(_("Frame number, in the papers"))
    engine_number = _number(_("Engine number, as stamped"))
    papers_engine_number = _number(_("Engine number, in the papers"))
    came_on = _day(_("Came in on"))
    brought_by = forms.CharField(label=_("Brought by"), max_length=120, required=False)
    papers = forms.CharField(label=_("Papers that came with it"), max_length=200, required=False)
    keys = forms.CharField(label=_("Keys"), max_length=120, required=False)
    reading = forms.IntegerField(label=_("Distance on the clock"), min_value=0, max_value=10**7, required=False)
    missing = _text(_("Missing parts"), 4, _("One in each line."))
    condition = _text(_("Condition"), 5, _("What can be seen without taking it apart."))

    def __init__(self, data: Any = None, *, intake: Intake) -> None:
        super().__init__(data, initial=_now(intake), auto_id="intake-%s")
        self.fields["agreed_value_minor"] = MinorMoney(
            label=_("Agreed value as it came in"), required=False, help_text=_("What it is worth as it stands here.")
        )
        plainly(self)


def _now(intake: Intake) -> dict[str, Any]:
    machine = intake.restoration.machine
    own = {name: getattr(intake, name) for name in (*NUMBERS, *CAME_WITH, *STATE) if name not in STAMPED_FIELDS}
    return own | {name: getattr(machine, name) for name in STAMPED_FIELDS}


class IntakePhotographForm(PhotographForm):
    """A photograph from the camera or one taken before; without words of its own it is called by what it shows."""

    camera = forms.FileField(
        label=_("Take a photograph"),
        required=False,
        widget=forms.FileInput(attrs={"accept": ACCEPT, "capture": "environment"}),
    )
    shows = forms.ChoiceField(label=_("What it shows"), choices=IntakePhotograph.Shows)
    field_order = ("shows", "camera", "file", "caption")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["taken_on"]
        file, caption = self.fields["file"], self.fields["caption"]
        file.label, file.required = _("Or choose one"), False
        caption.label, caption.required = _("More about it"), False
        self.fields["camera"].error_messages |= file.error_messages

    @property
    def given(self) -> bool:
        """Whether a photograph came along."""
        return any(self.add_prefix(name) in self.files for name in ("camera", "file"))

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        data["file"] = data.get("camera") or data.get("file")
        if not data["file"] and not self.errors.keys() & {"camera", "file"}:
            super().add_error("file", NO_FILE)
        data["caption"] = data.get("caption") or dict(IntakePhotograph.Shows.choices).get(data.get("shows", ""), "")
        return data | {"taken_on": None}

    def add_error(self, field: str | None, error: Any) -> None:
        """What is wrong with the picture is said where it was taken or chosen."""
        told = getattr(error, "error_dict", {})
        if "file" in told and self.add_prefix("camera") in self.files:
            error = ValidationError({("camera" if name == "file" else name): said for name, said in told.items()})
        super().add_error(field, error)

    @property
    def file_is_forgotten(self) -> bool:
        return self.given and bool(self.errors) and not self.errors.keys() & {"camera", "file"}


class ShowsForm(PlainForm):
    """What a photograph shows, corrected."""

    shows = forms.ChoiceField(label=_("Shows"), choices=IntakePhotograph.Shows)


class SignIntakeForm(PlainForm):
    """Who signed the sheet, and when. ``seen`` is the mark of the words they read."""

    prefix = "sign"
    who_signed = forms.CharField(label=_("Who signed"), max_length=120)
    signed_on = _day(_("Signed on"))
    seen = forms.CharField(widget=forms.HiddenInput, required=False)


class ClearNumbersForm(PlainForm):
    """Who decided that numbers which do not match are in order, and why; with the numbers that were looked at."""

    who_decided = forms.CharField(label=_("Who decided"), max_length=120)
    reason = forms.CharField(
        label=_("Reason"), max_length=300, help_text=_("What was looked at, and what explains it.")
    )
    seen_stamped_frame = forms.CharField(widget=forms.HiddenInput, required=False, strip=False)
    seen_papers_frame = forms.CharField(widget=forms.HiddenInput, required=False, strip=False)
    seen_stamped_engine = forms.CharField(widget=forms.HiddenInput, required=False, strip=False)
    seen_papers_engine = forms.CharField(widget=forms.HiddenInput, required=False, strip=False)

"""What the manager types at the review: notes, what the shop spent, the labour grade of a person."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from quotes.desk.forms import MinorMoney, PlainForm, plainly
from quotes.desk.views.days import DayField
from quotes.margin.models import Overhead, WeekNote
from shop.people.models import Grade


class NoteForm(PlainForm):
    """A note or a decision, kept with the week."""

    words = forms.CharField(
        label=_("Note or decision"),
        max_length=WeekNote._meta.get_field("words").max_length,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    decided = forms.BooleanField(label=_("It is a decision"), required=False)


class OverheadForm(PlainForm):
    """A bill that is for no one bike."""

    words = forms.CharField(label=_("What for"), max_length=Overhead._meta.get_field("words").max_length)
    on = DayField(label=_("Dated"))

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, initial={"on": timezone.localdate()}, auto_id="overhead-%s")
        self.fields["net_minor"] = MinorMoney(label=_("Amount before tax"))
        self.order_fields(("words", "net_minor"))
        plainly(self)


class GradeForm(PlainForm):
    """What grade somebody has from a day on."""

    grade = forms.ModelChoiceField(Grade.objects.all(), label=_("Labour grade"), empty_label=None)
    since = DayField(label=_("From"))

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, initial={"since": timezone.localdate()}, auto_id="grade-%s")

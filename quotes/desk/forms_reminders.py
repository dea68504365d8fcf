"""Forms of the rules of reminders: the whole shop's, a vendor's own, and when it is quiet."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import PlainForm
from quotes.desk.views.times import DAYS
from shop.methods.models import Vendor
from shop.vendor_jobs.models import Kind
from shop.vendor_jobs.reminding.rules import AT_ONCE, MOST, OF_VENDORS, WEEKDAYS, Said, rules


class RulesForm(PlainForm):
    """A row of boxes for each kind: whether, how many days, and how many more until the manager hears of it."""

    def __init__(self, data: Any = None) -> None:
        held = rules()
        first: dict[str, Any] = {}
        super().__init__(data)
        for kind in Kind:
            said, label = held.of(kind), str(kind.label)
            self.fields[f"on_{kind}"] = forms.BooleanField(
                label=_("Remind: %(kind)s") % {"kind": label}, required=False
            )
            first[f"on_{kind}"] = said.on
            if kind in AT_ONCE:
                continue
            days = _("%(kind)s: working days") % {"kind": label[:1].upper() + label[1:]}
            climbs = _("%(kind)s: the manager hears of it after so many more") % {"kind": label[:1].upper() + label[1:]}
            self.fields[f"days_{kind}"] = _number(days)
            self.fields[f"climbs_after_{kind}"] = _number(climbs, required=False)
            first |= {f"days_{kind}": said.days, f"climbs_after_{kind}": said.climbs_after}
        self.initial = first

    def rows(self) -> list[list[forms.BoundField]]:
        """The boxes by kind."""
        return [
            [self[name] for name in (f"on_{kind}", f"days_{kind}", f"climbs_after_{kind}") if name in self.fields]
            for kind in Kind
        ]

    def said(self) -> dict[Kind, Said]:
        """The rules as they were typed."""
        given = self.cleaned_data
        return {
            kind: Said(given[f"on_{kind}"], given.get(f"days_{kind}") or 0, given.get(f"climbs_after_{kind}"))
            for kind in Kind
        }


def _number(label: str, *, required: bool = True) -> forms.IntegerField:
    box = forms.TextInput(attrs={"inputmode": "numeric", "size": 8})
    wrong = {"invalid": _("Write a whole number of working days."), "required": _("Write a number of working days.")}
    limits = {"min_value": _("Give 0 or more."), "max_value": _("Give %(most)s at most.") % {"most": MOST}}
    return forms.IntegerField(
        label=label, required=required, min_value=0, max_value=MOST, widget=box, error_messages=wrong | limits
    )


class QuietForm(PlainForm):
    days = forms.MultipleChoiceField(
        label=gettext_lazy("Nobody is told on"),
        choices=[(digit, label) for digit, (_value, label) in zip(WEEKDAYS, DAYS, strict=True)],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    morning = forms.TimeField(label=gettext_lazy("The digest goes out at"))
    evening = forms.TimeField(label=gettext_lazy("Quiet from"))
    digest = forms.BooleanField(label=gettext_lazy("A digest by e-mail in the morning"), required=False)


class VendorRuleForm(PlainForm):
    """A rule of one vendor's own. What is told of at once has no days."""

    vendor = forms.ModelChoiceField(
        Vendor.objects.order_by("name"), label=gettext_lazy("Vendor"), to_field_name="uid", empty_label=None
    )
    kind = forms.ChoiceField(
        label=gettext_lazy("Of what"), choices=[(kind.value, kind.label) for kind in OF_VENDORS], initial=Kind.OVERDUE
    )
    on = forms.BooleanField(label=gettext_lazy("Reminds"), required=False, initial=True)
    days = forms.IntegerField(
        label=gettext_lazy("Working days before or after"), min_value=0, max_value=MOST, required=False, initial=0
    )
    climbs_after = forms.IntegerField(
        label=gettext_lazy("The manager hears of it after so many more"), min_value=0, max_value=MOST, required=False
    )

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, auto_id="own-%s")

    def given(self) -> dict[str, Any]:
        """What `set_rule` takes."""
        said = dict(self.cleaned_data)
        at_once = said["kind"] in AT_ONCE
        return said | {
            "kind": Kind(said["kind"]),
            "days": 0 if at_once else said["days"] or 0,
            "climbs_after": None if at_once else said["climbs_after"],
        }

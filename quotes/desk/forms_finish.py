"""Forms of the page on which a factory finish is proven and the agreed one is signed."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import Number, plainly
from shop.methods.models import EvidenceSource, Finish, Strength
from shop.restorations.models import FinishAgreement, FinishEvidence, Part
from shop.routes.models import Step

NONE_LISTED = "none"
LIMITS = ("years_from", "years_to", "markets", "numbers_from", "numbers_to")


class ListForm(forms.Form):
    """Another finish that a part may have had."""

    prefix = "list"
    finish = forms.ModelChoiceField(Finish.objects.all(), label=gettext_lazy("It may have been"))
    weight = Number(
        label=gettext_lazy("Weight"),
        initial=1,
        max_digits=6,
        decimal_places=2,
        help_text=gettext_lazy("Against the others, before any evidence: 2 is twice as likely as 1."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        plainly(self)
        self.fields["finish"].empty_label = "—"  # type: ignore[attr-defined]


class EvidenceForm(forms.Form):
    """What says which finish a part had. ``evidence`` fills it in to be corrected."""

    kind = forms.ChoiceField(label=gettext_lazy("Kind"), choices=FinishEvidence.Kind)
    source = forms.ModelChoiceField(EvidenceSource.objects.none(), label=gettext_lazy("Source"), required=False)
    origin = forms.CharField(
        label=gettext_lazy("Origin"),
        max_length=120,
        required=False,
        help_text=gettext_lazy("Where it comes from first: two copies of one thing are one witness."),
    )
    says = forms.ChoiceField(label=gettext_lazy("It says it was"))
    strength = forms.ChoiceField(label=gettext_lazy("How much it says"), choices=Strength, initial=Strength.FAIR)
    years_from = forms.IntegerField(label=gettext_lazy("From year"), required=False)
    years_to = forms.IntegerField(label=gettext_lazy("To year"), required=False)
    markets = forms.CharField(
        label=gettext_lazy("Markets"),
        max_length=100,
        required=False,
        help_text=gettext_lazy("Separated by commas; all if empty."),
    )
    numbers_from = forms.CharField(label=gettext_lazy("From frame number"), max_length=40, required=False)
    numbers_to = forms.CharField(label=gettext_lazy("To frame number"), max_length=40, required=False)
    note = forms.CharField(
        label=gettext_lazy("Note"), widget=forms.Textarea(attrs={"rows": 2}), max_length=2_000, required=False
    )

    def __init__(self, data: Any = None, *, part: Part, evidence: FinishEvidence | None = None) -> None:
        super().__init__(data, prefix="evidence", initial=_now(evidence) if evidence else None)
        in_use = Q(ended=False) | Q(pk=evidence.source_id if evidence else None)
        self.fields["source"].queryset = EvidenceSource.objects.filter(in_use)  # type: ignore[attr-defined]
        self.finishes = {str(row.finish_id): row.finish for row in part.candidates.select_related("finish")}
        names = [(pk, finish.name) for pk, finish in self.finishes.items()]
        says = self.fields["says"]
        says.choices = [("", "—"), *names, (NONE_LISTED, _("none of these"))]  # type: ignore[attr-defined]
        plainly(self)

    @property
    def said(self) -> list[forms.BoundField]:
        """What every piece of evidence says."""
        return [self[name] for name in self.fields if name not in LIMITS]

    @property
    def limits(self) -> list[forms.BoundField]:
        """Of which machines it speaks, where not of all."""
        return [self[name] for name in LIMITS]

    @property
    def is_limited(self) -> bool:
        """Whether there is something to be seen among the limits."""
        return any(box.value() or box.errors for box in self.limits)

    def clean_says(self) -> Finish | None:
        return self.finishes.get(self.cleaned_data["says"])

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        if not data.get("origin") and not data.get("source") and "origin" not in self.errors:
            self.add_error("origin", _("Say where it comes from first, or choose a source."))
        return data

    def changes(self) -> dict[str, Any]:
        """What differs from what is stored, as `change_evidence` takes it."""
        return {name: self.cleaned_data[name] for name in self.changed_data if name in self.cleaned_data}


def _now(evidence: FinishEvidence) -> dict[str, Any]:
    fields = ("kind", "origin", "strength", "years_from", "years_to", "markets", "numbers_from", "numbers_to", "note")
    now = {name: getattr(evidence, name) for name in fields}
    return now | {"source": evidence.source_id, "says": str(evidence.says_id or NONE_LISTED)}


class SignForm(forms.Form):
    """What the customer signed for."""

    prefix = "sign"
    finish = forms.ModelChoiceField(Finish.objects.all(), label=gettext_lazy("Agreed finish"))
    deviation = forms.CharField(
        label=gettext_lazy("How it departs from the factory finish"),
        max_length=200,
        required=False,
        help_text=gettext_lazy("Also another process for the same look. Empty when it is as the factory had it."),
    )
    who_agreed = forms.CharField(label=gettext_lazy("Who agreed"), max_length=120)
    how = forms.ChoiceField(label=gettext_lazy("How"), choices=FinishAgreement.How)
    said_on = forms.DateField(
        label=gettext_lazy("Agreed on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        plainly(self)
        self.fields["finish"].empty_label = "—"  # type: ignore[attr-defined]


class OverrideForm(forms.Form):
    """Who lets steps begin although the evidence holds them back, and why."""

    prefix = "override"
    step = forms.ChoiceField(label=gettext_lazy("Which step"), required=False)
    who_decided = forms.CharField(label=gettext_lazy("Who decided"), max_length=120)
    reason = forms.CharField(label=gettext_lazy("Reason"), max_length=200)

    def __init__(self, data: Any = None, *, steps: Sequence[Step]) -> None:
        super().__init__(data)
        self.steps = {str(step.uid): step for step in steps}
        names = [(uid, str(step)) for uid, step in self.steps.items()]
        self.fields["step"].choices = [("", _("all that wait")), *names]  # type: ignore[attr-defined]
        plainly(self)

    def chosen(self) -> list[Step]:
        """The step that was named, or all."""
        uid = self.cleaned_data["step"]
        return [self.steps[uid]] if uid else list(self.steps.values())

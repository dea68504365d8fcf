"""What is typed and ticked on the floor about checks, work to do again, and damage."""

import uuid
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop import currency, figures
from shop.floor.checks import Asked
from shop.floor.models import Checked, DamageReport, Rework
from shop.methods.models import Cause, Operation, PossibleDamage, Service
from shop.papers.photographs_forms import ACCEPT
from shop.people.models import User
from shop.restorations.models import Part
from shop.routes.models import Step
from shop.text import locale

SENTENCES = {
    "required": gettext_lazy("Fill this in."),
    "invalid": gettext_lazy("Give a number in digits, such as 12.5."),
    "invalid_choice": gettext_lazy("Choose one from the list."),
    "min_value": gettext_lazy("Give %(limit_value)s or more."),
    "max_value": gettext_lazy("Give %(limit_value)s at most."),
    "max_digits": gettext_lazy("That number is too long."),
    "max_decimal_places": gettext_lazy("Give %(max)s decimal places at most."),
    "max_whole_digits": gettext_lazy("That number is too large."),
    "max_length": gettext_lazy("Give %(limit_value)d letters at most."),
    "null_characters_not_allowed": gettext_lazy("There is a character in it that cannot be kept."),
}
YES, NO = "yes", "no"


class FloorForm(forms.Form):
    """Speaks in our own sentences."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.error_messages = {**field.error_messages, **SENTENCES}

    def place(self, error: Any, otherwise: str | None = None) -> None:
        """Put what a service refused at its box."""
        named = error.error_dict if hasattr(error, "error_dict") else {}
        for name, errors in named.items() if named else [("", error.error_list)]:
            self.add_error(name if name in self.fields else otherwise, errors)


class Figure(forms.DecimalField):
    """A number as people write it: 12.5 or 12,5."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "size": 8, "autocomplete": "off"})

    # Django's own decimal field is a whole-number field to the type checker.
    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        if isinstance(value, str) and value.strip():
            try:
                value = figures.read(value, language=locale(), currency=currency.code())
            except figures.NotAFigureError:
                raise forms.ValidationError(SENTENCES["invalid"], code="invalid") from None
            except figures.TwoWaysError as error:
                said = _("This can be read in two ways. Write %(small)s or %(large)s.")
                raise forms.ValidationError(
                    said, code="two ways", params={"small": error.small, "large": error.large}
                ) from error
        return super().to_python(value)


class Pieces(Figure):
    """A whole number of pieces."""

    widget = forms.TextInput(attrs={"inputmode": "numeric", "size": 6, "autocomplete": "off"})

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(decimal_places=0, max_digits=6, **kwargs)

    def clean(self, value: Any) -> Any:
        found = super().clean(value)
        return None if found is None else int(found)


class ChecksForm(FloorForm):
    """All that is asked of a step in one form; what is left empty stays as it is."""

    visit = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, asked: Sequence[Asked], visit: int) -> None:
        super().__init__(data, initial={"visit": visit})
        self.asked = asked
        for one in asked:
            field = _measured(one) if one.is_measured else _ticked(one)
            field.error_messages = {**field.error_messages, **SENTENCES}
            self.fields[name_of(one)] = field

    def rows(self) -> list[tuple[Asked, forms.BoundField]]:
        return [(one, self[name_of(one)]) for one in self.asked]

    def answers(self) -> Iterable[tuple[Asked, dict[str, Any]]]:
        """What was answered and is not what stands already. Said to be wrong once more, it is kept once more."""
        for one in self.asked:
            given = self.cleaned_data.get(name_of(one))
            if given in (None, ""):
                continue
            answer = {"value": given} if one.is_measured else {"as_it_should": given == YES}
            if not (one.result and _same(one.result, answer)):
                yield one, answer


def name_of(asked: Asked) -> str:
    return f"check-{asked.check.uid}"


def _same(row: Checked, answer: dict[str, Any]) -> bool:
    if "value" in answer:
        return bool(row.value == answer["value"])
    return bool(row.as_it_should == answer["as_it_should"])


def _measured(one: Asked) -> forms.Field:
    field = Figure(
        label=one.check.words,
        required=False,
        min_value=0,
        max_digits=12,
        decimal_places=3,
        initial=_shown(one.result.value) if one.result else None,
    )
    field.widget.attrs["aria-describedby"] = f"limits-{one.check.uid}"
    return field


def _shown(value: Decimal | None) -> str:
    return "" if value is None else f"{value.normalize():f}"


def _ticked(one: Asked) -> forms.Field:
    initial = (YES if one.result.as_it_should else NO) if one.result else None
    choices = [(YES, _("As it should be")), (NO, _("Not as it should be"))]
    return forms.ChoiceField(
        label=one.check.words, choices=choices, required=False, widget=forms.RadioSelect, initial=initial
    )


class PassForm(FloorForm):
    """Who lets pass what is not as it should be, and why. Signed in, it is whoever is signed in."""

    check = forms.UUIDField(widget=forms.HiddenInput)
    visit = forms.IntegerField(widget=forms.HiddenInput)
    passed_by = forms.ModelChoiceField(
        User.objects.none(), label=gettext_lazy("Who lets it pass"), to_field_name="uid", empty_label="—"
    )
    reason = forms.CharField(
        label=gettext_lazy("Why it may pass"), max_length=Checked._meta.get_field("reason").max_length
    )

    def __init__(self, data: Any = None, *, people: Any, only: User | None, prefix: str = "", **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.auto_id = f"{prefix}%s"
        if only is not None:
            del self.fields["passed_by"]
        else:
            self.fields["passed_by"].queryset = people  # type: ignore[attr-defined]


class PhotographBox(FloorForm):
    """A photograph that may come along, and the number of one that came with the form before something was wrong."""

    file = forms.FileField(
        label=gettext_lazy("Photograph"),
        required=False,
        widget=forms.FileInput(attrs={"accept": ACCEPT, "capture": "environment"}),
        help_text=gettext_lazy("One picture, up to 25 MB."),
    )
    kept = forms.UUIDField(widget=forms.HiddenInput, required=False)


class AgainForm(PhotographBox):
    """What has to be done again, and why. ``ways`` are the steps it can go back to, ``origins`` where it may have come from."""

    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    visit = forms.IntegerField(widget=forms.HiddenInput)
    cause = forms.ModelChoiceField(
        Cause.objects.none(), label=gettext_lazy("Why"), to_field_name="uid", empty_label=None, widget=forms.RadioSelect
    )
    came_from = forms.ChoiceField(label=gettext_lazy("Where it came from"), required=False)
    other = forms.ModelChoiceField(
        Part.objects.none(), label=gettext_lazy("Another part"), to_field_name="uid", required=False
    )
    back_to = forms.ChoiceField(label=gettext_lazy("Back to which step"))
    remedies = forms.MultipleChoiceField(
        label=gettext_lazy("First, before that"), required=False, widget=forms.CheckboxSelectMultiple
    )
    first = forms.ChoiceField(label=gettext_lazy("Something else first"), required=False)
    pieces = Pieces(label=gettext_lazy("Pieces"), min_value=1)
    apart = forms.BooleanField(label=gettext_lazy("Only these go back; the others go on"), required=False, initial=True)
    scrapped = Pieces(label=gettext_lazy("Of these scrapped"), min_value=0, required=False)
    note = forms.CharField(
        label=gettext_lazy("Note"), max_length=Rework._meta.get_field("note").max_length, required=False
    )

    field_order = ("cause", "back_to", "came_from", "other", "remedies", "first", "pieces", "apart", "scrapped", "note")

    def __init__(self, *args: Any, options: "Options", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.options = options
        self.fields["cause"].queryset = options.causes  # type: ignore[attr-defined]
        self.fields["other"].queryset = options.parts  # type: ignore[attr-defined]
        self.fields["other"].empty_label = "—"  # type: ignore[attr-defined]
        choose = {
            "came_from": [("", _("not known")), *options.origins],
            "back_to": [(str(one.uid), str(one)) for one in options.ways],
            "remedies": options.remedies,
            "first": [("", "—"), *options.works],
        }
        for name, choices in choose.items():
            self.fields[name].choices = choices  # type: ignore[attr-defined]
        if options.part.pieces == 1:
            for name in ("pieces", "apart"):
                del self.fields[name]
        self.fields["cause"].error_messages["required"] = _("Choose why: it is what the next bike learns from.")

    def clean_scrapped(self) -> int:
        return self.cleaned_data.get("scrapped") or 0

    def chosen_remedies(self) -> list[Operation | Service]:
        keys = [*self.cleaned_data["remedies"], *([self.cleaned_data["first"]] if self.cleaned_data["first"] else [])]
        return [self.options.known[key] for key in dict.fromkeys(keys)]


class Options:
    """What can be chosen on the form of work to do again."""

    def __init__(
        self,
        *,
        part: Part,
        causes: Any,
        parts: Any,
        ways: Sequence[Step],
        origins: Sequence[Any],
        proposed: Sequence[Operation | Service],
        works: Sequence[Operation | Service],
    ) -> None:
        self.part, self.causes, self.parts, self.ways, self.origins = part, causes, parts, ways, origins
        self.known = {key_of(work): work for work in (*works, *proposed)}
        self.remedies = [(key_of(work), str(work)) for work in proposed]
        self.works = [(key_of(work), str(work)) for work in works]


def key_of(work: Operation | Service) -> str:
    return f"{'operation' if isinstance(work, Operation) else 'service'} {work.uid}"


class DamageForm(PhotographBox):
    """What is damaged, as far as a mechanic sees it."""

    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    possible = forms.ModelChoiceField(
        PossibleDamage.objects.none(),
        label=gettext_lazy("What is damaged"),
        to_field_name="uid",
        required=False,
        empty_label=gettext_lazy("something else"),
        widget=forms.RadioSelect,
    )
    words = forms.CharField(
        label=gettext_lazy("What you see"),
        max_length=DamageReport._meta.get_field("words").max_length,
        required=False,
        help_text=gettext_lazy("Where, and how bad."),
    )
    hours = Figure(
        label=gettext_lazy("Hours to put it right, guessed"),
        min_value=0,
        max_value=1_000,
        max_digits=6,
        decimal_places=2,
        help_text=gettext_lazy("A guess is enough. The desk makes the price."),
    )

    field_order = ("possible", "words", "hours", "file")

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        usual = PossibleDamage.objects.filter(kind=part.kind_id, ended=False).order_by("name")
        self.fields["possible"].queryset = usual  # type: ignore[attr-defined]
        if not usual.exists():
            del self.fields["possible"]
            self.fields["words"].required = True

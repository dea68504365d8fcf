"""Forms of the restoration's page. Each field carries what the person saw, so that two people cannot overwrite each other."""

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.validators import DecimalValidator, MaxLengthValidator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.engine import canonical
from quotes.engine.money import from_minor, places, to_minor
from quotes.pricing.models import Draft
from shop import currency, figures
from shop.methods.models import Measure, Operation, PartKind, Service
from shop.rates.models import Status, TaxRate
from shop.restorations.models import Part, Side
from shop.restorations.services import SIDES
from shop.routes.models import Source, Step
from shop.text import locale

if TYPE_CHECKING:  # ModelForm takes its model in brackets for the type checker only
    PartModelForm = forms.ModelForm[Part]
    StepModelForm = forms.ModelForm[Step]
    DraftModelForm = forms.ModelForm[Draft]
else:
    PartModelForm = StepModelForm = DraftModelForm = forms.ModelForm

SEEN = "seen-"
LONGEST_NOTE = 2_000

#: What our own pages say instead of the framework's sentences.
SENTENCES = {
    "required": gettext_lazy("Fill this in."),
    "invalid_choice": gettext_lazy("Choose one from the list."),
    "min_value": gettext_lazy("Give %(limit_value)s or more."),
    "max_value": gettext_lazy("Give %(limit_value)s at most."),
    "max_length": gettext_lazy("Give %(limit_value)d letters at most."),
    "max_digits": gettext_lazy("That number is too long."),
    "max_decimal_places": gettext_lazy("Give %(max)s decimal places at most."),
    "max_whole_digits": gettext_lazy("That number is too large."),
    "null_characters_not_allowed": gettext_lazy("There is a character in it that cannot be kept."),
}
NOT_A_NUMBER = gettext_lazy("Give a number in digits, such as 12.5.")
NOT_WHOLE = gettext_lazy("Give a whole number in digits, such as 2.")


def _figure(typed: str) -> Decimal | str:
    """What was typed as a figure; as it is where it is none, so that the field says so."""
    try:
        return figures.read(typed, language=locale(), currency=currency.code())
    except figures.NotAFigureError:
        return typed
    except figures.TwoWaysError as error:
        told = {"typed": typed.strip(), "small": error.small, "large": error.large}
        said = _("“%(typed)s” can be read in two ways. Write %(small)s or %(large)s.")
        raise forms.ValidationError(said, code="two ways", params=told) from error


class Number(forms.DecimalField):
    """A number as people write it, and as our pages print it: 12.5, 12,5, 5,327.95. Shown without zeros at the end."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "size": 8})

    # Django's own decimal field is a whole-number field to the type checker.
    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        if isinstance(value, str) and value.strip():
            value = _figure(value)
        return super().to_python(value)

    def prepare_value(self, value: Any) -> Any:
        return canonical.text(value) if isinstance(value, Decimal) else value


def plainly(form: forms.BaseForm) -> None:
    """Let every field of a form speak in our own sentences, keeping those it has of its own."""
    for field in form.fields.values():
        own = field.error_messages
        field.error_messages = {**own, **SENTENCES}
        if isinstance(field, forms.IntegerField):
            is_whole = not isinstance(field, forms.DecimalField)
            field.widget = forms.TextInput(attrs={"inputmode": "numeric" if is_whole else "decimal", "size": 8})
            field.error_messages["invalid"] = NOT_WHOLE if is_whole else NOT_A_NUMBER
        if isinstance(field, forms.ModelChoiceField) and field.empty_label is not None:
            field.empty_label = _("none")


class PlainForm(forms.Form):
    """A form that speaks in our own sentences."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        plainly(self)


def _in_the_shops_currency(value: Decimal) -> None:
    """Asked when something is typed: a form is read before the shop has said in what it counts."""
    DecimalValidator(15, places(currency.code()))(value)


class MinorMoney(Number):
    """Money typed as money and cleaned as the column keeps it: a count of minor units, None for nothing."""

    def __init__(self, **kwargs: Any) -> None:
        kept = {name: kwargs[name] for name in ("label", "required", "help_text", "initial") if name in kwargs}
        super().__init__(min_value=0, **kept)
        self.validators.append(_in_the_shops_currency)

    def clean(self, value: Any) -> Any:
        amount = super().clean(value)
        return None if amount is None else to_minor(Decimal(amount), digits=places(currency.code()))

    def prepare_value(self, value: Any) -> Any:
        return canonical.text(from_minor(value, digits=places(currency.code()))) if isinstance(value, int) else value


NO_PIECES = gettext_lazy("Give 1 or more. A part that is not wanted is taken out of scope instead.")


class PartForm(PartModelForm):
    """Everything a person may set about one part."""

    class Meta:
        model = Part
        fields = (
            "name",
            "area_name",
            "kind",
            "side",
            "pieces",
            "material",
            "condition",
            "old_finish",
            "factory_finish",
            "agreed_finish",
            "deviation",
            "size_class",
            "area",
            "weight",
            "openings",
            "spokes",
            "strength",
            "thickness",
            "tax",
            "basis",
            "cap_minor",
        )
        field_classes = dict.fromkeys(("area", "weight", "thickness"), Number) | {"cap_minor": MinorMoney}

    def __init__(self, data: Any = None, *, instance: Part) -> None:
        super().__init__(data, instance=instance, auto_id=f"{instance.uid}-%s")
        codes = dict(TaxRate.objects.order_by("valid_from", "revision").values_list("code", "name"))
        self.fields["tax"] = forms.ChoiceField(
            label=_("Tax"), choices=sorted({instance.tax: instance.tax, **codes}.items())
        )
        self.fields["cap_minor"].label = f"{self.fields['cap_minor'].label} [{currency.code()}]"
        _ask_which(self.fields["side"], instance.kind)
        plainly(self)

    def clean_pieces(self) -> int:
        pieces: int = self.cleaned_data["pieces"]
        if not pieces:
            raise forms.ValidationError(NO_PIECES)
        return pieces


def which_one(kind: PartKind | None) -> str:
    """The question that a kind of part asks which comes as two that are not alike; empty for others."""
    if kind is None or not kind.pair:
        return ""
    pair = kind.get_pair_display()
    return _("%(pair)s are not always the same: which one is this?") % {"pair": pair[:1].upper() + pair[1:]}


def _ask_which(field: forms.Field, kind: PartKind | None) -> None:
    """Ask beside the field, and offer only what the kind comes as."""
    field.help_text = which_one(kind)
    sides = SIDES[PartKind.Pair(kind.pair)] if kind and kind.pair else tuple(Side)
    field.choices = [("", "—"), *((side.value, side.label) for side in sides)]  # type: ignore[attr-defined]


class MoneyField(Number):
    """An amount in the shop's currency, in its own number of decimal places."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.validators.append(_in_the_shops_currency)

    def prepare_value(self, value: Any) -> Any:
        return value


class StepForm(StepModelForm):
    """What may be set about one step; a bought-in part has other fields than a step of work."""

    replacement = MoneyField(label=gettext_lazy("Price of a replacement"), min_value=0, required=False)
    buy_price = MoneyField(label=gettext_lazy("Price per piece"), min_value=0, required=False)

    class Meta:
        model = Step
        fields: tuple[str, ...] = (
            "quantity",
            "buy",
            "buy_source",
            "buy_price",
            "buy_status",
            "buy_handling",
            "fail_chance",
            "back_to",
            "scrap_chance",
            "replacement",
        )
        field_classes = dict.fromkeys(("quantity", "buy_handling", "fail_chance", "scrap_chance"), Number)

    def __init__(self, data: Any = None, *, instance: Step) -> None:
        super().__init__(data, instance=instance, auto_id=f"{instance.uid}-%s")
        digits = places(currency.code())
        step: Step = self.instance
        self.initial["replacement"] = from_minor(step.replacement_minor, digits=digits)
        self.initial["buy_price"] = from_minor(step.buy_price_minor, digits=digits)
        gone = ("quantity",) if step.buy else ("buy", "buy_source", "buy_price", "buy_status", "buy_handling")
        for name in gone:
            self.fields.pop(name, None)
        back = self.fields["back_to"]
        earlier = step.part.steps.filter(removed_at__isnull=True, position__lt=step.position)
        back.queryset = earlier.select_related("operation", "service")  # type: ignore[attr-defined]
        plainly(self)
        back.empty_label = _("this step")  # type: ignore[attr-defined]
        if step.buy:
            self.fields["buy"].required = True
        else:
            self.fields["quantity"].label = _("Quantity [%(measure)s]") % {"measure": step.work.get_measure_display()}
            self.fields["quantity"].required = step.work.measure == Measure.HOUR

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        own = data.get("buy_source", self.instance.buy_source) == Source.CUSTOMERS_OWN
        if own and data.get("buy_price"):
            said = _("What the customer brings has no price here. Give 0, or another source.")
            self.add_error(self._typed("buy_price", "buy_source"), said)
        together = (data.get("fail_chance") or Decimal(0)) + (data.get("scrap_chance") or Decimal(0))
        if together >= 100:
            said = _("With this the step would never be done. Keep both chances below 100 % together.")
            self.add_error(self._typed("fail_chance", "scrap_chance"), said)
        return data

    def _typed(self, *names: str) -> str:
        """The box of ``names`` that was changed by hand, so that the sentence stands where the reader looks."""
        return next((n for n in names if n in self.data and self.data[n] != self.data.get(SEEN + n, "")), names[0])

    def _post_clean(self) -> None:
        """The service validates the model; here it would complain of fields that are not on the page."""


class NewPartForm(forms.Form):
    """The least that is needed for another part."""

    name = forms.CharField(label=gettext_lazy("Part"), max_length=100)
    area_name = forms.CharField(label=gettext_lazy("Area of the bike"), max_length=60, required=False)
    kind = forms.ModelChoiceField(PartKind.objects.all(), label=gettext_lazy("Kind of part"), required=False)
    side = forms.ChoiceField(
        label=gettext_lazy("Which one"),
        choices=[("", "—"), *((side.value, side.label) for side in Side)],
        required=False,
    )
    pieces = forms.IntegerField(
        label=gettext_lazy("Pieces"),
        min_value=1,
        max_value=100_000,
        initial=1,
        error_messages={"min_value": NO_PIECES},
    )
    asked = forms.BooleanField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        plainly(self)

    def clean(self) -> dict[str, Any]:
        """Ask once which one it is; who leaves it empty then means both, or does not know."""
        data: dict[str, Any] = super().clean() or {}
        question = which_one(data.get("kind"))
        if question and not data.get("side") and not data.pop("asked", False):
            self.data = self.data.copy()  # type: ignore[attr-defined]  # what a page sends can be copied
            self.data["asked"] = "on"  # type: ignore[index]
            self.add_error("side", _("%(question)s Leave it empty if this line is both.") % {"question": question})
        data.pop("asked", None)
        return data


class NewStepForm(forms.Form):
    """Another step: an operation, a service, or something to buy. Exactly one of the three."""

    origin = forms.ChoiceField(
        label=gettext_lazy("Where on the route"),
        choices=[(Step.Origin.BEFORE, Step.Origin.BEFORE.label), (Step.Origin.AFTER, Step.Origin.AFTER.label)],
    )
    operation = forms.ModelChoiceField(Operation.objects.all(), label=gettext_lazy("Labour operation"), required=False)
    service = forms.ModelChoiceField(
        Service.objects.select_related("vendor"), label=gettext_lazy("Vendor's service"), required=False
    )
    quantity = Number(
        label=gettext_lazy("Quantity"),
        min_value=0,
        max_digits=9,
        decimal_places=3,
        required=False,
        help_text=gettext_lazy("Needed for work by the hour; otherwise the part's size says it."),
    )
    buy = forms.CharField(label=gettext_lazy("Bought-in part"), max_length=100, required=False)
    buy_source = forms.ChoiceField(label=gettext_lazy("Source"), choices=[("", "—"), *Source.choices], required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        plainly(self)

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        given = [name for name in ("operation", "service", "buy") if data.get(name)]
        if len(given) != 1:
            raise forms.ValidationError(_("Choose one: a labour operation, a vendor's service, or a part to buy."))
        work = data.get("operation") or data.get("service")
        if work and work.measure == Measure.HOUR and data.get("quantity") is None:
            self.add_error("quantity", _("Say how many hours."))
        if data.get("buy") and not data.get("buy_source"):
            self.add_error("buy_source", _("Say where it comes from."))
        return data


class WaitForm(forms.Form):
    """Which step of the same restoration has to be done first."""

    on = forms.ModelChoiceField(Step.objects.none(), label=gettext_lazy("Waits for"))

    def __init__(self, *args: Any, step: Step, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["on"]
        field.queryset = (  # type: ignore[attr-defined]
            Step.objects.filter(
                part__restoration=step.part.restoration,
                part__removed_at__isnull=True,
                removed_at__isnull=True,
                split_from__isnull=True,
            )
            .exclude(part=step.part)
            .select_related("part", "operation", "service")
            .order_by("part__position", "position")
        )
        field.label_from_instance = lambda other: f"{other.part}: {other}"  # type: ignore[attr-defined]


class DraftForm(DraftModelForm):
    """At which stage the quote is, discount, and a note to the customer."""

    class Meta:
        model = Draft
        fields = ("stage", "discount", "note")
        field_classes = {"discount": Number}

    def __init__(self, data: Any = None, *, instance: Draft) -> None:
        super().__init__(data, instance=instance, auto_id="draft-%s")
        self.fields["note"].max_length = LONGEST_NOTE  # type: ignore[attr-defined]
        self.fields["note"].validators.append(MaxLengthValidator(LONGEST_NOTE))
        plainly(self)


class IssueForm(forms.Form):
    """What somebody must say before a quote goes out."""

    seen_scope = forms.IntegerField(widget=forms.HiddenInput)
    seen_draft = forms.IntegerField(widget=forms.HiddenInput)
    guesses_are_told = forms.BooleanField(
        label=gettext_lazy("Some prices are only guessed, and I know that"), required=False
    )
    below_floor_reason = forms.CharField(
        label=gettext_lazy("Reason for going below the floor"), max_length=200, required=False
    )
    replaced_is_told = forms.BooleanField(
        label=gettext_lazy("Take it back and issue this one in its place"),
        error_messages={"required": gettext_lazy("An offer is out. Tick that this one takes its place.")},
    )

    def __init__(self, data: Any = None, *, asks: bool, **kwargs: Any) -> None:
        """``asks`` where an offer that is out would be taken back."""
        super().__init__(data, **kwargs)
        if not asks:
            del self.fields["replaced_is_told"]


def shown(form: forms.BaseForm, name: str) -> str:
    """The text a field shows for what is stored: what a person saw before typing."""
    field = form.fields[name]
    value = form.get_initial_for_field(field, name)
    prepared = field.prepare_value(value)
    return "" if prepared is None else _text(prepared)


def _text(value: object) -> str:
    return format(value, "f") if isinstance(value, Decimal) else str(value)


def in_minor(changes: dict[str, Any]) -> dict[str, Any]:
    """Money of a step's form as the columns keep it."""
    digits = places(currency.code())
    return {
        COLUMNS.get(name, name): to_minor(value or Decimal(0), digits=digits) if name in COLUMNS else value
        for name, value in changes.items()
    }


#: Boxes of money, and the columns that keep them.
COLUMNS = {"replacement": "replacement_minor", "buy_price": "buy_price_minor", "buy_core": "buy_core_minor"}

#: What an empty box means where the column needs a number or a word.
EMPTY: dict[str, Any] = {
    "fail_chance": Decimal(0),
    "scrap_chance": Decimal(0),
    "buy_handling": Decimal(0),
    "buy_status": Status.GUESSED,
    "openings": 0,
    "spokes": 0,
}

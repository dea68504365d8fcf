"""The lists beside a definition: what an operation uses and how condition tells; the steps of a route, or of a damage found."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import Number, PlainForm, plainly
from quotes.desk.rates.tables import BLANK, MOST_ROWS, sent_rows
from shop.methods.defining import USAGE, damage_steps_of, factors_of, stamp_of, steps_of, usages_of
from shop.methods.models import Condition, Consumable, FinishRoute, Operation, PossibleDamage, Service

UNUSED = {"amount": Decimal(0), "waste": Decimal(0), "film": Decimal(0), "transfer": Decimal(100)}


class UsesForm(PlainForm):
    """Factors by condition, and a row for each consumable. An empty factor counts once; a row without consumable is left out."""

    seen_factors = forms.CharField(widget=forms.HiddenInput, required=False)
    seen_usages = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, data: Any = None, *, operation: Operation | None) -> None:
        factors = factors_of(operation) if operation else {}
        usages = usages_of(operation) if operation else []
        super().__init__(data, initial={"seen_factors": stamp_of(factors), "seen_usages": stamp_of(usages)})
        for condition in Condition:
            name = f"factor-{condition.value}"
            label = _("Run time on what is %(condition)s, times") % {"condition": condition.label}
            self.fields[name] = Number(label=label, required=False, initial=factors.get(condition.value))
        count = sent_rows(self.data) if self.is_bound else len(usages) + BLANK
        self.count = min(max(count, 1), MOST_ROWS)
        consumables = list(Consumable.objects.order_by("name"))
        for number in range(self.count):
            self._usage(number, usages[number] if number < len(usages) else {}, consumables)
        plainly(self)

    def _usage(self, number: int, held: Mapping[str, Any], consumables: Sequence[Consumable]) -> None:
        choices = [("", _("none")), *((str(row.pk), row.name) for row in consumables)]
        consumable = held.get("consumable")
        self.fields[f"consumable-{number}"] = forms.ChoiceField(
            label=_("Consumable"), choices=choices, required=False, initial=str(consumable.pk) if consumable else ""
        )
        labels = {
            "amount": _("Amount per measure"),
            "waste": _("Waste [%]"),
            "film": _("Film of all coats [µm]"),
            "transfer": _("Transfer efficiency [%]"),
        }
        for name in USAGE:
            self.fields[f"{name}-{number}"] = Number(label=labels[name], required=False, initial=held.get(name))
        self.fields[f"waste-{number}"].help_text = _("Of the amount: at 10, a tenth more is used up.")
        self.consumables = {str(row.pk): row for row in consumables}

    @property
    def factor_boxes(self) -> list[forms.BoundField]:
        return [self[f"factor-{condition.value}"] for condition in Condition]

    @property
    def usage_lines(self) -> list[tuple[str, list[forms.BoundField]]]:
        return [
            (
                _("Consumable %(number)s") % {"number": number + 1},
                [self[f"{name}-{number}"] for name in ("consumable", *USAGE)],
            )
            for number in range(self.count)
        ]

    def factors(self) -> dict[str, Decimal]:
        """Condition to factor, of those given."""
        typed = {condition.value: self.cleaned_data.get(f"factor-{condition.value}") for condition in Condition}
        return {name: value for name, value in typed.items() if value is not None}

    def usages(self) -> list[dict[str, Any]]:
        """The rows with a consumable."""
        return [self._row(number) for number in self._used()]

    def _used(self) -> list[int]:
        return [number for number in range(self.count) if self.cleaned_data.get(f"consumable-{number}")]

    def _row(self, number: int) -> dict[str, Any]:
        figures = {name: self.cleaned_data.get(f"{name}-{number}") for name in USAGE}
        filled = {name: UNUSED[name] if value is None else value for name, value in figures.items()}
        return {"consumable": self.consumables[self.cleaned_data[f"consumable-{number}"]]} | filled

    def place(self, error: ValidationError) -> None:
        """Put what the service refused at its box."""
        for key, errors in error.error_dict.items():
            row, _colon, column = key.partition(":")
            if row.startswith("usage-"):
                number = self._used()[int(row.removeprefix("usage-"))]
                row = f"{column}-{number}"
            self.add_error(row if row in self.fields else None, errors)


class FirstTimeForm(PlainForm):
    """The standard time a new operation begins with: without one, nothing that uses it has a price."""

    setup = Number(
        label=gettext_lazy("Set-up [min/batch]"),
        min_value=0,
        help_text=gettext_lazy("Getting ready and clearing away, once for each batch; 0 if there is none."),
    )
    run = Number(
        label=gettext_lazy("Run [min/measure]"),
        min_value=0,
        help_text=gettext_lazy(
            "The work itself, for each unit of the measure. A guess will do: note a better one later."
        ),
    )


class _StepsForm(PlainForm):
    """Steps in rows: own work or vendor work, and what each kind of list says of them besides, in the boxes ``says``.

    ``order`` moves a step; a row without work is left out.
    """

    says: tuple[str, ...] = ()
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, data: Any = None, *, steps: Sequence[Mapping[str, Any]]) -> None:
        super().__init__(data, initial={"seen": stamp_of(steps)})
        self.works: dict[str, dict[str, Any]] = {}
        choices = self._choices()
        self.count = min(sent_rows(self.data) if self.is_bound else len(steps) + BLANK, MOST_ROWS)
        for number in range(self.count):
            self._step(number, steps[number] if number < len(steps) else {}, choices)
        plainly(self)

    def _choices(self) -> list[Any]:
        operations: list[tuple[str, str, dict[str, Any]]] = [
            (f"o{row.pk}", row.name, {"operation": row, "service": None}) for row in Operation.objects.all()
        ]
        services: list[tuple[str, str, dict[str, Any]]] = [
            (f"s{row.pk}", f"{row.name} ({row.vendor})", {"operation": None, "service": row})
            for row in Service.objects.select_related("vendor")
        ]
        self.works = {key: work for key, _name, work in [*operations, *services]}
        return [
            ("", _("none")),
            (_("Own work"), [(key, name) for key, name, _work in operations]),
            (_("Vendor work"), [(key, name) for key, name, _work in services]),
        ]

    def _step(self, number: int, held: Mapping[str, Any], choices: list[Any]) -> None:
        work = f"o{held['operation'].pk}" if held.get("operation") else f"s{held['service'].pk}" if held else ""
        order = forms.DecimalField(label=_("Order"), required=False, initial=number + 1)
        self.fields[f"order-{number}"] = order
        self.fields[f"work-{number}"] = forms.ChoiceField(
            label=_("Step"), choices=choices, required=False, initial=work
        )
        self._say(number, held)

    def _say(self, number: int, held: Mapping[str, Any]) -> None:
        """Make the other boxes of a row."""

    @property
    def lines(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Each row with its boxes."""
        names = ("order", "work", *self.says)
        return [
            (_("Step %(number)s") % {"number": number + 1}, [self[f"{name}-{number}"] for name in names])
            for number in range(self.count)
        ]

    def _ordered(self) -> list[int]:
        used = [number for number in range(self.count) if self.cleaned_data.get(f"work-{number}")]
        order = {number: self.cleaned_data.get(f"order-{number}") for number in used}
        return sorted(used, key=lambda number: (order[number] is None, order[number] or 0, number))

    def steps(self) -> list[dict[str, Any]]:
        """The steps in their order, as the service takes them."""
        return [self._of(number) for number in self._ordered()]

    def _of(self, number: int) -> dict[str, Any]:
        work = self.works[self.cleaned_data[f"work-{number}"]]
        return work | {name: self._said(name, self.cleaned_data.get(f"{name}-{number}")) for name in self.says}

    def _said(self, _name: str, value: Any) -> Any:
        return value

    def place(self, error: ValidationError) -> None:
        """Put what the service refused at its box."""
        for key, errors in error.error_dict.items():
            row, _colon, column = key.partition(":")
            box = None
            if row.startswith("step-"):
                number = self._ordered()[int(row.removeprefix("step-"))]
                box = f"{column}-{number}" if f"{column}-{number}" in self.fields else f"work-{number}"
            self.add_error(box, errors)


class RouteForm(_StepsForm):
    """The steps of a finish's route."""

    says = ("fail_chance", "back_to", "remove_first")

    def __init__(self, data: Any = None, *, route: FinishRoute | None) -> None:
        super().__init__(data, steps=steps_of(route) if route else [])

    def _say(self, number: int, held: Mapping[str, Any]) -> None:
        self.fields[f"fail_chance-{number}"] = Number(
            label=_("Chance of failing [%]"), required=False, initial=held.get("fail_chance")
        )
        self.fields[f"back_to-{number}"] = forms.IntegerField(
            label=_("Then goes back to step"), min_value=1, required=False, initial=held.get("back_to")
        )
        self.fields[f"remove_first-{number}"] = forms.BooleanField(
            label=_("strip before the redo"), required=False, initial=held.get("remove_first", False)
        )

    def _said(self, name: str, value: Any) -> Any:
        return value or {"fail_chance": Decimal(0), "back_to": None, "remove_first": False}[name]


class DamageStepsForm(_StepsForm):
    """What comes onto the route when a damage is found."""

    says = ("quantity",)

    def __init__(self, data: Any = None, *, damage: PossibleDamage) -> None:
        super().__init__(data, steps=damage_steps_of(damage))

    def _say(self, number: int, held: Mapping[str, Any]) -> None:
        self.fields[f"quantity-{number}"] = Number(
            label=_("Quantity"),
            required=False,
            initial=held.get("quantity"),
            help_text=_("Needed for work by the hour; otherwise the part's size says it."),
        )


GOES = gettext_lazy("The caution may go; I know what the work can do to a person and to a bike")


class CautionGoes(PlainForm):
    """Asked only once somebody has emptied a caution."""

    caution_goes = forms.BooleanField(label=GOES, required=False)

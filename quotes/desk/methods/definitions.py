"""What can be defined on the pages of methods, and the form of each."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.http import Http404
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import SEEN, MinorMoney, Number, plainly, shown
from quotes.engine.money import from_minor, places
from shop import currency, text
from shop.methods.defining import held
from shop.methods.models import (
    Cause,
    Check,
    Consumable,
    EvidenceSource,
    Finish,
    Named,
    Operation,
    PartKind,
    Place,
    PossibleDamage,
    RunCheck,
    Service,
    SizeClass,
    Vendor,
)
from shop.people.models import Grade

if TYPE_CHECKING:  # ModelForm takes its model in brackets for the type checker only
    ModelForm = forms.ModelForm[Any]
else:
    ModelForm = forms.ModelForm


#: What a change of most of them does to drafts.
AT_ONCE = gettext_lazy("Drafts are priced with it from the moment it is saved; issued quotes keep what they say.")


@dataclass(frozen=True, slots=True)
class Definition:
    """A kind of thing. ``fields`` are the boxes of its page; ``beside`` is read with it for the list; ``does`` is what a
    change of it does to prices."""

    slug: str
    label: Any
    new: Any
    model: type[Named] | type[Grade] | type[PossibleDamage]
    fields: tuple[str, ...]
    order: tuple[str, ...] = ("name",)
    beside: tuple[str, ...] = ()
    does: Any = AT_ONCE

    def rows(self) -> models.QuerySet[Any]:
        return self.model._default_manager.select_related(*self.beside).order_by(*self.order)

    @property
    def form(self) -> type["DefinitionForm"]:
        made: Any = forms.modelform_factory(
            self.model, form=DefinitionForm, fields=self.fields, formfield_callback=_box
        )
        return cast(type[DefinitionForm], made)


def _box(field: Any, **kwargs: Any) -> Any:
    """Figures and money are typed as people write them."""
    if field.name.endswith("_minor"):
        begins = {"initial": field.get_default()} if field.has_default() else {}
        return MinorMoney(label=_money_label(field), help_text=field.help_text, **begins)
    if field.many_to_many:
        kwargs["widget"] = forms.CheckboxSelectMultiple
    if isinstance(field, models.DecimalField):
        kwargs["form_class"] = Number
    if field.name == "caution":
        kwargs["help_text"] = _(
            "Shown wherever the work is done. Data sheets, local codes and qualified people stand over it."
        )
    if field.name == "swatch":
        kwargs["help_text"] = _("As #rrggbb, or empty.")
    made = field.formfield(**kwargs)
    if made is not None and isinstance(made.widget, forms.Textarea):
        made.widget.attrs["rows"] = 4
    return made


def _money_label(field: Any) -> str:
    return f"{capfirst(str(field.verbose_name))} [{currency.code()}]"


class DefinitionForm(ModelForm):
    """The service checks the row; here each box is only read. Each box carries what was seen in it."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        plainly(self)

    def _post_clean(self) -> None:
        """The service says what is wrong."""

    def boxes(self) -> list[tuple[forms.BoundField, str]]:
        """Each box with what was seen in it: once something is wrong, still what was seen then."""
        return [(self[name], self._seen_text(name)) for name in self.fields]

    def _seen_text(self, name: str) -> str:
        moved: str | None = getattr(self, "moved", {}).get(name)
        if moved is not None:
            return moved
        key = self.add_prefix(SEEN + name)
        return str(self.data[key]) if self.is_bound and key in self.data else self._shown(name)

    def _shown(self, name: str) -> str:
        """The text of a box; of several ticks their keys, in the order of what they stand for."""
        if not isinstance(self.fields[name], forms.ModelMultipleChoiceField):
            return shown(self, name)
        rows = self.get_initial_for_field(self.fields[name], name) or ()
        return ",".join(str(row.pk) for row in sorted(rows, key=str))

    def changes(self) -> dict[str, Any]:
        """What was changed by hand."""
        found = {name: self.cleaned_data[name] for name in self._typed() if name in self.cleaned_data}
        return {name: _plain(value) for name, value in found.items()}

    def new(self) -> tuple[dict[str, Any], dict[str, Any]]:
        """What was typed for something new: its columns, and its fields that hold several things."""
        given = {name: _plain(value) for name, value in self.cleaned_data.items() if value is not None}
        many = {name: value for name, value in given.items() if isinstance(value, list)}
        return {name: value for name, value in given.items() if name not in many}, many

    def seen(self) -> dict[str, Any]:
        """What the person saw in the boxes that were changed."""
        result: dict[str, Any] = {}
        for name in self._typed():
            was = self.data.get(SEEN + name, "")
            field = self.fields[name]
            try:
                result[name] = was == "True" if isinstance(field, forms.BooleanField) else _cleaned(field, was)
            except ValidationError:
                continue  # it is no value any more
        return result

    def _typed(self) -> list[str]:
        return [
            name
            for name in self.fields
            if self._sent(name) != str(self.data.get(SEEN + name, "")).replace("\r\n", "\n")
        ]

    def _sent(self, name: str) -> str:
        if isinstance(self.fields[name], forms.ModelMultipleChoiceField):
            ticked = self.fields[name].widget.value_from_datadict(self.data, self.files, name)
            order = [str(row.pk) for row in sorted(self.fields[name].queryset, key=str)]  # type: ignore[attr-defined]
            return ",".join([key for key in order if key in ticked] + [key for key in ticked if key not in order])
        if isinstance(self.fields[name], forms.BooleanField):
            return str(self.fields[name].widget.value_from_datadict(self.data, {}, name))
        return str(self.data.get(name, "")).replace("\r\n", "\n")

    def place(self, error: ValidationError, stored: Named | Grade | Check | PossibleDamage | RunCheck) -> None:
        """Put what the service refused at its box. Where somebody else was first, the box has now seen what they put there."""
        self.moved: dict[str, str] = {}
        field = getattr(error, "field", "")
        if field in self.fields:
            self.moved[field] = type(self)(instance=stored)._shown(field)
        for name, errors in error.error_dict.items() if hasattr(error, "error_dict") else [("", [error])]:
            self.add_error(name if name in self.fields else None, errors)


def _cleaned(field: forms.Field, was: str) -> Any:
    several = isinstance(field, forms.ModelMultipleChoiceField)
    return _plain(field.clean(was.split(",") if several and was else was))


def _plain(value: Any) -> Any:
    """Text with one kind of line end; of several things a list in the order of their names."""
    if isinstance(value, models.QuerySet):
        return sorted(value, key=str)
    return value.replace("\r\n", "\n") if isinstance(value, str) else value


#: In the order of the page.
DEFINITIONS: tuple[Definition, ...] = (
    Definition(
        "operations",
        gettext_lazy("Labour operations"),
        gettext_lazy("A new labour operation"),
        Operation,
        (
            "name",
            "grade",
            "place",
            "measure",
            "elapsed",
            "latest_wait",
            "shares_setup",
            "occupies",
            "destroys_evidence",
            "spares_bare_metal",
            "inspects",
            "fits_first",
            "plates",
            "bakes",
            "instructions",
            "caution",
        ),
        beside=("grade", "place"),
    ),
    Definition(
        "consumables",
        gettext_lazy("Consumables"),
        gettext_lazy("A new consumable"),
        Consumable,
        ("name", "unit", "by", "solids", "density", "smallest_mix", "whole_packs"),
    ),
    Definition(
        "vendors",
        gettext_lazy("Vendors"),
        gettext_lazy("A new vendor"),
        Vendor,
        ("name", "address", "email", "phone"),
    ),
    Definition(
        "services",
        gettext_lazy("What vendors do"),
        gettext_lazy("A new service of a vendor"),
        Service,
        (
            "name",
            "vendor",
            "measure",
            "lead_days",
            "late_spread",
            "bake_hours",
            "plates",
            "destroys_evidence",
            "caution",
        ),
        order=("vendor__name", "name"),
        beside=("vendor",),
    ),
    Definition(
        "finishes",
        gettext_lazy("Finishes"),
        gettext_lazy("A new finish"),
        Finish,
        ("name", "process", "colour", "gloss", "lining", "swatch"),
    ),
    Definition("grades", gettext_lazy("Labour grades"), gettext_lazy("A new labour grade"), Grade, ("name", "alone")),
    Definition(
        "places", gettext_lazy("Places"), gettext_lazy("A new place"), Place, ("name", "capacity", "capacity_by")
    ),
    Definition(
        "kinds",
        gettext_lazy("Kinds of part"),
        gettext_lazy("A new kind of part"),
        PartKind,
        ("name", "pair", "fitted_first"),
    ),
    Definition(
        "damages",
        gettext_lazy("What strip-down may reveal"),
        gettext_lazy("A new possible damage"),
        PossibleDamage,
        (
            "kind",
            "name",
            "frequency",
            "low_minor",
            "likely_minor",
            "high_minor",
            "cost_class",
            "caution",
            "ended",
        ),
        order=("kind__name", "name"),
        beside=("kind",),
        does=gettext_lazy(
            "A part takes over how often it is found and what it costs when the damage is put on the part’s list, so parts"
            " that list it already keep what they say, and no draft changes now. Who pays if it is found is said at each"
            " part: ours, provisional or excluded."
        ),
    ),
    Definition(
        "sources",
        gettext_lazy("Where to look up a finish"),
        gettext_lazy("A new source"),
        EvidenceSource,
        ("name", "strength", "cost_minor", "kinds", "years_from", "years_to", "markets", "note", "ended"),
        does=gettext_lazy(
            "It changes what to look up first, and no price. Evidence that is noted already keeps how much it says."
        ),
    ),
    Definition(
        "causes",
        gettext_lazy("Why work is done again"),
        gettext_lazy("A new cause"),
        Cause,
        ("name", "check_words", "ended"),
    ),
    Definition(
        "sizes",
        gettext_lazy("Size classes"),
        gettext_lazy("A new size class"),
        SizeClass,
        ("name", "area", "weight"),
    ),
)


def definition_of(slug: str) -> Definition:
    """A definition by its word in the address, or 404."""
    for definition in DEFINITIONS:
        if definition.slug == slug:
            return definition
    raise Http404


def said(row: Any, fields: Iterable[str]) -> list[tuple[str, str]]:
    """What a definition says, for who may only read it."""
    return [(str(row._meta.get_field(name).verbose_name), _as_text(row, name)) for name in fields if name != "name"]


def _as_text(row: Any, name: str) -> str:
    value = held(row, name)
    if isinstance(value, list):
        return ", ".join(map(str, value)) or "—"
    if name.endswith("_minor"):
        return text.money(from_minor(value, digits=places(currency.code())), currency.code())
    if row._meta.get_field(name).choices:
        return str(getattr(row, f"get_{name}_display")()) or "—"
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    return str(value) if value not in (None, "") else "—"

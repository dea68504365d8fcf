"""The form that begins a restoration: whose machine, which machine, and where its parts come from."""

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.db.models import CharField, Model
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from quotes.desk import importing
from quotes.desk.forms_file import WRONG_FILE, PartsFileField, kept_file, read_bytes
from quotes.desk.importing import PartsList
from quotes.desk.models import Upload
from quotes.desk.selectors import known
from shop.methods.models import Template
from shop.restorations.models import Customer, Machine, Restoration

if TYPE_CHECKING:  # the field takes its model in brackets for the type checker only
    CustomerChoiceField = forms.ModelChoiceField[Customer]
    RestorationChoiceField = forms.ModelChoiceField[Restoration]
else:
    CustomerChoiceField = RestorationChoiceField = forms.ModelChoiceField

TEMPLATE, EARLIER, FILE, EMPTY = "template", "earlier", "file", "empty"
SOURCES = [
    (TEMPLATE, gettext_lazy("A template: the usual parts of such a bike")),
    (EARLIER, gettext_lazy("An earlier bike of ours: its parts and their routes")),
    (FILE, gettext_lazy("A parts list of your own, as an XLSX or CSV file")),
    (EMPTY, gettext_lazy("None yet: parts are added one by one")),
]
CUSTOMER_FIELDS = ("name", "address", "email", "phone")
MACHINE_FIELDS = ("maker", "model", "year", "frame_number", "engine_number")
FIRST_YEAR = 1885
FURTHEST = timedelta(days=366)
ON_RECORD = gettext_noop(
    "The machine with this frame number is on record with “%(told)s” here. Write the same or leave it empty; if yours is"
    " another machine, correct the frame number."
)
NOT_ON_RECORD = gettext_noop(
    "The machine with this frame number is on record without this. Leave it empty; if yours is another machine, correct"
    " the frame number."
)


def _longest(model: type[Model], name: str) -> int:
    column = model._meta.get_field(name)
    assert isinstance(column, CharField)
    assert column.max_length is not None
    return column.max_length


class CustomerField(CustomerChoiceField):
    """Customers with what tells two of one name apart."""

    def label_from_instance(self, customer: Customer) -> str:
        apart = customer.phone or customer.email
        return f"{customer.name} ({apart})" if apart else customer.name


def _text(label: Any, most: int, *, required: Any = "", **attrs: str) -> forms.CharField:
    return forms.CharField(
        label=label,
        max_length=most,
        required=bool(required),
        error_messages={"required": required},
        widget=forms.TextInput(attrs={"autocomplete": "off"} | attrs),
    )


class EarlierField(RestorationChoiceField):
    """An earlier restoration, named by its uid: the page lists those that were searched for."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(Restoration.objects.select_related("machine"), to_field_name="uid", **kwargs)
        self.widget = forms.HiddenInput()


class BeginForm(forms.Form):
    customer = CustomerField(
        Customer.objects.all(),
        label=gettext_lazy("Known customer"),
        required=False,
        empty_label=gettext_lazy("Someone new, as typed below"),
        error_messages={"invalid_choice": gettext_lazy("This customer is not there. Choose one of the list.")},
    )
    name = _text(gettext_lazy("Name"), _longest(Customer, "name"))
    address = forms.CharField(
        label=gettext_lazy("Address"),
        max_length=500,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off"}),
    )
    email = forms.EmailField(
        label=gettext_lazy("E-mail"),
        max_length=_longest(Customer, "email"),
        required=False,
        error_messages={"invalid": gettext_lazy("This is no e-mail address. Write it like name@example.org.")},
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )
    phone = _text(gettext_lazy("Phone"), _longest(Customer, "phone"), type="tel")
    maker = _text(
        gettext_lazy("Maker"),
        _longest(Machine, "maker"),
        required=gettext_lazy("Give the maker, as it stands on the tank or the papers."),
    )
    model = _text(
        gettext_lazy("Model"),
        _longest(Machine, "model"),
        required=gettext_lazy("Give the model. If nobody knows it, write “unknown”."),
    )
    year = forms.IntegerField(
        label=gettext_lazy("Year"),
        required=False,
        error_messages={"invalid": gettext_lazy("Give the year in four digits, such as 1951.")},
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    frame_number = _text(gettext_lazy("Frame number"), _longest(Machine, "frame_number"), autocapitalize="characters")
    engine_number = _text(
        gettext_lazy("Engine number"), _longest(Machine, "engine_number"), autocapitalize="characters"
    )
    title = _text(gettext_lazy("Title"), _longest(Restoration, "title"))
    begun_on = forms.DateField(
        label=gettext_lazy("Begun on"),
        input_formats=["%Y-%m-%d", "%d.%m.%Y"],
        error_messages={
            "required": gettext_lazy("Give the day it was begun."),
            "invalid": gettext_lazy("Give a day that exists, such as 2026-03-14."),
        },
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    parts_from = forms.ChoiceField(
        label=gettext_lazy("Parts from"),
        choices=SOURCES,
        widget=forms.RadioSelect,
        error_messages={
            "required": gettext_lazy("Choose where the parts come from."),
            "invalid_choice": gettext_lazy("Choose where the parts come from."),
        },
    )
    template = forms.ModelChoiceField(
        Template.objects.all(),
        label=gettext_lazy("Template"),
        required=False,
        empty_label=gettext_lazy("Choose one"),
        error_messages={"invalid_choice": gettext_lazy("This template is not there. Choose one of the list.")},
    )
    earlier = EarlierField(
        label=gettext_lazy("Earlier bike"),
        required=False,
        error_messages={"invalid_choice": gettext_lazy("This bike is not there. Search again and choose one.")},
    )
    file = PartsFileField()

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.parts: PartsList = PartsList()
        self.content, self.file_name = b"", ""
        self.upload = kept_file(self.data.get("upload"), upload_kind=Upload.Kind.PARTS, subject_uid=None)
        self.fields["begun_on"].initial = today
        self.fields["title"].help_text = _("If empty, maker, model and year.")
        templates = Template.objects.order_by("pk")[:2]
        has_templates = len(templates) > 0
        self.fields["parts_from"].initial = TEMPLATE if has_templates else EMPTY
        if len(templates) == 1:  # nothing to choose from
            self.fields["template"].initial = templates[0].pk
        if not has_templates:
            self.fields["parts_from"].choices = [choice for choice in SOURCES if choice[0] != TEMPLATE]  # type: ignore[attr-defined]
            del self.fields["template"]

    def clean_year(self) -> int | None:
        year: int | None = self.cleaned_data["year"]
        if year is not None and not FIRST_YEAR <= year <= self.today.year:
            raise forms.ValidationError(
                _("Give the year in four digits, from %(first)s to %(last)s.")
                % {"first": FIRST_YEAR, "last": self.today.year}
            )
        return year

    def clean_begun_on(self) -> date:
        day: date = self.cleaned_data["begun_on"]
        if not date(FIRST_YEAR, 1, 1) <= day <= self.today + FURTHEST:
            raise forms.ValidationError(_("Check the year of this day."))
        return day

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        self._check_customer(data)
        self._check_machine(data)
        self._check_parts(data)
        return data

    def _check_customer(self, data: dict[str, Any]) -> None:
        typed = [name for name in CUSTOMER_FIELDS if data.get(name)]
        if data.get("customer"):
            if typed:
                self.add_error("customer", _("Either choose a known customer or type a new one; empty the other."))
            return
        if "customer" in self.errors or "name" in self.errors:
            return
        if not data.get("name"):
            self.add_error("name", _("Give the customer's name, or choose a known customer above."))
        elif self._is_known(data):
            text = _("There is a customer of this name already. Choose them above, or give what tells the two apart.")
            self.add_error("name", text)

    def _is_known(self, data: dict[str, Any]) -> bool:
        """Somebody on record has the name, and nothing that was typed tells the two apart."""
        same = Customer.objects.filter(name__iexact=data["name"])
        apart = {name: data[name] for name in ("email", "phone") if data.get(name)}
        return any(
            all(
                not getattr(one, name) or getattr(one, name).casefold() == typed.casefold()
                for name, typed in apart.items()
            )
            for one in same
        )

    def _check_machine(self, data: dict[str, Any]) -> None:
        """Of one model a frame number is stamped once: what is on record under it is this machine."""
        if self.errors.keys() & set(MACHINE_FIELDS) or not data.get("frame_number"):
            return
        same = {f"{name}__iexact": data[name] for name in ("maker", "model", "frame_number")}
        found = Machine.objects.filter(**same).order_by("pk").first()
        if found is None:
            return
        data["machine"] = found
        for name in ("year", "engine_number"):
            typed, told = str(data.get(name) or ""), str(getattr(found, name) or "")
            if typed and typed.casefold() != told.casefold():
                self.add_error(name, _(ON_RECORD if told else NOT_ON_RECORD) % {"told": told})

    def _check_parts(self, data: dict[str, Any]) -> None:
        source, file = data.get("parts_from"), data.get("file")
        if source == TEMPLATE and "template" not in self.errors and not data.get("template"):
            self.add_error("template", _("Choose a template, or take the parts from elsewhere."))
        if source == EARLIER and "earlier" not in self.errors and not data.get("earlier"):
            self.add_error("earlier", _("Search for an earlier bike and choose it, or take the parts from elsewhere."))
        if source == FILE:
            self._read(file)
        elif file is not None and source:
            text = _("A file came along too. Choose “A parts list of your own” here, or leave the file out.")
            self.add_error("parts_from", text)

    def _read(self, file: "UploadedFile[Any] | None") -> None:
        """A file that is chosen now takes the place of the one that is kept."""
        if file is not None:
            self.upload = None
            self.content = read_bytes(file)
            self.parts = importing.read(self.content, known())
            name = self.file_name = str(file.name)
        elif self.upload is not None:
            self.parts = importing.read(bytes(self.upload.content), known())
            name = self.upload.name
        else:
            if "file" not in self.errors:
                self.add_error("file", _("Choose the file, or take the parts from elsewhere."))
            return
        if self.parts.wrong:
            self.add_error("file", WRONG_FILE % {"name": name, "count": len(self.parts.wrong)})

    def brought(self) -> bool:
        """Whether a file came along that can be read, so that it is to be kept and shown first."""
        return bool(self.parts.rows) and bool(self.content)

    def say_optional_only_where_it_is(self) -> None:
        """For showing: some fields are needed in one case of several, so “optional” would be wrong beside them."""
        self.use_required_attribute = False
        for name in {"customer", "name", "template", "file"} & self.fields.keys():
            self.fields[name].required = True

    def given(self) -> dict[str, Any]:
        """What `begin_restoration` takes."""
        data = self.cleaned_data
        return {
            "customer": data["customer"] or {name: data[name] for name in CUSTOMER_FIELDS},
            "machine": data.get("machine") or {name: data[name] for name in MACHINE_FIELDS},
            "title": data["title"],
            "begun_on": data["begun_on"],
            "template": data.get("template") if data["parts_from"] == TEMPLATE else None,
            "earlier": data.get("earlier") if data["parts_from"] == EARLIER else None,
            "rows": self.parts.rows,
            "upload": self.upload if data["parts_from"] == FILE else None,
        }

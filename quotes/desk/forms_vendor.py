"""Forms of vendor jobs: what the vendor is told, what was agreed, sending, a new day, charges and claims."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from quotes.desk.forms import MinorMoney, Number, PlainForm, plainly
from quotes.desk.views.days import DayField
from shop.floor.models import Shelf
from shop.rates.models import Status
from shop.routes.models import Step
from shop.vendor_jobs.claims import Asked
from shop.vendor_jobs.models import Charge, Claim, Job, Line, Promise, Terms

if TYPE_CHECKING:  # it takes its model in brackets for the type checker only
    StepsChosen = forms.ModelMultipleChoiceField[Step]
else:
    StepsChosen = forms.ModelMultipleChoiceField

LONGEST = 4_000
MOST_PIECES = 100_000
WEEKDAYS = (
    ("1", _("Monday")),
    ("2", _("Tuesday")),
    ("3", _("Wednesday")),
    ("4", _("Thursday")),
    ("5", _("Friday")),
    ("6", _("Saturday")),
    ("7", _("Sunday")),
)


def _words(model: Any, name: str, label: Any, **more: Any) -> forms.CharField:
    """A line of words as long as the column takes."""
    return forms.CharField(label=label, max_length=model._meta.get_field(name).max_length, **more)


def _lines(label: Any, rows: int, help_text: Any = "") -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows})
    return forms.CharField(label=label, max_length=LONGEST, required=False, widget=widget, help_text=help_text)


class StepsField(StepsChosen):
    """Steps by their uids, each a box that was ticked; whatever else was sent is not there any more."""

    def clean(self, value: Any) -> Any:
        try:
            return super().clean(value)
        except forms.ValidationError as error:
            if error.code == "required":
                raise
            said = _("One of these is not there any more. Look at the page again.")
            raise forms.ValidationError(said, code="gone") from error


class StepsForm(forms.Form):
    """Steps chosen on the page of vendor work."""

    step = StepsField(
        Step.objects.filter(service__isnull=False).select_related("part"),
        to_field_name="uid",
        error_messages={"required": _("Tick what goes out.")},
    )


class LotForm(PlainForm):
    """What the vendor reads, and when it is to go."""

    leave_on = DayField(label=_("Goes out on"), required=False)
    masking = _lines(_("What must stay bare, and how"), 4, _("One in each line. It stands on the dispatch note."))
    finish_words = _lines(_("Finish wanted"), 2)
    note = _lines(_("Note to the vendor"), 2)

    def __init__(self, data: Any = None, *, job: Job) -> None:
        initial = {name: getattr(job, name) for name in self.base_fields}
        super().__init__(data, initial=initial, auto_id="lot-%s")

    def given(self) -> dict[str, Any]:
        """What was typed, line ends as the columns keep them."""
        return {
            name: value.replace("\r\n", "\n") if isinstance(value, str) else value
            for name, value in self.cleaned_data.items()
        }


class AgreeForm(PlainForm):
    """What the lot is to cost, how we know, and who said so."""

    agreed_status = forms.ChoiceField(label=_("Price is"), choices=Status)
    agreed_by = _words(Job, "agreed_by", _("Who said so"), required=False)
    agreed_on = DayField(label=_("Said on"), required=False)

    def __init__(self, data: Any = None, *, job: Job) -> None:
        names = ("agreed_minor", "agreed_status", "agreed_by", "agreed_on")
        super().__init__(data, initial={name: getattr(job, name) for name in names}, auto_id="agreed-%s")
        # Made here: how many decimals it takes is known once the shop has said its currency.
        self.fields["agreed_minor"] = MinorMoney(label=_("Agreed price, before tax"), required=False)
        self.order_fields(names)
        plainly(self)


class LineForm(PlainForm):
    """What goes with a line before it leaves. ``line`` makes every form of the page have ids of its own."""

    weight = Number(
        label=_("Weight together [kg]"), min_value=0, max_value=10_000, max_digits=9, decimal_places=3, required=False
    )
    irreplaceable = forms.BooleanField(label=_("Cannot be replaced"), required=False)

    def __init__(self, data: Any = None, *, line: Line) -> None:
        names = ("weight", "replacement_minor", "irreplaceable")
        super().__init__(data, initial={name: getattr(line, name) for name in names}, auto_id=f"line-{line.uid}-%s")
        self.line = line
        self.fields["replacement_minor"] = MinorMoney(label=_("Replacement value, all pieces"), required=False)
        self.order_fields(names)
        plainly(self)


class ToldForm(PlainForm):
    """A day the vendor said, and how we know it."""

    due_on = DayField(label=_("Back on"), required=False, help_text=_("As the vendor said; empty while nobody did."))
    status = forms.ChoiceField(label=_("We know by"), choices=Status, initial=Status.PHONED)
    said_by = _words(Promise, "said_by", _("Who said so"), required=False)


class SendForm(ToldForm):
    """The lot leaves, or some pieces of it: a box for each line of several, empty for all of them.

    The boxes of whoever lets it go are asked where the vendor would hold more than it is insured for.
    """

    on = DayField(label=_("Left on"))
    carried_by = _words(Job, "carried_by", _("Who takes it there"), required=False)
    let_go_by = _words(Job, "let_go_by", _("Who lets it go beyond the insured sum"), required=False)
    let_go_why = _words(Job, "let_go_why", _("Why it may go"), required=False)

    field_order = ("on", "carried_by", "due_on", "status", "said_by", "let_go_by", "let_go_why")

    def __init__(self, data: Any = None, *, job: Job, lines: Sequence[Line], beyond: bool) -> None:
        initial = {"on": timezone.localdate(), "carried_by": job.carried_by, "status": Status.PHONED}
        super().__init__(data, initial=initial, auto_id="send-%s")
        if not beyond:
            del self.fields["let_go_by"], self.fields["let_go_why"]
        self.lines = [line for line in lines if line.pieces > 1]
        for line in self.lines:
            label = _("Pieces that go: %(part)s") % {"part": line.step.part}
            self.fields[f"go-{line.uid}"] = forms.IntegerField(
                label=label, min_value=0, max_value=line.pieces, required=False, initial=line.pieces
            )
        plainly(self)

    def stay(self) -> dict[int, int]:
        """Line to how many of its pieces stay here, where not all go."""
        goes = {line: self.cleaned_data[f"go-{line.uid}"] for line in self.lines}
        return {line.pk: line.pieces - count for line, count in goes.items() if count not in (None, line.pieces)}


class NewDayForm(ToldForm):
    """The vendor said another day."""

    told_on = DayField(label=_("Told on"))
    note = _words(Promise, "note", _("Note"), required=False)

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, initial={"told_on": timezone.localdate()}, auto_id="day-%s")
        self.fields["due_on"].required, self.fields["due_on"].help_text = True, ""


class CameForm(PlainForm):
    """When what is counted in came, who looked, and where its tags hang from now on."""

    on = DayField(label=_("Came on"))
    looked_by = _words(Line, "looked_by", _("Counted and looked at by"))
    shelf = forms.ModelChoiceField(
        Shelf.objects.order_by("name"),
        label=_("Tags go to the shelf"),
        to_field_name="uid",
        required=False,
        help_text=_("If empty, they are with whoever looked."),
    )

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, initial={"on": timezone.localdate()}, auto_id="came-%s")


class ArrivalForm(PlainForm):
    """What came of the pieces of a line. What is in no box stays out."""

    tells_optional = False

    good = forms.IntegerField(label=_("Good"), min_value=0, max_value=MOST_PIECES, required=False)
    rejected = forms.IntegerField(label=_("Rejected"), min_value=0, max_value=MOST_PIECES, required=False)
    damaged = forms.IntegerField(label=_("Damaged there"), min_value=0, max_value=MOST_PIECES, required=False)
    lost = forms.IntegerField(label=_("Lost there"), min_value=0, max_value=MOST_PIECES, required=False)
    note = _words(Line, "outcome_note", _("What was seen"), required=False)

    def __init__(self, data: Any = None, *, line: Line) -> None:
        super().__init__(data, prefix=str(line.uid), auto_id="came-%s")
        self.line = line
        if line.outcome == Line.Outcome.LOST:
            del self.fields["lost"]

    def clean(self) -> dict[str, Any]:
        """What the service would refuse of one line is said at its box."""
        given: dict[str, Any] = super().clean() or {}
        counts = {name: given.get(name) or 0 for name in ("good", "rejected", "damaged", "lost")}
        if sum(counts.values()) > self.line.pieces:
            name = next(name for name, count in counts.items() if count)
            said = _("%(pieces)s went out, and more are counted in. Count again.") % {"pieces": self.line.pieces}
            self.add_error(name, said)
        if any(counts[name] for name in ("rejected", "damaged", "lost")) and not given.get("note"):
            self.add_error("note", _("Say what is wrong: it is what the vendor is asked about."))
        return given

    def counts(self) -> dict[str, int]:
        """Pieces by what came of them."""
        return {name: self.cleaned_data.get(name) or 0 for name in ("good", "rejected", "damaged", "lost")}


class OnForm(ToldForm):
    """A lot goes straight on to the next vendor, with a planned lot of its own."""

    to = forms.ModelChoiceField(Job.objects.none(), label=_("Goes on as"), to_field_name="uid")
    on = DayField(label=_("Went on on"))
    looked_by = _words(Line, "looked_by", _("Who said that it is as it should be"))

    field_order = ("to", "on", "looked_by", "due_on", "status", "said_by")

    def __init__(self, data: Any = None, *, lots: Any) -> None:
        super().__init__(data, initial={"on": timezone.localdate(), "status": Status.PHONED}, auto_id="on-%s")
        to = self.fields["to"]
        to.queryset = lots  # type: ignore[attr-defined]
        to.label_from_instance = lambda job: f"{job}, {job.service}, {job.vendor}"  # type: ignore[attr-defined]


class ChargeForm(PlainForm):
    """A bill of the vendor for this job."""

    document = _words(Charge, "document", _("Number of the bill"), required=False)
    on = DayField(label=_("Dated"))

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, initial={"on": timezone.localdate()}, auto_id="charge-%s")
        self.fields["net_minor"] = MinorMoney(label=_("Charged, before tax"))
        self.order_fields(("net_minor",))
        plainly(self)


class ClaimForm(PlainForm):
    """A claim made by hand: for which pieces, what happened, what is asked, and of whom."""

    line = forms.ModelChoiceField(Line.objects.none(), label=_("For"), to_field_name="uid", empty_label=None)
    words = _words(Claim, "words", _("What happened"))
    payer = forms.ChoiceField(label=_("Who is to pay"), choices=Claim.Payer, initial=Claim.Payer.VENDOR)
    redo_free = forms.BooleanField(label=_("It is done again free"), required=False)

    def __init__(self, data: Any = None, *, lines: Any, terms: Terms | None) -> None:
        cap = terms.claim_cap_minor if terms else None
        super().__init__(data, initial={"cap_minor": cap, "payer": Claim.Payer.VENDOR}, auto_id="claim-%s")
        box = self.fields["line"]
        box.queryset = lines  # type: ignore[attr-defined]
        box.label_from_instance = lambda line: f"{line.step.part} {line.pieces}×"  # type: ignore[attr-defined]
        no_sum = _("Empty while no sum is asked.")
        self.fields["asked_minor"] = MinorMoney(label=_("We ask for"), required=False, help_text=no_sum)
        self.fields["cap_minor"] = MinorMoney(
            label=_("The vendor pays at most"),
            required=False,
            help_text=_("By its terms; empty where nothing limits it."),
        )
        self.order_fields(("line", "words", "asked_minor", "payer", "cap_minor", "redo_free"))
        plainly(self)

    def asked(self) -> Asked:
        """What is asked for, as the service takes it."""
        given = self.cleaned_data
        return Asked(given["asked_minor"], given["payer"], given["redo_free"], given["cap_minor"])


class SettleForm(PlainForm):
    """How a claim was settled. ``replaced`` is asked only where pieces are lost."""

    payer = forms.ChoiceField(label=_("Who pays"), choices=Claim.Payer)
    settled_how = _words(Claim, "settled_how", _("How it was settled"))
    replaced = forms.BooleanField(
        label=_("A replacement is here: it goes round from the start"),
        required=False,
        help_text=_("What was done to the lost pieces is done to it again."),
    )

    def __init__(self, data: Any = None, *, claim: Claim) -> None:
        super().__init__(
            data, initial={"settled_minor": claim.asked_minor, "payer": claim.payer}, auto_id=f"claim-{claim.uid}-%s"
        )
        self.claim = claim
        if claim.line.outcome != Line.Outcome.LOST:
            del self.fields["replaced"]
        self.fields["settled_minor"] = MinorMoney(label=_("Comes to"))
        self.order_fields(("settled_minor",))
        plainly(self)


class TermsForm(PlainForm):
    """What stands between us and a vendor besides prices."""

    takes_in_on = forms.MultipleChoiceField(
        label=_("Takes work in on"), choices=WEEKDAYS, widget=forms.CheckboxSelectMultiple, required=False
    )
    redo_free = forms.BooleanField(label=_("Does rejected work again free"), required=False)
    mails = forms.BooleanField(label=_("Reminders go to the vendor by e-mail"), required=False)
    note = _words(Terms, "note", _("Note"), required=False)

    field_order = ("takes_in_on", "insured_minor", "claim_cap_minor", "redo_free", "mails", "note")

    def __init__(self, data: Any = None, *, terms: Terms) -> None:
        initial = {name: getattr(terms, name) for name in self.field_order} | {"takes_in_on": list(terms.takes_in_on)}
        super().__init__(data, initial=initial, auto_id="terms-%s")
        self.fields["insured_minor"] = MinorMoney(
            label=_("Insured for, all that is there together"), required=False, help_text=_("Empty where nobody knows.")
        )
        self.fields["claim_cap_minor"] = MinorMoney(label=_("Pays at most per claim"), required=False)
        self.order_fields(self.field_order)
        plainly(self)

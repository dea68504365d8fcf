"""Forms of the money page: receipts, refunds, reached stages, and what may go out all the same."""

from collections.abc import Sequence
from typing import Any
from uuid import uuid4

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy

from quotes.desk.forms import MinorMoney, PlainForm, plainly
from quotes.desk.views.days import DayField
from quotes.pricing.models import Receipt
from shop.routes.funding import Outside

LONGEST_NAME = 120
LONGEST_REASON = 200


class ReceiptForm(PlainForm):
    """Money that came in. ``uid`` makes the same form, sent twice, one receipt."""

    uid = forms.UUIDField(widget=forms.HiddenInput)
    received_on = DayField(label=gettext_lazy("Received on"))
    how = forms.ChoiceField(label=gettext_lazy("How"), choices=Receipt.How)
    reference = forms.CharField(label=gettext_lazy("Reference"), required=False, max_length=LONGEST_NAME)

    def __init__(self, data: Any = None) -> None:
        initial = {"uid": uuid4(), "received_on": timezone.localdate(), "how": Receipt.How.TRANSFER}
        super().__init__(data, initial=initial, auto_id="receipt-%s")
        # Made here: how many decimals it takes is known once the shop has said its currency.
        self.fields["amount_minor"] = MinorMoney(label=gettext_lazy("Amount, tax included"))
        self.order_fields(["amount_minor"])
        plainly(self)


class RefundForm(ReceiptForm):
    """Money that went back to the customer."""

    reason = forms.CharField(label=gettext_lazy("Why it went back"), max_length=LONGEST_REASON)

    def __init__(self, data: Any = None) -> None:
        super().__init__(data)
        self.auto_id = "refund-%s"
        self.fields["received_on"].label = gettext_lazy("Given back on")


class ReverseForm(PlainForm):
    """Why a receipt was a slip. ``receipt`` is its number, so that every form of the page has ids of its own."""

    reason = forms.CharField(label=gettext_lazy("Why it is reversed"), max_length=LONGEST_REASON)

    def __init__(self, data: Any = None, *, receipt: int) -> None:
        super().__init__(data, auto_id=f"reverse-{receipt}-%s")
        self.receipt = receipt


class ReachForm(PlainForm):
    """Since when something holds that payments wait for."""

    day = DayField(label=gettext_lazy("Since"))

    def __init__(self, data: Any = None, *, event: str) -> None:
        super().__init__(data, initial={"day": timezone.localdate()}, auto_id=f"reach-{event}-%s")
        self.event = event


class LetGoForm(PlainForm):
    """What may go out before the money is in, and who says so."""

    steps = forms.MultipleChoiceField(
        label=gettext_lazy("May go out all the same"), widget=forms.CheckboxSelectMultiple
    )
    who_decided = forms.CharField(label=gettext_lazy("Who decides"), max_length=LONGEST_NAME)
    reason = forms.CharField(label=gettext_lazy("Why"), max_length=LONGEST_REASON)

    def __init__(self, data: Any = None, *, queue: Sequence[Outside]) -> None:
        super().__init__(data, auto_id="let-go-%s")
        held = [item for item in queue if not item.may_go]
        field = self.fields["steps"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = [(str(item.step.uid), f"{item.step}, {item.step.part}") for item in held]

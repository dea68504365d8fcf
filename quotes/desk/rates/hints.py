"""What a figure of the rate book means, in one line beside its box; and which figures do nothing now, and why."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.rates.kinds import Kind, Labour, NewTax, Policy, Subject
from quotes.desk.rates.tables import RateForm
from shop.rates import selectors
from shop.rates.models import PricePolicy
from shop.restorations.models import Part

PriceBy, OverheadBy = PricePolicy.PriceBy, PricePolicy.OverheadBy

_FIXED: dict[str, Mapping[str, Any]] = {
    "labour": {
        "cost_rate": gettext_lazy("What an hour costs you: wage and what comes with it, without overhead."),
        "charge_rate": gettext_lazy("What an hour is sold at, overhead included, before tax."),
        "pace": gettext_lazy("1 works at the standard time, 1.5 takes half as long again, 0.9 is quicker."),
    },
    "times": {
        "setup": gettext_lazy("Getting ready and clearing away, once for each batch."),
        "run": gettext_lazy("The work itself, for each unit it is measured by."),
        "allowance": gettext_lazy("Added for rest and small delays. 0 if your times have it in already."),
        "shop_factor": gettext_lazy(
            "What your shop takes, times the standard. 1 is as the standard says; 1.2 takes a fifth longer."
        ),
        "spread": gettext_lazy(
            "How far real times scatter, as a share of the mean: at 0.35 mostly a third more or less."
        ),
    },
    "pricing": {
        "labour_margin": gettext_lazy(
            "Share of the price that is left over labour cost: at 20 %, cost 80 sells for 100."
        ),
        "overhead_margin": gettext_lazy("The same, over rent, light, tools and all that no single job causes."),
        "material_margin": gettext_lazy("The same, over paint, abrasives and what else is used up."),
        "vendor_margin": gettext_lazy("The same, over what outside workshops charge."),
        "bought_in_margin": gettext_lazy("The same, over parts you buy in for the bike."),
        "floor": gettext_lazy(
            "Less than this left over expected cost, and only the manager may issue the offer, with a reason."
        ),
        "comebacks_percent": gettext_lazy(
            "Put by in every price for bikes that come back after hand-over. Shops often keep 1 to 3 %; 0 keeps nothing."
        ),
        "overhead_rate": gettext_lazy(
            "Rent, light, tools and the like of a year, over the hours worked on bikes in it."
        ),
        "overhead_percent": gettext_lazy("The same, as a share of labour cost."),
        "handling_percent": gettext_lazy(
            "Your cost of packing, checking and chasing, on top of what the vendor charges."
        ),
        "handling_grade": gettext_lazy("Whose hours ordering and unpacking are."),
        "mixed_percent": gettext_lazy(
            "Set-up you expect to save by doing parts of several bikes together. 0 prices each bike alone."
        ),
    },
    "taxes": {
        "name": gettext_lazy("What customers read. Quotes already issued keep what they say."),
    },
    "tax": {
        "name": gettext_lazy("What customers read, such as “VAT, reduced”."),
        "code": gettext_lazy("A short word of your own for it, such as “reduced”. It stays as it is."),
        "percent": gettext_lazy("0 for what is free of tax."),
    },
    "chances": {
        "inspect_fee": gettext_lazy("What a customer pays for the stage “strip and inspect”."),
        "credit_days": gettext_lazy("Counted from the day strip and inspect was accepted."),
    },
}


def explain(form: RateForm, kind: Kind, today: date) -> RateForm:
    """Put its line beside every box; where a figure does nothing now, that with the way to where it is chosen."""
    fixed = _FIXED.get(kind.slug, {})
    for name in form.boxes:
        if name in fixed:
            form.fields[name].help_text = fixed[name]
    for name, why in unused(kind, _in_force(today)).items():
        form.fields[name].help_text = _with_way(_("Not used now: %(why)s.") % {"why": why}, kind)
    return form


def _with_way(sentence: str, kind: Kind) -> SafeString:
    if not isinstance(kind, Labour):
        return format_html("{}", sentence)
    way = reverse("desk:rate", args=["pricing", "shop"])
    return format_html('{} <a href="{}#id_price_by">{}</a>', sentence, way, _("How we price"))


def unused(kind: Kind, terms: Mapping[str, Any]) -> dict[str, str]:
    """Boxes of ``kind`` that do nothing under these ``terms`` of the price policy, with why."""
    margin = terms.get("price_by") == PriceBy.MARGIN
    if isinstance(kind, Labour) and margin:
        return {"charge_rate": _("labour is sold by cost and margin")}
    if not isinstance(kind, Policy) or not terms:
        return {}
    found = {}
    if not margin:
        found = dict.fromkeys(("labour_margin", "overhead_margin"), _("labour is sold by charge-out rates"))
    by_hours = terms.get("overhead_by") == OverheadBy.HOURS
    if by_hours:
        found["overhead_percent"] = _("overhead goes by direct labour hours")
    else:
        found["overhead_rate"] = _("overhead goes by direct labour cost")
    return found


def of_charge_out(today: date) -> SafeString | str:
    """The other half of it, for the page of how we price and the list of grades: what becomes of charge-out rates now."""
    terms = _in_force(today)
    if not terms:
        return ""
    if terms["price_by"] == PriceBy.MARGIN:
        return _("Labour is sold by cost and margin now, so the charge-out rates of the labour grades are not used.")
    return _(
        "Labour is sold by the charge-out rates of the labour grades now, so its margin and that on overhead are not used."
    )


def why_nothing(kind: Kind, subject: Subject, form: RateForm, today: date) -> str:
    """Why what was typed changes no price, where that is known without working one out; else nothing."""
    if isinstance(kind, NewTax) and not Part.objects.filter(tax=form.cleaned_data["code"]).exists():
        return _("No part has this code yet, so no price changes. Once it is noted, choose it at a part under “Tax”.")
    day = form.cleaned_data["valid_from"]
    if kind.held(subject, day) != kind.held(subject, today):
        return ""  # the boxes began with what holds today; on that day something else does
    changed = set(form.changed_data) - {"valid_from"}
    if not changed:
        return _("You changed no figure, so no price changes.")
    told = [form.cleaned_data] if isinstance(kind, Policy) else _in_force_between(day, today)
    idle = [unused(kind, terms) for terms in told]
    if not idle or not all(changed <= found.keys() for found in idle):
        return ""
    return _("No price changes: what you typed is not used while %(why)s.") % {"why": idle[0][min(changed)]}


def _in_force_between(day: date, today: date) -> list[dict[str, Any]]:
    """What every policy says that holds on ``day`` or later, until today."""
    since = PricePolicy.objects.filter(valid_from__gt=day, valid_from__lte=today)
    found: list[dict[str, Any]] = [dict(row) for row in since.values("price_by", "overhead_by")]
    return [_in_force(day), *found]


def _in_force(on: date) -> dict[str, Any]:
    found = selectors.policy(on)
    return {"price_by": found.price_by, "overhead_by": found.overhead_by} if found else {}

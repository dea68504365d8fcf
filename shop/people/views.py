"""The page of components: every piece of the look, in every state, to be seen and tested in one place."""

from datetime import date
from decimal import Decimal

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from shop.papers import drawings
from shop.papers.photographs_forms import PhotographForm
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, role_required


class SampleForm(forms.Form):
    part = forms.CharField(label=gettext_lazy("Part"), help_text=gettext_lazy("As it is called on the bike."))
    area = forms.DecimalField(label=gettext_lazy("Area for each piece"), min_value=0)
    condition = forms.ChoiceField(
        label=gettext_lazy("Condition"),
        choices=[("rust", gettext_lazy("Surface rust")), ("pits", gettext_lazy("Pitted"))],
    )
    proof = forms.ChoiceField(
        label=gettext_lazy("Factory finish"),
        choices=[("enamel", gettext_lazy("Stove enamel")), ("nickel", gettext_lazy("Nickel"))],
        widget=forms.RadioSelect,
    )
    masked = forms.BooleanField(label=gettext_lazy("Numbers are masked"), required=False)
    note = forms.CharField(label=gettext_lazy("Note"), required=False, widget=forms.Textarea(attrs={"rows": 3}))


LINES = [
    (gettext_lazy("Frame"), 165, Decimal("62.5"), Decimal("248.40")),
    (gettext_lazy("Front mudguard"), 240, Decimal("31.25"), Decimal("1310.00")),
    (gettext_lazy("Tank"), 960, Decimal("48"), Decimal("9.95")),
]


@require_safe
@role_required(ROLE_DESK, ROLE_MANAGER)
def look(request: HttpRequest) -> HttpResponse:
    messages.success(request, _("The part is added."))
    messages.error(request, _("The part is not added: its name is missing."))
    wrong = SampleForm({"area": "-3", "condition": "pits"}, auto_id="wrong_%s")
    wrong.add_error(None, _("Blasting comes before coating. Put the steps in that order."))
    context = {
        "form": SampleForm(),
        "wrong": wrong,
        "lines": LINES,
        "total": sum((line[3] for line in LINES), Decimal(0)),
        "share": Decimal("0.125"),
        "page": Paginator(range(60), 20).page(2),
        "drawing": _route(),
        "photographs": [_photograph()],
        "photograph_form": PhotographForm(auto_id="photograph_%s"),
        "changed_form": _changed(),
        "today": timezone.localdate(),
        "now": timezone.now(),
        "chips": CHIPS,
        "tokens": TOKENS,
        "long": [f"{number * 7} × {number}" for number in range(1, 15)],
    }
    return render(request, "people/look.html", context)


#: The colours of static/css/bareframe.css by the names they have there.
TOKENS = (
    *("ground", "card", "card-head", "line", "line-strong", "ink", "ink-soft", "act", "manila", "gold", "enamel"),
    *("bad", "bad-wash", "mind", "mind-wash", "good", "good-wash"),
)
CHIPS = [
    ("#16181a", gettext_lazy("Gloss black")),
    ("#6d1f2a", gettext_lazy("Damson red")),
    ("", gettext_lazy("Bright nickel")),
]


def _changed() -> SampleForm:
    """A box in which somebody else has written meanwhile."""
    form = SampleForm(
        {"part": "Front mudguard, deep", "area": "31", "condition": "rust", "proof": "enamel"}, auto_id="changed_%s"
    )
    form.add_error("part", _("Somebody else has written “Front mudguard” here meanwhile. Which is right?"))
    return form


def _photograph() -> dict[str, object]:
    """A picture of our own drawing in the place of a photograph."""
    picture = (
        "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 4 3'%3E"
        "%3Cpath d='M0 0h4v3H0z' fill='%236d1f2a'/%3E%3Cpath d='M0 2h4' stroke='%23b48b34' stroke-width='.1'/%3E%3C/svg%3E"
    )
    return {
        "get_absolute_url": picture,
        "get_thumbnail_url": picture,
        "caption": _("Under the left badge: red over primer"),
        "width": 320,
        "height": 240,
        "taken_on": date(2026, 3, 2),
    }


def _route() -> SafeString:
    stops = [_("strip"), _("blast"), _("coat"), _("fit")]
    parts = [drawings.line(40, 24, 400, 24, width=2)]
    for number, stop in enumerate(stops):
        parts.append(drawings.dot(40 + 120 * number, 24, 6))
        parts.append(drawings.text(40 + 120 * number, 52, stop, anchor="middle", size=15))
    return drawings.picture(*parts, width=440, height=64, title=_("A route: strip, blast, coat, fit"))

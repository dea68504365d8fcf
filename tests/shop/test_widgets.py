"""The widgets written without a template, against what Django's own templates write of the same."""

from datetime import date
from decimal import Decimal

import pytest
from django import forms
from django.forms.renderers import DjangoTemplates
from django.utils.safestring import mark_safe
from django.utils.translation import gettext_lazy

from shop.widgets import Renderer

NASTY = '<b>"it\'s" & ½'
CHOICES = [
    ("", gettext_lazy("choose")),
    (NASTY, NASTY),
    (1, mark_safe("<i>safe</i>")),  # as a label may be
    (NASTY, [("2", "two"), ("3", "three")]),
    ("Group", [(Decimal("4.50"), NASTY)]),
]
ATTRIBUTES = {
    "id": "a",
    "required": True,
    "disabled": False,
    "data-x": NASTY,
    "maxlength": 1200,
    "title": gettext_lazy("a"),
}


@pytest.mark.parametrize("value", [None, "", NASTY, "0", 0, 1200, Decimal("4.50"), date(2026, 3, 2), True, False])
@pytest.mark.parametrize(
    "widget",
    [
        forms.TextInput(),
        forms.NumberInput(),
        forms.EmailInput(),
        forms.URLInput(),
        forms.PasswordInput(render_value=True),
        forms.HiddenInput(),
        forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        forms.CheckboxInput(),
        forms.Select(choices=CHOICES),
        forms.Select(choices=[]),
        forms.SelectMultiple(choices=CHOICES),
        forms.NullBooleanSelect(),
        forms.RadioSelect(choices=CHOICES),
        forms.Textarea(),
    ],
    ids=lambda widget: type(widget).__name__,
)
@pytest.mark.parametrize("attributes", [{}, ATTRIBUTES], ids=["bare", "attributes"])
def test_a_widget_is_written_as_djangos_own_templates_write_it(widget, value, attributes):
    said = [widget.render(NASTY, value, attributes, renderer=renderer()) for renderer in (Renderer, DjangoTemplates)]
    assert said[0] == said[1]
    assert hasattr(said[0], "__html__")


class Coloured(forms.Select):
    option_template_name = "django/forms/widgets/checkbox_option.html"


def test_a_list_whose_options_have_a_template_of_their_own_is_left_to_it():
    said = [Coloured(choices=CHOICES).render("a", "2", renderer=renderer()) for renderer in (Renderer, DjangoTemplates)]
    assert said[0] == said[1]


def test_the_forms_of_the_shop_are_written_by_it(settings):
    assert f"{Renderer.__module__}.{Renderer.__name__}" == settings.FORM_RENDERER

"""A field written without a template, against a template that says how it reads."""

import re

import pytest
from django import forms
from django.template import engines

NASTY = '<b>"it\'s" & ½'
WORDS = """
{% if field.help_text %}<p class="hint" id="{{ field.auto_id }}_helptext">{{ field.help_text }}</p>{% endif %}
{% if field.errors %}<ul class="wrong" id="{{ field.auto_id }}_error">
{% for error in field.errors %}<li>{{ error }}</li>{% endfor %}</ul>{% endif %}
"""
TEMPLATE = f"""
{{% if field.is_hidden %}}{{{{ field }}}}{{% elif field.use_fieldset %}}
<fieldset class="field{{% if field.errors %}} field-wrong{{% endif %}}"
{{%- if field.errors or field.help_text %}} aria-describedby="
{{%- if field.help_text %}}{{{{ field.auto_id }}}}_helptext {{% endif %}}
{{%- if field.errors %}}{{{{ field.auto_id }}}}_error{{% endif %}}"{{% endif %}}>
<legend>{{{{ field.label }}}}
{{%- if not field.field.required %}} <span class="optional">(optional)</span>{{% endif %}}</legend>
{WORDS}{{{{ field }}}}</fieldset>
{{% elif field.widget_type == "checkbox" %}}
<div class="field{{% if field.errors %}} field-wrong{{% endif %}}">{WORDS}
<label class="choice" for="{{{{ field.id_for_label }}}}">{{{{ field }}}} {{{{ field.label }}}}</label></div>
{{% else %}}
<div class="field{{% if field.errors %}} field-wrong{{% endif %}}">
<label for="{{{{ field.id_for_label }}}}">{{{{ field.label }}}}
{{%- if unit %}}<span class="only-heard">, {{{{ unit }}}}</span>{{% endif %}}
{{%- if not field.field.required %}} <span class="optional">(optional)</span>{{% endif %}}</label>{WORDS}
{{% if unit %}}<span class="with-unit">{{{{ field }}}}
<span class="unit" aria-hidden="true">{{{{ unit }}}}</span></span>{{% else %}}{{{{ field }}}}{{% endif %}}</div>
{{% endif %}}
"""


class Form(forms.Form):
    hidden = forms.CharField(widget=forms.HiddenInput)
    plain = forms.CharField(label=NASTY)
    told = forms.DecimalField(label="Told", help_text=NASTY, required=False)
    many = forms.CharField(widget=forms.Textarea, help_text="<i>As it is</i>, escaped")
    tick = forms.BooleanField(label=NASTY, help_text="a hint")
    loose = forms.BooleanField(required=False)
    one = forms.ChoiceField(choices=[("a", NASTY), ("b", "B")], widget=forms.RadioSelect, help_text="choose")
    few = forms.MultipleChoiceField(
        choices=[("a", "A"), ("b", "B")], widget=forms.CheckboxSelectMultiple, required=False
    )
    listed = forms.ChoiceField(choices=[("a", "A"), (NASTY, "B")])


def _forms() -> list[Form]:
    wrong = Form({"hidden": "", "told": NASTY, "one": NASTY, "few": [NASTY]}, prefix="p")
    wrong.add_error("few", NASTY)
    return [Form(), Form({"plain": NASTY, "tick": "on", "one": "b"}, auto_id="at-%s"), wrong]


def _read(html: str) -> str:
    """Without the spaces that nobody sees: between elements, and at their ends."""
    return re.sub(r">\s+<", "><", " ".join(html.split()))


@pytest.mark.parametrize("unit", ["", NASTY])
@pytest.mark.parametrize("name", list(Form.base_fields))
def test_a_field_reads_as_the_template_says(name: str, unit: str) -> None:
    oracle = engines["django"].from_string(re.sub(r"\n\{%-", "{%", TEMPLATE))
    written = engines["django"].from_string('{% include "components/field.html" %}')
    for form in _forms():
        context = {"field": form[name], "unit": unit}
        assert _read(written.render(context)) == _read(oracle.render(context))

"""Forms about the work on a bike: splitting a part, letting something be coated without a trial fit, putting tasks together."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import PlainForm
from shop.routes.models import Step, Task, TaskStep


class SplitForm(PlainForm):
    """How many pieces of a part go their own way. ``part`` is its key, so that every form of the page has ids of its own."""

    pieces = forms.IntegerField(label=gettext_lazy("Pieces that go their own way"), min_value=1)

    def __init__(self, data: Any = None, *, part: int) -> None:
        super().__init__(data, auto_id=f"split-{part}-%s")
        self.part = part


class TrialForm(PlainForm):
    """Who lets a step be begun without its part having been fitted, and why."""

    step = forms.ModelChoiceField(
        label=gettext_lazy("Step"), queryset=Step.objects.none(), empty_label=gettext_lazy("choose")
    )
    who_decided = forms.CharField(label=gettext_lazy("Who decides"), max_length=120)
    reason = forms.CharField(label=gettext_lazy("Reason"), max_length=200)

    def __init__(self, data: Any = None, *, steps: Iterable[Step]) -> None:
        super().__init__(data, auto_id="trial-%s")
        rows = Step.objects.filter(pk__in=[step.pk for step in steps]).select_related("part", "operation", "service")
        field = self.fields["step"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = rows
        field.label_from_instance = lambda obj: f"{obj.part}: {obj}"  # type: ignore[method-assign]


class MoveForm(PlainForm):
    """Steps, each with the task it was seen in, and the task they move to: one that is there, or a new one by its name."""

    to = forms.ModelChoiceField(
        label=gettext_lazy("Into the task"),
        queryset=Task.objects.filter(kind=Task.Kind.BIKE, closed_at__isnull=True).select_related("restoration"),
        to_field_name="uid",
        required=False,
    )
    name = forms.CharField(label=gettext_lazy("Name of the new task"), max_length=120, required=False)
    alone = forms.BooleanField(label=gettext_lazy("One person at a time"), required=False)

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, auto_id="move-%s")
        field = self.fields["to"]
        assert isinstance(field, forms.ModelChoiceField)
        field.label_from_instance = (  # type: ignore[method-assign]
            lambda obj: f"{obj.name} ({obj.restoration})" if obj.restoration else str(obj.name)
        )
        field.empty_label = _("a new one")
        self.chosen: list[str] = data.getlist("line") if data is not None else []

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.chosen:
            raise forms.ValidationError(_("Choose the steps to move first: tick them in the list."))
        if not cleaned.get("to") and not cleaned.get("name", "").strip():
            self.add_error("name", _("Give the new task a name, or choose one that is there."))
        return cleaned

    def lines(self) -> list[TaskStep]:
        """The steps ticked, as they were seen: another task by now is told when they are moved."""
        seen = dict(pair.split(":", 1) for pair in self.chosen if ":" in pair)
        known = TaskStep.objects.select_related("task", "step__part__restoration", "step__operation", "step__service")
        rows = list(known.filter(pk__in=[key for key in seen if key.isdigit()]).order_by("pk"))
        for row in rows:
            if seen[str(row.pk)].isdigit():
                row.task_id = int(seen[str(row.pk)])
        return rows


class TaskForm(PlainForm):
    """What a task is called, and whether it takes one person at a time."""

    name = forms.CharField(label=gettext_lazy("Name"), max_length=120)
    alone = forms.BooleanField(label=gettext_lazy("One person at a time"), required=False)

    def __init__(self, data: Any = None, *, task: Task) -> None:
        super().__init__(data, initial={"name": task.name, "alone": task.alone}, auto_id=f"task-{task.pk}-%s")
        self.task = task

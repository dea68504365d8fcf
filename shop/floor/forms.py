"""Forms for time: what was not tapped, when a forgotten clocking ended, and what was different. Local times, to the minute."""

from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop.floor.corrections import Row
from shop.floor.models import Clocking
from shop.routes.models import Task

if TYPE_CHECKING:  # the field takes its model in brackets for the type checker only
    TaskChoiceField = forms.ModelChoiceField[Task]
else:
    TaskChoiceField = forms.ModelChoiceField

MOMENT = "%Y-%m-%dT%H:%M"
LONGEST_MINUTES = 16 * 60


def local(day: date, at: time) -> datetime:
    """The instant at which the clock shows ``at`` on ``day``, the first of two. Raises `ValidationError` where it skips it."""
    said = datetime.combine(day, at)
    try:
        moment = timezone.make_aware(said)
        there = timezone.make_naive(moment.astimezone(UTC)) == said
    except OverflowError:
        raise ValidationError(_("That day is too far away.")) from None
    if not there:
        raise ValidationError(_("The clock was put forward over this time. Give one before or after."))
    return moment


class MomentField(forms.Field):
    """A local day and time, typed or picked, to the minute. In the hour that comes twice it is the first time."""

    def __init__(self, **options: Any) -> None:
        super().__init__(widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format=MOMENT), **options)

    def prepare_value(self, value: Any) -> Any:
        return timezone.make_naive(value) if isinstance(value, datetime) else value

    def to_python(self, value: Any) -> datetime | None:
        if value in self.empty_values:
            return None
        try:
            said = datetime.fromisoformat(str(value).strip())
        except ValueError:
            said = None
        if said is None or said.tzinfo is not None:
            raise ValidationError(_("Give a day and a time, such as 2026-03-02 16:30."))
        return local(said.date(), said.time().replace(microsecond=0))


class TimeField(forms.TimeField):
    def __init__(self, **options: Any) -> None:
        widget = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
        super().__init__(
            widget=widget, error_messages={"invalid": gettext_lazy("Give a time such as 16:30.")}, **options
        )


class TaskField(TaskChoiceField):
    """A task that is open, or one that ``also`` names."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            queryset=Task.objects.filter(closed_at=None).select_related("restoration"),
            to_field_name="uid",
            empty_label=gettext_lazy("choose"),
            error_messages={"invalid_choice": gettext_lazy("Choose one from the list.")},
            **options,
        )

    def also(self, tasks: list[int]) -> None:
        wanted = Q(closed_at=None) | Q(pk__in=tasks)
        self.queryset = Task.objects.filter(wanted).select_related("restoration").order_by("name", "pk")

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.name} · {obj.restoration}" if obj.restoration else str(obj.name)


class RowForm(forms.Form):
    """One line of what was not tapped: from, and to or how long. What ends before it begins ended on the next day."""

    #: Any box of a line may be left empty; the sentence above them says which belong together.
    tells_optional = False

    task = TaskField(label=gettext_lazy("Task"), required=False)
    begins = TimeField(label=gettext_lazy("From"), required=False)
    ends = TimeField(label=gettext_lazy("To"), required=False)
    minutes = forms.IntegerField(
        label=gettext_lazy("or minutes"),
        required=False,
        min_value=1,
        max_value=LONGEST_MINUTES,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    through_breaks = forms.BooleanField(label=gettext_lazy("worked through the break"), required=False)

    def __init__(self, data: Any = None, *, day: date, number: int, tasks: list[int]) -> None:
        super().__init__(data, prefix=str(number), auto_id="row-%s")
        self.day = day
        field = self.fields["task"]
        assert isinstance(field, TaskField)
        field.also(tasks)
        self.empty_permitted, self.use_required_attribute = True, False

    @property
    def is_filled(self) -> bool:
        given = (self.data.get(self.add_prefix(name), "") for name in ("task", "begins", "ends", "minutes"))
        return any(str(each).strip() for each in given)

    def row(self, after: datetime | None) -> Row | None:
        """What the line says; one without a begin goes on where the last one ended. None where something is wrong with it."""
        given = self.cleaned_data
        begins = self._begin(given.get("begins"), after)
        if given.get("task") is None and "task" not in self.errors:
            self.add_error("task", _("Choose what it was."))
        ends = self._end(begins) if begins else None
        if self.errors or begins is None or ends is None:
            return None
        return Row(given["task"], begins, ends, through_breaks=given["through_breaks"])

    def _begin(self, said: time | None, after: datetime | None) -> datetime | None:
        if "begins" in self.errors:
            return None
        if said is None:
            if after is None:
                self.add_error("begins", _("Say when it began."))
            return after
        return self._local("begins", self.day, said)

    def _end(self, begins: datetime) -> datetime | None:
        said, minutes = self.cleaned_data.get("ends"), self.cleaned_data.get("minutes")
        if "ends" in self.errors or "minutes" in self.errors:
            return None
        if said is not None and minutes:
            self.add_error("minutes", _("Give either when it ended or how long it took."))
        elif minutes:
            return begins + timedelta(minutes=minutes)
        elif said is None:
            self.add_error("ends", _("Say when it ended, or how many minutes it took."))
        else:
            day = timezone.localdate(begins)
            ends = self._local("ends", day, said)
            return self._local("ends", day + timedelta(days=1), said) if ends and ends <= begins else ends
        return None

    def _local(self, field: str, day: date, said: time) -> datetime | None:
        try:
            return local(day, said)
        except ValidationError as error:
            self.add_error(field, error)
            return None


class CorrectForm(forms.Form):
    """What a clocking really was: changed, cut in two, or taken back."""

    task = TaskField(label=gettext_lazy("Task"))
    begins = MomentField(label=gettext_lazy("From"))
    ends = MomentField(label=gettext_lazy("To"), required=False)
    through_breaks = forms.BooleanField(label=gettext_lazy("worked through the break"), required=False)
    then_task = TaskField(label=gettext_lazy("and then"), required=False)
    then_from = MomentField(label=gettext_lazy("from"), required=False)
    taken_back = forms.BooleanField(label=gettext_lazy("It was not at all: take it back"), required=False)
    reason = forms.CharField(label=gettext_lazy("Why"), max_length=200)

    def __init__(self, data: Any = None, *, clocking: Clocking) -> None:
        seen = {
            "task": clocking.task.uid,
            "begins": clocking.began_at,
            "ends": clocking.ended_at,
            "through_breaks": clocking.through_breaks,
        }
        super().__init__(data, initial=seen, auto_id="correct-%s")
        self.clocking = clocking
        for name in ("task", "then_task"):
            field = self.fields[name]
            assert isinstance(field, TaskField)
            field.also([clocking.task_id])

    def rows(self) -> list[Row]:
        """What takes the clocking's place. A time left as it was keeps its seconds."""
        given, old = self.cleaned_data, self.clocking
        if given["taken_back"]:
            return []
        begins, ends = _kept(given["begins"], old.began_at), _kept(given["ends"], old.ended_at)
        through = given["through_breaks"]
        if not given["then_task"]:
            return [Row(given["task"], begins, ends, through)]
        cut = given["then_from"]
        return [Row(given["task"], begins, cut, through), Row(given["then_task"], cut, ends, through)]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("then_task") and not given.get("then_from") and "then_from" not in self.errors:
            self.add_error("then_from", _("Say when the second task began."))
        if given.get("then_from") and not given.get("then_task") and "then_task" not in self.errors:
            self.add_error("then_task", _("Choose what came then."))
        return given

    #: Where the sentences of the service belong.
    FIELDS = {
        "0-task": "task",
        "0-begins": "begins",
        "0-ends": "ends",
        "1-task": "then_task",
        "1-begins": "then_from",
        "1-ends": "ends",
        "reason": "reason",
    }


def _kept(typed: datetime | None, was: datetime | None) -> Any:
    """What was, where the clock showed the same then: also in the hour that comes twice."""
    if typed is None or was is None:
        return typed
    return was if _shown(typed) == _shown(was) else typed


def _shown(at: datetime) -> datetime:
    return timezone.make_naive(at).replace(second=0, microsecond=0)


class EndForm(forms.Form):
    """When a forgotten clocking ended."""

    ends = MomentField(label=gettext_lazy("It ended"))

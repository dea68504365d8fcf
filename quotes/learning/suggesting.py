"""From what happened to what the rate book might say: worked out in `found`, kept by `keep`."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from quotes.engine import canonical
from quotes.engine.learning.chances import likeliest
from quotes.engine.learning.factors import RUN, SETUP, Estimate, Learned, Task, learn
from quotes.learning import happened, work
from quotes.learning.models import Suggestion
from shop.methods.models import Operation
from shop.people.models import Grade
from shop.rates.selectors import grade_rates, odds

Kind = Suggestion.Kind
FOUR = Decimal("0.0001")
#: Tasks that are mostly of one operation are shown as points, so many at most.
MOSTLY, POINTS = 0.8, 80
#: Fewer tasks suggest nothing.
LEAST = 3
#: As far as a figure is kept: the columns hold no more.
FARTHEST = 99_999_999.0


@dataclass(slots=True)
class Found:
    """Unsaved suggestions, and what they rest on."""

    suggestions: list[Suggestion] = field(default_factory=list)
    tasks: int = 0
    bikes: int = 0
    outliers: list[dict[str, str]] = field(default_factory=list)


def found(*, today: date, say: Callable[[int], None] = lambda _step: None) -> Found:
    """What all that happened by now suggests, in a constant number of queries; ``say`` is told each step that is done."""
    result = Found()
    tasks = work.tasks(today)
    say(1)
    if len(tasks) >= LEAST:
        learned = learn(tasks)
        result.tasks, result.bikes = learned.tasks, learned.bike_count
        result.outliers = _outliers(learned)
        say(2)
        result.suggestions += of_work(learned, tasks, today=today)
    say(3)
    result.suggestions += _lead_times(today) + _damages(today) + _done_again()
    return result


def _outliers(learned: Learned) -> list[dict[str, str]]:
    names = {str(row.uid): row.name for row in Operation.objects.all()}
    return [
        {
            "task": str(int(one.key)),
            "times": str(exact(one.times)),
            "work": ", ".join(names[uid] for uid in one.operations),
        }
        for one in learned.outliers
    ]


# -- own work ------------------------------------------------------------------------------------------------------------


def of_work(learned: Learned, tasks: Sequence[Task], *, today: date) -> list[Suggestion]:
    """Suggestions for operations, grades and the spread of bikes."""
    standards = work.Standards(today)
    by_uid = {str(time.operation.uid): time for time in standards.times.values()}
    shown = _shown(tasks, {one.key for one in learned.outliers})
    made = []
    for uid, one in learned.operations.items():
        if uid in by_uid and one.tasks >= LEAST:
            time = by_uid[uid]
            details = shown[uid] | {"spread": exact(one.spread)} | _apart(learned, uid)
            label = time.operation.name
            assumed = time.shop_factor
            made.append(_of(Kind.OPERATION, uid, label, assumed, one, details | _in_force(shown[uid], assumed, one)))
    return made + _grades(learned, today) + _bikes(learned, today)


def _apart(learned: Learned, uid: str) -> dict[str, Any]:
    both = {part: learned.apart.get((uid, part)) for part in (SETUP, RUN)}
    return {f"{part} factor": exact(one.factor) for part, one in both.items() if one is not None}


def _of(kind: str, subject: str, label: str, assumed: Decimal, one: Estimate, details: Mapping[str, Any]) -> Suggestion:
    return suggestion(
        kind,
        subject,
        label,
        assumed=assumed,
        happened=exact(one.happened),
        suggested=exact(one.factor),
        interval=(exact(one.low), exact(one.high)),
        sample=one.tasks,
        wanting=one.wanting,
        details=details,
    )


def suggestion(
    kind: str,
    subject: str,
    label: str,
    *,
    assumed: Decimal,
    happened: Decimal,
    suggested: Decimal,
    interval: tuple[Decimal, Decimal],
    sample: int,
    wanting: int = 0,
    details: Mapping[str, Any] | None = None,
) -> Suggestion:
    """One that is not saved yet."""
    low, high = min(interval[0], suggested), max(interval[1], suggested)
    return Suggestion(
        kind=kind,
        subject=subject,
        label=label[:200],
        assumed=assumed,
        happened=happened,
        suggested=suggested,
        low=low,
        high=high,
        sample=sample,
        wanting=wanting,
        details=canonical.dump({key: _plain(value) for key, value in (details or {}).items()}).decode(),
    )


def _plain(value: Any) -> Any:
    return [str(one) for one in value] if isinstance(value, list) else str(value)


def exact(value: float) -> Decimal:
    """A figure as it is kept, to four places."""
    return Decimal(str(min(max(value, -FARTHEST), FARTHEST))).quantize(FOUR)


def _shown(tasks: Sequence[Task], left_out: set[str]) -> dict[str, dict[str, Any]]:
    """By operation: its tasks that are hardly anything else, as points; the bikes they were of; their minutes."""
    found: dict[str, dict[str, Any]] = {}
    bikes: dict[str, set[str]] = {}
    for task in tasks:
        if task.key in left_out or not work_in(task):
            continue
        ratio = task.actual / task.standard
        for piece in task.pieces:
            own = found.setdefault(piece.operation, {"points": [], "standard": 0.0, "actual": 0.0})
            bikes.setdefault(piece.operation, set()).add(task.bike)
            own["standard"] += piece.standard
            own["actual"] += ratio * piece.standard
            if piece.standard >= MOSTLY * task.standard:
                own["points"].append(ratio)
    for uid, own in found.items():
        points = sorted(own["points"])
        every = max(1, -(-len(points) // POINTS))
        own["points"] = [exact(point) for point in points[::every]]
        own["bikes"] = len(bikes[uid])
        own["standard"], own["actual"] = exact(own["standard"]), exact(own["actual"])
    return found


def work_in(task: Task) -> bool:
    """Whether there is a standard to hold the task against."""
    return task.standard > 0


def _in_force(own: Mapping[str, Any], assumed: Decimal, one: Estimate) -> dict[str, Decimal]:
    """What the bikes that are finished would have been quoted with, and what they took [min]."""
    return {
        "assumed minutes": (own["standard"] * assumed).quantize(FOUR),
        "suggested minutes": (own["standard"] * exact(one.factor)).quantize(FOUR),
        "actual minutes": own["actual"],
    }


def _grades(learned: Learned, today: date) -> list[Suggestion]:
    known = {str(grade.uid): grade for grade in Grade.objects.all()}
    paces = {grade: rate.pace for grade, rate in grade_rates(today).items()}
    made = []
    for uid, one in learned.grades.items():
        if uid in known and known[uid].pk in paces and len(learned.grades) > 1 and one.tasks >= LEAST:
            pace = paces[known[uid].pk]
            suggested = (pace * exact(one.factor)).quantize(FOUR)
            made.append(
                suggestion(
                    Kind.GRADE,
                    uid,
                    known[uid].name,
                    assumed=pace,
                    happened=(pace * exact(one.happened)).quantize(FOUR),
                    suggested=suggested,
                    interval=((pace * exact(one.low)).quantize(FOUR), (pace * exact(one.high)).quantize(FOUR)),
                    sample=one.tasks,
                )
            )
    return made


def _bikes(learned: Learned, today: date) -> list[Suggestion]:
    """The spread of a bike's factor [%]. Its interval is that of a variance from so many bikes (chi squared, roughly)."""
    if learned.bike_count < 2 * LEAST:
        return []
    spread = Decimal(str(learned.bikes * 100)).quantize(Decimal("0.01"))
    off = happened.Z / (2 * (learned.bike_count - 1)) ** 0.5
    low, high = (exact(learned.bikes * 100 * max(0.0, 1 + sign * off)) for sign in (-1, 1))
    return [
        suggestion(
            Kind.BIKES,
            "",
            _("How far apart bikes are"),
            assumed=odds(today).pace,
            happened=spread,
            suggested=spread,
            interval=(low, high),
            sample=learned.bike_count,
        )
    ]


# -- what others did, and what was found -----------------------------------------------------------------------------------


def _lead_times(today: date) -> list[Suggestion]:
    return [
        suggestion(
            Kind.SERVICE,
            str(one.service.uid),
            f"{one.service.vendor}: {one.service}",
            assumed=Decimal(one.book),
            happened=Decimal(one.days),
            suggested=Decimal(one.days),
            interval=(Decimal(one.low), Decimal(one.high)),
            sample=one.lots,
            details={"out": one.out},
        )
        for one in happened.lead_times(today=today)
        if one.lots >= LEAST
    ]


def _damages(today: date) -> list[Suggestion]:
    believed = odds(today)
    chances = {word: float(getattr(believed, word)) / 100 for word in ("common", "sometimes", "rare")}
    rows = happened.damages(chances)
    by_word: dict[float, list[happened.Hits]] = {}
    for row in rows:
        by_word.setdefault(row.assumed, []).append(row)
    return [one for alike in by_word.values() for one in _chances(Kind.DAMAGE, alike)]


def _done_again() -> list[Suggestion]:
    return _chances(Kind.REWORK, happened.done_again())


def _chances(kind: str, rows: Sequence[happened.Hits]) -> list[Suggestion]:
    """Things of one kind tell each other how far from common they may be."""
    prior = likeliest([(row.hits, row.count) for row in rows])
    made = []
    for row in rows:
        after = prior.after(row.hits, row.count)
        low, high = after.interval()
        made.append(
            suggestion(
                kind,
                row.subject,
                row.label,
                assumed=percent(row.assumed),
                happened=percent(row.hits / row.count),
                suggested=percent(after.mean),
                interval=(percent(low), percent(high)),
                sample=row.count,
                details={"hits": row.hits},
            )
        )
    return made


def percent(chance: float) -> Decimal:
    """A chance [%] to two places."""
    return Decimal(str(chance * 100)).quantize(Decimal("0.01"))

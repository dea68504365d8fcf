"""Everything that happened to a restoration, from the journal: the newest first, a change of many entries as one."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from django.apps import apps
from django.db.models import ForeignKey, Model, Q, QuerySet
from django.utils.translation import ngettext

from quotes.desk import told, undoing
from quotes.desk.undoing_ways import Difference
from shop.journal.models import Entry
from shop.journal.selectors import CLOSE
from shop.journal.services import ALSO
from shop.people.models import User
from shop.restorations.models import Part, Restoration
from shop.routes.many import many_of
from shop.routes.models import Step
from shop.vendor_jobs.models import Job

MOST_SHOWN = 12


@dataclass(slots=True)
class Happened:
    """One change as the page shows it: its first entry, the fields that turned, and what became of it since."""

    entry: Entry
    what: str
    title: str
    where: str
    turns: list[told.Turn]
    stays: str = ""
    who: str = ""
    undone: Entry | None = None
    undone_by: str = ""
    undoes: Entry | None = None
    undoes_of: str = ""
    more: int = 0
    others: list[tuple[Entry, str]] = field(default_factory=list)


def entries(restoration: Restoration) -> QuerySet[Entry]:
    """The entries that begin a change of ``restoration``, of what is on it and of whose it is; the newest first."""
    of_it = Q(subject_type=Restoration._meta.label_lower, subject_uid=restoration.uid)
    of_it |= Q(subject_type="restorations.customer", subject_uid=restoration.customer.uid)
    of_it |= Q(subject_type="restorations.machine", subject_uid=restoration.machine.uid)
    for model, path in _of_a_restoration():
        uids = model._default_manager.filter(**{path: restoration}).values("uid")
        of_it |= Q(subject_type=model._meta.label_lower, subject_uid__in=uids)
    jobs = Job.objects.filter(lines__step__part__restoration=restoration).values("uid")
    of_it |= Q(subject_type=Job._meta.label_lower, subject_uid__in=jobs)
    return Entry.objects.filter(of_it).exclude(reference__endswith=ALSO).order_by("-pk")


def _of_a_restoration() -> Iterator[tuple[type[Model], str]]:
    """Everything with a uid that hangs on a restoration, on its parts or on their steps."""
    paths = {Restoration: "", Part: "part", Step: "step"}
    for model in apps.get_models():
        if model is Restoration or not any(one.name == "uid" for one in model._meta.concrete_fields):
            continue
        for column in model._meta.concrete_fields:
            if isinstance(column, ForeignKey) and column.related_model in paths:
                above = {Restoration: "", Part: "__restoration", Step: "__part__restoration"}[column.related_model]
                yield model, column.name + above
                break


def happened(rows: Iterable[Entry]) -> list[Happened]:
    """The entries of one page with what was undone of them, in a fixed number of queries."""
    page = list(rows)
    undone = _undone(page)
    undoes = _undoes(page)
    more = _also(page)
    places = _places(page)
    people = _people([*page, *undone.values(), *undoes.values()])
    result = []
    for entry in page:
        others = more.get(entry.reference + ALSO, []) if entry.reference else []
        whys = [why for one in (entry, *others) if (why := undoing.why_it_stays(one))]
        result.append(
            Happened(
                entry,
                told.what(entry),
                _title(entry, others),
                places.get(entry.subject_uid, ""),
                told.turns(entry),
                stays=whys[0] if whys else "",
                who=people[entry.who],
                undone=(after := undone.get(str(entry.uid))),
                undone_by=people[after.who] if after else "",
                undoes=(before := undoes.get(entry.reference)),
                undoes_of=people[before.who] if before else "",
                more=max(0, len(others) - MOST_SHOWN),
                others=[(one, told.what(one)) for one in others[:MOST_SHOWN]],
            )
        )
    return result


def _people(rows: list[Entry]) -> dict[str, str]:
    """How people are called, by what they sign in with; whoever is not on the list is called as the journal has it."""
    signed = {entry.who for entry in rows}
    known = {person.username: person.get_full_name() for person in User.objects.filter(username__in=signed)}
    return {who: known.get(who) or who for who in signed}


def _title(entry: Entry, others: list[Entry]) -> str:
    """What it was done to; of many parts at once how many there were."""
    if not many_of(entry):
        return entry.subject_label
    count = len({one.subject_uid for one in (entry, *others)})
    return ngettext("%(count)s part", "%(count)s parts", count) % {"count": count}


def _undone(page: list[Entry]) -> dict[str, Entry]:
    """What undid an entry, by the uid of that; an undo writes of the same subject."""
    references = {undoing.reference_of(entry) + tail: str(entry.uid) for entry in page for tail in ("", ALSO)}
    subjects = {entry.subject_uid for entry in page}
    types = {entry.subject_type for entry in page}
    found = Entry.objects.filter(subject_type__in=types, subject_uid__in=subjects, reference__in=references)
    return {references[entry.reference]: entry for entry in found}


def _undoes(page: list[Entry]) -> dict[str, Entry]:
    """What an undo on this page undid, by its reference."""
    uids = [entry.reference.removeprefix(undoing.UNDO) for entry in page if entry.reference.startswith(undoing.UNDO)]
    return {undoing.reference_of(entry): entry for entry in Entry.objects.filter(uid__in=uids)}


def _also(page: list[Entry]) -> dict[str, list[Entry]]:
    """The other entries of the changes on this page, by their reference."""
    heads = [entry for entry in page if entry.reference]
    if not heads:
        return {}
    references = [entry.reference + ALSO for entry in heads]
    low, high = min(entry.pk for entry in heads), max(entry.pk for entry in heads)
    found: dict[str, list[Entry]] = {}
    close = Entry.objects.filter(pk__gt=low, pk__lte=high + CLOSE, reference__in=references)
    for entry in close.order_by("pk"):
        found.setdefault(entry.reference, []).append(entry)
    return found


def _places(page: list[Entry]) -> dict[object, str]:
    """The part a step is of, by the step's uid."""
    uids = [entry.subject_uid for entry in page if entry.subject_type == Step._meta.label_lower]
    return dict(Step.objects.filter(uid__in=uids).values_list("uid", "part__name"))


def since(difference: Difference) -> Entry | None:
    """Who changed last what an entry had left, where the journal knows."""
    entry = difference.entry
    later = Entry.objects.filter(subject_type=entry.subject_type, subject_uid=entry.subject_uid, pk__gt=entry.pk)
    if difference.key:
        later = later.filter(after__contains=f'"{difference.key}":')
    elif difference.label:
        later = later.filter(what="route laid anew")
    return later.last()

"""Where every bag and part is: tags, the shelves and people they went to, and what is next for what hangs on a tag.

Where a tag is, is its newest move; nothing else is kept of it.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, Max, OuterRef, QuerySet
from django.utils.translation import gettext as _

from shop.floor import tag_codes
from shop.floor.models import Move, Shelf, Tag
from shop.journal.services import Change, Subject, record, record_all, subject_of
from shop.people.models import User
from shop.restorations.models import Part, Restoration
from shop.restorations.services import hold_scope
from shop.routes.progress import StepState, look

TRIES = 20
#: Moves that a tag's page shows.
SHOWN = 30


# -- what is there -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Where:
    """A tag, and the move that says where it is; None where nobody has said so yet."""

    tag: Tag
    move: Move | None

    @property
    def place(self) -> str:
        if self.move is None:
            return ""
        return str(self.move.shelf or self.move.at_whom)


def known_tag(code: str) -> Tag | None:
    """A tag by its number, with all that its page says of it."""
    return _tags().filter(code=code).first()


def _tags() -> QuerySet[Tag]:
    return Tag.objects.select_related("restoration__machine", "part__agreed_finish", "part__split_from")


def where_are(tags: Iterable[Tag]) -> list[Where]:
    """Where tags are, in two queries for any number of them."""
    wanted = list(tags)
    newest = Move.objects.filter(tag__in=wanted).order_by().values("tag").annotate(newest=Max("pk"))
    moves = Move.objects.select_related("shelf").filter(pk__in=[row["newest"] for row in newest])
    by_tag = {move.tag_id: move for move in moves}
    return [Where(tag, by_tag.get(tag.pk)) for tag in wanted]


def tags_of(restoration: Restoration) -> list[Where]:
    """Every tag of a bike that is on something, in the order of its parts, bags at the end. Three queries."""
    rows = _tags().filter(restoration=restoration, ended_at__isnull=True)
    return where_are(sorted(rows, key=_by_part))


def _by_part(tag: Tag) -> tuple[int, int, str]:
    return (0, tag.part.position, tag.code) if tag.part else (1, 0, tag.what)


def of_parts(parts: Collection[int]) -> Mapping[int, Sequence[Where]]:
    """Part to its tags and where they are, in three queries."""
    rows = Tag.objects.filter(part__in=parts, ended_at__isnull=True).order_by("code")
    found: dict[int, list[Where]] = {}
    for one in where_are(rows):
        assert one.tag.part_id is not None
        found.setdefault(one.tag.part_id, []).append(one)
    return found


def without_tag(restoration: Restoration) -> QuerySet[Part]:
    """Parts in scope on which no tag hangs."""
    live = Tag.objects.filter(part=OuterRef("pk"), ended_at__isnull=True)
    parts = Part.objects.filter(restoration=restoration, removed_at__isnull=True, pieces__gt=0)
    return parts.exclude(Exists(live)).order_by("position", "pk")


def next_of(part: Part, *, now: datetime) -> StepState | None:
    """The first step on the route of a part that is not done; None where all of it is, or nothing was to do."""
    found = look({part.restoration_id}, now=now)
    route = found.graph.routes.get(part.pk, [])
    return next((found.states[step.pk] for step in route if not found.states[step.pk].is_done), None)


# -- tags --------------------------------------------------------------------------------------------------------------


@transaction.atomic
def make_tags(*, restoration: Restoration, who: str, now: datetime) -> list[Tag]:
    """A tag for every part of a bike that has none yet."""
    hold_scope(restoration.pk)
    made = [
        Tag(restoration=restoration, part=part, code=code, made_by=who, made_at=now)
        for part, code in _with_codes(list(without_tag(restoration)))
    ]
    Tag.objects.bulk_create(made)
    changes = [Change(subject_of(tag.part), after=_told(tag)) for tag in made if tag.part]
    record_all(who=who, at=now, what="tag made", changes=changes)
    return made


def _with_codes(parts: Sequence[Part]) -> Iterable[tuple[Part, str]]:
    return zip(parts, _free_codes(len(parts)), strict=True)


def _free_codes(count: int) -> list[str]:
    """Numbers that no tag has or ever had."""
    found: set[str] = set()
    for _round in range(TRIES):
        found |= {tag_codes.new_code() for _turn in range(count - len(found))}
        found -= set(Tag.objects.filter(code__in=found).values_list("code", flat=True))
        if len(found) == count:
            return sorted(found)
    raise ValidationError(_("There is no free number for a tag just now. Try again."), code="no code")


@transaction.atomic
def add_tag(
    *,
    uid: UUID,
    restoration: Restoration,
    part: Part | None,
    what: str = "",
    pieces: int | None = None,
    who: str,
    now: datetime,
) -> Tag:
    """A tag for a part, or for a bag of which ``what`` says what is in it. ``uid`` is that of the form: sent twice, it is kept once."""
    hold_scope(restoration.pk)
    before = Tag.objects.filter(uid=uid).first()
    if before is not None:
        return before
    if part is not None and (part.restoration_id != restoration.pk or part.removed_at is not None):
        raise ValidationError({"part": _("Choose a part of this bike that is in scope.")}, code="part")
    if part is None and not what.strip():
        raise ValidationError({"what": _("Choose a part, or say what is in the bag.")}, code="what")
    tag = Tag(uid=uid, restoration=restoration, part=part, what=what.strip(), pieces=pieces, made_by=who, made_at=now)
    tag.code = _free_codes(1)[0]
    tag.full_clean(exclude={"restoration", "part"})
    tag.save(force_insert=True)
    record(who=who, at=now, what="tag made", subject=_subject(tag), after=_told(tag))
    return tag


@transaction.atomic
def end_tag(*, tag: Tag, who: str, now: datetime) -> Tag:
    """It came off for good: the part is on the bike, or the bag is empty."""
    _hold(tag)
    if tag.ended_at is None:
        tag.ended_at = now
        tag.save(update_fields=["ended_at"])
        record(who=who, at=now, what="tag ended", subject=_subject(tag), before=_told(tag))
    return tag


@transaction.atomic
def use_again(*, tag: Tag, who: str, now: datetime) -> Tag:
    """It was ended by mistake: it hangs where it hung."""
    _hold(tag)
    if tag.ended_at is not None:
        tag.ended_at = None
        tag.save(update_fields=["ended_at"])
        record(who=who, at=now, what="tag used again", subject=_subject(tag), after=_told(tag))
    return tag


def _hold(tag: Tag) -> None:
    hold_scope(tag.restoration_id)
    tag.refresh_from_db(fields=["ended_at"])


def _subject(tag: Tag) -> Subject:
    return subject_of(tag.part or tag.restoration)


def _told(tag: Tag) -> dict[str, object]:
    told: dict[str, object] = {"tag": tag_codes.spaced(tag.code)}
    return told | ({"in the bag": tag.what} if tag.what else {}) | ({"pieces": tag.pieces} if tag.pieces else {})


# -- places ------------------------------------------------------------------------------------------------------------


@transaction.atomic
def move(*, tag: Tag, shelf: Shelf | None = None, at_whom: str = "", person: User, now: datetime) -> Move:
    """Say where a tag is now: on a shelf, or in other words. Said twice, it is kept once."""
    _hold(tag)
    if tag.ended_at is not None:
        raise ValidationError(_("This tag came off. If it hangs again, take that back first."), code="ended")
    at_whom = at_whom.strip()
    if (shelf is None) == (not at_whom):
        raise ValidationError({"at_whom": _("Choose a shelf, or say where else it is.")}, code="where")
    newest = Move.objects.filter(tag=tag).order_by("pk").last()
    if newest is not None and (newest.shelf_id, newest.at_whom) == (shelf and shelf.pk, at_whom):
        return newest
    row = Move(tag=tag, shelf=shelf, at_whom=at_whom, person=person, who=person.username, at=now)
    row.full_clean(exclude={"tag", "shelf", "person"})
    row.save(force_insert=True)
    return row


@transaction.atomic
def move_back(*, tag: Tag, left: str, person: User, now: datetime) -> Move | None:
    """That it went to ``left`` was a slip: it is where it was before, or with ``person`` where nobody knew.

    Moved on since, it stays where it is.
    """
    _hold(tag)
    moves = list(Move.objects.filter(tag=tag).select_related("shelf").order_by("-pk")[:2])
    if not moves or moves[0].at_whom != left:
        return None
    before = moves[1] if len(moves) > 1 else None
    at_whom = before.at_whom if before else str(person.get_full_name() or person.username)
    return move(tag=tag, shelf=before.shelf if before else None, at_whom=at_whom, person=person, now=now)


@transaction.atomic
def add_shelf(*, name: str, who: str, now: datetime) -> Shelf:
    shelf = Shelf(name=name.strip())
    shelf.full_clean()
    shelf.save(force_insert=True)
    record(who=who, at=now, what="shelf added", subject=subject_of(shelf), after={"name": shelf.name})
    return shelf


@transaction.atomic
def rename_shelf(*, shelf: Shelf, name: str, who: str, now: datetime) -> Shelf:
    """The same shelf by another name: what was moved there is still there."""
    shelf = Shelf.objects.select_for_update().get(pk=shelf.pk)
    before, shelf.name = shelf.name, name.strip()
    shelf.full_clean()
    shelf.save(update_fields=["name"])
    record(
        who=who,
        at=now,
        what="shelf renamed",
        subject=subject_of(shelf),
        before={"name": before},
        after={"name": shelf.name},
    )
    return shelf

"""Taps: each is kept, answered, and then applied or put before a person. Nothing that was tapped gets lost.

The tap is written first, and what follows from it within a savepoint of the same transaction: a refusal, or something nobody
thought of, takes back what it did and leaves the tap. Sent again it finds its own row and gets the answer it got.
"""

import hashlib
import json
import logging
import uuid
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from shop.floor import clockings
from shop.floor.clockings import STEPPED, Refused, Why, clock, one_dot
from shop.floor.doing import done_all
from shop.floor.forgotten import hangs
from shop.floor.models import Clocking, Tap
from shop.floor.showing_doing import LINES_APART, done_words, held_words
from shop.people.models import Tablet, User
from shop.routes.models import Task
from shop.routes.tasks import open_lines

logger = logging.getLogger("bareframe.floor")

APPLIED, WAITS, BEATEN, OTHER_BODY = 200, 202, 409, 422
#: Answered on the spot; once the person has tapped something that holds, nobody has to settle them. Tapped without a
#: connection, nobody read the answer: then they wait for somebody like any other.
PASSING = (Why.BEATEN, Why.ALONE, Why.HELD)
#: Somebody was quicker; the others are told with their entry.
QUICKER = (Why.BEATEN, Why.ALONE, Why.OVERLAP)


@dataclass(frozen=True, slots=True)
class Entry:
    """A clocking, as an answer names it."""

    uid: str
    person: str
    task: str
    name: str
    since: str

    @classmethod
    def of(cls, clocking: Clocking, person: str) -> "Entry":
        since = clocking.began_at.isoformat()
        return cls(str(clocking.uid), person, str(clocking.task.uid), str(clocking.task), since)


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a tap. ``status`` is HTTP's; ``words`` are for the person; ``on`` is the clocking that counts now."""

    status: int
    state: str
    words: str
    why: str = ""
    on: Entry | None = None

    def text(self) -> str:
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True)

    @classmethod
    def read(cls, text: str) -> "Answer":
        given = json.loads(text)
        return cls(**given | {"on": Entry(**given["on"]) if given["on"] else None})

    @property
    def taken(self) -> bool:
        return 200 <= self.status < 300


def take(
    *,
    uid: uuid.UUID,
    kind: str,
    person: User,
    tablet: Tablet | None,
    task: Task | None,
    device_at: datetime | None,
    body: str,
    now: datetime,
    queued: bool = False,
    seen: str | None = None,
) -> Answer:
    """Keep a tap and apply it; 200 applied, 202 a person has to look, 409 somebody was quicker, 422 a used uid with another body.

    A tap that the device had to hold back (``queued``) counts from ``device_at``, never from later than now; any other from now.
    ``seen`` is the uid of the clocking that the device showed as open, empty for none: where that is not what is, somebody else
    tapped for this person meanwhile, and is not overruled unseen. None: the device did not say.
    """
    digest = hashlib.sha256(body.encode()).hexdigest()
    at = min(device_at, now) if queued and device_at else now
    tap = Tap(
        uid=uid,
        kind=kind,
        person=person,
        tablet=tablet,
        task=task,
        body=body,
        body_sha256=digest,
        device_at=device_at,
        received_at=now,
        at=at,
    )
    try:
        with transaction.atomic():
            tap.save(force_insert=True)
            return _answer(tap, seen=seen)
    except IntegrityError:
        kept = Tap.objects.filter(uid=uid).first()
        if kept is None:
            raise
        return again(kept, digest)


def again(kept: Tap, digest: str) -> Answer:
    """The answer to a tap that is here already."""
    if kept.body_sha256 != digest:
        words = _("Another tap came with this number. Tap again; tell the manager if it happens twice.")
        return Answer(OTHER_BODY, kept.state, words)
    return now_known(kept)


def now_known(tap: Tap) -> Answer:
    """What a kept tap was answered, with the state it has by now."""
    answer = Answer.read(tap.answer)
    status = answer.status if answer.status == WAITS else APPLIED
    return replace(answer, status=status, state=tap.state)


def _answer(tap: Tap, *, seen: str | None) -> Answer:
    clockings.lock(tap.person)
    answer = attempt(tap, seen=seen)
    if answer.state == Tap.State.APPLIED:
        _let_passing_go(tap)
    return answer


def attempt(tap: Tap, *, seen: str | None = None) -> Answer:
    """Apply a kept tap and write down what became of it. The person is locked."""
    try:
        with transaction.atomic():
            answer = APPLIES.get(tap.kind, _not_here)(tap, seen)
    except Refused as refusal:
        answer = _refused(refusal)
    except IntegrityError as error:
        answer = _looked_again(tap, seen, error)
    except Exception:  # whatever it is, the tap has to stay
        logger.exception("A tap could not be applied; it waits.")
        answer = _refused(Refused(_("That could not be noted, and waits for the manager."), Why.TROUBLE))
    asked = answer.state == Tap.State.ASKED
    tap.state, tap.reason, tap.answer = answer.state, answer.words[:300] if asked else "", answer.text()
    Tap.objects.filter(pk=tap.pk).update(state=tap.state, reason=tap.reason, answer=tap.answer)
    return answer


def _looked_again(tap: Tap, seen: str | None, error: IntegrityError) -> Answer:
    """Somebody was quicker than our look. From a task for one they may be gone by now, at an instant only a second look sees."""
    try:
        if tap.kind == Tap.Kind.ON and tap.task is not None and tap.task.alone:
            with transaction.atomic():
                return _on(tap, seen)
    except Refused as refusal:
        return _refused(refusal)
    except IntegrityError as another:
        error = another
    return _refused(_collision(tap, error))


def _refused(refusal: Refused) -> Answer:
    status = BEATEN if refusal.why in QUICKER else WAITS
    entry = Entry.of(refusal.entry, str(refusal.entry.person)) if refusal.entry else None
    return Answer(status, Tap.State.ASKED, refusal.words, refusal.why, entry)


def _collision(tap: Tap, error: IntegrityError) -> Refused:
    """The database refused: somebody was quicker than our look at it."""
    if tap.task is not None and tap.task.alone and (other := clockings.alone_on(tap.task, tap.at, None).last()):
        return clockings.taken(other) if other.ended_at is None else clockings.was_taken(other)
    entry = clockings.open_of(tap.person)
    if entry is None and "overlap" not in str(error) and "two tasks" not in str(error):
        logger.error("A tap was refused by the database; it waits.", exc_info=error)
        return Refused(_("That could not be noted, and waits for the manager."), Why.TROUBLE)
    words = _("That overlaps with what is noted for %(person)s already. Say what is right.") % {"person": tap.person}
    return Refused(words, Why.OVERLAP, entry)


def _let_passing_go(tap: Tap) -> None:
    """Taps that were answered on the spot need nobody any more once the person has tapped something that holds."""
    waiting = Tap.objects.filter(person=tap.person, state=Tap.State.ASKED, at=F("received_at")).exclude(pk=tap.pk)
    passing = [row.pk for row in waiting.only("pk", "answer") if Answer.read(row.answer).why in PASSING]
    if passing:
        settled = {"settled_at": tap.received_at, "settled_by": tap.person.username}
        Tap.objects.filter(pk__in=passing).update(state=Tap.State.SETTLED, **settled)


# -- kinds -----------------------------------------------------------------------------------------------------------------


def _on(tap: Tap, seen: str | None) -> Answer:
    if tap.task is None:
        raise Refused(_("That task is not known here. Choose one from the list."), Why.UNKNOWN)
    open_now = _looked(tap, seen, wanted=tap.task)
    clocking = clockings.put_on(
        person=tap.person, task=tap.task, at=tap.at, who=tap.person.username, tap=tap, open_now=open_now
    )
    told = {"task": tap.task, "time": clock(clocking.began_at)}
    entry = Entry.of(clocking, str(tap.person))
    return Answer(APPLIED, Tap.State.APPLIED, one_dot(_("On “%(task)s” since %(time)s.") % told), on=entry)


def _off(tap: Tap, seen: str | None) -> Answer:
    open_now = _looked(tap, seen, wanted=None)
    ended = clockings.take_off(person=tap.person, at=tap.at, open_now=open_now)
    if ended is None and tap.at < tap.received_at:
        words = _("Nothing was open at %(time)s, when this was tapped. Say what is right.")
        raise Refused(words % {"time": clock(tap.at)}, Why.OTHER_ORDER)
    if ended is None:
        return Answer(APPLIED, Tap.State.APPLIED, _("Off already."))
    return Answer(APPLIED, Tap.State.APPLIED, _off_words(ended, tap.at))


def _off_words(ended: Clocking, at: datetime) -> str:
    return one_dot(_("Off “%(task)s” at %(time)s.") % {"task": ended.task, "time": clock(at)})


def _done(tap: Tap, _seen: str | None) -> Answer:
    """What of the task the page showed is done. What holds one step holds no other: it waits, with the reason.

    Once nothing is open in it, who was on it is off it.
    """
    if tap.task is None:
        raise Refused(_("That task is not known here. Choose one from the list."), Why.UNKNOWN)
    if tap.task.kind not in STEPPED:
        words = _("“%(task)s” has no steps to be done. Take yourself off it; the desk says when it is settled.")
        raise Refused(words % {"task": tap.task}, Why.HELD)
    found = done_all(task=tap.task, person=tap.person, now=tap.at, lines=shown_lines(tap))
    if found.held:
        return Answer(WAITS, Tap.State.ASKED, held_words(found), Why.HELD)
    ended = _off_what_is_finished(tap, tap.task)
    said = [done_words(found), _off_words(ended, tap.at)] if ended else [done_words(found)]
    return Answer(APPLIED, Tap.State.APPLIED, " ".join(said))


def _off_what_is_finished(tap: Tap, task: Task) -> Clocking | None:
    on = clockings.open_of(tap.person)
    if on is None or on.task_id != task.pk or tap.at < on.began_at or hangs(on, now=tap.at):
        return None
    return None if open_lines(task).exists() else clockings.take_off(person=tap.person, at=tap.at, open_now=on)


def shown_lines(tap: Tap) -> list[int] | None:
    """The lines of the task that the page showed; None where the device did not say."""
    try:
        said = json.loads(tap.body)["lines"]
        return [int(each) for each in str(said).split(LINES_APART)] if said is not None else None
    except (ValueError, KeyError, TypeError):
        return None


def _not_here(_tap: Tap, _seen: str | None) -> Answer:
    raise Refused(_("This tap is not understood here, and waits for the manager."), Why.TROUBLE)


#: What applies a tap of each kind, within a savepoint; raises `Refused`.
APPLIES: dict[str, Callable[[Tap, str | None], Answer]] = {Tap.Kind.ON: _on, Tap.Kind.OFF: _off, Tap.Kind.DONE: _done}


def _looked(tap: Tap, seen: str | None, *, wanted: Task | None) -> Clocking | None:
    """What the person is on, unless it hangs, or is neither what the device saw nor what is wanted."""
    found = clockings.open_of(tap.person)
    if found is not None and hangs(found, now=tap.at):
        raise Refused(_still_on(found), Why.HANGING, found)
    same = found is None if wanted is None else found is not None and found.task_id == wanted.pk
    if seen is None or same or seen == (str(found.uid) if found else ""):
        return found
    raise Refused(_meanwhile(tap.person, found), Why.BEATEN, found)


def _still_on(found: Clocking) -> str:
    told: Mapping[str, object] = {"task": found.task, "time": clock(found.began_at)}
    return _("Still on “%(task)s” since %(time)s. Say when that ended; this tap is kept.") % told


def _meanwhile(person: User, found: Clocking | None) -> str:
    if found is None:
        return _("%(person)s was taken off meanwhile, somewhere else. Tap again if this is right.") % {"person": person}
    told = {"person": person, "task": found.task, "time": clock(found.began_at)}
    return _("%(person)s was put on “%(task)s” at %(time)s, somewhere else. Tap again if this is right.") % told

"""Frame and engine number as stamped, beside those in the papers: whether they match, and who settled it where not.

Spaces, hyphens and capitals say nothing about a number, letters and figures do: O is not 0 and I is not 1, since a
number that was altered differs in just such a stroke. Where only that is different, a person is told to look again.
"""

import unicodedata
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.restorations.models import Intake, NumbersCleared, Restoration
from shop.restorations.services import hold_scope

#: Letters that a worn stamp or a tired eye takes for a figure.
ALIKE = {"o": "0", "i": "1"}
HYPHENS = {"Pd", "Cf"}  # every dash of Unicode, and the soft hyphen
MINUS = "\N{MINUS SIGN}"


def plain(number: str) -> str:
    """A number without what says nothing: spaces, hyphens, capitals.

    >>> plain("Cb57 - 10482") == plain("CB57-10482")
    True
    >>> plain("CB57-1O482") == plain("CB57-10482")
    False
    """
    kept = (letter for letter in number.casefold() if not letter.isspace() and letter != MINUS)
    return "".join(letter for letter in kept if unicodedata.category(letter) not in HYPHENS)


def match(one: str, other: str) -> bool:
    """Whether two numbers are the same one."""
    return plain(one) == plain(other)


def look_again(one: str, other: str) -> tuple[str, ...]:
    """The letters, such as ``("O",)``, that alone make two numbers differ from each other; nothing where more does.

    >>> look_again("CB57-1O482", "CB57-10482")
    ('O',)
    >>> look_again("CB57-10482", "CB57-10483")
    ()
    """
    here, there = plain(one), plain(other)
    if here == there or _as_figures(here) != _as_figures(there):
        return ()
    return tuple(sorted({letter.upper() for pair in zip(here, there, strict=True) for letter in _doubtful(pair)}))


def _as_figures(number: str) -> str:
    return "".join(ALIKE.get(letter, letter) for letter in number)


def _doubtful(pair: tuple[str, str]) -> set[str]:
    return set(pair) & ALIKE.keys() if pair[0] != pair[1] else set()


@dataclass(frozen=True, slots=True)
class Pair:
    """One number twice: as ``stamped`` on the machine, and in the ``papers``."""

    name: str
    stamped: str
    papers: str

    @property
    def known(self) -> bool:
        """Whether there is something to compare."""
        return bool(plain(self.stamped) and plain(self.papers))

    @property
    def matches(self) -> bool:
        """Also where one is not known yet: nothing is wrong then."""
        return not self.known or match(self.stamped, self.papers)

    @property
    def hint(self) -> str:
        """What to look at again, in words."""
        letters = look_again(self.stamped, self.papers) if self.known else ()
        return " ".join(_("Look again: %(letter)s or %(figure)s?") % _named(letter) for letter in letters)


def _named(letter: str) -> dict[str, str]:
    return {"letter": letter, "figure": ALIKE[letter.casefold()]}


@dataclass(frozen=True, slots=True)
class Numbers:
    """How the numbers of a machine stand; ``cleared`` is the decision about exactly these, if somebody made one."""

    frame: Pair
    engine: Pair
    cleared: NumbersCleared | None = None

    @property
    def pairs(self) -> tuple[Pair, Pair]:
        return self.frame, self.engine

    @property
    def wrong(self) -> tuple[Pair, ...]:
        """Those that do not match, decided or not."""
        return tuple(pair for pair in self.pairs if not pair.matches)

    @property
    def stop(self) -> bool:
        """Whether they hold everything back."""
        return bool(self.wrong) and self.cleared is None

    @property
    def sentence(self) -> str:
        """Which numbers do not match, in words."""
        said = _("The %(number)s stamped is “%(stamped)s”, the papers say “%(papers)s”.")
        return " ".join(
            said % {"number": pair.name, "stamped": pair.stamped, "papers": pair.papers} for pair in self.wrong
        )


def numbers_of(intake: Intake, decisions: Iterable[NumbersCleared] = ()) -> Numbers:
    """The numbers of an intake that comes with its machine; ``decisions`` are those made about it, oldest first."""
    machine = intake.restoration.machine
    frame = Pair(_("frame number"), machine.frame_number, intake.papers_frame_number)
    engine = Pair(_("engine number"), machine.engine_number, intake.papers_engine_number)
    about = [row for row in decisions if _is_about(row, frame, engine)]
    return Numbers(frame, engine, about[-1] if about else None)


def _is_about(row: NumbersCleared, frame: Pair, engine: Pair) -> bool:
    decided = (row.stamped_frame, row.papers_frame, row.stamped_engine, row.papers_engine)
    now = (frame.stamped, frame.papers, engine.stamped, engine.papers)
    return all(match(one, other) for one, other in zip(decided, now, strict=True))


def standing(restoration: Restoration) -> Numbers | None:
    """The numbers of a restoration as they are now, in two queries; nothing where there was no intake."""
    known = Intake.objects.select_related("restoration__machine")
    intake = known.filter(restoration=restoration.pk).first()
    if intake is None:
        return None
    found = numbers_of(intake)
    return numbers_of(intake, intake.cleared.all()) if found.wrong else found


def stop_sentence(restoration: Restoration) -> str:
    """Why nothing but a ballpark may go out and no step may begin, and what to do; empty where nothing stops it."""
    found = standing(restoration)
    return _stop(found) if found is not None and found.stop else ""


def _stop(found: Numbers) -> str:
    return _("%(numbers)s Look at both again; if they are as written, somebody has to clear them by name.") % {
        "numbers": found.sentence
    }


def stopped(restorations: Collection[int]) -> set[int]:
    """Which of several restorations their numbers stop, in two queries."""
    return set(stop_sentences(restorations))


def stop_sentences(restorations: Collection[int]) -> dict[int, str]:
    """Those of several restorations that their numbers stop, and why, in two queries."""
    rows = Intake.objects.filter(restoration__in=restorations).select_related("restoration__machine")
    found = {row.restoration_id: numbers_of(row, row.cleared.all()) for row in rows.prefetch_related("cleared")}
    return {pk: _stop(numbers) for pk, numbers in found.items() if numbers.stop}


@transaction.atomic
def clear_numbers(
    *, intake: Intake, seen: Numbers, who_decided: str, reason: str, who: str, now: datetime
) -> NumbersCleared:
    """``who_decided`` puts a name and a reason to numbers that do not match: it holds for exactly these numbers.

    ``seen`` is what was looked at; other numbers by now are refused. It is the shop's own decision to go on, and no
    statement of what the law of the place says of such numbers.
    """
    hold_scope(intake.restoration_id)
    intake.refresh_from_db(from_queryset=Intake.objects.select_related("restoration__machine"))
    found = numbers_of(intake)
    if (found.frame, found.engine) != (seen.frame, seen.engine):
        raise ValidationError(_("A number was changed after you looked. Look at both again."), code="changed")
    if not found.wrong:
        raise ValidationError(_("The numbers match: there is nothing to clear."), code="nothing to clear")
    row = NumbersCleared(
        intake=intake,
        stamped_frame=found.frame.stamped,
        papers_frame=found.frame.papers,
        stamped_engine=found.engine.stamped,
        papers_engine=found.engine.papers,
        who=who_decided.strip(),
        reason=reason.strip(),
        at=now,
        recorded_by=who,
    )
    row.full_clean(exclude={"intake"}, validate_constraints=False)  # an empty name is said at its field
    row.save()
    after = {"who decided": row.who, "reason": row.reason, "numbers": found.sentence}
    record(who=who, at=now, what="numbers cleared", subject=subject_of(intake.restoration), after=after)
    return row

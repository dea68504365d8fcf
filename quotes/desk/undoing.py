"""What undoes what: each kind of journal entry with how to see whether its work still stands, and the change that undoes it.

An undo is a change like any other: it goes through the services, is written down itself, and names what it undoes as its
reference. So an undo can be undone too.
"""

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk import undoing_ways as ways
from quotes.desk.undoing_ways import Difference
from shop.journal.models import Entry
from shop.journal.selectors import of_one_change
from shop.journal.services import ALSO, told_together
from shop.journal.telling import NotToldError
from shop.restorations.models import Restoration
from shop.restorations.services import hold_scope

UNDO = "undo "


class CannotUndoError(ValidationError):
    """This entry is not undone; the message says why, and what to do instead."""


class ChangedSinceError(Exception):
    """What stands there is not what the entry left. ``over`` repeats what was shown to whoever decides to undo it anyway."""

    def __init__(self, differences: list[Difference]) -> None:
        self.differences = differences
        said = json.dumps([[one.key, one.label, one.left, one.now] for one in differences], sort_keys=True, default=str)
        self.over = hashlib.sha256(said.encode()).hexdigest()
        super().__init__(self.over)


@dataclass(frozen=True, slots=True)
class Way:
    """``find`` the row, list what ``differs`` from what the entry left there, and put it ``back``."""

    find: Callable[[Entry], models.Model]
    differs: Callable[[Entry, Any], list[Difference]]
    back: Callable[[Entry, Any, str, datetime], object]


WAYS: dict[str, Way] = {
    "part changed": Way(ways.part, ways.fields, ways.part_fields_back),
    "route laid anew": Way(ways.part, ways.route, ways.route_back),
    "part added": Way(ways.part, ways.there_as_added, ways.take_part_out),
    "part brought back": Way(ways.part, ways.there, ways.take_part_out),
    "part removed": Way(ways.part, ways.away, ways.bring_part_back),
    "step changed": Way(ways.step, ways.fields, ways.step_fields_back),
    "step added": Way(ways.step, ways.there, ways.take_step_off),
    "step brought back": Way(ways.step, ways.there, ways.take_step_off),
    "step removed": Way(ways.step, ways.step_away, ways.bring_step_back),
    "step moved": Way(ways.step, ways.place, ways.move_back),
    "wait added": Way(ways.step, ways.waiting, ways.stop_waiting),
    "wait removed": Way(ways.step, ways.not_waiting, ways.wait_again),
    "draft changed": Way(ways.draft, ways.fields, ways.draft_back),
    "draft priced anew": Way(ways.draft, ways.fields, ways.priced_on_back),
    "customer corrected": Way(ways.customer, ways.fields, ways.facts_back),
    "machine corrected": Way(ways.machine, ways.fields, ways.facts_back),
    "restoration corrected": Way(ways.restoration, ways.fields, ways.facts_back),
    "start changed": Way(ways.restoration, ways.starts, ways.start_back),
    "finish evidence changed": Way(ways.evidence, ways.fields, ways.evidence_fields_back),
    "finish evidence added": Way(ways.evidence, ways.there, ways.take_evidence_away),
    "finish evidence brought back": Way(ways.evidence, ways.there, ways.take_evidence_away),
    "finish evidence taken away": Way(ways.evidence, ways.away, ways.bring_evidence_back),
    "possible damage changed": Way(ways.damage, ways.fields, ways.damage_fields_back),
    "possible damage added": Way(ways.damage, ways.there, ways.take_damage_away),
    "possible damage brought back": Way(ways.damage, ways.there, ways.take_damage_away),
    "photograph taken away": Way(ways.photograph, ways.photograph_away, ways.bring_photograph_back),
    "photograph brought back": Way(ways.photograph, ways.photograph_there, ways.take_photograph_away),
    "possible damage removed": Way(ways.damage, ways.away, ways.bring_damage_back),
}

#: Why other things stay, by how their entry begins.
STAYS = (
    ("quote accepted", gettext_lazy("What was accepted stays. Offer a variation instead.")),
    ("quote", gettext_lazy("What went out stays as it is. Issue another quote, or withdraw this one.")),
    ("finish agreed", gettext_lazy("What somebody agreed to stays as it was said. Note a new agreement.")),
    ("restoration begun", gettext_lazy("A restoration that was begun stays on record.")),
    ("parts ", gettext_lazy("Choose the parts on the page of parts and take them out together.")),
    ("damage", gettext_lazy("What was found at strip-down stays.")),
    ("draft opened", gettext_lazy("A draft stays with its restoration.")),
)
OTHERWISE = gettext_lazy("This is undone on its own page, not from here.")
OF_DAMAGE = gettext_lazy("This step was laid because a damage was found. Take it off the route instead.")


def why_it_stays(entry: Entry) -> str:
    """Why an entry cannot be undone at all; empty where it can."""
    if entry.what == "step added" and entry.reference.startswith("damage "):
        return str(OF_DAMAGE)
    if entry.what in WAYS:
        return ""
    return str(next((why for begins, why in STAYS if entry.what.startswith(begins)), OTHERWISE))


def reference_of(entry: Entry) -> str:
    """How an undo names what it undoes: by the entry that begins the change."""
    return f"{UNDO}{entry.uid}"


def undone_by(entry: Entry) -> Entry | None:
    """What undid ``entry`` already. An undo writes of the same things, so it is found among their entries."""
    reference = reference_of(entry)
    rows = Entry.objects.filter(
        subject_type=entry.subject_type, subject_uid=entry.subject_uid, reference__in=(reference, reference + ALSO)
    )
    return rows.first()


@transaction.atomic
def undo(*, restoration: Restoration, entry: Entry, over: str = "", who: str, now: datetime) -> None:
    """Undo ``entry``, the first of its change, with all that was told together with it.

    Raises `CannotUndoError` for what stays or was undone already, and `ChangedSinceError` where somebody changed it
    since: with its ``over`` it is undone all the same, as long as nothing else was changed meanwhile.
    """
    hold_scope(restoration.pk)
    if undone_by(entry) is not None:
        raise CannotUndoError(_("This was undone already."))
    group = of_one_change(entry)
    stays = next((why for one in group if (why := why_it_stays(one))), "")
    if stays:
        raise CannotUndoError(stays)
    found = [(one, WAYS[one.what], WAYS[one.what].find(one)) for one in reversed(group)]
    try:
        differences = [item for one, way, row in found for item in way.differs(one, row)]
        changed = ChangedSinceError(differences)
        if differences and over != changed.over:
            raise changed
        with told_together(reference_of(entry)):
            for one, way, _row in found:
                way.back(one, way.find(one), who, now)
    except NotToldError:
        raise CannotUndoError(_("The record does not say enough to undo this. Change it by hand.")) from None
    if undone_by(entry) is None:
        raise CannotUndoError(_("There is nothing to undo: it is as it was before.")) from None

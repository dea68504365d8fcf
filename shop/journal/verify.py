"""Recompute the whole chain. Reads only; a fault is a sentence that names the row."""

from collections.abc import Iterator

from shop.journal import chain
from shop.journal.models import Entry, Link
from shop.journal.selectors import Head

AT_ONCE = 1000


def first_fault(*heads: Head) -> str | None:
    """The first thing wrong with the journal, or None. ``heads`` are ends of the chain that somebody has in writing."""
    wanted = {head.position: head.hash for head in heads if head.position}
    position, previous = 0, chain.START
    for link, entry in _links():
        position += 1
        if fault := _fault(link, entry, position, previous):
            return fault
        previous = link.hash
        if wanted.pop(position, previous) != previous:
            return f"Position {position} has another hash than the head given: the chain was written anew."
    if wanted:
        return f"The journal ends at position {position}, but its head was at {min(wanted)} once: its end was cut off."
    return _fault_in_queue()


def _fault(link: Link, entry: Entry | None, position: int, previous: str) -> str | None:
    if link.position != position:
        return f"Position {position} is missing: its link was deleted. The next one is {link.position}."
    if entry is None:
        return f"Position {position}: entry {link.entry_id} is missing: it was deleted."
    if link.hash != chain.link_hash(previous=previous, position=position, sealed_at=link.sealed_at, entry=entry):
        return (
            f"Position {position}: entry {entry.pk} ({entry.uid}) does not fit its seal:"
            " it, its link or the link before was changed, swapped or put in."
        )
    return None


def _links() -> Iterator[tuple[Link, Entry | None]]:
    """In order of position, by key ranges: no long transaction, and a missing entry is seen, not joined away."""
    last = 0
    while links := list(Link.objects.filter(position__gt=last).order_by("position")[:AT_ONCE]):
        entries = Entry.objects.in_bulk([link.entry_id for link in links])
        yield from ((link, entries.get(link.entry_id)) for link in links)
        last = links[-1].position


def _fault_in_queue() -> str | None:
    """An entry is sealed or waits to be: one that does neither did not come through the service."""
    stranger = Entry.objects.filter(link=None, unsealed=None).first()
    if stranger is None:
        return None
    return f"Entry {stranger.pk} ({stranger.uid}) is neither sealed nor waiting for it: it was put in past the service."

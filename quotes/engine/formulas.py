"""The named variants of every formula.

A quote names the variants it was computed with. A formula that has to change gets a new variant beside the old one;
issued quotes go on recomputing with theirs. `PRESENT` is what a quote issued today uses.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from quotes.engine.errors import BadInput


@dataclass(frozen=True, slots=True)
class Formula:
    """A named variant: how it reads, and what computes it."""

    name: str
    text: str
    compute: Callable[..., Any]


REGISTRY: dict[str, Formula] = {}
PRESENT: dict[str, str] = {}


def variant(name: str, text: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Register a function as the variant ``name`` (``topic_number``); the newest number of a topic is the present one."""

    def register(compute: Callable[..., Any]) -> Callable[..., Any]:
        topic, number = name.rsplit("_", 1)
        REGISTRY[name] = Formula(name, text, compute)
        if int(number) > int(PRESENT.get(topic, "_0").rsplit("_", 1)[1]):
            PRESENT[topic] = name
        return compute

    return register


def complete(variants: Mapping[str, str]) -> dict[str, str]:
    """``variants`` with the first variant of every topic that came after the quote was issued.

    The first variant of a new topic says what was done before it had a name.
    """
    return {topic: f"{topic}_1" for topic in PRESENT} | dict(variants)


def resolve(variants: Mapping[str, str]) -> dict[str, Formula]:
    """Topic to formula, for the ``variants`` a quote names; raises `BadInput` for one that is not known here."""
    try:
        return {topic: REGISTRY[name] for topic, name in variants.items()}
    except KeyError as unknown:
        raise BadInput(
            "This quote was computed with {name}, which this version does not know. Update the service.",
            field="formula",
            name=unknown.args[0],
        ) from None

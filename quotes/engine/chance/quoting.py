"""A restoration with its contingency: costed once, its spread worked out, then made into lines."""

from dataclasses import dataclass, replace

from quotes.engine import rollup
from quotes.engine.chance.assessment import Assessment
from quotes.engine.chance.contingency import assess
from quotes.engine.inputs import Restoration
from quotes.engine.results import Explained


@dataclass(frozen=True, slots=True)
class Quoted:
    """``given`` is the restoration with each part's share of the contingency: what is frozen when the quote goes out."""

    given: Restoration
    explained: Explained
    assessment: Assessment


def quote(restoration: Restoration) -> Quoted:
    """Price ``restoration`` with a contingency worked out now, whatever its parts said. Raises `BadInput`."""
    costing = rollup.costing(restoration)
    assessment = assess(restoration, costing.steps, costing.branches)
    shares = dict(assessment.shares)
    parts = tuple(replace(part, contingency=shares.get(part.uid, part.contingency * 0)) for part in restoration.parts)
    given = replace(restoration, parts=parts)
    return Quoted(given, rollup.explained(costing, given), assessment)

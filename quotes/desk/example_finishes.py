"""Finish evidence of the example workshop: what its parts may have had, what says so, and what was signed."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from shop.methods.loading import Told, by_name
from shop.methods.models import EvidenceSource, Finish
from shop.restorations.evidence import add_evidence
from shop.restorations.models import Part
from shop.routes.finishes import list_finish, sign_finish


def prove(parts: Mapping[str, Part], told: Told, *, today: date, who: str, now: Any) -> None:
    """What ``told`` says under ``finishes`` about parts, by name."""
    finishes, sources = by_name(Finish), by_name(EvidenceSource)
    for item in told.get("finishes", []):
        part = parts[item["part"]]
        for name in item.get("listed", []):
            list_finish(part=part, finish=finishes[name], who=who, now=now)
        for said in item.get("evidence", []):
            found = {"says": finishes.get(said.get("says", "")), "source": sources.get(said.get("source", ""))}
            add_evidence(part=part, who=who, now=now, **said | found)
        if "signed" in item:
            _sign(part, item["signed"], today=today, who=who, now=now)


def _sign(part: Part, told: Told, *, today: date, who: str, now: Any) -> None:
    """The customer signed for what is agreed on the part, with its deviation."""
    part.refresh_from_db()
    assert part.agreed_finish is not None
    sign_finish(
        part=part,
        finish=part.agreed_finish,
        deviation=part.deviation,
        who_agreed=told["who"],
        how=told["how"],
        said_on=today - timedelta(days=told["days_ago"]),
        who=who,
        now=now,
    )

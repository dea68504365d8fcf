"""The shop as a whole: where its hours went, what poor quality cost, which offers were won, what was left in the end."""

import json
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quotes.engine.margin import ranking
from quotes.engine.margin.exact import added
from quotes.engine.margin.ranking import Band, Margins, Offers, PoorQuality
from quotes.engine.results import CREDIT
from quotes.margin.adding import cost, sums
from quotes.margin.models import CostEntry
from quotes.pricing.models import IssuedQuote, Outcome, Stage
from quotes.pricing.money import money_in
from shop.floor.models import HandedOver
from shop.people.models import Grade
from shop.restorations.models import Restoration
from shop.routes.models import Step

Nature = CostEntry.Nature
NONE = Decimal(0)
#: What is work on a bike; the rest is attended and sold to nobody.
DIRECT = (Nature.FIRST, Nature.AGAIN, Nature.DAMAGE, Nature.COMEBACK, Nature.WALK_IN)
#: What poor quality is.
POOR = (Nature.AGAIN, Nature.DAMAGE, Nature.COMEBACK)
#: So many offers are looked at, the newest first.
OFFERS = 400


@dataclass(frozen=True, slots=True)
class Hours:
    """Attended seconds of a grade: on bikes the first time, on what is done again, on no bike, in paid breaks."""

    grade: str
    first: int
    again: int
    indirect: int
    breaks: int

    @property
    def attended(self) -> int:
        """All of them [s]."""
        return self.first + self.again + self.indirect + self.breaks

    @property
    def productive(self) -> Decimal | None:
        """Share on bikes [fraction]; None where nobody attended."""
        return Decimal(self.first + self.again) / self.attended if self.attended else None


def hours(since: date) -> list[Hours]:
    """Where the hours of each grade went since a day. Two queries."""
    names = dict(Grade.objects.values_list("pk", "name"))
    found: dict[str, dict[str, int]] = {}
    rows = CostEntry.objects.filter(on__gte=since, source=CostEntry.Source.CLOCKING)
    for row in sums(rows, "grade", "nature"):
        of = found.setdefault(names.get(row["grade"], ""), {})
        of[row["nature"]] = of.get(row["nature"], 0) + row["seconds"]
    return [
        Hours(
            grade,
            first=sum(of.get(nature, 0) for nature in (Nature.FIRST, Nature.WALK_IN)),
            again=sum(of.get(nature, 0) for nature in POOR),
            indirect=of.get(Nature.INDIRECT, 0),
            breaks=of.get(Nature.BREAK, 0),
        )
        for grade, of in sorted(found.items())
    ]


def poor_quality(since: date) -> PoorQuality:
    """What rework, damage that was ours and comebacks cost since a day, by cause and by the work it came from. Three queries."""
    rows = sums(
        CostEntry.objects.filter(on__gte=since, nature__in=POOR), "nature", "cause__name", "origin_uid", "step_uid"
    )
    uids = {row["origin_uid"] or row["step_uid"] for row in rows}
    origins = {
        uid: operation or service or buy
        for uid, operation, service, buy in Step.objects.filter(uid__in=uids).values_list(
            "uid", "operation__name", "service__name", "buy"
        )
    }
    return ranking.poor_quality(
        ranking.Poor(
            row["cause__name"] or str(Nature(row["nature"]).label),
            origins.get(row["origin_uid"] or row["step_uid"], ""),
            cost(row),
            after=row["nature"] == Nature.COMEBACK,
        )
        for row in rows
    )


def offers() -> dict[Band, Offers]:
    """How often main offers were won, by the band of their margin: the newest that somebody answered. One query."""
    answered = IssuedQuote.objects.filter(
        stage=Stage.MAIN, outcome__kind__in=[Outcome.Kind.ACCEPTED, Outcome.Kind.DECLINED]
    )
    rows = answered.order_by("-number").values_list("result", "outcome__kind")[:OFFERS]
    found = ((_margin(result), kind == Outcome.Kind.ACCEPTED) for result, kind in rows)
    return ranking.win_rates((margin, won) for margin, won in found if margin is not None)


def _margin(result: str) -> Decimal | None:
    """(net − cost) / net as quoted, what a credit takes off added back; None for an offer of nothing."""
    kept = json.loads(result)
    credited = added(Decimal(line["price"]) for line in kept["lines"] if line["basis"] == CREDIT)
    worth = Decimal(kept["net"]) - credited
    return (worth - Decimal(kept["cost"])) / worth if worth else None


def sold() -> dict[str, Margins]:
    """Bikes handed over, by maker and model: what was left at hand-over, and after what came back since. Six queries."""
    rows = list(Restoration.objects.filter(handed_over__isnull=False).select_related("machine").order_by("pk"))
    pks = [row.pk for row in rows]
    days = dict(HandedOver.objects.filter(restoration__in=pks).values_list("restoration", "on"))
    standings = money_in.standings(rows, max(days.values(), default=date.min))
    costs: dict[int, list[Decimal]] = {pk: [] for pk in pks}
    back: dict[int, list[Decimal]] = {pk: [] for pk in pks}
    for row in sums(CostEntry.objects.filter(restoration__in=pks), "restoration", "nature"):
        into = back if row["nature"] == Nature.COMEBACK else costs
        into[row["restoration"]].append(cost(row))
    return ranking.margins(
        ranking.Sold(
            f"{row.machine.maker} {row.machine.model}",
            standings[row.pk].net_agreed,
            added(costs[row.pk]),
            added(back[row.pk]),
        )
        for row in rows
    )

"""Restorations made from seeds: the same seeds make the same restoration, on any machine.

A whole restoration has hundreds of numbers. Drawing each of them is slow and shrinks badly; so every part, the
catalogue and the policy are made from one seed each, and a search may leave out parts without changing the rest.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from random import Random

from quotes.engine.inputs import (
    NONE_OF_THESE,
    ONE,
    ZERO,
    Basis,
    Break,
    By,
    Candidate,
    Consumable,
    CostClass,
    Credit,
    Damage,
    Evidence,
    FinishQuestion,
    Grade,
    Measure,
    Operation,
    OverheadBy,
    Part,
    PaymentStage,
    Policy,
    PriceBy,
    Purchase,
    Remedy,
    Restoration,
    Service,
    Step,
    TaxBy,
    TaxRate,
    Treatment,
    Usage,
    WayBack,
    Work,
)

CURRENCIES = ("EUR", "JPY", "KWD", "NZD")
WORK = (Work.OPERATION, Work.OPERATION, Work.OPERATION, Work.SERVICE, Work.SERVICE, Work.PURCHASE)
TAXES = (
    TaxRate("none", "no VAT", ZERO),
    TaxRate("reduced", "VAT", Decimal("0.07")),
    TaxRate("standard", "VAT", Decimal("0.19")),
)


class Chance(Random):
    """A random source that deals in decimals."""

    def number(self, low: float, high: float, places: int = 2) -> Decimal:
        scale = 10**places
        return Decimal(self.randint(round(low * scale), round(high * scale))) / scale

    def maybe(self, number: Decimal, odds: float = 0.6) -> Decimal:
        return number if self.random() < odds else ZERO

    def one_in(self, count: int) -> bool:
        return self.randrange(count) == 0


@dataclass(frozen=True)
class Catalogue:
    """What parts can be made with."""

    grades: tuple[Grade, ...]
    consumables: tuple[Consumable, ...]
    operations: tuple[Operation, ...]
    services: tuple[Service, ...]
    purchases: tuple[Purchase, ...]

    def refs(self, work: Work) -> list[str]:
        items = {Work.OPERATION: self.operations, Work.SERVICE: self.services, Work.PURCHASE: self.purchases}
        return [item.key for item in items[work]]

    def hourly(self, work: Work, ref: str) -> bool:
        items = self.operations if work is Work.OPERATION else self.services if work is Work.SERVICE else ()
        return any(item.key == ref and item.measure is Measure.HOUR for item in items)


def catalogue(seed: int) -> Catalogue:
    by = Chance(seed)
    grades = tuple(_grade(by, key) for key in ("mechanic", "painter"))
    stock = tuple(_consumable(by, kind) for kind in By)
    return Catalogue(
        grades,
        stock,
        tuple(_operation(by, f"operation {n}", stock) for n in range(by.randint(1, 3))),
        tuple(_service(by, f"service {n}") for n in range(by.randint(1, 2))),
        (_purchase(by, "bought in"),),
    )


def _grade(by: Chance, key: str) -> Grade:
    cost = by.number(15, 60)
    return Grade(key, key, cost, cost + by.number(0, 60), by.number(0.7, 2.2), f"rates of the {key}")


def _consumable(by: Chance, kind: By) -> Consumable:
    return Consumable(
        f"{kind} stuff",
        f"{kind} stuff",
        "l",
        kind,
        pack_size=by.number(0.1, 25),
        pack_price=by.number(0, 200),
        smallest_mix=by.maybe(by.number(0.01, 1)),
        whole_packs=by.one_in(2),
        solids=by.number(20, 100, 1),
        density=by.number(1, 2),
    )


def _operation(by: Chance, key: str, stock: Sequence[Consumable]) -> Operation:
    used = by.sample(stock, by.randint(0, 2))
    return Operation(
        key,
        key,
        by.choice(("mechanic", "painter")),
        setup=by.maybe(by.number(1, 60, 1), 0.8),
        run=by.maybe(by.number(0.1, 60, 1), 0.8),
        measure=by.choice(tuple(Measure)),
        allowance=by.maybe(by.number(0.05, 0.3)),
        shop_factor=by.number(0.6, 1.8),
        capacity=by.maybe(by.number(0.5, 40, 1)),
        capacity_by=by.choice((Measure.PIECE, Measure.DM2, Measure.KG)),
        shares_setup=not by.one_in(6),
        usages=tuple(
            Usage(item.key, by.number(0, 2), by.number(0, 0.5), by.number(0, 200, 0), by.number(0.2, 1))
            for item in used
        ),
    )


def _service(by: Chance, key: str) -> Service:
    starts = sorted(by.sample(range(1, 60), by.randint(0, 3)))
    return Service(
        key,
        key,
        "a vendor",
        by.choice(tuple(Measure)),
        tuple(Break(Decimal(start), by.number(0, 30)) for start in (0, *starts)),
        lot_charge=by.maybe(by.number(1, 50)),
        minimum=by.maybe(by.number(1, 90)),
        trip=by.maybe(by.number(1, 60)),
        trip_share=by.number(0, 1),
        handling=by.maybe(by.number(1, 60, 0)),
        handling_grade=by.choice(("mechanic", "painter")),
        status=by.choice(("seen", "phoned", "guessed")),
    )


def _purchase(by: Chance, key: str) -> Purchase:
    return Purchase(
        key, key, "reproduction", by.maybe(by.number(0.01, 300), 0.8), by.maybe(by.number(1, 30, 0)), "mechanic"
    )


def policy(seed: int, currency: str | None = None) -> Policy:
    by = Chance(seed)
    first = by.randint(0, 100)
    second = by.randint(0, 100 - first)
    shares = (first, second, 100 - first - second)
    stages = tuple(PaymentStage(f"stage {i}", Decimal(share), "then") for i, share in enumerate(shares))
    return Policy(
        currency or by.choice(CURRENCIES),
        by.choice(tuple(PriceBy)),
        *(by.maybe(by.number(0.01, 0.6)) for _ in range(6)),
        overhead_by=by.choice(tuple(OverheadBy)),
        overhead_rate=by.maybe(by.number(0, 30)),
        handling_rate=by.maybe(by.number(0, 0.2)),
        mixed_share=by.maybe(by.number(0.1, 0.9, 1), 0.3),
        tax_by=by.choice(tuple(TaxBy)),
        rounding=by.choice(("half_up", "half_down")),
        stages=by.choice(((), stages)),
        source="the shop's policy",
        comebacks=by.maybe(by.number(0.005, 0.05, 3)),
    )


def part(seed: int, uid: str, book: Catalogue, waits: Sequence[str] = (), *, fails: bool = True) -> Part:
    by = Chance(seed)
    steps: list[Step] = []
    for index in range(by.randint(1, 4)):
        work = by.choice(WORK)
        ref = by.choice(book.refs(work))
        asked = book.hourly(work, ref)
        uids = [*(step.uid for step in steps), f"{uid}/{index}"]
        steps.append(
            Step(
                uids[-1],
                f"step {index}",
                work,
                ref,
                factor=ONE if by.one_in(2) else by.number(0.5, 2, 1),
                quantity=by.number(0.5, 20, 1) if asked or by.one_in(8) else None,
                process=by.choice(("", "", "", "black")),
                ways_back=_ways(by, uids, book) if fails and by.one_in(3) else (),
                waits_for=(by.choice(waits),) if waits and by.one_in(4) else (),
            )
        )
    return Part(
        uid,
        f"part {uid}",
        by.choice((0, 1, 1, 2, 3, 7)),
        tuple(steps),
        area=by.maybe(by.number(0.1, 60, 1), 0.8),
        weight=by.maybe(by.number(0.01, 12), 0.8),
        openings=by.randint(0, 6),
        spokes=by.choice((0, 36, 40)),
        material=by.choice(("", "steel", "steel", "steel", "brass")),
        strength=by.choice((None, Decimal(400), Decimal(1250))),
        tax=by.choice(("standard", "standard", "reduced", "none")),
        source=by.choice(("", "size class M")),
    )


def unseen(seed: int, part: Part, book: Catalogue) -> Part:
    """The same part with possible damage, a finish that is not known, a share of a contingency, and another basis."""
    by = Chance(seed)
    damages = tuple(_damage(by, f"{part.uid}/d{n}") for n in range(by.choice((0, 0, 1, 3))))
    return replace(
        part,
        damages=damages,
        question=_question(by, book) if by.one_in(3) else None,
        basis=by.choice((Basis.FIXED, Basis.FIXED, Basis.FIXED, Basis.CAPPED, Basis.HOURLY)),
        cap=by.choice((None, by.number(0, 900))),
        contingency=by.maybe(by.number(0, 300)),
    )


def _damage(by: Chance, uid: str) -> Damage:
    low, likely, high = sorted(by.number(0, 400) for _ in range(3))
    treatment, kind = by.choice(tuple(Treatment)), by.choice(tuple(CostClass))
    return Damage(
        uid, uid, by.choice((Decimal("0.5"), Decimal("0.15"), Decimal("0.03"))), low, likely, high, treatment, kind
    )


def _question(by: Chance, book: Catalogue) -> FinishQuestion:
    keys = ("black", "red", "silver")[: by.randint(1, 3)]
    candidates = tuple(Candidate(key, key, by.number(0.1, 3), _remedies(by, book), _remedies(by, book)) for key in keys)
    evidence = tuple(
        Evidence(
            f"e{n}",
            f"e{n}",
            f"origin {n}",
            by.choice((*keys, NONE_OF_THESE)),
            by.choice((Decimal(20), Decimal(5), Decimal(2))),
        )
        for n in range(by.randint(0, 3))
    )
    return FinishQuestion(by.choice(keys), candidates, evidence, noticed=by.choice((ONE, Decimal("0.8"))))


def with_unseen(seed: int, given: Restoration, book: Catalogue) -> Restoration:
    """``given`` with what nobody can see yet on its parts; now and then for a fee, or less a credit."""
    by = Chance(seed)
    parts = tuple(unseen(by.randrange(10**9), part, book) for part in given.parts)
    credited = (Credit("c", "paid before", by.number(0, 200)),) if by.one_in(4) else ()
    return replace(given, parts=parts, fee=by.number(0, 900) if by.one_in(6) else None, credits=credited)


def _ways(by: Chance, uids: Sequence[str], book: Catalogue) -> tuple[WayBack, ...]:
    return tuple(
        WayBack(by.number(0, 0.45), by.choice(uids), _remedies(by, book), by.maybe(by.number(1, 200), 0.3))
        for _ in range(by.randint(1, 2))
    )


def _remedies(by: Chance, book: Catalogue) -> tuple[Remedy, ...]:
    """Works that do not go by the hour: a remedy has no hours of its own to give."""
    picked = [(work, by.choice(book.refs(work))) for work in by.choices(WORK, k=by.randint(0, 2))]
    return tuple(Remedy(work, ref) for work, ref in picked if not book.hourly(work, ref))


def restoration(
    book: Catalogue,
    how: Policy,
    part_seeds: Sequence[int],
    *,
    fails: bool = True,
    waits: bool = True,
    discount: Decimal = ZERO,
) -> Restoration:
    """A part waits only for parts before it, so that waits never close a circle."""
    made: list[Part] = []
    for index, seed in enumerate(part_seeds):
        earlier = [step.uid for item in made for step in item.steps] if waits else []
        made.append(part(seed, f"p{index}", book, earlier, fails=fails))
    return Restoration(
        "A single of the twenties",
        "2026-01-01",
        how,
        TAXES,
        book.grades,
        book.consumables,
        book.operations,
        book.services,
        book.purchases,
        tuple(made),
        discount,
    )


def by_seed(seed: int, parts: int = 6) -> Restoration:
    """A restoration from one number."""
    by = Chance(seed)
    how = replace(policy(by.randrange(10**9)), contingency_margin=by.maybe(by.number(0, 0.5)))
    seeds = [by.randrange(10**9) for _ in range(parts)]
    book = catalogue(by.randrange(10**9))
    plain = restoration(book, how, seeds, discount=by.maybe(by.number(0.01, 0.99)))
    return with_unseen(by.randrange(10**9), plain, book) if seed % 2 else plain

"""The example workshop: people, customers and restorations that were invented, in ``fixtures/demo``."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, TypedDict

from django.db import transaction

from quotes.desk.example_finishes import prove
from quotes.desk.example_intake import take_in
from quotes.engine.money import places, to_minor
from quotes.pricing.services import change_draft, open_draft
from shop import currency
from shop.journal.services import SYSTEM
from shop.methods.loading import Told, by_name, read
from shop.methods.models import Finish, Template
from shop.people.models import Shop, User
from shop.people.services import add_person
from shop.rates.loading import STARTER, anything_there, load_starter
from shop.restorations.damage import add_usual
from shop.restorations.models import Customer, Part, PartDamage, Restoration
from shop.restorations.services import add_customer, add_machine, begin, change_part
from shop.restorations.services import remove_part as take_out
from shop.routes.models import Step
from shop.routes.parts import add_routed_part, choose_finish, choose_old_finish, lay_out_template
from shop.routes.services import add_step, change_step

MACHINE = ("maker", "model", "year", "frame_number", "engine_number", "market")
FINISHES = {"finish": choose_finish, "old_finish": choose_old_finish}


class _Common(TypedDict):
    who: str
    now: datetime


@dataclass(frozen=True)
class SignIn:
    username: str
    name: str
    password: str


def in_use() -> bool:
    """Whether the shop holds anything that an example must not be mixed with."""
    return anything_there() or Customer.objects.exists()


@transaction.atomic
def load(*, today: date, now: datetime, folder: Path = STARTER) -> list[SignIn]:
    """All of it or nothing, into a shop that is not in use; gives back who can sign in."""
    load_starter(guessed=False, today=today, who=SYSTEM, now=now, folder=folder)
    told = read(folder / "demo" / "workshop.toml")
    if not Shop.objects.exists():
        shop = Shop(**told["shop"], currency=currency.code())
        shop.full_clean()
        shop.save()
    sign_ins = _people(told["person"])
    common: _Common = {"who": told["person"][0]["username"], "now": now}
    customers = {item["name"]: add_customer(**item, **common) for item in told["customer"]}
    finishes, templates = by_name(Finish), by_name(Template)
    for item in read(folder / "demo" / "restorations.toml")["restoration"]:
        machine = add_machine(**{name: item[name] for name in MACHINE if name in item}, **common)
        begun_on = today - timedelta(days=item["begun_days_ago"])
        restoration = begin(customer=customers[item["customer"]], machine=machine, begun_on=begun_on, **common)
        lay_out_template(restoration=restoration, template=templates[item["template"]], **common)
        _differ(restoration, item, finishes, common)
        take_in(restoration, item, today=today, **common)
        prove({part.name: part for part in restoration.parts.all()}, item, today=today, **common)
        _expect_damage(restoration, item, common)
        _draft(restoration, item, today, common)
    return sign_ins


def _people(told: Sequence[Told]) -> list[SignIn]:
    """Those whose user name is taken are left as they are."""
    there = set(User.objects.values_list("username", flat=True))
    new = [item for item in told if item["username"] not in there]
    for item in new:
        add_person(**item)
    return [SignIn(item["username"], item["name"], item["password"]) for item in new]


def _differ(restoration: Restoration, told: Told, finishes: Mapping[str, Finish], common: _Common) -> None:
    """What is different from the template about this bike."""
    parts = {part.name: part for part in restoration.parts.all()}
    for change in told.get("change", []):
        _change(parts[change["part"]], change, finishes, common)
    for bought in told.get("bought", []):
        step = Step.objects.select_related("part__restoration").get(part=parts[bought["part"]], buy=bought["buy"])
        changes = {"buy_price_minor": _minor(bought["price"]), "buy_status": bought["status"]}
        if "source" in bought:
            changes["buy_source"] = bought["source"]
        change_step(step=step, changes=changes, **common)
    for name in told.get("remove", []):
        take_out(part=parts[name], **common)
    for added in told.get("add", []):
        _add(restoration, added, finishes, common)


def _expect_damage(restoration: Restoration, told: Told, common: _Common) -> None:
    """The usual damages of the parts named, by who carries them."""
    parts = {part.name: part for part in restoration.parts.select_related("kind", "restoration")}
    for treatment, names in told.get("damage", {}).items():
        for name in names:
            add_usual(part=parts[name], treatment=PartDamage.Treatment(treatment), **common)


def _change(part: Part, told: Told, finishes: Mapping[str, Finish], common: _Common) -> None:
    fields: dict[str, Any] = {name: value for name, value in told.items() if name not in {"part", "unknown", *FINISHES}}
    fields |= dict.fromkeys(told.get("unknown", []))
    if fields:
        change_part(part=part, changes=fields, **common)
    for name, choose in FINISHES.items():
        if name in told:
            choose(part=part, finish=finishes[told[name]], **common)


def _add(restoration: Restoration, told: Told, finishes: Mapping[str, Finish], common: _Common) -> None:
    fields = {name: value for name, value in told.items() if name not in {"finish", "bought"}}
    finish = finishes[told["finish"]] if "finish" in told else None
    part = add_routed_part(restoration=restoration, finish=finish, **fields, **common)
    if bought := told.get("bought"):
        add_step(
            part=part,
            origin=Step.Origin.BEFORE,
            buy=bought["buy"],
            buy_source=bought["source"],
            buy_price_minor=_minor(bought["price"]),
            buy_handling=bought["handling"],
            buy_status=bought["status"],
            **common,
        )


def _draft(restoration: Restoration, told: Told, today: date, common: _Common) -> None:
    draft = open_draft(restoration=restoration, today=today, **common)
    changes = {"note": told["note"], "discount": Decimal(told.get("discount", 0))}
    change_draft(draft=draft, changes=changes, **common)


def _minor(price: Decimal | int) -> int:
    return to_minor(Decimal(price), digits=places(currency.code()))

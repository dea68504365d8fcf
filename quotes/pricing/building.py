"""From rows to what the engine prices: facts of the restoration, rates of the day, terms of the draft."""

from dataclasses import replace
from decimal import Decimal

from quotes.engine import inputs
from quotes.engine.errors import BadInput
from quotes.pricing.models import Draft
from shop.rates.engine_values import with_odds
from shop.rates.selectors import Catalogue, catalogue, odds
from shop.routes.damages import damages
from shop.routes.questions import questions
from shop.routes.selectors import Scope, engine_parts

HUNDRED = Decimal(100)


def engine_input(scope: Scope, draft: Draft) -> inputs.Restoration:
    """What `quotes.engine.rollup.price` takes. Raises `BadInput` when the shop has no price policy in force."""
    believed = odds(draft.priced_on)
    parts, purchases = engine_parts(scope, damages=damages(scope, believed), questions=questions(scope, believed))
    book = catalogue(draft.priced_on, only=_works(scope))
    if book.policy is None:
        raise BadInput(
            "There is no price policy in force on {day}. The manager has to note one first.",
            field="policy",
            day=draft.priced_on.isoformat(),
        )
    grade = _handling_grade(scope, book)
    return inputs.Restoration(
        title=scope.restoration.title,
        priced_on=draft.priced_on.isoformat(),
        policy=with_odds(book.policy, believed),
        taxes=book.taxes,
        grades=book.grades,
        consumables=book.consumables,
        operations=book.operations,
        services=book.services,
        purchases=tuple(replace(item, handling_grade=grade) for item in sorted(purchases, key=lambda p: p.key)),
        parts=parts,
        discount=draft.discount / HUNDRED,
    )


def _works(scope: Scope) -> set[str]:
    """The uids of all operations and services the scope and its remedies need."""
    works = {str(step.work.uid) for steps in scope.steps.values() for step in steps if not step.buy}
    for methods in scope.routes.steps.values():
        works.update(str(method.work.uid) for method in methods)
    return works


def _handling_grade(scope: Scope, book: Catalogue) -> str:
    """Who handles bought-in parts by the policy in force; none when nothing has to be handled."""
    if not any(step.buy_handling for steps in scope.steps.values() for step in steps if step.buy):
        return ""
    if not book.handling_grade:
        raise BadInput(
            "Bought-in parts need handling, but the price policy does not say by which labour grade. Note it there.",
            field="handling_grade",
        )
    return book.handling_grade

"""The search for an earlier bike on the page that begins a restoration."""

from typing import Any
from uuid import UUID

from django.forms.utils import ErrorDict

from quotes.desk.forms_beginning import BeginForm
from shop.restorations.models import Restoration
from shop.routes.copying import earlier

MOST = 8
LONGEST = 100


def uid_of(said: object) -> UUID | None:
    try:
        return UUID(str(said))
    except ValueError:
        return None


def listed(words: str, chosen: object) -> dict[str, Any]:
    """Bikes called by ``words``; the chosen one stays on the list, first. The newest where nothing was typed."""
    uid = uid_of(chosen)
    own: list[Restoration] = list(earlier("").filter(uid=uid)) if uid else []
    found = list(earlier(words)[: MOST + 1])
    others = [row for row in found if row.uid != uid]
    return {
        "earlier_bikes": [*own, *others][:MOST],
        "earlier_more": len(others) > MOST - len(own),
        "earlier_chosen": uid,
        "earlier_words": words,
    }


def of_form(form: BeginForm) -> dict[str, Any]:
    """The search as the form was sent; with its error, where none was chosen."""
    words = str(form.data.get("earlier_words", "")).replace("\0", "")[:LONGEST]
    error = "earlier" in form.errors if form.is_bound else False
    return listed(words, form["earlier"].value() or "") | {
        "earlier_errors": form["earlier"].errors if error else [],
    }


class StillFilling(BeginForm):
    """A form that is still being filled in: nothing in it is wrong yet."""

    @property
    def errors(self) -> ErrorDict:
        return ErrorDict()

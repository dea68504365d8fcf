"""What happened, in words: no login names, no uids, no raw moments and sums, nothing said of what was left empty."""

import ast
import re
import uuid
from datetime import UTC, datetime
from decimal import Decimal
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.test import Client
from django.utils import translation

import shop
from quotes import pricing
from quotes.desk.methods.showing import CHANGES
from quotes.desk.told_words import WORDS
from shop.journal.services import record, subject_of
from shop.methods import defining
from shop.people.models import User
from shop.restorations.models import Restoration
from tests.workshop import NOW, restoration

pytestmark = pytest.mark.django_db


@pytest.fixture
def bike() -> Restoration:
    return restoration()


def told(client: Client, bike: Restoration, what: str, before: Any = None, after: Any = None, who: str = "mw") -> str:
    record(who=who, at=NOW, what=what, subject=subject_of(bike), before=before, after=after)
    html = client.get(f"/restorations/{bike.uid}/history/").content.decode()
    newest = html.split("<ol")[1].split("</li>\n  <li")[0]
    return " ".join(re.sub(r"<[^>]+>", " ", newest).split())


def test_an_issued_quote_is_told_with_money_and_without_what_was_left_empty(
    front_desk: Client, bike: Restoration
) -> None:
    after = {"stage": "main", "total": Decimal("26639.75"), "below floor": ""}
    words = told(front_desk, bike, "quote issued", after=after)
    assert "total: €26,639.75" in words
    assert "below floor" not in words


def test_a_link_is_told_with_its_day_and_without_its_uid(front_desk: Client, bike: Restoration) -> None:
    uid = uuid.uuid4()
    after = {"link": uid, "purpose": "quote", "expires": datetime(2026, 4, 30, 21, 59, tzinfo=UTC)}
    words = told(front_desk, bike, "link made", after=after)
    assert str(uid) not in words
    assert "2026-04-30T" not in words
    assert re.search(r"it lets the customer: read and answer a quote", words)
    assert re.search(r"opens until: 30 Apr(il)? 2026, \d\d:59", words)


def test_people_are_called_by_their_names_and_others_as_the_journal_has_them(
    front_desk: Client, bike: Restoration
) -> None:
    User.objects.create(username="mw", first_name="Mary", last_name="Whitlow")
    assert "Mary Whitlow ·" in told(front_desk, bike, "restoration corrected")
    assert "customer, by link 3fa901 ·" in told(front_desk, bike, "customer asked", who="customer, by link 3fa901")


def test_what_was_emptied_is_still_told(front_desk: Client, bike: Restoration) -> None:
    words = told(front_desk, bike, "restoration corrected", before={"title": "Old name"}, after={"title": ""})
    assert "Old name" in words


# -- the whole history of a furnished shop ---------------------------------------------------------------------------------

#: Between these stands what went through gettext, so that what did not is seen.
MARKED = re.compile(r"«(?:«[^»]+» from |[^»]+»: )")


@pytest.fixture
def histories(furnished: object, db: None, monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, list[str]]]:
    """Each change on the history pages of every restoration: its heading and what it says of fields, the words marked."""
    client = Client()
    client.force_login(User.objects.get(username="desk"))
    monkeypatch.setattr(translation._trans, "gettext", lambda message: f"«{message}»" if message else "")
    found = []
    for bike in Restoration.objects.order_by("pk"):
        page, last = 1, 1
        while page <= last:
            answer = client.get(f"/restorations/{bike.uid}/history/", {"page": page})
            last, page = answer.context["page"].paginator.num_pages, page + 1
            found += _changes(answer.content.decode())
    return found


def _changes(html: str) -> list[tuple[str, list[str]]]:
    whole = html.split('<ol class="plain happened card">')[1].split("</ol>")[0]
    pieces = whole.split('<h2 class="happened-what">')[1:]
    return [(_bare(piece.split("</h2>")[0]), [_bare(one) for one in _turns(piece)]) for piece in pieces]


def _turns(piece: str) -> list[str]:
    listed = piece.split('<ul class="small turns">')[1:]
    return re.findall(r"<li>(.*?)</li>", listed[0].split("</ul>")[0], re.DOTALL) if listed else []


def _bare(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def _keys() -> set[str]:
    """What columns keep where pages say something else."""
    fields = (field for model in apps.get_models() for field in model._meta.concrete_fields if field.choices)
    return {
        str(key)
        for field in fields
        for key, words in field.flatchoices
        if key and str(words).strip("«»") != str(key) and not str(key).isdecimal()
    }


def test_a_furnished_shop_has_no_raw_name_in_any_history(histories: list[tuple[str, list[str]]]) -> None:
    """Neither the name of a kind of change, nor of a field, nor a value that only the code understands."""
    keys = _keys()
    turns = [turn for _head, told in histories for turn in told]
    kinds = {head.rpartition(": ")[2] for head, _told in histories}
    assert len(kinds) > 25
    assert len(turns) > 250
    assert {kind for kind in kinds if not kind.endswith("»")} == set()
    assert {turn for turn in turns if not MARKED.match(turn)} == set()
    assert {turn for turn in turns if turn.partition(": ")[2] in keys} == set()
    assert not [turn for turn in turns if re.search(r"[0-9a-f]{32}", turn) or "['" in turn]


def _recorded(source: str) -> set[str]:
    """What a module has the journal say was done: given as ``what``, or as several words to a helper of its own."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]).lower() == "what":
            found |= _texts(node.value)
        elif isinstance(node, ast.Call) and ast.unparse(node.func) in {"record", "record_all"}:
            found |= {text for one in node.keywords if one.arg == "what" for text in _texts(one.value)}
        elif isinstance(node, ast.Call) and ast.unparse(node.func) in {"_tell", "_keep"}:
            found |= {text for one in node.args for text in _texts(one) if " " in text}
    return found


def _texts(node: ast.expr) -> set[str]:
    """The texts written out; one made of pieces is not."""
    if isinstance(node, ast.JoinedStr):
        return set()
    return {one.value for one in ast.walk(node) if isinstance(one, ast.Constant) and isinstance(one.value, str)}


def test_every_kind_of_change_of_a_restoration_has_words() -> None:
    """Also those that no demonstration makes: what the rooms' services record, read from their source."""
    rooms = [Path(shop.__file__).parent / room for room in ("restorations", "routes", "vendor_jobs")]
    rooms.append(Path(pricing.__file__).parent)
    found = {what for room in rooms for path in room.rglob("*.py") for what in _recorded(path.read_text())}
    assert len(found) > 50
    assert found - WORDS.keys() == set()


def test_every_kind_of_change_on_the_pages_of_methods_has_words() -> None:
    found = _recorded(Path(defining.__file__).read_text())
    assert found == set(CHANGES)
    assert found - WORDS.keys() == set()


def test_a_percentage_is_no_sum_of_money(front_desk: Client, bike: Restoration) -> None:
    assert "discount [%]: 3" in told(front_desk, bike, "draft changed", after={"discount": Decimal("3.00")})


def test_a_payment_is_told_by_its_name_and_day(front_desk: Client, bike: Restoration) -> None:
    after = {"event": "coated", "payments": [["Q00001: Second payment", "2026-11-20"]]}
    words = told(front_desk, bike, "payment stage reached", after=after)
    assert re.search(
        r"due when: the frame is coated payments: Q00001: Second payment \(20 Nov(ember)?\.? 2026\)", words
    )

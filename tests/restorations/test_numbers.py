"""Numbers that do not match stop for a named person: which match, who may clear them, and for how long that holds."""

import unicodedata

import pytest
from django.core.exceptions import ValidationError
from hypothesis import example, given
from hypothesis import strategies as st

from shop.journal.models import Entry
from shop.restorations.intake import change_intake, open_intake
from shop.restorations.models import Intake, NumbersCleared, Restoration
from shop.restorations.numbers import (
    Numbers,
    Pair,
    clear_numbers,
    look_again,
    match,
    numbers_of,
    plain,
    standing,
    stop_sentence,
)
from tests.workshop import TODAY, WHO, restoration

# What is stamped and typed: letters, figures and strokes, also such as a foreign keyboard or a copied text brings.
NUMBERS = st.text(st.sampled_from("AaOo0Ii1Bb8 -\u2010\u2011\u2013\u2212\u00a0\u00ad\u0130ßſ"), max_size=12) | st.text(
    max_size=12
)


@given(NUMBERS)
@example("\u0130")
@example("ß-ſ")
def test_a_plain_number_stays_as_it_is(number: str) -> None:
    assert plain(plain(number)) == plain(number)


@given(NUMBERS, NUMBERS)
def test_two_numbers_match_either_way_round(one: str, other: str) -> None:
    assert match(one, other) == match(other, one)
    assert look_again(one, other) == look_again(other, one)


@given(NUMBERS, NUMBERS, st.sampled_from([" ", "-", "\u2013", "\u00a0"]))
def test_spaces_hyphens_and_capitals_say_nothing(one: str, other: str, between: str) -> None:
    assert match(one + other, one + between + other)
    letters = "".join(letter for letter in one if unicodedata.category(letter) in {"Lu", "Ll"} and letter.isascii())
    assert match(letters.lower(), letters.upper())


@given(NUMBERS, NUMBERS, st.sampled_from([("O", "0"), ("I", "1")]))
def test_a_letter_is_never_the_figure_that_looks_like_it_but_is_told_to_be_looked_at(
    one: str, other: str, alike: tuple[str, str]
) -> None:
    letter, figure = alike
    assert not match(one + letter + other, one + figure + other)
    assert look_again(one + letter + other, one + figure + other) == (letter,)


@pytest.mark.parametrize(
    ("stamped", "papers", "matches", "hint"),
    [
        ("CB57-10482", "cb57 10482", True, ""),
        ("CB57-10482", "CB57-10483", False, ""),
        ("CB57-1O482", "CB57-10482", False, "Look again: O or 0?"),
        ("I0", "1O", False, "Look again: I or 1? Look again: O or 0?"),
        ("CB57-1O482", "CB57-10483", False, ""),  # more is different than a worn stamp explains
        ("CB57-10482", "", True, ""),
        ("", "CB57-10482", True, ""),
        ("CB57", "-", True, ""),  # a stroke where there is no number
        ("B8", "88", False, ""),
    ],
)
def test_a_pair_says_whether_it_matches_and_where_to_look_again(
    stamped: str, papers: str, matches: bool, hint: str
) -> None:
    pair = Pair("frame number", stamped, papers)
    assert (pair.matches, pair.hint) == (matches, hint)


# -- on record ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def intake(db: None) -> Intake:
    """Its frame is stamped H1234; the papers say H1235."""
    row = open_intake(restoration=restoration(), came_on=TODAY, **WHO)
    return change_intake(intake=row, changes={"papers_frame_number": "H1235"}, **WHO)


def now(intake: Intake) -> Numbers:
    found = standing(Restoration.objects.get(pk=intake.restoration_id))
    assert found is not None
    return found


def clear(intake: Intake, **said: str) -> NumbersCleared:
    given = {"who_decided": "Eve", "reason": "Frame replaced in 1961, works invoice seen"} | said
    return clear_numbers(intake=intake, seen=numbers_of(intake), **given, **WHO)


def test_without_intake_or_with_matching_numbers_nothing_is_stopped(db: None) -> None:
    bike = restoration()
    assert standing(bike) is None
    row = open_intake(restoration=bike, came_on=TODAY, **WHO)
    assert not now(row).stop
    change_intake(intake=row, changes={"papers_frame_number": "h 12-34"}, **WHO)
    assert not now(row).stop
    assert stop_sentence(bike) == ""


def test_a_mismatch_stops_with_both_numbers_named_and_what_to_do(intake: Intake) -> None:
    assert now(intake).stop
    said = stop_sentence(intake.restoration)
    assert "The frame number stamped is “H1234”, the papers say “H1235”." in said
    assert "somebody has to clear them by name" in said


def test_cleared_by_name_and_reason_it_goes_on_and_the_journal_says_who(intake: Intake) -> None:
    row = clear(intake)
    assert (row.stamped_frame, row.papers_frame, row.recorded_by) == ("H1234", "H1235", "ada")
    assert not now(intake).stop
    assert now(intake).wrong, "it is still said that they do not match"
    entry = Entry.objects.get(what="numbers cleared")
    assert entry.subject_uid == intake.restoration.uid
    for word in ("Eve", "works invoice seen", "H1234", "H1235"):
        assert word in entry.after


@pytest.mark.parametrize(
    "changes",
    [
        {"papers_frame_number": "H1236"},
        {"frame_number": "H1233"},
        {"engine_number": "E5"},
        {"papers_engine_number": "E5"},
    ],
)
def test_a_decision_is_void_when_any_number_changes_and_holds_again_for_those_it_was_made_for(
    intake: Intake, changes: dict[str, str]
) -> None:
    clear(intake)
    (field, _value), *_more = changes.items()
    change_intake(intake=intake, changes=changes, **WHO)
    assert now(intake).stop
    back = {"papers_frame_number": "H1235", "frame_number": "H1234"}.get(field, "")
    change_intake(intake=intake, changes={field: back}, **WHO)
    assert not now(intake).stop


def test_another_way_to_write_the_same_number_leaves_the_decision(intake: Intake) -> None:
    clear(intake)
    change_intake(intake=intake, changes={"papers_frame_number": "h-1235"}, **WHO)
    assert not now(intake).stop


@pytest.mark.parametrize("field", ["who_decided", "reason"])
def test_without_a_name_or_a_reason_nothing_is_cleared(intake: Intake, field: str) -> None:
    with pytest.raises(ValidationError) as caught:
        clear(intake, **{field: "  "})
    assert list(caught.value.message_dict) == ["who" if field == "who_decided" else "reason"]
    assert now(intake).stop


def test_whoever_clears_clears_the_numbers_they_saw(intake: Intake) -> None:
    seen = numbers_of(intake)
    change_intake(intake=intake, changes={"papers_frame_number": "H9999"}, **WHO)
    with pytest.raises(ValidationError, match="A number was changed after you looked"):
        clear_numbers(intake=intake, seen=seen, who_decided="Eve", reason="seen", **WHO)
    assert not NumbersCleared.objects.exists()


def test_numbers_that_match_cannot_be_cleared(intake: Intake) -> None:
    change_intake(intake=intake, changes={"papers_frame_number": "H 1234"}, **WHO)
    with pytest.raises(ValidationError, match="nothing to clear"):
        clear(intake)


def test_a_decision_about_other_numbers_decides_nothing_here(intake: Intake) -> None:
    """Frame and engine swapped: the same four texts, in other places."""
    clear(intake)
    change_intake(
        intake=intake,
        changes={
            "frame_number": "",
            "papers_frame_number": "",
            "engine_number": "H1234",
            "papers_engine_number": "H1235",
        },
        **WHO,
    )
    assert now(intake).stop

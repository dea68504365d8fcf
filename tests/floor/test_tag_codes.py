"""Numbers on tags: every slip of one letter and every two that changed places are noticed, as with a ten-digit book number."""

import random
from itertools import combinations

import pytest
from django.core.exceptions import ValidationError

from shop.floor.tag_codes import LENGTH, LETTERS, is_code, new_code, read_code, spaced, with_check


def test_no_letter_is_taken_for_another_one_and_no_word_comes_about() -> None:
    assert len(set(LETTERS)) == len(LETTERS) == 23
    assert not set(LETTERS) & set("01OIQLDZSBUAE")


@pytest.mark.parametrize("turn", range(50))
def test_one_wrong_letter_is_always_noticed(turn: int) -> None:
    code = with_check("".join(random.Random(turn).choices(LETTERS, k=LENGTH - 1)))
    assert is_code(code)
    for place, letter in enumerate(code):
        for other in set(LETTERS) - {letter}:
            assert not is_code(code[:place] + other + code[place + 1 :])


@pytest.mark.parametrize("turn", range(50))
def test_two_that_changed_places_are_always_noticed(turn: int) -> None:
    code = with_check("".join(random.Random(turn).choices(LETTERS, k=LENGTH - 1)))
    for first, second in combinations(range(LENGTH), 2):
        if code[first] != code[second]:
            letters = list(code)
            letters[first], letters[second] = letters[second], letters[first]
            assert not is_code("".join(letters))


def test_the_same_check_with_the_modulus_of_book_numbers_takes_a_known_book_number(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """ISBN 0-306-40615-2, the worked example of ISO 2108 in common use (from memory); weights 10 to 1 there, 1 to 10 here:
    both come out at nothing for the same numbers, as one is minus the other by 11."""
    from shop.floor import tag_codes

    monkeypatch.setattr(tag_codes, "LETTERS", "0123456789X")
    monkeypatch.setattr(tag_codes, "LENGTH", 10)
    assert tag_codes.with_check("030640615") == "0306406152"
    assert tag_codes.is_code("0306406152")
    assert not tag_codes.is_code("0306406125")


def test_it_is_read_as_people_type_it() -> None:
    code = new_code()
    assert read_code(f" {spaced(code).lower()} ") == code
    assert read_code(code[:3] + "-" + code[3:]) == code


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "Type the number"),
        ("O23456", "There is no O on any tag"),
        ("234", "A tag has 6 letters and digits; these are 3"),
        (with_check("22345")[:-1] + "3", "One letter is not as on the tag"),
    ],
)
def test_what_is_none_is_told_in_words(typed: str, said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        read_code(typed)

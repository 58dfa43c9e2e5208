"""Words of queries. The word forms are those of common English grammar; the typing errors are the four usual kinds."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.jobs.household.words import trigrams, word_similarity, words_of

_WORDS = st.text("abcdefghijklmnopqrstuvwxyz", min_size=1, max_size=15)


def test_words_are_plain_and_lower_case():
    assert words_of("Café-Löffel, 3 Stück (M4)") == ("cafe", "loffel", "3", "stuck", "m4")
    assert words_of("Where is the calliper?", query=True) == ("calliper",)
    assert words_of("the", query=True) == ("the",)
    assert words_of(" ?! ") == ()


@pytest.mark.parametrize(
    ("singular", "plural"),
    [("battery", "batteries"), ("calliper", "callipers"), ("brush", "brushes"), ("knife", "knives"), ("lens", "lenses"),
     ("box", "boxes"), ("glass", "glasses"), ("tie", "ties"), ("key", "keys"), ("scarf", "scarves")],
)  # fmt: skip
def test_word_forms_are_alike(singular, plural):
    assert word_similarity(singular, plural) >= 0.8
    assert word_similarity(plural, singular) >= 0.8


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("caliper", "calliper"), ("calipper", "calliper"), ("screwdirver", "screwdriver"), ("scisors", "scissors"),
     ("hamer", "hammer"), ("plyers", "pliers"), ("stappler", "stapler"), ("tpae", "tape"), ("batery", "batteries")],
)  # fmt: skip
def test_typing_errors_are_alike(typed, meant):
    assert word_similarity(typed, meant) >= 0.6


@pytest.mark.parametrize(("word", "other"), [("spoon", "hammer"), ("tape", "lens"), ("needle", "noodles"), ("a", "b")])
def test_other_words_are_not(word, other):
    assert word_similarity(word, other) < 0.75


@given(_WORDS, _WORDS)
def test_likeness_is_a_share(word, other):
    assert 0.0 <= word_similarity(word, other) <= 1.0
    assert word_similarity(word, word) == 1.0
    assert len(trigrams(word)) >= 1


@given(_WORDS.filter(lambda word: len(word) >= 5), st.data())
def test_one_typing_error_leaves_a_word_alike(word, data):
    """A letter that is missing, doubled, wrong or swapped with its neighbour costs at most one of the letters."""
    place = data.draw(st.integers(0, len(word) - 2))
    typed = data.draw(
        st.sampled_from(
            [
                word[:place] + word[place + 1 :],
                word[: place + 1] + word[place:],
                word[:place] + "z" + word[place + 1 :],
                word[:place] + word[place + 1] + word[place] + word[place + 2 :],
            ]
        )
    )
    assert word_similarity(typed, word) >= 1.0 - 3.0 / len(word)

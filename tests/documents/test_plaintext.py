"""Foreign text is printed as itself or as its code, and never lost."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.documents.lettering import width
from interop.documents.plaintext import breakable, shortened, visible


@pytest.mark.parametrize(
    "text, shown",
    [
        ("R1", "R1"),
        ("Übergröße ½ Ω", "Übergröße ½ Ω"),
        ("<script>&\"'#[x]\\$*_`@", "<script>&\"'#[x]\\$*_`@"),
        ("a\nb", "a⟨U+000A⟩b"),
        ("a\tb", "a⟨U+0009⟩b"),
        ("a\x00b", "a⟨U+0000⟩b"),
        ("\u202edcba", "⟨U+202E⟩dcba"),
        ("a\u200bb", "a⟨U+200B⟩b"),
        ("a\u200db", "a⟨U+200D⟩b"),
        ("a\u00adb", "a⟨U+00AD⟩b"),
        ("a\u2066b\u2069", "a⟨U+2066⟩b⟨U+2069⟩"),
        ("a\ufe0fb", "a⟨U+FE0F⟩b"),
        ("a\U000e0041b", "a⟨U+E0041⟩b"),
        ("a\u00a0b", "a⟨U+00A0⟩b"),
        ("a\u3164b", "a⟨U+3164⟩b"),
        ("\u2800", "⟨U+2800⟩"),
        ("\ufeffa", "⟨U+FEFF⟩a"),
        ("\ud800", "⟨U+D800⟩"),
        ("電池", "⟨U+96FB⟩⟨U+6C60⟩"),
        ("\U0001f9ff", "⟨U+1F9FF⟩"),
        ("א1", "⟨U+05D0⟩1"),
        ("م", "⟨U+0645⟩"),
        (" a  b ", "⟨U+0020⟩a ⟨U+0020⟩b⟨U+0020⟩"),
        ("", ""),
        (" ", "⟨U+0020⟩"),
        ("e\u0301", "e\u0301"),
        ("\u0301", "⟨U+0301⟩"),
        ("e\u0301\u0301", "e\u0301⟨U+0301⟩"),
        ("⟨U+202E⟩", "⟨U+27E8⟩U+202E⟩"),
    ],
)
def test_visible(text: str, shown: str) -> None:
    assert visible(text) == shown


@given(st.text())
def test_nothing_is_dropped_and_unlike_texts_stay_unlike(text: str) -> None:
    assert decoded(visible(text)) == text


def decoded(shown: str) -> str:
    """The text back from its visible form, by reading codes."""
    out, rest = "", shown
    while rest:
        if rest.startswith("⟨U+"):
            code, rest = rest[3:].split("⟩", 1)
            out += chr(int(code, 16))
        else:
            out, rest = out + rest[0], rest[1:]
    return out


@given(st.text())
def test_no_unseen_and_no_turning_character_is_left(text: str) -> None:
    # Unicode character database through the standard library: general categories and bidirectional classes
    for char in visible(text):
        assert char == " " or unicodedata.category(char)[0] not in "CZ"
        assert unicodedata.bidirectional(char) not in {
            "R",
            "AL",
            "AN",
            "RLE",
            "LRE",
            "RLO",
            "LRO",
            "RLI",
            "LRI",
        }


@given(st.text())
def test_places_to_break_take_nothing_away_and_leave_no_long_word(text: str) -> None:
    shown = visible(text)
    broken = breakable(shown)
    assert broken.replace("\u200b", "") == shown
    assert all(len(piece) <= 16 for word in broken.split(" ") for piece in word.split("\u200b"))


@given(st.text(min_size=1), st.integers(20, 300))
def test_a_shortened_text_fits_and_says_that_it_is_short(text: str, room: int) -> None:
    short = shortened(text, room, 10)
    assert width(visible(short), 10) <= room
    assert short == text or (short.endswith("…") and text.startswith(short[:-1].rstrip(" ")))

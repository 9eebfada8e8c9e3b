"""Text that somebody else wrote, made safe to print: every character is seen, none turns the line round."""

from __future__ import annotations

import unicodedata
from functools import cache

from interop.documents.lettering import Face, covered, width

__all__ = ["breakable", "shortened", "visible"]

# Unicode 15 character database, DerivedCoreProperties: Default_Ignorable_Code_Point outside category Cf,
# and U+2800, a braille cell without dots. Typed from the data file's list: from memory, checked by eye.
_INVISIBLE = frozenset([0x034F, 0x115F, 0x1160, 0x17B4, 0x17B5, 0x2065, 0x2800, 0x3164, 0xFFA0]).union(
    range(0x180B, 0x1810), range(0xFE00, 0xFE10), range(0xE0000, 0xE1000)
)
_UNSEEN_CATEGORIES = frozenset(["Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp", "Zs"])
# Unicode Standard Annex 9: every class that starts or belongs to a right-to-left run. A Hebrew letter beside
# "1 on, 2 off" changes the order in which the figures are read, so it is printed as its code too.
_TURNING = frozenset(["R", "AL", "AN", "RLE", "LRE", "RLO", "LRO", "PDF", "RLI", "LRI", "FSI", "PDI"])
_BRACKET = "⟨"  # printed as its own code, so that no name can imitate one
_MARKS = frozenset(["Mn", "Mc", "Me"])
_BREAK = "\u200b"


def _code(char: str) -> str:
    return f"⟨U+{ord(char):04X}⟩"


@cache
def _shown(char: str) -> bool:
    if char == " ":
        return True
    if char == _BRACKET:
        return False
    hidden = ord(char) in _INVISIBLE or unicodedata.category(char) in _UNSEEN_CATEGORIES
    return not hidden and unicodedata.bidirectional(char) not in _TURNING and covered(char)


def _follows_letter(text: str, at: int) -> bool:
    return at > 0 and _shown(text[at - 1]) and unicodedata.category(text[at - 1])[0] in "LN"


def _place(text: str, at: int) -> str:
    char = text[at]
    if char == " ":
        lost = at in (0, len(text) - 1) or text[at - 1] == " "
        return _code(char) if lost else char
    if unicodedata.category(char) in _MARKS and not _follows_letter(text, at):
        return _code(char)
    return char if _shown(char) else _code(char)


def visible(text: str) -> str:
    """`text` with each character that would not be seen as itself replaced by its code, as in ⟨U+202E⟩.

    Replaced are characters that no shipped font covers, invisible and direction-changing ones, line breaks,
    right-to-left letters, marks that stand on nothing, and spaces that printing would lose (first, last,
    repeated). Nothing is dropped, and unlike texts stay unlike (so apply it once only). Printable ASCII stays as it is.
    """
    if text.isascii() and text.isprintable() and text == text.strip(" ") and "  " not in text:
        return text
    return "".join(_place(text, at) for at in range(len(text)))


def _split(word: str, longest: int) -> str:
    return (
        word
        if len(word) <= 2 * longest
        else _BREAK.join(word[at : at + longest] for at in range(0, len(word), longest))
    )


def breakable(text: str, longest: int = 8) -> str:
    """`text` with a place to break a line every `longest` characters inside words over twice as long.

    Takes what `visible` returns, so the U+200B put in cannot be taken for one that was in the text.
    """
    return " ".join(_split(word, longest) for word in text.split(" "))


def shortened(text: str, room: float, size: float, face: Face = "regular") -> str:
    """`text` if it prints within `room` at `size` [pt], else its beginning and an ellipsis that says so.

    Only for places that repeat what stands in full elsewhere. Returns raw text: pass it to `visible` as any other.
    """
    if width(visible(text), size, face) <= room:
        return text
    used = width(" …", size, face)
    for at in range(len(text)):
        used += width(_place(text, at), size, face)
        if used > room:
            begun = text[:at].rstrip(" ")
            return f"{begun} …" if begun else "…"
    return text

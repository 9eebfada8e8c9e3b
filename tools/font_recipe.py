"""Recipe for fonts/metrics.json: which characters the shipped fonts cover, and how wide each is.

Run `python tools/font_recipe.py` after a font file changed. Nothing of this runs when documents are
made. Layout of the tables read here: OpenType specification (ISO/IEC 14496-22), tables head, hhea, hmtx, cmap.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from pathlib import Path

__all__ = ["FACES", "advances", "metrics"]

FACES = {"regular": "DejaVuSans.ttf", "bold": "DejaVuSans-Bold.ttf", "mono": "DejaVuSansMono.ttf"}
_FOLDER = Path(__file__).parent.parent / "interop" / "documents" / "fonts"


def _tables(font: bytes) -> dict[str, int]:
    count = struct.unpack_from(">H", font, 4)[0]
    entries = (struct.unpack_from(">4sLLL", font, 12 + 16 * i) for i in range(count))
    return {tag.decode("ascii"): offset for tag, _sum, offset, _length in entries}


def _segments(font: bytes, at: int) -> Iterator[tuple[int, int]]:
    """(character, glyph) of a cmap subtable of format 4: segments with a delta or an index array."""
    half = struct.unpack_from(">H", font, at + 6)[0]
    count = half // 2
    ends = struct.unpack_from(f">{count}H", font, at + 14)
    starts = struct.unpack_from(f">{count}H", font, at + 16 + half)
    deltas = struct.unpack_from(f">{count}H", font, at + 16 + 2 * half)
    for i, (start, end, delta) in enumerate(zip(starts, ends, deltas, strict=True)):
        where = at + 16 + 3 * half + 2 * i
        offset = struct.unpack_from(">H", font, where)[0]
        for char in range(start, min(end, 0xFFFE) + 1):
            glyph = char
            if offset:
                glyph = struct.unpack_from(">H", font, where + offset + 2 * (char - start))[0]
            if offset == 0 or glyph:
                yield char, (glyph + delta) & 0xFFFF


def _groups(font: bytes, at: int) -> Iterator[tuple[int, int]]:
    """(character, glyph) of a cmap subtable of format 12: groups of consecutive glyphs."""
    for i in range(struct.unpack_from(">L", font, at + 12)[0]):
        start, end, glyph = struct.unpack_from(">LLL", font, at + 16 + 12 * i)
        yield from ((char, glyph + char - start) for char in range(start, end + 1))


def _characters(font: bytes, cmap: int) -> dict[int, int]:
    readers = {4: _segments, 12: _groups}
    found: dict[int, int] = {}
    for i in range(struct.unpack_from(">H", font, cmap + 2)[0]):
        platform, encoding, offset = struct.unpack_from(">HHL", font, cmap + 4 + 8 * i)
        form = struct.unpack_from(">H", font, cmap + offset)[0]
        if form in readers and (platform == 0 or (platform, encoding) in ((3, 1), (3, 10))):
            found.update(readers[form](font, cmap + offset))
    return {char: glyph for char, glyph in found.items() if glyph}


def advances(font: bytes) -> dict[int, int]:
    """Advance width of every character that `font` (a TrueType file) covers [font units].

    Source: OpenType cmap formats 4 and 12, hmtx.
    """
    tables = _tables(font)
    count = struct.unpack_from(">H", font, tables["hhea"] + 34)[0]
    widths = struct.unpack_from(">" + "Hh" * count, font, tables["hmtx"])[::2]
    return {char: widths[min(glyph, count - 1)] for char, glyph in _characters(font, tables["cmap"]).items()}


def _runs(widths: dict[int, int]) -> list[list[int]]:
    """[first, last, width] for consecutive characters of one width, in order."""
    runs: list[list[int]] = []
    for char in sorted(widths):
        if runs and runs[-1][1] == char - 1 and runs[-1][2] == widths[char]:
            runs[-1][1] = char
        else:
            runs.append([char, char, widths[char]])
    return runs


def metrics(folder: Path = _FOLDER) -> dict[str, object]:
    """The content of fonts/metrics.json: units per em and, by face, runs of characters of one width."""
    fonts = {name: (folder / file).read_bytes() for name, file in FACES.items()}
    units = {struct.unpack_from(">H", font, _tables(font)["head"] + 18)[0] for font in fonts.values()}
    if len(units) != 1:
        raise ValueError(f"the shipped fonts differ in units per em: {sorted(units)}")
    return {"units_per_em": units.pop(), "advance": {name: _runs(advances(fonts[name])) for name in FACES}}


def _main() -> None:
    text = json.dumps(metrics(), separators=(",", ":"))
    (_FOLDER / "metrics.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    _main()

"""A drawing written as SVG by hand: frames, lines of text of known width, curves with arrows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import Literal

from interop.documents.layout import Box, Point
from interop.documents.lettering import Face, width, wrap
from interop.documents.plaintext import shortened, visible
from interop.unchanging import unchanging

__all__ = ["Line", "page"]

_FRAMES = {
    "manager": 'stroke-width="5"',
    "member": 'stroke-width="2"',
    "unmanaged": 'stroke-width="2" stroke-dasharray="7 5"',
    "controller": 'stroke-width="2" rx="14"',
    "cable": 'stroke-width="0.8"',
}
_FONT = "'DejaVu Sans', sans-serif"
_ARROW_HEAD = (
    '<defs><marker id="arrow" viewBox="0 0 10 10" refX="10" refY="5" markerWidth="12" markerHeight="12"'
    ' markerUnits="userSpaceOnUse" orient="auto-start-reverse"><path d="M 0 0 L 10 5 L 0 10 z"/></marker></defs>'
)
_LEGEND = (
    "Thick frame: manager. Plain frame: member. Dashed frame: unmanaged. Round corners: controller or other device. "
    "Arrow: from end 1 to end 2 of a cable. Cables to take out are not drawn."
)
_HEAD, _FOOT, _SIDE, _NARROWEST = 74.0, 34.0, 24.0, 560.0


@unchanging
class Line:
    """One line of visible text, its size [pt] and face."""

    text: str
    size: float
    face: Face


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _text(line: Line, x: float, y: float, fill: str = "black") -> str:
    """One line from `x`, its width pinned to the shipped font's, so that another font cannot leave the frame."""
    weight = ' font-weight="bold"' if line.face == "bold" else ""
    long = f' textLength="{_n(width(line.text, line.size, line.face))}" lengthAdjust="spacingAndGlyphs"'
    long = long if line.text else ""
    place = f'x="{_n(x)}" y="{_n(y)}" font-size="{_n(line.size)}"{weight}{long} fill="{fill}"'
    return f"<text {place}>{escape(line.text)}</text>"


def _frame(corner: Point, box: Box, style: str, lines: Sequence[Line]) -> Iterable[str]:
    x, y = corner
    size = f'x="{_n(x)}" y="{_n(y)}" width="{_n(box.width)}" height="{_n(box.height)}"'
    yield f'<rect {size} fill="white" stroke="black" {_FRAMES[style]}/>'
    below = y + (box.height - sum(line.size * 1.35 for line in lines)) / 2
    for line in lines:
        below += line.size * 1.35
        yield _text(line, x + (box.width - width(line.text, line.size, line.face)) / 2, below - line.size * 0.35)


def _curve(points: Sequence[Point], arrow: Literal["start", "end"] | None) -> str:
    spots = [f"{_n(x)} {_n(y)}" for x, y in points]
    path = f"M {spots[0]} C {' '.join(spots[1:])}"
    mark = f' marker-{arrow}="url(#arrow)"' if arrow else ""
    return f'<path d="{path}" fill="none" stroke="black" stroke-width="2"{mark}/>'


def _head(title: str, fingerprint: str, wide: float, *, draft: bool, joining: bool) -> Iterable[str]:
    shown = shortened(title, wide - 2 * _SIDE, 16, "bold")
    yield _text(Line(visible(shown), 16, "bold"), _SIDE, 28)
    yield _text(Line(f"Plan {fingerprint}", 11, "regular"), _SIDE, 46)
    if draft:
        yield f'<rect x="{_n(wide - 330)}" y="34" width="306" height="20" fill="black"/>'
        yield _text(Line("DRAFT - NOT FOR INSTALLATION", 13, "bold"), wide - 318, 49, "white")
    if not joining:
        words = "JOINING NOT CLEARED: do not connect power terminals."
        yield _text(Line(words, 11, "bold"), _SIDE, 64)


def _legend(wide: float, high: float) -> Iterable[str]:
    for number, line in enumerate(wrap(_LEGEND, wide - 2 * _SIDE, 9)):
        yield _text(Line(line, 9, "regular"), _SIDE, high - _FOOT + 12 * number)


def page(
    *,
    title: str,
    fingerprint: str,
    draft: bool,
    joining: bool,
    boxes: Sequence[tuple[Point, Box, str, Sequence[Line]]],
    curves: Sequence[tuple[Sequence[Point], Literal["start", "end"] | None]],
    apart_at: float | None,
) -> str:
    """The whole SVG [pt]. `apart_at` is where the heading over the packs without a data cable stands, if any."""
    right = max([corner[0] + box.width for corner, box, _, _ in boxes], default=0.0)
    low = max([corner[1] + box.height for corner, box, _, _ in boxes], default=0.0)
    wide, high = max(right + _SIDE, _NARROWEST), low + _HEAD + 2 * _FOOT
    size = f'viewBox="0 0 {_n(wide)} {_n(high)}" width="{_n(wide)}pt" height="{_n(high)}pt"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="{_FONT}" role="img">',
        f"<title>{escape(visible(title))}</title>",
        _ARROW_HEAD,
        f'<rect width="{_n(wide)}" height="{_n(high)}" fill="white"/>',
        *_head(title, fingerprint, wide, draft=draft, joining=joining),
        f'<g transform="translate(0 {_n(_HEAD)})">',
        *(_curve(points, arrow) for points, arrow in curves),
    ]
    for corner, box, style, lines in boxes:
        parts += _frame(corner, box, style, lines)
    if apart_at is not None:
        parts.append(_text(Line("On the busbar only, no data cable:", 12, "bold"), _SIDE, apart_at))
    parts += ["</g>", *_legend(wide, high), "</svg>"]
    return "\n".join(parts) + "\n"

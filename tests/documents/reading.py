"""Reads finished PDFs back with poppler, which shares nothing with the program that set them."""

from __future__ import annotations

import html
import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

__all__ = ["Word", "flat", "images", "need_poppler", "texts", "words"]

_DPI = 72  # one pixel a point, so that places of words are places of pixels


@dataclass(frozen=True)
class Word:
    """One word of a page and its box [pt from the top left]."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    @property
    def x(self) -> float:
        return (self.left + self.right) / 2

    @property
    def y(self) -> float:
        return (self.top + self.bottom) / 2


def need_poppler() -> None:
    """Skip, or fail where oracles are required, if poppler is not installed."""
    if shutil.which("pdftotext") and shutil.which("pdftoppm"):
        return
    if os.environ.get("INTEROP_ORACLES") == "required":
        pytest.fail("poppler (pdftotext, pdftoppm) is required and not installed")
    pytest.skip("poppler (pdftotext, pdftoppm) is not installed")


def _run(pdf: bytes, folder: Path, *command: str) -> bytes:
    need_poppler()
    (folder / "in.pdf").write_bytes(pdf)
    done = subprocess.run([*command], cwd=folder, capture_output=True, check=True)
    return done.stdout


def texts(pdf: bytes, folder: Path, *, feet: bool = True) -> list[str]:
    """The text of every page, with or without what stands in the foot (below 804 pt)."""
    area = () if feet else ("-x", "0", "-y", "0", "-W", "596", "-H", "804")
    out = _run(pdf, folder, "pdftotext", "-raw", "-enc", "UTF-8", *area, "in.pdf", "-")
    return out.decode("utf-8").split("\f")[:-1]


def flat(text: str) -> str:
    """`text` without white space and places to break a line."""
    return re.sub(r"[\s\u200b]", "", text)


def words(pdf: bytes, folder: Path) -> list[tuple[float, float, list[Word]]]:
    """Width, height [pt] and words of every page."""
    out = _run(pdf, folder, "pdftotext", "-bbox", "-enc", "UTF-8", "in.pdf", "-").decode("utf-8")
    pages = []
    for page in re.finditer(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', out, re.DOTALL):
        found = re.findall(
            r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>', page[3]
        )
        listed = [Word(html.unescape(text), *map(float, box)) for *box, text in found]
        pages.append((float(page[1]), float(page[2]), listed))
    return pages


def images(pdf: bytes, folder: Path, dpi: int = _DPI) -> list[NDArray[np.uint8]]:
    """Every page as grey values (rows, columns)."""
    _run(pdf, folder, "pdftoppm", "-gray", "-r", str(dpi), "in.pdf", "page")
    pages = []
    for file in sorted(folder.glob("page*.pgm")):
        raw = file.read_bytes()
        header = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", raw)
        assert header, "not a grey picture"
        pixels = np.frombuffer(raw, np.uint8, offset=header.end())
        pages.append(pixels.reshape(int(header[2]), int(header[1])))
        file.unlink()
    return pages

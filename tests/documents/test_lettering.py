"""The table of the shipped fonts against the fonts, and lines that keep their room."""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
from importlib.resources import files
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.documents.lettering import covered, fit, width, wrap
from tools import font_recipe


def test_the_table_is_what_the_recipe_makes_of_the_shipped_fonts() -> None:
    shipped = json.loads((files("interop.documents") / "fonts" / "metrics.json").read_text("utf-8"))
    assert shipped == font_recipe.metrics()


@pytest.mark.parametrize("face", ["regular", "bold", "mono"])
def test_the_recipe_against_an_independent_reader_of_fonts(face: str) -> None:
    if importlib.util.find_spec("fontTools") is None:
        if os.environ.get("INTEROP_ORACLES") == "required":
            pytest.fail("fontTools is required and not installed")
        pytest.skip("fontTools, an independent reader of fonts, is not installed")
    reader: Any = importlib.import_module("fontTools.ttLib")
    path = files("interop.documents") / "fonts" / font_recipe.FACES[face]
    font = reader.TTFont(str(path))
    expected = {char: font["hmtx"][glyph][0] for char, glyph in font.getBestCmap().items()}
    assert font_recipe.advances(path.read_bytes()) == expected


def test_the_licence_lies_beside_the_fonts() -> None:
    text = (files("interop.documents") / "fonts" / "LICENSE.txt").read_text("utf-8")
    assert "Permission is hereby granted, free of charge" in text


@pytest.mark.parametrize("char, answer", [("A", True), ("⟨", True), ("→", True), ("電", False), ("\U0001f9ff", False)])
def test_covered(char: str, answer: bool) -> None:
    assert covered(char) is answer


def test_width_is_linear_in_the_size_and_every_mono_letter_is_as_wide() -> None:
    assert width("Row 1", 20) == pytest.approx(2 * width("Row 1", 10))
    assert width("iii", 10, "mono") == width("WWW", 10, "mono")


@given(st.text(alphabet="abcW .é", max_size=80), st.integers(12, 200))
def test_wrapped_lines_fit_and_lose_nothing_but_spaces(text: str, room: int) -> None:
    lines = wrap(text, room, 10)
    assert all(width(line, 10) <= room for line in lines if len(line) > 1)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


@pytest.mark.parametrize("text, size", [("R1", 54), ("W" * 30, 20), ("WWWWWWWW", 36)])
def test_fit(text: str, size: float) -> None:
    assert fit(text, 320, 54, 20) == size

"""Acceptances that change nothing: each says why."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.rules.judge import check_site
from tests.rules.site import write

HEAD = "The acceptance of"
TAIL = "by A. Example"
TAKE_OUT = "Take it out of the site file."


def _said(
    tmp_path: Path, *accepted: str, packs: str = "{A1..A2: {model: wren-1}, B1: {model: wren-2-silent}}"
) -> list[tuple[str, str]]:
    lines = "".join(f"  - {{{one}, why: tried, by: A. Example, on: 2031-05-02}}\n" for one in accepted)
    site = write(tmp_path, f"packs: {packs}\naccepted:\n{lines}")
    return [(f.text, f.todo) for f in check_site(site).planned if f.rule == "acceptance-without-finding"]


@pytest.mark.parametrize("about", ["[A1..A2, B1]", "[A1]", "[wren-1, wren-2-silent]"])
def test_a_stop_cannot_be_accepted_and_that_is_said(tmp_path: Path, about: str) -> None:
    ((text, todo),) = _said(tmp_path, f"rule: power-not-judged, about: {about}")
    assert text.startswith(f"{HEAD} power-not-judged for ")
    assert text.endswith(f" {TAIL} changes nothing: power-not-judged is a stop here, and a stop cannot be accepted.")
    assert todo == "Take it out of the site file, and do what the stop power-not-judged asks for."


def test_a_note_needs_none(tmp_path: Path) -> None:
    assert _said(tmp_path, "rule: bank-not-drawn, about: [A1..A2, B1]") == [
        (f"{HEAD} bank-not-drawn for A1, A2, B1 {TAIL} changes nothing: bank-not-drawn is a note here, and needs none.",
         TAKE_OUT)]  # fmt: skip


def test_a_second_one_for_the_same_caution(tmp_path: Path) -> None:
    one = "rule: mixing-silent, about: [wren-1, wren-2-silent]"
    assert _said(tmp_path, one) == []
    text = (
        f"{HEAD} mixing-silent for wren-1, wren-2-silent {TAIL} changes nothing: another acceptance covers the same "
        "caution."
    )
    assert _said(tmp_path, one, one) == [(text, TAKE_OUT)]


def test_one_that_names_too_few_devices(tmp_path: Path) -> None:
    assert _said(tmp_path, "rule: mixing-silent, about: [A1, B1]") == [
        (f"{HEAD} mixing-silent for A1, B1 {TAIL} matches no caution.",
         "Take it out of the site file, or correct its rule and devices.")]  # fmt: skip

"""Every document is the same on every machine, and no foreign text breaks out of it or off the page."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from interop.documents.drawing import link_drawing
from interop.documents.face import Faces
from interop.documents.notes import cable_notes
from interop.documents.plaintext import visible
from interop.documents.refusal import refusal_page
from interop.documents.sheets import setting_sheets
from tests.documents.example import made, small_faces, small_plan
from tests.documents.reading import flat, need_poppler, texts, words

ROOT = Path(__file__).parents[2]
_PRINT_DIGESTS = """
from tests.documents.test_same_bytes import digests
print(*digests(), sep="\\n")
"""
HOSTILE = {
    "markup": "<script>alert(1)</script>",
    "typst": '#panic("x") [*a*] $x^2$ _b_ `c` @d <e> //f /*g*/ ~ -- ...',
    "quotes": "\"double\" 'single' \\backslash\\n {brace}",
    "line": "one\ntwo\r\nthree",
    "turned": "R1 \u202eFFO\u202c \u200f\u2067x\u2069",
    "emoji": "pack 🔋🧿 ✓",
    "cjk": "電池パック 배터리",
    "rtl": "חבילה 12 حزمة",
    "unseen": "a\u200bb\u00adc\ufe0f\U000e0041",
    "long": "W" * 300,
    "long words": "extension battery " * 20 + "end",
}


def digests() -> list[str]:
    plan, faces = small_plan(), small_faces()
    made_bytes = [
        setting_sheets(plan, faces),
        cable_notes(plan, faces),
        refusal_page(plan),
        link_drawing(plan, faces).encode(),
    ]
    return [hashlib.sha256(one).hexdigest() for one in made_bytes]


def test_the_same_bytes_twice() -> None:
    assert digests() == digests()


def test_the_same_bytes_in_another_zone_language_home_and_folder(tmp_path: Path) -> None:
    strange = {
        "TZ": "Pacific/Chatham",
        "LANG": "tr_TR.UTF-8",
        "LC_ALL": "C",
        "HOME": str(tmp_path),
        "PYTHONHASHSEED": "7",
    }
    strange |= {"PYTHONPATH": str(ROOT), "PATH": os.environ["PATH"], "SOURCE_DATE_EPOCH": "1234567890"}
    done = subprocess.run(
        [sys.executable, "-c", _PRINT_DIGESTS],
        cwd=tmp_path,
        env=strange,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == digests()


def renamed(value: Any, names: dict[str, str]) -> Any:
    """`value` with every text and key that is one of `names` replaced."""
    if isinstance(value, str):
        return names.get(value, value)
    if isinstance(value, list):
        return [renamed(item, names) for item in value]
    if isinstance(value, dict):
        return {names.get(key, key): renamed(item, names) for key, item in value.items()}
    return value


def hostile_site(text: str) -> tuple[dict[str, Any], Faces]:
    """The small plan with `text` as the name of everything that somebody can name."""
    names = {
        "R1": f"R1{text}",
        "W1": f"W1{text}",
        "LINK": f"K{text}",
        "LINK1": f"L1{text}",
        "LINK2": f"L2{text}",
    }
    names |= {"SET": f"S{text}", "own": f"own{text}", "rack": f"rack{text}", "rack chain": f"chain{text}"}
    plan = renamed(made(), names)
    plan["site"] = {"name": text}
    plan["findings"][1] |= {"text": f"finding {text}", "todo": f"do {text}"}
    plan["reasons"] = [{"about": [names["W1"]], "text": f"reason {text}"}]
    devices = {}
    for old, face in small_faces().devices.items():
        ports = tuple(
            replace(port, port=names.get(port.port, port.port), socket=renamed(port.socket, names))
            for port in face.ports
        )
        rows = tuple(replace(row, name=names.get(row.name, row.name)) for row in face.rows)
        new = names.get(old, old)
        devices[new] = replace(face, id=new, record_name=text, place=text, revision=text, ports=ports, rows=rows)
    cables = {names.get(cable, cable): replace(face, length=text) for cable, face in small_faces().cables.items()}
    return plan, Faces(devices, cables)


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_foreign_text_comes_through_as_text_and_stays_on_the_page(text: str, tmp_path: Path) -> None:
    plan, faces = hostile_site(text)
    for number, pdf in enumerate((setting_sheets(plan, faces), cable_notes(plan, faces))):
        read = flat("".join(texts(pdf, tmp_path, feet=False)))
        for name in [(f"R1{text}", f"S{text}", f"finding {text}"), (f"W1{text}", f"reason {text}")][number]:
            assert flat(visible(name)) in read
        for wide, high, listed in words(pdf, tmp_path):
            for word in listed:
                assert word.left >= 20, word
                assert word.right <= wide - 20, word
                assert word.top >= 0, word
                assert word.bottom <= high, word
    svg = link_drawing(plan, faces)
    assert "<script" not in svg


def test_the_shipped_fonts_are_the_only_ones_used(tmp_path: Path) -> None:
    need_poppler()
    (tmp_path / "in.pdf").write_bytes(setting_sheets(small_plan(), small_faces()))
    done = subprocess.run(["pdffonts", "in.pdf"], cwd=tmp_path, capture_output=True, text=True, check=True)
    fonts = {line.split()[0].split("+")[1] for line in done.stdout.splitlines()[2:]}
    assert fonts == {"DejaVuSans", "DejaVuSans-Bold", "DejaVuSansMono"}

"""Which firmware a record describes: later, earlier, from one to another, one version; what is not compared."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.rules.site import changed, found, planned, texts, write

RULE = "record-does-not-describe"


def _said(tmp_path: Path, describes: str, have: str) -> list[str]:
    record = changed("wren-2-since", "own", ("firmware: 2.4 and later", f"firmware: {describes}"))
    site = write(tmp_path, f'packs: {{B1: {{model: own, firmware: "{have}"}}}}\n', own=record)
    return [f"{f.level.value} {f.verdict}" for f in planned(site, RULE)]


@pytest.mark.parametrize(
    "describes, have, said",
    [
        ("2.4 and later", "2.3", "stop broken"),
        ("2.4 and later", "V2.3.9", "stop broken"),
        ("2.10 or newer", "2.9", "stop broken"),
        ("from 2.4 on", "2.3", "stop broken"),
        ("2.4 and earlier", "2.5", "stop broken"),
        ("up to 2.4", "2.4.1", "stop broken"),
        ("A1 to A4", "A5", "stop broken"),
        ("A1 to A4", "B2", "stop broken"),
        ("2.1..2.9", "2.0", "stop broken"),
        ("2.4", "2.5", "stop broken"),
        ("2.4", "2.3", "stop broken"),
        ("2.4 and later", "2.4 beta", "note cannot-tell"),
        ("A1 and later", "B2", "note cannot-tell"),
        ("A1 to A4", "2", "note cannot-tell"),
        ("all", "2.4", "note cannot-tell"),
        ("not stated", "2.4", "note cannot-tell"),
        ("{manual p. 2: 2.4 and later, sheet p. 1: 2.6 and later}", "2.5", "caution cannot-tell"),
    ],
)
def test_outside_what_the_record_describes_or_not_comparable(
    tmp_path: Path, describes: str, have: str, said: str
) -> None:
    assert _said(tmp_path, describes, have) == [said]


@pytest.mark.parametrize(
    "describes, have",
    [
        ("2.4 and later", "2.4"),
        ("2.4 and later", "v2.10"),
        ("V2.4 and later", "3"),
        ("2.4 and earlier", "2.4"),
        ("up to 2.4", "2.3"),
        ("A1 to A4", "a3"),
        ("2.1 - 2.9", "2.9"),
        ("2.4", "2.4.0"),
        ("rc winter", "RC  Winter"),
    ],
)
def test_within_what_the_record_describes(tmp_path: Path, describes: str, have: str) -> None:
    assert _said(tmp_path, describes, have) == []


def test_a_controller_is_asked_too_and_a_new_device_is_not_found(tmp_path: Path) -> None:
    record = changed("lk-ctl", "own", ("name: Coot 5\n", "name: Coot 5\nfirmware: 3.0 and later\n"))
    site = write(
        tmp_path,
        "packs: {P1: {model: lk-pack}}\n"
        'controllers: {INV: {model: own, firmware: "2.9"}, SUN: {model: own, firmware: "2.9", new: yes}}\n',
        own=record,
    )
    assert texts(found(site, RULE)) == [
        "caution broken INV: Firmware of INV (own) is 2.9; its record describes 3.0 and later"
    ]
    assert texts(planned(site, RULE)) == [
        "stop broken INV,SUN: Firmware of INV, SUN (own) is 2.9; their record describes 3.0 and later"
    ]


def test_what_the_site_does_not_state_is_not_asked(tmp_path: Path) -> None:
    site = write(tmp_path, "packs: {B1: {model: wren-2-since}}\n")
    assert texts(planned(site, RULE)) == []

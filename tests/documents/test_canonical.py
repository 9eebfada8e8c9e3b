"""plan.json as bytes and its fingerprint."""

from __future__ import annotations

import hashlib
import json

import pytest

from interop.documents.canonical import canonical_json, fingerprint, grouped
from tests.documents.example import small_plan


def test_canonical_json_reads_back_and_ends_its_line() -> None:
    made = canonical_json(small_plan())
    assert json.loads(made) == small_plan()
    assert made.endswith(b"}\n")


def test_the_order_of_keys_does_not_matter() -> None:
    assert canonical_json({"b": 1, "a": {"d": 2, "c": "é"}}) == canonical_json({"a": {"c": "é", "d": 2}, "b": 1})
    assert canonical_json({"a": "é"}) == '{\n "a": "é"\n}\n'.encode()


def test_a_number_that_json_cannot_say_is_refused() -> None:
    with pytest.raises(ValueError, match="JSON"):
        canonical_json({"a": float("nan")})


def test_fingerprint_against_a_digest_typed_from_its_definition() -> None:
    plan = {"date": "2031-05-02", "fingerprint": "ff", "b": [{"text": "words", "x": "é"}], "a": 1}
    expected = hashlib.sha256('{"a":1,"b":[{"x":"é"}]}'.encode()).hexdigest()
    assert fingerprint(plan) == expected


def test_wording_date_and_the_fingerprint_itself_do_not_change_it() -> None:
    plan = small_plan()
    before = fingerprint(plan)
    plan["date"], plan["fingerprint"] = "2031-05-02", "00"
    plan["findings"][0]["text"] = plan["reasons"][0]["text"] = "told otherwise"
    assert fingerprint(plan) == before


@pytest.mark.parametrize("name", ["text", "date", "fingerprint"])
def test_a_device_with_an_awkward_name_still_counts(name: str) -> None:
    plan = small_plan()
    plan["packs"][name] = {"role": "member", "address": 3}
    before = fingerprint(plan)
    plan["packs"][name]["address"] = 4
    assert fingerprint(plan) != before


def test_a_switch_changes_it() -> None:
    plan = small_plan()
    before = fingerprint(plan)
    plan["packs"]["R1"]["switches"]["SET"]["set"][0] = "off"
    assert fingerprint(plan) != before


def test_grouped() -> None:
    assert grouped("1a2b3c4d5e6f7788" * 4) == "1a2b 3c4d 5e6f"

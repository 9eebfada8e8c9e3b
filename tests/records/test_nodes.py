"""YAML text to nodes: scalars stay text, every node has its place, limits hold before anything is built."""

from __future__ import annotations

import gc
from itertools import pairwise

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from interop.records.faults import Fault, InputFaults, nearest, seen
from interop.records.nodes import DEPTH, NODES, SIZE, Document, Gap, Text, read_document, shown


def read(text: str | bytes) -> Document:
    return read_document(text if isinstance(text, bytes) else text.encode(), "f.yaml")


def refused(text: str | bytes, size: int = SIZE) -> list[str]:
    with pytest.raises(InputFaults) as bad:
        read_document(text if isinstance(text, bytes) else text.encode(), "f.yaml", size)
    return [str(fault) for fault in bad.value.faults]


@pytest.mark.parametrize(
    "word", ["0110", "on", "off", "no", "yes", "12:30", "1e3", "~", "null", "true", "0x1f", "1_000", ".inf", "=",
             "2031-05-02"],
)  # fmt: skip
def test_a_scalar_is_the_text_that_was_written(word: str) -> None:
    root = read(f"a: {word}\n{word}: b\nc: [{word}]\n").root
    assert root == {"a": word, word: "b", "c": [word]}
    assert type(root["a"]) is Text


def test_quotes_blocks_and_folds_are_read_as_yaml_has_them() -> None:
    text = "a: \"x\\ty\"\nb: 'it''s'\nc: |\n  one\n  two\nd: >-\n  one\n  two\ne: one\n  two\n"
    assert read(text).root == {"a": "x\ty", "b": "it's", "c": "one\ntwo\n", "d": "one two", "e": "one two"}


def test_places_are_counted_in_characters_from_one() -> None:
    document = read("\ufeffé: [ß, {ñ: 1, o: }]\r\nlast:\r\n  - x\r\n")
    assert document.at(("é",)) == (1, 1)
    assert document.value_at(("é",)) == (1, 4)
    assert document.value_at(("é", 0)) == (1, 5)
    assert document.at(("é", 1, "ñ")) == (1, 9)
    assert document.value_at(("é", 1, "ñ")) == (1, 12)
    assert document.value_at(("last", 0)) == (3, 5)
    assert document.at(("last", 0)) == (3, 5)
    assert document.value_at(()) == (1, 1)


def test_a_place_that_is_not_there_is_that_of_what_holds_it() -> None:
    document = read("a:\n  b: 1\n")
    assert document.at(("a", "c", "d")) == (1, 1)
    assert document.value_at(("a", "b", "c")) == (2, 3)
    assert document.value_at(("a", 3)) == (1, 1)
    fault = document.fault(("a", "b"), document.root["a"]["b"], "a word")
    assert str(fault) == 'f.yaml:2:6: a.b: got "1"; expected a word'


@given(st.recursive(st.text("ab:é", min_size=1, max_size=4),
                    lambda inner: st.lists(inner, max_size=4)
                    | st.dictionaries(st.text("xyz", min_size=1), inner, max_size=4),
                    max_leaves=25))  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_what_a_dumper_writes_is_read_back(value: object) -> None:
    """PyYAML's dumper and its base loader (which also keeps text) share no code with the builder of nodes."""
    text = yaml.dump(value, allow_unicode=True, default_style='"', width=20)
    assert read(text).root == value == yaml.load(text, yaml.BaseLoader)  # noqa: S506  # it builds texts only


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("a: 1\nb:\n  c: 2\n  a: 3\n  c: {d: 4, d: 5}\na: 6\n",
         ['f.yaml:5:3: b.c: got key "c" a second time; expected each key once (first on line 3)',
          'f.yaml:5:13: b.c.d: got key "d" a second time; expected each key once (first on line 5)',
          'f.yaml:6:1: a: got key "a" a second time; expected each key once (first on line 1)']),
        ("'on': 1\non: 2\n", ['f.yaml:2:1: on: got key "on" a second time; expected each key once (first on line 1)']),
        ("a: &x [1, !!int 2]\nb: !ours {c: d}\n<<: {e: f}\n",
         ['f.yaml:1:4: a: got anchor "&x"; expected the value written out (no anchors or aliases)',
          'f.yaml:1:11: a.1: got tag "tag:yaml.org,2002:int"; expected no tag',
          'f.yaml:2:4: b: got tag "!ours"; expected no tag',
          'f.yaml:3:1: <<: got merge key "<<"; expected the values written out']),
        ("a: [{b: &x 1}, [2, !t 3]]\n",
         ['f.yaml:1:9: a.0.b: got anchor "&x"; expected the value written out (no anchors or aliases)',
          'f.yaml:1:20: a.1.1: got tag "!t"; expected no tag']),
        ("a: &x 1\nb: [*x, 2]\n*x : 3\n[c, {d: e}]: {f: g}\nh: 4\n",
         ['f.yaml:1:4: a: got anchor "&x"; expected the value written out (no anchors or aliases)',
          'f.yaml:2:5: b.0: got alias "*x"; expected the value written out (no anchors or aliases)',
          'f.yaml:3:1: got alias "*x"; expected the value written out (no anchors or aliases)',
          "f.yaml:4:1: got a map or list as a key; expected a word as key"]),
        ("a: 1\n---\nb: [\n", ["f.yaml:2:1: got a second document; expected one document a file"]),
    ],
)  # fmt: skip
def test_faults_that_do_not_stop_the_reading_stand_in_the_document(text: str, lines: list[str]) -> None:
    assert [str(fault) for fault in read(text).faults] == lines


def test_the_rest_is_read_with_gaps() -> None:
    document = read("a: &x 1\nb: [*x, 2]\n*x : 3\n[c, {d: e}]: {f: g}\n{i: {j: k}}: l\nh: {<<: *x, m: 4}\n")
    assert document.root == {"a": "1", "b": [Gap(), "2"], "h": {"m": "4"}}
    assert type(document.root["b"][0]) is Gap
    assert document.gaps >= {("b", 0)}
    assert document.open_maps == {(), ("h",)}
    assert read("a: b\n").open_maps == frozenset()


def test_the_first_of_two_keys_counts() -> None:
    assert read("a: 1\na: [2]\nb: 3\n").root == {"a": "1", "b": "3"}


def test_bombs_cost_nothing() -> None:
    rows = [f"{name}: &{name} [*{last}, *{last}]\n" for last, name in pairwise("abcdefghi")]
    laughs = "a: &a [x, x]\n" + "".join(rows)
    read_laughs = read(laughs)
    assert read_laughs.root["i"] == [Gap(), Gap()]
    assert [str(f).partition("; ")[0] for f in read_laughs.faults[:3]] == [
        'f.yaml:1:4: a: got anchor "&a"', 'f.yaml:2:4: b: got anchor "&b"', 'f.yaml:2:8: b.0: got alias "*a"']
    assert len(read_laughs.faults) == 9 + 16
    assert read("a: &a [*a]\n").gaps == {("a", 0)}
    deep = "[" * 900  # the parser itself stops at 1,000
    assert refused(deep) == [f"f.yaml:1:{DEPTH + 1}: " + ".".join("0" * DEPTH)
                             + ": got nesting deeper than 32; expected at most 32 levels"]
    assert refused("- " * 40 + "a\n")[-1].endswith(": got nesting deeper than 32; expected at most 32 levels")


def test_limits_are_the_last_value_that_is_allowed() -> None:
    assert read("[" * DEPTH + "]" * DEPTH).root
    assert len(read("[" + "1," * (NODES - 1) + "]").root) == NODES - 1
    assert refused("[" + "1," * NODES + "]") == [
        (f"f.yaml:1:{2 * NODES}: {NODES - 1}: got more than {NODES} values; expected at most {NODES} values a file "
        "(--limit raises it)")]
    assert read_document(b"a: b\n", "f", 5).root == {"a": "b"}
    assert refused("a: bc\n", 5) == ["f.yaml:1:1: got more than 5 bytes; expected at most 5 bytes (--limit raises it)"]


def test_a_larger_limit_allows_more_values() -> None:
    text = ("[" + "1," * NODES + "]").encode()
    assert len(read_document(text, "f", 2 * SIZE).root) == NODES


def test_every_bad_character_is_told_up_to_a_hundred() -> None:
    assert refused("a: \x00\nb: \x7f\x9f\n\tc: 1\n  \td: 2\n") == [
        "f.yaml:1:4: got character U+0000; expected printable text, with line feeds between lines",
        "f.yaml:2:4: got character U+007F; expected printable text, with line feeds between lines",
        "f.yaml:2:5: got character U+009F; expected printable text, with line feeds between lines",
        "f.yaml:3:1: got a tab; expected spaces for indentation",
        "f.yaml:4:3: got a tab; expected spaces for indentation",
    ]
    assert len(refused("\x00" * 5000)) == 100


def test_tabs_that_are_no_indentation_are_allowed() -> None:
    assert read("a: 1\t# b\nc:\t2\t\n").root == {"a": "1", "c": "2"}


@pytest.mark.parametrize("data", [b"\xff\xfea\0", b"\xfe\xff\0a"])
def test_utf_16_is_refused_by_name(data: bytes) -> None:
    assert refused(data) == ["f.yaml:1:1: got UTF-16 text; expected UTF-8 text"]


def test_surrogates_and_overlong_forms_are_no_utf_8() -> None:
    """RFC 3629, section 3."""
    assert refused(b"a: \xed\xa0\x80") == ["f.yaml:1:4: got byte 0xed; expected UTF-8 text"]
    assert refused(b"a: \xc0\x80") == ["f.yaml:1:4: got byte 0xc0; expected UTF-8 text"]


@pytest.mark.parametrize("was", [True, False])
def test_the_collector_is_left_as_it_was(was: bool) -> None:
    before = gc.isenabled()
    try:
        (gc.enable if was else gc.disable)()
        read("a: 1\n")
        assert gc.isenabled() is was
        refused("a: [\n")
        assert gc.isenabled() is was
    finally:
        (gc.enable if before else gc.disable)()


@given(st.binary(max_size=60) | st.text("ab:[]{},&*!|>'\"%@`- \n#?~<\t\\", max_size=40).map(str.encode))
@settings(max_examples=400, deadline=None)
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    try:
        document = read_document(data, "f.yaml")
    except InputFaults as bad:
        faults = bad.faults
    else:
        faults = document.faults
        assert document.root is not None
    assert all(fault.line >= 1 and fault.column >= 1 for fault in faults)


# ---- what is shown ----


@pytest.mark.parametrize(
    ("value", "text"),
    [("", "nothing"), ("a", '"a"'), ({}, "an empty map"), ({"a": "b"}, "a map"), ([], "an empty list"),
     (["a"], "a list"),
     ("x" * 60, '"' + "x" * 60 + '"'), ("x" * 61, '"' + "x" * 57 + '..."')],
)  # fmt: skip
def test_a_value_in_a_message(value: object, text: str) -> None:
    assert shown(value) == text


def test_a_fault_is_one_line_whatever_it_holds() -> None:
    fault = Fault("a\nb", 1, 2, "c\u202ed", '"\x1b[31m\u200b"', "e⟨f", "g\u2028h")
    assert str(fault) == (
        'a⟨U+000A⟩b:1:2: c⟨U+202E⟩d: got "⟨U+001B⟩[31m⟨U+200B⟩"; expected e⟨U+27E8⟩f; nearest known name: g⟨U+2028⟩h')
    assert seen("plain é ☃ 漢") == "plain é ☃ 漢"


def test_faults_come_by_place_each_once_and_at_one_place_in_the_order_found() -> None:
    faults = [Fault("f", 2, 1, "b", "z", "x"), Fault("f", 1, 9, "a", "z", "x"), Fault("f", 2, 1, "b", "y", "x"),
              Fault("e", 9, 9, "", "z", "x"), Fault("f", 2, 1, "b", "z", "x")]
    assert [(f.file, f.line, f.got) for f in InputFaults(faults).faults] == [
        ("e", 9, "z"), ("f", 1, "z"), ("f", 2, "z"), ("f", 2, "y")]


@pytest.mark.parametrize(("word", "near"), [("tarn-aa", "tarn-a"), ("xyz", None), ("", None), ("tarn-a" * 40, None)])
def test_nearest(word: str, near: str | None) -> None:
    assert nearest(word, ["tarn-a", "crag-300"]) == near

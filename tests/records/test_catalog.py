"""Catalogs: records by id over several folders, parsed only when asked for."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.records import catalog as module
from interop.records.catalog import Catalog, LoadedRecord, read_file, read_record
from interop.records.faults import Fault, InputFaults
from tests.records.small import record_text

ROOT = Path(__file__).resolve().parents[2]
GOOD = record_text("")


def put(folder: Path, name: str, text: str = GOOD) -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def lines(*folders: Path) -> list[str]:
    with pytest.raises(InputFaults) as bad:
        Catalog([(folder, folder.name) for folder in folders])
    return [str(fault) for fault in bad.value.faults]


def test_a_record_is_parsed_when_asked_for_and_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("one", "two", "three"):
        put(tmp_path, f"{name}.yaml", GOOD.replace("id: small", f"id: {name}"))
    put(tmp_path, "bad.yaml", "id: bad\n[\n")
    parsed: list[str] = []

    def counting(data: bytes, file: str, size: int) -> LoadedRecord:
        parsed.append(file)
        return read_record(data, file, size)

    monkeypatch.setattr(module, "read_record", counting)
    catalog = Catalog([(tmp_path, "shelf")])
    assert parsed == []
    assert catalog.ids == ("bad", "one", "three", "two")
    assert "two" in catalog
    assert "four" not in catalog
    assert catalog.nearest("tree") == "three"
    assert catalog.load("two") is catalog.load(" two ")
    assert parsed == ["shelf/two.yaml"]
    assert catalog.load("two").data == (tmp_path / "two.yaml").read_bytes()
    with pytest.raises(KeyError):
        catalog.load("four")
    with pytest.raises(InputFaults, match=r"shelf/bad.yaml:3:1: "):
        catalog.load("bad")


@pytest.mark.parametrize(
    ("line", "name"),
    [("id: small", "small"), ("id:   small   # the one", "small"), ('id: "small one"', "small one"),
     ("id: 'small'", "small"), ("id: small\r", "small"), ('"id": small', "small"), ("id: 0110", "0110"),
     ('id: "sm\\x61ll"', "small"), ("id: >-\n  small\n  one", "small one"), ("id: small  one", "small one")],
)  # fmt: skip
def test_an_id_is_found_however_it_is_written(tmp_path: Path, line: str, name: str) -> None:
    put(tmp_path, "a.yaml", GOOD.replace("id: small", line))
    catalog = Catalog([(tmp_path, "shelf")])
    assert catalog.ids == (name,)
    assert catalog.load(name).record.id == name


def test_a_record_in_one_line_is_found(tmp_path: Path) -> None:
    put(tmp_path, "a.yaml", "{interop: record/1, id: flow, name: F, kind: busbar, sources: {m: {title: "
                            "M, says: stated}}}")
    assert Catalog([(tmp_path, "shelf")]).load("flow").record.kind == "busbar"


def test_an_id_that_reads_on_in_the_next_line_is_told(tmp_path: Path) -> None:
    put(tmp_path, "a.yaml", GOOD.replace("id: small", "id: small\n  one"))
    with pytest.raises(InputFaults) as bad:
        Catalog([(tmp_path, "shelf")]).load("small")
    assert [str(f) for f in bad.value.faults] == [
        'shelf/a.yaml:2:5: id: got "small one"; expected the id in one line, as it is read by itself']


def test_files_of_both_endings_in_folders_below_and_no_others(tmp_path: Path) -> None:
    put(tmp_path, "deep/er/a.yml")
    put(tmp_path, "b.yaml", GOOD.replace("id: small", "id: b"))
    put(tmp_path, "c.txt", "not a record")
    put(tmp_path, "d.yaml.old", "not a record")
    (tmp_path / "folder.yaml").mkdir()
    catalog = Catalog([(tmp_path, "shelf/")])
    assert catalog.ids == ("b", "small")
    assert catalog.load("small").document.file == "shelf/deep/er/a.yml"


def test_one_id_in_one_folder_and_in_two(tmp_path: Path) -> None:
    put(tmp_path, "one/b.yaml")
    put(tmp_path, "one/a.yaml")
    put(tmp_path, "two/c.yaml", "# first\n" + GOOD)
    expected = 'id: got id "small" a second time; expected each id once (first in one/a.yaml)'
    assert lines(tmp_path / "one", tmp_path / "two") == [f"one/b.yaml:2:1: {expected}", f"two/c.yaml:3:1: {expected}"]


def test_folders_that_are_none(tmp_path: Path) -> None:
    put(tmp_path, "file")
    assert lines(tmp_path / "file", tmp_path / "none") == [
        "file:1:1: got no folder; expected a folder of records",
        "none:1:1: got no such folder; expected a folder of records"]


def test_a_folder_that_is_a_link_is_a_catalog_and_the_same_folder_twice_is_not(tmp_path: Path) -> None:
    put(tmp_path, "real/a.yaml")
    (tmp_path / "linked").symlink_to("real")
    assert Catalog([(tmp_path / "linked", "linked")]).ids == ("small",)
    assert lines(tmp_path / "linked", tmp_path / "real") == [
        "real:1:1: got a folder a second time; expected each folder once (first as linked)"]


def test_faults_can_be_gathered(tmp_path: Path) -> None:
    put(tmp_path, "a.yaml")
    faults: list[Fault] = []
    catalog = Catalog([(tmp_path / "none", "none"), (tmp_path, "shelf")], faults=faults)
    assert [fault.got for fault in faults] == ["no such folder"]
    assert catalog.ids == ("small",)


def test_the_shipped_catalog_has_no_fault() -> None:
    catalog = Catalog([(ROOT / "catalogs", "catalogs")])
    assert len(catalog.ids) >= 10
    for name in catalog.ids:
        assert catalog.load(name).at("interop")[0].startswith("catalogs/")


def test_at_most_one_byte_more_than_the_limit_is_read(tmp_path: Path) -> None:
    path = put(tmp_path, "a.yaml", "x" * 100)
    assert len(read_file(path, 10)) == 11
    assert len(read_file(path, 100)) == 100
    put(tmp_path, "a.yaml", GOOD + "#" * 4_000_000)
    with pytest.raises(InputFaults, match="at most 4000000 bytes"):
        Catalog([(tmp_path, "shelf")]).load("small")
    assert Catalog([(tmp_path, "shelf")], 5_000_000).load("small").record.id == "small"

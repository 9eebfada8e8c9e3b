"""The drawing of the data links, read back as XML."""

from __future__ import annotations

import re
from itertools import combinations
from xml.etree import ElementTree as ET

from interop.documents.drawing import link_drawing
from tests.documents.example import made, many, small_faces, small_plan

SVG = "{http://www.w3.org/2000/svg}"


def drawn() -> ET.Element:
    return ET.fromstring(link_drawing(small_plan(), small_faces()))  # noqa: S314 - our own text


def said(root: ET.Element) -> list[str]:
    return [node.text or "" for node in root.iter(f"{SVG}text")]


def test_it_says_roles_addresses_terminators_and_conductors() -> None:
    lines = said(drawn())
    for line in (
        "Data links: Ferry landing workshop",
        "MANAGER on rack",
        "MEMBER on rack",
        "address 0",
        "unmanaged, no data cable",
        "terminator of rack chain: switch",
        "terminator of rack chain: plug",
        "W1 - alter",
        "N1 LINK2 → R1 LINK1",
        "straight, keeps 7, 8",
        "cut: 1, 2, 3, 4, 5, 6",
        "re-pinned, keeps 4 to 1, 5 to 2, 6",
        "JOINING NOT CLEARED: do not connect power terminals.",
        "On the busbar only, no data cable:",
    ):
        assert line in lines
    assert not any(line.startswith("W4") for line in lines)


def boxes(root: ET.Element) -> list[tuple[float, float, float, float]]:
    rects = root.findall(f"{SVG}g/{SVG}rect")
    return [tuple(float(rect.attrib[key]) for key in ("x", "y", "width", "height")) for rect in rects]  # type: ignore[misc]


def test_no_box_lies_over_another_and_all_text_is_inside_the_picture() -> None:
    root = drawn()
    for (ax, ay, aw, ah), (bx, by, bw, bh) in combinations(boxes(root), 2):
        assert ax + aw <= bx or bx + bw <= ax or ay + ah <= by or by + bh <= ay
    _x, _y, wide, high = map(float, root.attrib["viewBox"].split())
    for node in root.iter(f"{SVG}text"):
        assert float(node.attrib["x"]) + float(node.attrib.get("textLength", 0)) <= wide
        assert float(node.attrib["y"]) <= high


def test_the_arrow_of_a_cable_points_at_its_end_two() -> None:
    root = drawn()
    places = dict(zip(["N1", "R1", "R2", "INV", "W1", "W2", "W3", "C1", "C2"], boxes(root), strict=True))
    ends = set()
    for path in root.findall(f"{SVG}g/{SVG}path"):
        numbers = [float(number) for number in re.findall(r"-?[\d.]+", path.attrib["d"])]
        for key, point in (("marker-start", numbers[:2]), ("marker-end", numbers[-2:])):
            if key in path.attrib:
                ends |= {name for name, box in places.items() if touches(box, point)}
    assert ends == {"INV", "R1", "R2"}


def touches(box: tuple[float, float, float, float], point: list[float]) -> bool:
    x, y, wide, high = box
    return x - 2 <= point[0] <= x + wide + 2 and y - 2 <= point[1] <= y + high + 2


def test_the_manager_has_the_only_thick_frame_and_unmanaged_packs_are_dashed() -> None:
    rects = drawn().findall(f"{SVG}g/{SVG}rect")
    assert [rect.attrib["stroke-width"] for rect in rects].count("5") == 1
    assert sum("stroke-dasharray" in rect.attrib for rect in rects) == 2


def test_foreign_names_stay_text() -> None:
    plan = made(site={"name": '</title><script>"\u202e'})
    root = ET.fromstring(link_drawing(plan, small_faces()))  # noqa: S314 - our own text
    assert root.find(f"{SVG}script") is None
    assert 'Data links: </title><script>"⟨U+202E⟩' in said(root)


def test_the_same_twice_and_marked_as_draft() -> None:
    plan = made(draft=True)
    assert link_drawing(plan, small_faces()) == link_drawing(plan, small_faces())
    assert "DRAFT - NOT FOR INSTALLATION" in link_drawing(plan, small_faces())
    assert "DRAFT" not in link_drawing(small_plan(), small_faces())


def test_packs_without_any_cable_are_drawn_too() -> None:
    plan, faces = many(40)
    root = ET.fromstring(link_drawing(plan, faces))  # noqa: S314 - our own text
    assert len(boxes(root)) == 40


def test_a_site_with_nothing_to_draw() -> None:
    plan, faces = many(0)
    assert boxes(ET.fromstring(link_drawing(plan, faces))) == []  # noqa: S314 - our own text

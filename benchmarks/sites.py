"""Large invented sites for benchmarks: links of 16 packs of three kinds, busbars of 64, one controller for each
link.
"""

from __future__ import annotations

from pathlib import Path

__all__ = ["HERE", "large_site"]

HERE = Path(__file__).parent


def large_site(packs: int, first: int = 0) -> str:
    """Return a site file's text with ``packs`` packs (a whole number of links of 16), links numbered from ``first``."""
    links = range(first, first + (packs + 15) // 16)
    lines = ["interop: site/1", "name: Benchmark", "catalogs: [records, ../catalogs]", "packs:"]
    for i in links:
        lines.append(f"  A{i}x1..A{i}x8: {{model: bench-1, place: rack {i} slot 1..}}")
        lines.append(f"  B{i}x1..B{i}x4: {{model: bench-2, place: rack {i} slot 9..}}")
        lines.append(f"  C{i}x1..C{i}x4: {{model: bench-3, place: rack {i} slot 13.., new: yes}}")
    lines.append("controllers:")
    lines += [f"  I{i}: {{model: mole-6, cable_lands_on: unit 1}}" for i in links]
    lines.append("found:")
    for i in links:
        lines.append(f"  A{i}x1..A{i}x8: {{ADD: xxxx}}" if i % 3 else f"  A{i}x1: {{ADD: 0000, voltage_v: 53.1}}")
    lines.append("  links:")
    lines += [
        f"    old {i}: {{packs: [A{i}x1..A{i}x8, B{i}x1..B{i}x4], manager: B{i}x1, reports_to: I{i}}}" for i in links
    ]
    lines.append("links:")
    for i in links:
        lines.append(
            f"  link {i}: {{packs: [A{i}x1..A{i}x8, B{i}x1..B{i}x4, C{i}x1..C{i}x4], manager: propose, "
            f"reports_to: I{i}, cables: propose}}"
        )
    lines.append("posts:")
    lines += [f"  bar {k}: [1..72]" for k in sorted({i // 4 for i in links})]
    lines.append("runs:")
    for i in links:
        k, at = i // 4, (i % 4) * 16
        lines.append(
            f"  A{i}x1..A{i}x8, B{i}x1..B{i}x4, C{i}x1..C{i}x4: {{from: pack, to: bar {k} {at + 1}..{at + 16}, "
            "cable: 25 mm2, length: 0.6 m}"
        )
        lines.append(f"  I{i}: {{from: controller unit 1, to: bar {k} {65 + i % 4}, cable: 70 mm2, length: 1 m}}")
    lines.append("wishes:\n  prefer: [fewest switches moved]")
    return "\n".join(lines) + "\n"

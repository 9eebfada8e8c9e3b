"""Findings, one module a subject."""

from interop.rules import (  # noqa: F401  (enters their rules)
    address,
    cells,
    conductor,
    conductor_cables,
    display,
    link,
    link_bus,
    link_busbars,
    link_cables,
    link_formed,
    link_poller,
    link_reference,
    link_talk,
    mixing,
    settings,
    stop_line,
    stop_loop,
    stop_reach,
    switch_printed,
    switch_side,
)

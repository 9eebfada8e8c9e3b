"""Where a manual usually prints a fact, for the reader who has to find it. Common practice."""

from __future__ import annotations

__all__ = ["usual_place"]

_ELSEWHERE = "ask the maker"

# By the longest leading part of a fact's path that is listed here.
_PLACES = {
    "cells": "table of technical data, near the end",
    "cells.charge_v": "table of technical data, or the chapter on inverter settings",
    "limits": "table of technical data, near the end",
    "limits.join_difference_v": "chapter on connecting packs in parallel, a line of warning",
    "limits.packs_on_busbar": "chapter on connecting packs in parallel, or the first page of the technical data",
    "electric": "table of technical data; short-circuit current often only in the safety data or on request",
    "terminals": "chapter on power connection, with the torque",
    "modes": "chapter on communication, or a note on mixing with older packs",
    "buses": "chapter on communication: table of protocols and rates",
    "lines": "chapter on communication, beside the pin table; emergency stop has its own chapter at times",
    "ports": "the picture of the front panel, and the chapter on communication",
    "pins": "table of pins beside the picture of the socket, chapter on communication",
    "printed": "the picture of the front panel",
    "switches": "table of switch settings, chapter on communication; or a sticker beside the switches",
    "addresses": "table of switch settings, chapter on communication",
    "manager": "chapter on connecting packs in parallel: which pack is connected to the inverter",
    "with": "list of compatible packs and inverters, often a paper of its own",
    "revision": "the label on the pack",
    "firmware": "the display, the service program, or the label on the pack",
}


def usual_place(path: str) -> str:
    """Where a manual usually prints the fact at dotted `path` of a record, by its longest known beginning."""
    parts = path.replace("[", ".").split(".")
    starts = (".".join(parts[:count]) for count in range(len(parts), 0, -1))
    return next((_PLACES[start] for start in starts if start in _PLACES), _ELSEWHERE)

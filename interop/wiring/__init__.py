"""Graphs: data links, nets of pins, power runs."""

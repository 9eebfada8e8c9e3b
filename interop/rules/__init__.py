"""Findings, one module a subject."""

"""Decisions: manager and membership, addresses, route, conductors, controller settings."""

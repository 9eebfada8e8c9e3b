"""Capability records: models, reading with positions, catalog look-up."""

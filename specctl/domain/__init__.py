"""Frozen values of a spec book: no third-party import, clock, environment or file."""

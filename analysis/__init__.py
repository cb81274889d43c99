"""Outcome statistics for a board-level rework bench: log in, reviewed month out."""

__version__ = "0.1.0"

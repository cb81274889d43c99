"""Entering a job at the bench: questions and presets in, rows appended to the log's own files safely."""

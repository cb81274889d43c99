"""Answers in, words, figures, tables and pages out."""

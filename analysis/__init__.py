"""Outcome statistics for a board-level rework bench: log in, reviewed month out."""

import os

# Before numpy is imported, by a command, a notebook or a test alike: several threads in thousands of products of small
# matrices only wait for one another.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# A table taken from another shares its columns until one of them is written to: a network's steps fill gigabytes.
os.environ.setdefault("PANDAS_COPY_ON_WRITE", "1")

__version__ = "0.1.0"

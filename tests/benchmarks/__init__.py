"""How long the work takes, ours beside others' on the same work, in one run: ``python -m tests.benchmarks``."""

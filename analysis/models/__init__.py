"""Rows in, frozen results out: the statistics of few, unequal jobs."""

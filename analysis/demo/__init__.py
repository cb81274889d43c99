"""The invented workshop: a simulator with its answer key. All of its data are invented."""

"""Frozen results in, answers to the shop's questions out."""

"""A shop's own spreadsheet to a log: proposed, asked where unsure, written down in a mapping that can be edited."""

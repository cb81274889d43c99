"""A period of the log sealed: salted hashes of its rows, and a ledger that is only ever added to."""

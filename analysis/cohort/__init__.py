"""Validated tables in, one row a job out: outcomes, features and the ledger of rows."""

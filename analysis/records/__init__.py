"""CSV files in, validated tables out: the dictionary of columns, reading, checking."""

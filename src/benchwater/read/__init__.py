"""Read: from CSV files and bench.toml to log tables, with an account of every row."""

"""Export: the logs as CSV in canonical units, and their columns as Table Schema."""

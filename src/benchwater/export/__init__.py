"""Export: the logs as other programs take them, and what each column holds as Table Schema."""

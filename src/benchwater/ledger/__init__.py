"""Books: what several analyses must agree on about a season, worked out once from its logs and bench."""

"""Blank log sheets as plain data, from the columns a log declares and the bench."""

"""Analyse: choose the spans of a report, and run every analysis over them, each in its own guard."""

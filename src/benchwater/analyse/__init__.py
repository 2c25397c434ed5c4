"""Analyse: run every analysis, each in its own guard, and bring the sections together."""

"""Blank log sheets: what is on each, as plain data, from the columns a log declares and the bench."""

from benchwater.sheets.compose import sheet_of
from benchwater.sheets.sheet import Box, Entry, Page, Sheet

__all__ = ["Box", "Entry", "Page", "Sheet", "sheet_of"]

"""All that a plugin needs, in one import: hooks, log kinds, the bench, the season and the section.

    from benchwater.plugin import Analysis, Section, hookimpl

Everything here is plain data and imports no heavy library, so that a plugin file loads in a blink.
"""

from benchwater.plugin.bench import Bench, Build, Cavity, Change, CureWindow, Item, Mold, Plan, Trip, Water
from benchwater.plugin.hooks import CONTRACT_VERSION, Analysis, HandOnError, Option, ReportWritten, hookimpl
from benchwater.plugin.logs import Column, LogKind, RowProblem, SideBySide, with_everyday_words
from benchwater.plugin.season import Season, Span
from benchwater.plugin.section import (
    Action,
    Card,
    CardLine,
    Cell,
    Figure,
    Finding,
    Photo,
    Section,
    Table,
    TableColumn,
    Vital,
)

__all__ = [
    "CONTRACT_VERSION",
    "Action",
    "Analysis",
    "Bench",
    "Build",
    "Card",
    "CardLine",
    "Cavity",
    "Cell",
    "Change",
    "Column",
    "CureWindow",
    "Figure",
    "Finding",
    "HandOnError",
    "Item",
    "LogKind",
    "Mold",
    "Option",
    "Photo",
    "Plan",
    "ReportWritten",
    "RowProblem",
    "Season",
    "Section",
    "SideBySide",
    "Span",
    "Table",
    "TableColumn",
    "Trip",
    "Vital",
    "Water",
    "hookimpl",
    "with_everyday_words",
]

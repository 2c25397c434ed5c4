"""Splits a log's rows that name a finished bait off, into the log that is declared as its part."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.read.body import Body
from benchwater.read.headers import Header, Heading
from benchwater.read.log_parts import LogPart
from benchwater.read.names import find_name, same_spelling


def without_finished_baits(
    part: LogPart, body: Body, kinds: Sequence[LogKind], bench: Bench
) -> Iterator[tuple[LogPart, Body]]:
    """Yield the log with its own records, and the part of it that holds those which name a build, if any."""
    kind = next((each for each in kinds if each.part_of == part.log), None)
    item = next((h for h in part.header.headings if h.column and h.column.refers_to == "item"), None)
    named = set() if kind is None or item is None else _builds(body.columns[item.position].values, bench)
    if kind is None or item is None or not named:
        yield part, body
        return
    of_builds = body.columns[item.position].mask(named.__contains__)
    items, baits = body.take(np.flatnonzero(~of_builds)), body.take(np.flatnonzero(of_builds))
    if len(items.lines):
        yield part, items
    if len(baits.lines):
        yield replace(part, header=_header_of(kind, part.header, baits)), baits


def _builds(texts: Sequence[str], bench: Bench) -> set[str]:
    """The texts that name a build; one spelt as both is an item, one spelt as neither whatever it is near."""
    found = set()
    for text in filter(None, texts):
        build, item = find_name(text, "build", bench), find_name(text, "item", bench)
        if build is not None and (
            item is None or (same_spelling(build) == same_spelling(text) != same_spelling(item))
        ):
            found.add(text)
    return found


def _header_of(kind: LogKind, header: Header, body: Body) -> Header:
    return replace(
        header,
        kind=kind,
        headings=tuple(_heading_of(kind, each, body) for each in header.headings),
        implied=tuple(each for each in header.implied if kind.column(each[0]) is not None),
    )


def _heading_of(kind: LogKind, heading: Heading, body: Body) -> Heading:
    """The heading as one of the part; one that says nothing there has no text."""
    if not body.columns[heading.position].mask(bool).any():
        return replace(heading, column=None, text="")
    if heading.column is None:
        return heading
    name = "build" if heading.column.refers_to == "item" else heading.column.name
    return replace(heading, column=kind.column(name))

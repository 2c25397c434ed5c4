"""Lay out a plot, with the largest frame that leaves room for its text, and write it as SVG."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TypeVar

from benchwater.drawing.axes import Axes, Axis, ticks_of
from benchwater.drawing.marks import CLIP, GROUND, Mark
from benchwater.drawing.svg import Attributes, Frame, Point, element, path, short, text_of
from benchwater.drawing.text import BELOW, CAPITALS, FAMILIES, Box, Line, best_of, width_of

_EDGE = 3.0
_TICK, _OFF = 3.0, 3.4
_THIN = 0.6
_ROUNDS = 6
_MOST_TICKS = 8
_APART, _APART_UP = 0.55, 1.8
_ROW, _KEY_ROW = 9.4, 12.4
_KEY_GAP, _KEY_OFF = 4.5, 14.0
_Kind = TypeVar("_Kind")
INK, QUIET, RULE, PAPER = "#1c2b30", "#5b6b70", "#dbe2e3", "#ffffff"
TEXT_SIZE, NOTE_SIZE = 7.6, 7.0
"""In points."""
SPARK, SPARK_NOW = "#3a97c9", "#e0481f"


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture of one plot; width and height are in points."""

    width: float
    height: float
    axes: Axes = field(default_factory=Axes)

    def to_svg(self) -> str:
        """Return the picture as SVG, the same text for the same plot."""
        return _to_svg(self, _lay_out(self))


def sparkline(values: Sequence[float | None], flowing: bool = False, share: bool = False) -> str:
    """Return a sparkline of a few values as SVG without text: bars, or a line where `flowing`.

    It starts at zero (and ends at one for a `share`), is legible on light and dark, and marks the last value.
    None leaves a gap, without a baseline.
    """
    width, height, ground = 96.0, 22.0, 20.0
    known = [value for value in values if value is not None]
    most, least = (1.0 if share else max([*known, 0.0])), min([*known, 0.0])
    scale = (ground - 3.0) / ((most - least) or 1.0)
    zero = ground + least * scale
    slot = width / max(len(values), 4)
    wide = min(9.0, 0.62 * slot)
    drawn: list[str] = []
    last: tuple[float, float] | None = None
    for place, value in enumerate(values):
        if value is None:
            last = None
            continue
        x, y = (place + 0.5) * slot, zero - value * scale
        colour = SPARK_NOW if place == len(values) - 1 else SPARK
        drawn.append(
            f'<path d="M{x - slot / 2:.2f} {zero:.2f}h{slot:.2f}" stroke="{SPARK}" stroke-width=".7"/>'
        )
        if flowing:
            if last is not None:
                before = f"M{last[0]:.2f} {last[1]:.2f}"
                drawn.append(f'<path d="{before}L{x:.2f} {y:.2f}" stroke="{SPARK}" stroke-width="1.2"/>')
            drawn.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="2.1" fill="{colour}"/>')
        elif value:
            top, tall = min(y, zero), abs(value) * scale
            drawn.append(
                f'<rect x="{x - wide / 2:.2f}" y="{top:.2f}" width="{wide:.2f}" height="{tall:.2f}" '
                f'fill="{colour}"/>'
            )
        last = (x, y)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{height:g}" '
        f'viewBox="0 0 {width:g} {height:g}">{"".join(drawn)}</svg>'
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Layout:
    """The frame with its ticks, lines of text and legend keys."""

    frame: Frame
    across: list[float]
    up: list[float]
    lines: list[Line]
    keys: list[tuple[Mark, float, float]]


def _lay_out(picture: Picture) -> _Layout:
    """Return the layout with the largest frame; each round makes room for the text that overran the last."""
    limits = picture.axes.limits()
    room = [_EDGE] * 4
    layout = _layout_in(picture, limits, room)
    for _ in range(_ROUNDS):
        over = _overrun(picture, layout)
        if max(over) <= 0.01:
            break
        most = (0.6 * picture.width, 0.6 * picture.height) * 2
        room = [min(have + max(more, 0.0), end) for have, more, end in zip(room, over, most, strict=True)]
        layout = _layout_in(picture, limits, room)
    return layout


def _overrun(picture: Picture, layout: _Layout) -> tuple[float, float, float, float]:
    """Return by how much text overruns the picture's margin: left, top, right, bottom."""
    boxes = [line.box for line in layout.lines]
    boxes += [_key_box(mark, x, y) for mark, x, y in layout.keys]
    if not boxes:
        return 0.0, 0.0, 0.0, 0.0
    return (
        _EDGE - min(box.left for box in boxes),
        _EDGE - min(box.top for box in boxes),
        max(box.right for box in boxes) - (picture.width - _EDGE),
        max(box.bottom for box in boxes) - (picture.height - _EDGE),
    )


def _layout_in(picture: Picture, limits: tuple[Point, Point], room: list[float]) -> _Layout:
    axes = picture.axes
    left, top, right, bottom = room
    frame = Frame(
        left=left,
        top=top,
        right=picture.width - right,
        bottom=picture.height - bottom,
        x=limits[0],
        y=limits[1],
    )
    lines: list[Line] = []
    across: list[float] = []
    up: list[float] = []
    if axes.has_axes:
        most_up = min(_MOST_TICKS, int(frame.height / (_APART_UP * TEXT_SIZE)))
        up, names = ticks_of(axes.y, frame.y, max(most_up, 1))
        lines += _up_the_side(axes, frame, zip(up, names, strict=True))
        across, names = _fitting_ticks(axes.x, frame)
        lines += _along_the_bottom(axes, frame, zip(across, names, strict=True))
    keys = list(_keys(picture, frame))
    for mark, x, y in keys:
        start = x + mark.key_width + _KEY_GAP
        lines.append(_plain(mark.label, start, y + CAPITALS / 2 * TEXT_SIZE))
    for label in axes.labels:
        lines += label.lines(frame)
    if axes.movable_labels:
        busy = [point for mark in axes.marks for point in mark.touched(frame)]
        for choices in axes.movable_labels:
            chosen = best_of(choices, frame, busy, [line.box for line in lines])
            lines += chosen.lines(frame)
    return _Layout(frame=frame, across=across, up=up, lines=lines, keys=keys)


def _fitting_ticks(axis: Axis, frame: Frame) -> tuple[list[float], list[str]]:
    """Return as many ticks along the bottom as fit side by side, and their labels."""
    for most in range(_MOST_TICKS, 0, -1):
        places, names = ticks_of(axis, frame.x, most)
        if axis.ticks is not None or _are_clear(places, names, frame):
            break
    return places, names


def _are_clear(places: Sequence[float], names: Sequence[str], frame: Frame) -> bool:
    """Return whether every label is clear of the next."""
    middles = [frame.across(place) for place in places]
    halves = [width_of(name, TEXT_SIZE) / 2 + _APART / 2 * TEXT_SIZE for name in names]
    steps = pairwise(zip(middles, halves, strict=True))
    return all(abs(after - before) >= half + other for (before, half), (after, other) in steps)


def _up_the_side(axes: Axes, frame: Frame, ticks: Iterable[tuple[float, str]]) -> Iterator[Line]:
    off = frame.left - _OFF - (_TICK if axes.y.ticked else 0.0)
    widest = 0.0
    for place, name in ticks:
        wide = width_of(name, TEXT_SIZE)
        widest = max(widest, wide)
        base = frame.down(place) + CAPITALS / 2 * TEXT_SIZE
        yield _plain(name, off - wide, base)
    if axes.y.label:
        long = width_of(axes.y.label, TEXT_SIZE)
        x, y = off - widest - 4.0 - BELOW * TEXT_SIZE, (frame.top + frame.bottom + long) / 2
        y = max(min(y, frame.bottom), frame.top + long) if long < frame.height else y
        yield Line(text=axes.y.label, x=x, y=y, size=TEXT_SIZE, colour=INK, turned=True)


def _along_the_bottom(axes: Axes, frame: Frame, ticks: Iterable[tuple[float, str]]) -> Iterator[Line]:
    base = frame.bottom + _OFF + (_TICK if axes.x.ticked else 0.0)
    base += CAPITALS * TEXT_SIZE
    places = []
    for place, name in ticks:
        places.append(place)
        yield _centred(name, frame.across(place), base)
    if axes.x.label:
        base += 1.75 * TEXT_SIZE
        yield _centred(axes.x.label, (frame.left + frame.right) / 2, base)
    base += 0.5 * TEXT_SIZE
    for name, cells in axes.below:
        base += _ROW
        yield _plain(name, frame.left - _OFF - 4 - width_of(name, NOTE_SIZE), base, NOTE_SIZE)
        for place, cell in zip(places, cells, strict=False):
            yield _centred(cell, frame.across(place), base, NOTE_SIZE)


def _keys(picture: Picture, frame: Frame) -> Iterator[tuple[Mark, float, float]]:
    """Yield the labelled marks of the legend and their positions above the frame, in rows."""
    axes = picture.axes
    named = {mark.label: mark for mark in reversed(axes.marks) if mark.label} if axes.has_legend else {}
    marks = [mark for mark in axes.marks if mark.label and named.get(mark.label) is mark]
    rows: list[list[tuple[Mark, float]]] = [[]]
    start = x = frame.left if axes.has_axes else _EDGE
    for mark in marks:
        wide = mark.key_width + _KEY_GAP + width_of(mark.label, TEXT_SIZE)
        if rows[-1] and x + wide > picture.width - _EDGE:
            rows.append([])
            x = start
        rows[-1].append((mark, x))
        x += wide + _KEY_OFF
    for number, row in enumerate(reversed(rows)):
        down = frame.top - 9.0 - _KEY_ROW * number
        yield from ((mark, x, down) for mark, x in row)


def _key_box(mark: Mark, x: float, y: float) -> Box:
    return Box(left=x, top=y - _KEY_ROW / 2, right=x + mark.key_width, bottom=y)


def _plain(text: str, x: float, y: float, size: float = TEXT_SIZE) -> Line:
    return Line(text=text, x=x, y=y, size=size, colour=INK)


def _centred(text: str, x: float, y: float, size: float = TEXT_SIZE) -> Line:
    return _plain(text, x - width_of(text, size) / 2, y, size)


def _to_svg(picture: Picture, layout: _Layout) -> str:
    axes, frame = picture.axes, layout.frame
    parts: list[str] = []
    marks = sorted(axes.marks, key=lambda mark: mark.layer)
    parts += [mark.draw(frame) for mark in marks if mark.layer == GROUND]
    if axes.has_axes:
        parts.append(_grid(axes, layout))
    parts += [mark.draw(frame) for mark in marks if mark.layer > GROUND]
    if axes.has_axes:
        parts.append(_axes(axes, layout))
    parts += [mark.key(x, y) for mark, x, y in layout.keys]
    parts.append(_type(layout))
    drawn = "".join(parts)
    if f"#{CLIP}" in drawn:
        hole = element("rect", x=frame.left, y=frame.top, width=frame.width, height=frame.height)
        drawn = element("defs", element("clipPath", hole, id=CLIP)) + drawn
    wide, high = short(picture.width), short(picture.height)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}pt" height="{high}pt" '
        f'viewBox="0 0 {wide} {high}">{drawn}</svg>'
    )


def _grid(axes: Axes, layout: _Layout) -> str:
    frame, d = layout.frame, ""
    if axes.x.grid:
        d += "".join(path([(x, frame.bottom), (x, frame.top)]) for x in map(frame.across, layout.across))
    if axes.y.grid:
        d += "".join(path([(frame.left, y), (frame.right, y)]) for y in map(frame.down, layout.up))
    return element("path", d=d, fill="none", stroke=RULE, stroke_width=_THIN) if d else ""


def _axes(axes: Axes, layout: _Layout) -> str:
    frame = layout.frame
    d = path([(frame.left, frame.top), (frame.left, frame.bottom), (frame.right, frame.bottom)])
    if axes.x.ticked:
        lower = frame.bottom + _TICK
        d += "".join(path([(x, frame.bottom), (x, lower)]) for x in map(frame.across, layout.across))
    if axes.y.ticked:
        outer = frame.left - _TICK
        d += "".join(path([(frame.left, y), (outer, y)]) for y in map(frame.down, layout.up))
    return element("path", d=d, fill="none", stroke=QUIET, stroke_width=_THIN)


def _type(layout: _Layout) -> str:
    """Return all text, grouped by style; text on the plot has a paper-coloured outline."""
    frame = layout.frame
    inside = Box(left=frame.left, top=frame.top, right=frame.right, bottom=frame.bottom)
    over = [line for line in layout.lines if line.box.meets(inside)]
    edge: Attributes = {
        "fill": PAPER,
        "stroke": PAPER,
        "stroke_width": 2.2,
        "stroke_linejoin": "round",
    }
    groups = [
        element("g", "".join(map(_line, lines)), font_size=size, **edge)
        for size, lines in _group(over, lambda line: line.size)
    ]
    groups += [
        element("g", "".join(map(_line, lines)), font_size=size, fill=colour)
        for (size, colour), lines in _group(layout.lines, lambda line: (line.size, line.colour))
    ]
    return element("g", "".join(groups), font_family=FAMILIES) if groups else ""


def _group(lines: Iterable[Line], kind: Callable[[Line], _Kind]) -> list[tuple[_Kind, list[Line]]]:
    """Group lines by kind, in the order in which the kinds first appear."""
    found: dict[_Kind, list[Line]] = {}
    for line in lines:
        found.setdefault(kind(line), []).append(line)
    return list(found.items())


def _line(line: Line) -> str:
    """Return a line of text, with `textLength` to keep its width where another typeface sets it."""
    held: Attributes = (
        {"textLength": line.width, "lengthAdjust": "spacingAndGlyphs"} if len(line.text) > 1 else {}
    )
    if line.turned:
        turn = f"translate({short(line.x)} {short(line.y)})rotate(-90)"
        return element("text", text_of(line.text), transform=turn, **held)
    return element("text", text_of(line.text), x=line.x, y=line.y, **held)

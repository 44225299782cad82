"""Shapes of a moving picture: what the two drawers, `player.js` and `stills`, know how to draw.

A shape is a dictionary of plain values, in dots of a picture WIDE by HIGH with y downwards. `do` is one of `path` (points,
fill, ink, width), `bar` (a box filled from below), `marks` (arrow heads along points), `words`, `playhead`. The arrays that
move it are named by `tone` (picks one of `tones`, and the width `live` while it is not zero), `turn` and `slide` (its
place), `by` (how full), `when` (shown only while an array has a value).
"""

from __future__ import annotations

import math

import numpy as np
from matplotlib.colors import to_hex, to_rgb

from ..units import show
from .courses import CLOSED, CONDUCTING, IDLE, WORDS, Course
from .style import BLUE, INK, PAPER, PLUM, QUIET, RUST, TINT

WIDE, HIGH = 340, 344
TONES = (QUIET, BLUE, RUST, PLUM)  # idle, closed, conducting, the store alone: as `courses` numbers them
STATES = {IDLE: (INK, TINT["idle"]), CLOSED: (BLUE, TINT["closed"]), CONDUCTING: (RUST, TINT["conducting"])}
SPACING = 20.0  # dots from mark to mark
BAR_WIDE, BAR_HIGH = 9.0, 56.0
PLOT = (50.0, 260.0, 330.0, 326.0)  # left, top, right, bottom of the waveform


def path(points, *, ink=None, fill=None, width=1.0, **more) -> dict:
    """A line or, with shut=True, an area. More: `tone`, `tones`, `live`, `turn` (array, x, y, degrees at 0 and at 1),
    `slide` (array, dx, dy at 1), `dash`, `when` (array, value)."""
    return {"do": "path", "points": [[round(x, 2), round(y, 2)] for x, y in points], "ink": ink, "fill": fill, "width": width} | more


def box(x, y, wide, high, **more) -> dict:
    """A rectangle from its upper left corner."""
    return path([(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)], shut=True, **more)


def words(x, y, text, *, ink=INK, size=11, align="center", bold=False, **more) -> dict:
    """A line of text, centred upon y."""
    return {"do": "words", "at": [x, y], "text": text, "ink": ink, "size": size, "align": align, "bold": bold} | more


def marks(conduit: str, points, gaps=()) -> dict:
    """Arrow heads along a path; `gaps` are stretches of its length in which none is drawn."""
    return {"do": "marks", "points": [list(map(float, p)) for p in points], "gaps": [list(map(float, gap)) for gap in gaps],
            "move": f"move_{conduit}", "way": f"way_{conduit}", "tone": f"tone_{conduit}", "tones": TONES, "spacing": SPACING}


def arc(x, y, radius, start, end, count=16) -> list[tuple[float, float]]:
    """Points on a circle from one angle to another, in degrees clockwise from the right."""
    return [(x + radius * math.cos(a), y + radius * math.sin(a)) for a in np.radians(np.linspace(start, end, count))]


def fade(ink: str, share: float) -> str:
    """An ink thinned with paper."""
    return to_hex(share * np.array(to_rgb(ink)) + (1 - share) * np.array(to_rgb(PAPER)))


def heading(course: Course) -> list[dict]:
    """The picture's title, and the state in words while it lasts."""
    told = WORDS[course.kind]
    shapes = [box(0, 0, WIDE, HIGH, fill=PAPER), words(8, 14, told["title"], size=13, align="left", bold=True)]
    shapes += [words(8, 34, title, size=11.5, align="left", bold=True, ink=STATES[state][0], when=["state", state])
               for state, title in told["states"].items()]
    shapes += [words(8, 50, sentence, size=10.5, align="left", when=["told", now]) for now, sentence in told["told"].items()]
    return shapes


def gauges(course: Course, *places: tuple[float, float]) -> list[dict]:
    """Two bars on one scale: pressure at the switch or waste valve, and at the output; a tick for the supply."""
    top = max(np.max(course.pressure), np.max(course.valve_pressure), course.supply)
    shapes = [words(8, 228, WORDS[course.kind]["bars"], size=9, align="left")]
    for (x, y), by in zip(places, ("gauge_valve", "gauge_out"), strict=True):
        tick = y + BAR_HIGH * (1 - course.supply / top)
        shapes += [box(x, y, BAR_WIDE, BAR_HIGH, fill=PAPER),
                   {"do": "bar", "box": [x, y, BAR_WIDE, BAR_HIGH], "by": by, "fill": INK},
                   box(x, y, BAR_WIDE, BAR_HIGH, ink=QUIET),
                   path([(x - 3, tick), (x + BAR_WIDE + 3, tick)], ink=RUST, width=1.6)]
    return shapes


def waveform(course: Course) -> list[dict]:
    """The flow in the coil or drive pipe over the period, in the colour of each state, and where the picture stands."""
    left, top, right, bottom = PLOT
    low, high = course.span
    tall = (bottom - top) / (high - low)

    def place(share, flow):
        return left + share * (right - left), bottom - (flow - low) * tall

    shapes = []
    for start, end, state in course.stretches:
        shapes.append(box(place(start, 0)[0], top - 4, (end - start) * (right - left), bottom - top + 8, fill=STATES[state][1]))
    shapes.append(path([place(0, 0), place(1, 0)], ink=QUIET, width=0.8))
    for start, end, state in course.stretches:
        inside = (course.share >= start) & (course.share <= end) & ((course.state == state) | (course.share == end))
        curve = [place(x, y) for x, y in zip(course.share[inside], course.drive[inside], strict=True)]
        shapes.append(path(curve, ink=STATES[state][0], width=2.0, dash=[6, 2.5] if state == CONDUCTING else []))
    shapes += [words(left - 6, place(0, flow)[1], course.flow_words(flow), size=9, align="right") for flow in _ticks(course, tall)]
    shapes += [words(8, top - 14, WORDS[course.kind]["flow"], size=10, align="left"),
               words(left, bottom + 12, "0", size=9), words(right, bottom + 12, show(course.period, "s"), size=9, align="right"),
               {"do": "playhead", "box": [left, top - 4, right, bottom + 4], "dot": [top, bottom], "by": "share", "height": "height",
                "ink": INK, "fill": PAPER}]
    return shapes


def _ticks(course: Course, tall: float) -> list[float]:
    """Zero, the highest and the lowest flow, those that would stand in each other's way left out."""
    kept = [0.0]
    for flow in (float(np.max(course.drive)), float(np.min(course.drive))):
        if all(abs(flow - other) * tall > 11 for other in kept):
            kept.append(flow)
    return kept

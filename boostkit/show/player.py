"""Moving pictures: water in a hydraulic ram and current in the boost circuit, played in the browser, side by side and in step.

The browser is handed shapes and arrays and only draws; what moves, and how far, was computed in `courses`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import anywidget
import numpy as np
import traitlets

from ..units import guard, quoted
from . import stills
from .courses import CONDUCTING, STEPS, Course
from .scenes import scene
from .shapes import HIGH, WIDE
from .style import PAPER, QUIET, Figure

HERE = Path(__file__).parent
SPEEDS = (16.0, 8.0, 4.0, 2.0, 1.0)  # seconds in which a period is played
USUAL = 1  # which of them at first


class Canvas(anywidget.AnyWidget):
    """What the browser holds: the pictures' shapes, and all their arrays one after the other as 32-bit numbers."""

    _esm = (HERE / "player.js").read_text(encoding="utf-8")
    _css = (HERE / "player.css").read_text(encoding="utf-8")
    scene = traitlets.Dict().tag(sync=True)
    numbers = traitlets.Bytes().tag(sync=True)


class Player:
    """Moving pictures of one or two courses, in step by shares of their periods. Starts paused.

    Keys: Space plays and pauses, the arrows step, plus and minus change the speed, Home resets. On paper and where
    nothing runs there stands the picture at `share` of the period.
    """

    def __init__(self, courses: Sequence[Course], share: float | None = None):
        self.courses = tuple(courses)
        for course in self.courses:
            if not isinstance(course, Course):
                raise ValueError(f"course = {quoted(course)} must be a Course: courses.of_converter or courses.of_ram makes one")
        self.instants = _instants(self.courses)
        wanted = _middle(self.courses[-1]) if share is None else _checked(share)
        self.start = int(np.argmin(np.abs(self.instants - wanted)))
        shapes, numbers = _packed(self)
        self.canvas = Canvas(scene=shapes, numbers=numbers)

    @property
    def share(self) -> float:
        """Share of the period at which the pictures begin and at which they stand on paper."""
        return float(self.instants[self.start])

    def readings(self, share: float | None = None) -> str:
        """What the pictures show at a share of the period, one line."""
        share = self.share if share is None else _checked(share)
        return ". ".join(f"{course.title}, {course.reading(share)}" for course in self.courses)

    def figure(self, share: float | None = None) -> Figure:
        """The pictures held still at a share of the period, for paper."""
        return stills.still(self.courses, self.share if share is None else _checked(share))

    def frames(self, *shares: float) -> Figure:
        """The pictures at several shares of the period, one below the other; the middle of each state by default."""
        middles = [(start + end) / 2 for start, end, _ in self.courses[-1].stretches]
        return stills.strip(self.courses, [_checked(share) for share in shares] or middles)

    def __repr__(self) -> str:
        return self.readings()

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict:
        bundle = self.canvas._repr_mimebundle_()
        view = bundle[0] if isinstance(bundle, tuple) else bundle or {}
        return view | self.figure()._repr_mimebundle_() | {"text/plain": self.readings()}


def of(course: Course, *, share: float | None = None) -> Player:
    """One moving picture. `share`: where in the period it begins and stands on paper, 0 to below 1; by default the middle
    of the stretch in which the rectifier or check valve passes."""
    return Player([course], share)


def side_by_side(left: Course, right: Course, *, share: float | None = None) -> Player:
    """Two moving pictures in step, as a ram and the converter that it is like. `share` as in `of`, by the right one."""
    return Player([left, right], share)


def _checked(share: float) -> float:
    return guard("share", share, 0, 1, open_high=True, why="it counts from where the switch closes or the waste valve opens")


def _middle(course: Course) -> float:
    """Middle of the longest stretch in which the rectifier or check valve passes, or of the longest stretch at all."""
    passing = [s for s in course.stretches if s[2] == CONDUCTING] or course.stretches
    start, end, _ = max(passing, key=lambda s: s[1] - s[0])
    return (start + end) / 2


def _instants(courses: Sequence[Course]) -> np.ndarray:
    """Where a single step stops: evenly spread shares, the middle, and just after each switching instant of any course."""
    kept: list[float] = []
    edges = sorted((edge for course in courses for edge, _, _ in course.stretches), reverse=True)
    for wanted in (*edges, _middle(courses[-1]), *(k / STEPS for k in range(STEPS))):
        apart = 1e-5 if wanted in edges else 0.3 / STEPS
        if all(abs(wanted - other) > apart for other in kept):
            kept.append(wanted)
    return np.sort(np.array(kept, np.float32)).astype(float)  # no finer than the arrays: a step to an edge is past it


def _packed(player: Player) -> tuple[dict, bytes]:
    """Shapes, readings and the table of the arrays; and the arrays."""
    pictures, columns, start = [], [], 0
    for course in player.courses:
        table = {}
        for name, (how, values) in course.moving.items():
            table[name] = [how, start, len(values)]
            columns.append(np.asarray(values, "<f4"))
            start += len(values)
        shapes = [shape | {"paper": PAPER, "still": QUIET} if shape["do"] == "marks" else shape for shape in scene(course)]
        pictures.append({"label": f"{course.title}, moving picture", "shapes": shapes, "arrays": table,
                         "readings": [f"{course.title}: {course.reading(share)}" for share in player.instants]})
    speeds = [[seconds, f"a period in {seconds:g} s"] for seconds in SPEEDS]
    told = {"label": " and ".join(course.title for course in player.courses), "running": "Playing. Pause to read the values."}
    return told | {"wide": WIDE, "high": HIGH, "pictures": pictures, "instants": player.instants.tolist(),
                   "start": player.start, "speeds": speeds, "speed": USUAL}, np.concatenate(columns).tobytes()

"""A class in pictures: how far its numbers lie from the border, how close its answers, what a tolerance does, what was hard.

    distances(groups, nearest)         how far from the border of the two modes each draw of a lab lies
    is_fair(ratio, nearest, mode)      whether it is clear of the border
    refused(border, share, ...)        panel: a range of loads grows wider, and draws are refused
    passing(answers, tolerances)       how many tasks each learner would get right with each other's answers
    neighbours(answers, tolerances)    the share of pairs whose answers pass for one another's, task by task
    verdicts(tolerances, off, ...)     what a tolerance lets pass and what it refuses, along the tolerance
    tolerance(tolerances, off, ...)    panel: the same while the tolerance is moved
    hard(tasks)                        how many got full points, half, and none, task by task

All take plain numbers: this room knows nothing of marks and sheets.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.ticker import LogLocator

from ..units import show
from .curves import WORDS
from .labels import place
from .live import Panel, Slider
from .style import BLUE, INK, PAPER, PENS, QUIET, RUST, TINT, Figure, above, count_in, fit, frame, name_axis, styled

SMALL = {"markersize": 5, "markeredgewidth": 1.3, "linestyle": "none"}
FAIR, AWAY = {**SMALL, "color": BLUE, "marker": "o", "markerfacecolor": PAPER}, {**SMALL, "color": RUST, "marker": "x"}

# --- how far from the border ---


@styled
def distances(groups: Mapping[str, tuple], nearest: float, *, says: str = "", onto: Figure | None = None) -> Figure:
    """How far from the border of the two modes of conduction each draw of one lab or two lies.

    `groups`: for each name (load, border, mode): its load currents and those at the border, A, shape (n,), and the mode that is asked for,
    "continuous" or "discontinuous". `nearest`: the distance, a share of the load at the border, below which a draw is refused. Refused
    draws, too near or on the wrong side, are crosses.
    """
    figure, (ax,) = frame([1.8], top=0.6, onto=onto)
    count_in(ax, "x", True)
    ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    ratios = {name: np.asarray(load, float) / np.asarray(border, float) for name, (load, border, _) in groups.items()}
    every = np.concatenate([*ratios.values(), [1 - nearest, 1 + nearest]])
    fit(ax, float(every.min()), float(every.max()), which="x", pad=0.08)
    fit(ax, *_ends([border for _, border, _ in groups.values()]), pad=0.15)
    ax.areas([[(1 - nearest, 0), (1 - nearest, 1), (1 + nearest, 1), (1 + nearest, 0)]], across=True, facecolor=TINT["conducting"],
             edgecolor="none", zorder=0)  # fmt: skip
    ax.plot([1, 1], ax.get_ylim(), color=INK, linewidth=1.0)
    ax.text(1, 1, "too near", transform=above(ax, 0.04), ha="center", va="bottom", color=RUST, fontsize=8)
    said = []
    for name, (_, border, mode) in groups.items():
        border, fair = np.asarray(border, float), is_fair(ratios[name], nearest, mode)
        for those, looks in ((fair, FAIR), (~fair, AWAY)):
            ax.plot(ratios[name][those], border[those], **looks)
        ax.text(float(np.exp(np.log(ratios[name]).mean())), 1, name, transform=above(ax, 0.28), ha="center", va="bottom", **WORDS)
        low, high = (show(float(end(ratios[name]))) for end in (np.min, np.max))
        said.append(f"{name}: {low} to {high} times the load at the border, {int((~fair).sum())} of {len(fair)} draws refused")
    name_axis(ax.xaxis, "load current, in times that of the border")
    name_axis(ax.yaxis, "load current at the border", "A")
    figure.says = says or "; ".join(said)
    return figure


def is_fair(ratio, nearest: float, mode: str) -> np.ndarray:
    """Whether a load, in times that at the border, is in this mode and clear of the border; shape (n,)."""
    ratio = np.asarray(ratio, float)
    return ratio >= 1 + nearest if mode == "continuous" else ratio <= 1 - nearest


def _ends(arrays) -> tuple[float, float]:
    return float(min(np.min(each) for each in arrays)), float(max(np.max(each) for each in arrays))


def refused(border, share, low: float, high: float, most: float, nearest: float, name: str = "draws") -> Panel:
    """The highest load of a lab in discontinuous conduction under a slider. `border`: A, shape (n,), one a draw. `share`: shape (n,), where
    in the range each draw takes its load, 0 at the lowest and 1 at the highest. `low`, `high`: the range as the lab has it, A; `most`: up
    to where it is moved."""
    border, share = np.asarray(border, float), np.asarray(share, float)

    def compute(highest):
        return low + share * (highest - low)

    def draw(load, onto):
        return distances({name: (load, border, "discontinuous")}, nearest, onto=onto)

    return Panel(compute, draw, [Slider("highest", "highest load", "A", 1.2 * low, most, high)])


# --- how close to one another ---


def passing(answers: Mapping[str, Sequence[float]], tolerances: Mapping[str, float]) -> np.ndarray:
    """How many tasks a learner would get right with the answers of a neighbour: shape (n, n), the row's learner copies from the column's;
    on the diagonal all of them."""
    right = [np.abs(np.subtract.outer(values, values)) <= tolerances[name] * np.abs(np.asarray(values, float))[:, None]
             for name, values in answers.items()]  # fmt: skip
    return np.sum(right, axis=0)


@styled
def neighbours(answers: Mapping[str, Sequence[float]], tolerances: Mapping[str, float], *, says: str = "") -> Figure:
    """For each task, how many of the other learners' sheets could be copied and still pass, as shares: of all pairs, those whose answers
    to the task lie within the tolerance; and last, those in which every task does. `answers`: by task, shape (n,)."""
    n = len(next(iter(answers.values())))
    pairs = n * (n - 1)
    each = {name: (int(passing({name: values}, tolerances).sum()) - n) / pairs for name, values in answers.items()}
    each["all of them"] = (int((passing(answers, tolerances) == len(answers)).sum()) - n) / pairs
    figure, (ax,) = frame([0.24 * (len(each) + 0.2)], left=1.6)
    _named_rows(ax, each)
    ax.set_xlim(0, 1.16 * max(*each.values(), 0.02))
    name_axis(ax.xaxis, "pairs of learners whose answers pass for one another's", "%")
    ax.areas([_box(0, share, row) for row, share in enumerate(each.values())], facecolor=BLUE, edgecolor=BLUE)
    for row, share in enumerate(each.values()):
        ax.text(share, row, f"  {show(share, '%')}", ha="left", va="center", fontsize=8)
    figure.says = says or f"Of {pairs} pairs of learners, answers that pass for one another's: " + ", ".join(
        f"{name} {show(share, '%')}" for name, share in each.items())
    return figure


# --- what a tolerance does ---


@styled
def verdicts(tolerances, off, shares, honest, now: float, *, onto: Figure | None = None) -> Figure:
    """What a tolerance lets pass and what it refuses.

    `tolerances`: relative, rising, shape (m,). `off`: how far each answer lies from the right one, a share of it, shape (n,). `shares`:
    the share of the points that each answer gets at each tolerance, shape (m, n). `honest`: whether no mistake was made, shape (n,).
    `now`: the tolerance that is marked. Above, the answers in the order of `off`, with the band of that tolerance; below, honest
    answers without full points and mistakes with them, along the tolerance.
    """
    tolerances, off, shares, honest = (np.asarray(part) for part in (tolerances, off, shares, honest))
    short, passed = (shares[:, honest] < 1).sum(axis=1), (shares[:, ~honest] == 1).sum(axis=1)
    figure, (upper, lower) = frame([1.5, 1.5], gap=0.75, shared=False, onto=onto)
    _answers(upper, off, honest, now)
    _counts(lower, tolerances, short, passed, now)
    k = nearest_of(tolerances, now)
    figure.says = (f"tolerance {show(now, '%')}: {short[k]} of {honest.sum()} honest answers without full points, {passed[k]} of "
                   f"{(~honest).sum()} mistakes with full points")  # fmt: skip
    return figure


def nearest_of(tolerances, now: float) -> int:
    """The place of the tolerance nearest to `now`, as a ratio."""
    return int(np.argmin(np.abs(np.log(np.asarray(tolerances, float) / now))))


def _answers(ax, off: np.ndarray, honest: np.ndarray, now: float) -> None:
    order = np.argsort(off)
    rank = np.empty(len(off))
    rank[order] = np.arange(1, len(off) + 1)
    fit(ax, 0, len(off) + 1, which="x", pad=0.0)
    fit(ax, float(min(off.min(), -0.12)), float(max(off.max(), 0.12)), pad=0.12)
    low, high = ax.get_ylim()
    ends = np.clip([-now, now], low, high)
    ax.areas([[(0, ends[0]), (0, ends[1]), (len(off) + 1, ends[1]), (len(off) + 1, ends[0])]], facecolor=TINT["closed"], edgecolor="none",
             zorder=0)  # fmt: skip
    ax.axhline(0, color=QUIET, linewidth=0.7, zorder=1)
    for those, looks in ((honest, FAIR), (~honest, AWAY)):
        ax.plot(rank[those], off[those], **looks)
    name_axis(ax.xaxis, "answers, in rising order")
    name_axis(ax.yaxis, "off the right value (○ honest, × mistake; the band is the tolerance)", "%")


def _counts(ax, tolerances: np.ndarray, short: np.ndarray, passed: np.ndarray, now: float) -> None:
    if ax.get_xscale() != "log":
        count_in(ax, "x", True)
        ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    fit(ax, tolerances[0], tolerances[-1], which="x", pad=0.0)
    fit(ax, 0, float(max(short.max(), passed.max(), 1)), pad=0.12)
    ax.set_ylim(bottom=0)
    wanted = [(ax.plot(tolerances, count, **pen.line)[0], words) for pen, count, words in
              zip(PENS, (short, passed), ("honest, not full points", "mistake, full points"), strict=False)]
    ax.plot([now] * 2, ax.get_ylim(), color=INK, linewidth=1.0)
    place(ax, wanted, **WORDS)
    name_axis(ax.xaxis, "tolerance", "%")
    name_axis(ax.yaxis, "how many answers")


def tolerance(tolerances, off, shares, honest, start: float) -> Panel:
    """The same while the tolerance is moved; the arguments are those of `verdicts`, `start` where the slider begins."""
    tolerances = np.asarray(tolerances, float)

    def draw(now, onto):
        return verdicts(tolerances, off, shares, honest, now, onto=onto)

    slider = Slider("now", "tolerance", "%", float(tolerances[0]), float(tolerances[-1]), start, logarithmic=True)
    return Panel(lambda now: now, draw, [slider])


# --- what was hard ---

POINTS = {"full points": (BLUE, BLUE), "half": (RUST, RUST), "none": (PAPER, QUIET)}  # face and edge, dark to white


@styled
def hard(tasks: Mapping[str, tuple[int, int, int]], *, says: str = "") -> Figure:
    """One bar a task: how many sheets got full points for it, half of them, and none. The order is the caller's, the first on top."""
    figure, (ax,) = frame([0.24 * (len(tasks) + 1.2)], left=1.6)
    _named_rows(ax, tasks, above=1.0)
    most = max(sum(counts) for counts in tasks.values())
    ax.set_xlim(0, 1.02 * most)
    name_axis(ax.xaxis, "sheets")
    for k, (words, (face, edge)) in enumerate(POINTS.items()):
        boxes = [_box(sum(counts[:k]), sum(counts[: k + 1]), row) for row, counts in enumerate(tasks.values())]
        start = most * (0.0, 0.25, 0.4)[k]
        ax.areas([*boxes, _box(start, start + 0.04 * most, -1.05)], facecolor=face, edgecolor=edge, linewidth=0.9)
        ax.text(start + 0.05 * most, -1.05, words, ha="left", va="center", fontsize=8)
    figure.says = says or "; ".join(f"{name}: {full} full points, {half} half, {none} none" for name, (full, half, none) in tasks.items())
    return figure


def _named_rows(ax, rows_of: Mapping[str, object], above: float = 0.0) -> None:
    """Rows counted downwards, named at the left; `above`: room for a key."""
    ax.set_ylim(len(rows_of) - 0.4, -0.6 - above)
    ax.set_yticks(range(len(rows_of)), [name.replace("_", " ") for name in rows_of])
    ax.tick_params(axis="y", length=0)


def _box(start: float, end: float, row: float) -> list[tuple[float, float]]:
    return [(start, row - 0.33), (start, row + 0.33), (end, row + 0.33), (end, row - 0.33)]

"""Every figure of a workbook but the circuit: numbers in, Figure out. What is drawn was computed elsewhere.

Each takes `onto`, a figure that the same call returned before, so that a panel can draw anew into the same frame.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Text

from ..units import show
from .labels import end_labels, place
from .style import BARE, DOTS, INK, PAPER, PENS, PLUM, QUIET, RUST, TINT, Figure, count_in, fit, frame, name_axis, ring, styled
from .traces import two_slopes, waveforms

__all__ = ["compare", "corners", "energy_cycle", "gain", "two_slopes", "waveforms"]

ROUNDING = 1e-9  # a smaller relative error is rounding of the exact solution, whose period closes to about 1e-10


@styled
def gain(
    duty, curves: Mapping[str, np.ndarray], marks: Mapping[str, tuple[float, float]] | None = None, *,
    peaks: Sequence[str] = (), top: float | None = None, onto: Figure | None = None,
) -> Figure:
    """Gain V_out/V_in against duty.

    `duty`: shape (n,). `curves`: a label for each array of gains, shape (n,), nan where there is none. `marks`: a label
    for each point (duty, gain), such as the operating point. The first of several curves is
    drawn broken. `peaks`: labels of curves whose highest point is marked.
    `top`: where the axis ends; by default a little above the highest curve but the first (the lossless one has no end).
    """
    figure, (ax,) = frame([3.3], onto=onto)
    duty = np.asarray(duty, float)
    tallest = [np.nanmax(curve) for curve in list(curves.values())[1:] or list(curves.values())]
    ax.set_xlim(0, 1)
    fit(ax, 0, top or 1.1 * max(tallest), pad=0.0 if top else 0.14)
    ax.set_ylim(bottom=0)
    points, lines, said = [], [], []
    pens = (PENS[1], PENS[0], *PENS[2:]) if len(curves) > 1 else PENS  # a formula is broken, what it is held against is not
    for pen, (label, curve) in zip(pens, curves.items(), strict=False):
        (line,) = ax.plot(duty, curve, **pen.line, label=label)
        at = int(np.nanargmax(curve))
        if label in peaks and at < len(duty) - 1:  # at the last duty it is still climbing
            (dot,) = ax.plot(duty[at], curve[at], pen.marker, color=pen.color, markersize=6)
            points.append((dot, f"{label}:\npeak {show(curve[at])} at D = {show(duty[at])}"))
            said.append(f"{label} has its peak {show(curve[at])} at duty {show(duty[at])}")
        else:
            lines.append((line, label))
    for label, (x, y) in (marks or {}).items():
        dot = ring(ax, x, y)
        points.append((dot, f"{label}\nD = {show(x)}, gain {show(y)}"))
        said.append(f"{label} at duty {show(x)} and gain {show(y)}")
    name_axis(ax.xaxis, "duty $D$")
    name_axis(ax.yaxis, r"gain $V_\mathrm{out}/V_\mathrm{in}$")
    place(ax, points + lines, fontsize=8.5)
    figure.says = f"Gain against duty: {', '.join(curves)}" + "".join(f"; {words}" for words in said)
    return figure


BOLD = {"weight": "bold", "fontsize": 8.5}
PARTS = (("through the coil's field", RUST, "////"), ("straight through", PLUM, ""))


@styled
def energy_cycle(
    shares: Mapping[str, tuple[float, float]], curves: Mapping[str, tuple[np.ndarray, np.ndarray]], *,
    onto: Figure | None = None,
) -> Figure:
    """Energy per cycle, by the way it takes, and the energy in the inductor over the cycle.

    `shares`: for each case (a mode, a converter) the energy in J that passes through the inductor's field and
    that which flows straight through. `curves`: for the same or other cases (time in s, energy in the inductor in J).
    """
    figure, (bars, store) = frame([0.55 * len(shares) + 0.25, 1.9], top=0.45, gap=0.95, shared=False, onto=onto)
    _bars(bars, shares)
    ends = [time[-1] for time, _ in curves.values()]
    store.set_xlim(0, max(ends))
    fit(store, 0, max(np.max(energy) for _, energy in curves.values()), pad=0.12)
    lines = [(store.plot(time, energy, **pen.line, label=label)[0], label)
             for pen, (label, (time, energy)) in zip(PENS, curves.items(), strict=False)]
    store.axhline(0, color=QUIET, linewidth=0.7, zorder=1)
    name_axis(store.xaxis, "time", "s")
    name_axis(store.yaxis, "energy in the inductor", "J")
    place(store, lines, fontsize=8.5)
    figure.says = "Energy per cycle: " + "; ".join(
        f"{case} {show(field, 'J')} through the coil's field, {show(straight, 'J')} straight through"
        for case, (field, straight) in shares.items()
    )
    return figure


def _bars(ax: Axes, shares: Mapping[str, tuple[float, float]]) -> None:
    """One stacked bar a case, named above it, the two parts named in the first."""
    ax.set_ylim(len(shares) - 0.3, -0.75)
    fit(ax, 0, max(sum(parts) for parts in shares.values()), which="x", pad=0.02)
    ax.set_xlim(0, ax.get_xlim()[1])
    ax.spines["left"].set_visible(False)
    ax.set_yticks([])
    for row, (case, parts) in enumerate(shares.items()):
        ax.text(0, row - 0.36, case, ha="left", va="bottom", **BOLD)
        for energy, left, (_, color, hatch) in zip(parts, (0, parts[0]), PARTS, strict=True):
            ax.barh(row, energy, 0.62, left=left, facecolor="white", edgecolor=color, hatch=hatch, linewidth=1.2)
        _write_bar(ax, row, parts)
    name_axis(ax.xaxis, "energy per cycle", "J")


def _write_bar(ax: Axes, row: int, parts: tuple[float, float]) -> None:
    """The two energies in their parts of the bar, in full or as numbers; right of it where not even those fit."""
    full = [f"{show(energy, 'J')} {words}" for energy, (words, _, _) in zip(parts, PARTS, strict=True)]
    short = [show(energy, "J") for energy in parts]
    for wordings in ([full[0], full[1]], [full[0], short[1]], [short[0], full[1]], short):
        texts = [ax.text(left + energy / 2, row, words, ha="center", va="center", color=color, **BOLD)
                 for left, energy, words, (_, color, _) in zip((0, parts[0]), parts, wordings, PARTS, strict=True)]
        if all(_fits(text, energy) for text, energy in zip(texts, parts, strict=True)):
            for text in texts:
                text.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 1.5})
            return
        for text in texts:
            text.remove()
    late = sum(parts) > 0.5 * ax.get_xlim()[1]
    ax.text(0 if late else sum(parts), row - 0.36 if late else row, f"{'   ' * 8 if late else '  '}{', '.join(full)}",
            ha="left", va="bottom" if late else "center", fontsize=8.5)


def _fits(text: Text, width: float) -> bool:
    """Whether a text is narrower than a stretch of its x axis."""
    room = np.ptp(text.axes.transData.transform([(0, 0), (width, 0)])[:, 0])
    return text.get_window_extent(text.figure.canvas.get_renderer()).width + 10 < room


@styled
def compare(
    x, formula, exact, bound, holds, *, along: tuple[str, str], of: tuple[str, str], logarithmic: bool = False,
    here: float | None = None, why: str = "", onto: Figure | None = None,
) -> Figure:
    """A formula against the exact solution along one parameter.

    `x`, `formula`, `exact`: shape (n,), SI units. `bound`: the promised relative error, shape (n,) for an error
    on either side, or a pair (lowest, highest) of such arrays; nan where nothing is promised. `holds`: bool, shape
    (n,). `along`, `of`: what stands on the two axes, as (text, unit). `here`: one of `x`, marked and told in words;
    `why`: the reason why the formula does not hold there, if there is more to say. Where it is nan it has no value.
    Below, the error in per cent of the exact value; what is only rounding of the exact solution is drawn as zero.
    """
    x, formula, exact, holds = np.asarray(x, float), np.asarray(formula), np.asarray(exact), np.asarray(holds, bool)
    if not np.isfinite(exact).any():
        raise ValueError(f"{of[0]} has no exact value anywhere from {show(x.min(), along[1])} to {show(x.max(), along[1])}")
    error = _beyond_rounding((formula - exact) / exact)
    low, high = bound if isinstance(bound, tuple) else (-np.asarray(bound, float), np.asarray(bound, float))
    low, high = np.broadcast_to(low, x.shape), np.broadcast_to(high, x.shape)
    figure, (upper, lower) = frame([2.0, 1.3], top=0.6, onto=onto)
    for ax in (upper, lower):
        count_in(ax, "x", logarithmic)
        ax.set_xlim(x.min(), x.max())
    both = np.concatenate([formula, exact])
    fit(upper, np.nanmin(both), np.nanmax(both), pad=0.15)
    _error_limits(lower, error, low, high, holds)
    for ax in (upper, lower):
        _shade_where_not(ax, x, holds)
    lines = [(upper.plot(x, exact, **PENS[0].line, label="exact")[0], "exact"),
             (upper.plot(x, formula, **PENS[1].line, label="formula")[0], "formula")]
    lower.fill_between(x, low, high, where=holds, facecolor=TINT["closed"], edgecolor="none", zorder=0.6)
    lower.axhline(0, color=QUIET, linewidth=0.8, zorder=1)
    lower.plot(x, error, **PENS[1].line, label="error")
    name_axis(lower.xaxis, *along)
    name_axis(upper.yaxis, *of)
    name_axis(lower.yaxis, "error of the formula (band: promised)", "%")
    at = None if here is None else int(np.argmin(np.abs(x - here)))
    if at is not None:
        _mark(upper, x[at], exact[at], formula[at])
        _mark(lower, x[at], error[at])
        _write_here(upper, x[at], (exact[at], formula[at]))
    place(upper, [(line, words) for line, words in lines if np.isfinite(line.get_ydata()).any()])
    worst = np.nanmax(np.abs(error[holds])) if np.isfinite(error[holds]).any() else np.nan
    where = f"worst error where it holds {show(worst, '%')}" if np.isfinite(worst) else "it holds nowhere here"
    figure.says = f"{of[0]} along {along[0]}, {show(x.min(), along[1])} to {show(x.max(), along[1])}: {where}"
    if at is not None:
        promise = max(-low[at], high[at]) if holds[at] else None
        figure.says = f"{along[0]} {show(x[at], along[1])}: {_told(formula[at], exact[at], promise, of[1], why)}. {figure.says}"
    return figure


def _beyond_rounding(error) -> np.ndarray:
    """An error, zero where it is only rounding."""
    return np.where(np.abs(error) < ROUNDING, 0.0, error)


def _mark(ax: Axes, x: float, *heights: float) -> None:
    """An upright line at x with a ring at each height."""
    ax.plot([x] * 2, ax.get_ylim(), color=INK, linewidth=0.8, zorder=1.2)
    ring(ax, [x] * len(heights), heights)


def _write_here(ax: Axes, x: float, heights: Sequence[float]) -> None:
    """The word beside the marked line, at its foot or near its head, away from the rings."""
    dots = ax.transData.transform([(x, height) for height in heights if np.isfinite(height)] or [(x, 1.0)])
    across, up = ax.transAxes.inverted().transform(dots).T
    late = across[0] > 0.9
    foot_or_head = max((0.06, 0.8), key=lambda spot: np.min(np.abs(up - spot - 0.05)))
    ax.text(across[0] + (-0.01 if late else 0.01), foot_or_head, "here", transform=ax.transAxes, fontsize=8.5,
            ha="right" if late else "left", bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1, "alpha": 0.8})


def _told(formula: float, exact: float, promise: float | None, unit: str, why: str) -> str:
    """Formula, exact value, error and promise at one point, in words. `promise`: None where the formula does not hold."""
    if not np.isfinite(exact):
        return "the exact solution has no value here"
    if not np.isfinite(formula):
        return f"the formula has no value here, exact {show(exact, unit)}; does not hold here"
    error = show(_beyond_rounding((formula - exact) / exact).item(), "%").replace("-", "−")
    kept = f"does not hold here{why and ': '}{why}" if promise is None else "holds, " + (
        f"promised within {show(promise, '%')}" if np.isfinite(promise) else "no bound promised")
    return f"formula {show(formula, unit)}, exact {show(exact, unit)}, error {error}; {kept}"


def _error_limits(ax: Axes, error, low, high, holds) -> None:
    """Room for the promise and for the error where it holds, and twice that for what lies beyond."""
    seen = holds if holds.any() else np.ones_like(holds)
    kept = np.concatenate([error[seen], low[seen], high[seen], [-1e-4, 1e-4]])
    kept = kept[np.isfinite(kept)]
    span = 2 * np.ptp(kept)
    far = np.append(error[np.isfinite(error)], 0.0)
    fit(ax, max(kept.min() - span, min(kept.min(), far.min())), min(kept.max() + span, max(kept.max(), far.max())))


def _shade_where_not(ax: Axes, x, holds) -> None:
    """Dotted grey where the formula makes no promise, with a word above the upper row."""
    change = np.flatnonzero(np.diff(holds.astype(int)))
    ends = [x[0], *(x[i] if holds[i] else x[i + 1] for i in change), x[-1]]  # up to the last point where it does
    found = list(pairwise(ends))[int(holds[0]) :: 2]
    boxes = [[(start, 0), (end, 0), (end, 1), (start, 1)] for start, end in found]
    ax.areas(boxes, across=True, facecolor=BARE, edgecolor=DOTS, hatch="..", linewidth=0, zorder=0)
    inner = sorted({t for stretch in found for t in stretch if x[0] < t < x[-1]})
    ax.strokes([[(t, low) for low in ax.get_ylim()] for t in inner], colors=QUIET, linewidths=0.9, zorder=1)
    if ax is ax.figure.axes[0]:
        for start, end in found:
            _write_region(ax, start, end, "does not hold")


def _write_region(ax: Axes, start: float, end: float, words: str) -> None:
    """A word at the top of a stretch of the x axis, upright if the stretch is narrow, left out if it is a sliver."""
    low, high = ax.transData.transform([(start, 0), (end, 0)])[:, 0]
    text = ax.text((low + high - 2 * ax.bbox.x0) / 2 / ax.bbox.width, 0.97, words, transform=ax.transAxes, ha="center",
                   va="top", fontsize=8, bbox={"facecolor": BARE, "edgecolor": "none", "pad": 1})
    size = text.get_window_extent(ax.figure.canvas.get_renderer())
    if size.width + 6 > high - low:
        text.set_rotation(90)
        text.set_visible(size.height + 4 < high - low)


NAMES = {
    "efficiency": ("efficiency", "%"),
    "efficiency_conduction": ("efficiency, conduction losses only", "%"),
    "ripple_voltage": ("output ripple, peak to peak", "V"),
    "inductor_peak": ("inductor peak current", "A"),
    "duty": ("duty", ""),
}


@styled
def corners(
    rows: Sequence[Mapping[str, float]], quantities: Sequence[str] = ("efficiency", "ripple_voltage"), *,
    limits: Mapping[str, tuple[float, tuple[float, float] | None]] | None = None, onto: Figure | None = None,
) -> Figure:
    """A design at its corners: a row of points for each source voltage, along the load currents.

    `rows`: one mapping a corner with `v_in`, `i_out` and the `quantities` (keys of `corners` in design.json). `limits`:
    for a quantity its limit and the one corner (v_in, i_out) to which it applies, or None if it applies to all.
    """
    figure, axes = frame([1.6] * len(quantities), gap=0.5, right=1.0, onto=onto)
    loads = sorted({row["i_out"] for row in rows})
    for ax, name in zip(axes, quantities, strict=True):
        limit, corner = (limits or {}).get(name, (None, None))
        _corner_row(ax, rows, name, loads, limit)
        if corner is not None:
            value = next(row[name] for row in rows if (row["v_in"], row["i_out"]) == tuple(corner))
            ax.plot(loads.index(corner[1]), value, "o", markersize=13, color=INK, markerfacecolor="none", zorder=4)
        ax.set_xticks(range(len(loads)), [show(load, "A") for load in loads])
        name_axis(ax.yaxis, *NAMES[name])
    axes[-1].set_xlabel("load current", ha="right", x=1.0)
    figure.says = f"{len(rows)} corners: " + "; ".join(
        f"{NAMES[q][0]} {_show(min(r[q] for r in rows), q)} to {_show(max(r[q] for r in rows), q)}" for q in quantities
    )
    return figure


def _show(value: float, quantity: str) -> str:
    return show(value, NAMES[quantity][1])


def _corner_row(ax: Axes, rows, name: str, loads: list[float], limit: float | None) -> None:
    """One quantity: a line for each source voltage, named at its right end, and the limit."""
    values = [row[name] for row in rows] + ([] if limit is None else [limit])
    fit(ax, min(values), max(values), pad=0.15)
    ax.set_xlim(-0.25, len(loads) - 0.75)
    ends = []
    for pen, v_in in zip(PENS, sorted({row["v_in"] for row in rows}), strict=False):
        points = sorted((loads.index(row["i_out"]), row[name]) for row in rows if row["v_in"] == v_in)
        ax.plot(*zip(*points, strict=True), **pen.line, marker=pen.marker, markersize=5, label=show(v_in, "V"))
        ends.append((points[-1], f"from {show(v_in, 'V')}", pen.color))
    end_labels(ax, ends, fontsize=8.5)
    if limit is not None:
        across = [-0.25, len(loads) - 1]
        (line,) = ax.plot(across, [limit] * 2, color=INK, linewidth=1.0, linestyle=(0, (8, 3)), zorder=1)
        place(ax, [(line, f"limit {_show(limit, name)}")], fontsize=8.5)

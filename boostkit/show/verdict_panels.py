"""What meters know of the losses, and which differences decide anything.

    powers(v_in, i_in, v_out, i_out, accuracy)   four readings of meters of equal accuracy
    losses_known(powers, needed)      how well the losses are known, along the accuracy of the meters
    meters(v_in, v_out, ...)          panel: the same while accuracy and efficiency are moved
    compared(rows)                    the comparisons of a table that are numbers
    decisions(compared, most)         each as a point: agrees, differs or cannot tell
    deciding(compared, most)          panel: the same while tolerance and uncertainty are moved
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.ticker import NullLocator

from ..bench.compare import TOLERANCE, Row
from ..bench.deciding import AGREES, CANNOT_TELL, DIFFERS, decided
from ..bench.efficiency import efficiency
from ..bench.uncertain import expanded, factor, show_with
from ..units import show
from .curves import WORDS
from .labels import place
from .live import Panel, Slider
from .style import BLUE, DOTS, INK, PAPER, PLUM, RUST, TINT, Figure, count_in, fit, frame, name_axis, ring, styled

# --- what meters know of losses ---

ACCURACIES = 1e-4, 0.05
WHISKER = {"linewidth": 2.2}


@dataclass(frozen=True)
class Powers:
    """Powers of meters of equal accuracy: `accuracy`, limit of error of each reading as a share; uncertain `into`, `out`, `lost` (W) and
    `share`, the efficiency."""

    accuracy: float
    into: object
    out: object
    lost: object
    share: object


def powers(v_in: float, i_in: float, v_out: float, i_out: float, accuracy: float) -> Powers:
    """Four readings (V, A), each within `accuracy` of itself."""
    given = {"v_in": v_in, "i_in": i_in, "v_out": v_out, "i_out": i_out}
    found = efficiency({name: value * factor(accuracy, f"meter for {name}") for name, value in given.items()})
    return Powers(accuracy, found.input_power, found.output_power, found.losses, found.efficiency)


@styled
def losses_known(found: Powers, needed: float | None = None, *, onto: Figure | None = None) -> Figure:
    """Above, input power, output power and losses with their expanded uncertainty (k = 2), each as a share of the input power; below, the
    expanded uncertainty of efficiency and losses, each relative to itself, along the accuracy of the meters. `needed`: an efficiency
    that is asked for: the losses that it allows are marked."""
    figure, (bars, lines) = frame([1.0, 1.5], left=1.0, gap=0.75, shared=False, onto=onto)
    _powers(bars, found, needed)
    _accuracies(lines, found)
    figure.says = (f"meters within {show(found.accuracy, '%')}: efficiency {show_with(found.share, '%')}, known within "
                   f"{show(expanded(found.share), '%', 2)}; losses {show_with(found.lost, 'W')}, known within "
                   f"{show(expanded(found.lost) / abs(found.lost.n), '%', 2)} of themselves{_proven(found, needed)}")  # fmt: skip
    return figure


def _proven(found: Powers, needed: float | None) -> str:
    if needed is None:
        return ""
    low, high = (found.share.n + sign * expanded(found.share) for sign in (-1, 1))
    verdict = "is reached" if low >= needed else "is missed" if high < needed else "cannot be told"
    return f"; whether {show(needed, '%')} are reached {verdict}" if verdict == "cannot be told" else f"; {show(needed, '%')} {verdict}"


def _powers(ax, found: Powers, needed: float | None) -> None:
    whole = found.into.n
    shown = {"input": found.into / whole, "output": found.out / whole, "losses": 1 - found.share}
    if ax.get_ylim() != (2.6, -0.6):
        ax.set_ylim(2.6, -0.6)
        ax.set_yticks(range(3), list(shown))
        ax.tick_params(axis="y", length=0)
        ax.set_xlim(-0.15, 1.3)
    name_axis(ax.xaxis, "power with its expanded uncertainty, as a share of the input power", "%")
    ax.areas([_bar(value.n, row) for row, value in enumerate(shown.values())], facecolor=DOTS, edgecolor="none")
    ends = [(value.n - expanded(value), value.n + expanded(value)) for value in shown.values()]
    ax.strokes([[(low, row), (high, row)] for row, (low, high) in enumerate(ends)], color=RUST, **WHISKER)
    ax.strokes([[(end, row - 0.25), (end, row + 0.25)] for row, pair in enumerate(ends) for end in pair], color=RUST, linewidth=1.4)
    if needed is not None:
        ax.plot([1 - needed] * 2, [1.55, 2.55], color=INK, linewidth=1.2)
        ax.text(max(1 - needed, ends[2][1]) + 0.02, 2, f"allowed {show(1 - needed, '%')}", ha="left", va="center", fontsize=8)


def _bar(size: float, row: float) -> list[tuple[float, float]]:
    return [(0, row - 0.3), (0, row + 0.3), (size, row + 0.3), (size, row - 0.3)]


def _accuracies(ax, found: Powers) -> None:
    """Both grow in proportion to the accuracy, so one point of each tells the line."""
    for which in "xy":
        count_in(ax, which, True)
    ends = np.array(ACCURACIES)
    fit(ax, *ACCURACIES, which="x", pad=0.0)
    fit(ax, 1e-4, 10.0, pad=0.0)
    now = {"losses": (expanded(found.lost) / abs(found.lost.n), RUST), "efficiency": (expanded(found.share) / found.share.n, BLUE)}
    wanted = [(ax.plot(ends, size * ends / found.accuracy, color=color)[0], words) for words, (size, color) in now.items()]
    wanted.append((ax.plot(ends, [1, 1], color=INK, linewidth=1.0, linestyle=(0, (8, 3)))[0], "as uncertain as large"))
    for size, _ in now.values():
        ring(ax, found.accuracy, size)
    name_axis(ax.xaxis, "limit of error of each meter", "%")
    name_axis(ax.yaxis, "expanded uncertainty, relative", "%")
    place(ax, wanted, **WORDS)


def meters(v_in: float, v_out: float, i_out: float, share: float, accuracy: float, needed: float | None = None) -> Panel:
    """The same while the accuracy of the meters and the efficiency are moved; V, A and shares."""

    def compute(accuracy, share):
        return powers(v_in, v_out * i_out / (share * v_in), v_out, i_out, accuracy)

    sliders = [Slider("accuracy", "limit of error of each meter", "%", 2e-4, 0.03, accuracy, logarithmic=True),
               Slider("share", "efficiency", "%", 0.5, 0.995, share, steps=200)]  # fmt: skip
    return Panel(compute, lambda found, onto: losses_known(found, needed, onto=onto), sliders)


# --- what decides ---

LOW, HIGH = 1e-5, 1.0  # of the predicted value: the picture's ends
KINDS = {AGREES: ("o", BLUE), DIFFERS: ("x", RUST), CANNOT_TELL: ("s", PLUM)}


@dataclass(frozen=True)
class Compared:
    """One comparison: difference and expanded uncertainty (k = 2) as shares of the predicted value."""

    name: str
    difference: float
    wide: float


def compared(rows: Sequence[Row]) -> tuple[Compared, ...]:
    """The comparisons of a table that are numbers, rms values left out: they say much the same as the mean."""
    found = []
    for row in rows:
        if row.verdict.difference is not None and not row.name.endswith(".rms"):
            size = row.verdict.most / TOLERANCE if row.verdict.most else abs(row.predicted)
            found.append(Compared(row.name, abs(row.verdict.difference.n) / size, row.verdict.expanded / size))
    return tuple(found)


@styled
def decisions(found: Sequence[Compared], most: float = TOLERANCE, *, onto: Figure | None = None) -> Figure:
    """Each comparison as a point: across its expanded uncertainty, upwards its difference, both as shares. On the slant both are equal:
    above it the two differ. Below it they agree left of the upright, and right of that nothing can be told."""
    figure, (ax,) = frame([2.6], onto=onto)
    _decades(ax)
    kinds = {c.name: decided(c.difference, c.wide, most) for c in found}
    ax.areas([[(LOW, LOW), (LOW, LOW), (most, most), (most, LOW)]], facecolor=TINT["closed"], edgecolor="none", zorder=0)
    ax.areas([[(most, LOW), (most, most), (HIGH, HIGH), (HIGH, LOW)]], facecolor=TINT["idle"], edgecolor="none", zorder=0)
    ax.plot([LOW, HIGH], [LOW, HIGH], color=INK, linewidth=1.0)
    wanted = []
    for c in found:
        marker, color = KINDS[kinds[c.name]]
        at = np.clip([c.wide, c.difference], 1.3 * LOW, HIGH / 1.3)
        wanted.append((ax.plot(*at, color=color, marker=marker, markersize=5, markeredgewidth=1.4, markerfacecolor=PAPER)[0], c.name))
    for x, y, words in ((1.5 * LOW, HIGH / 2, "differs"), (most / 1.3, 1.25 * LOW, "agrees"), (HIGH / 1.3, 1.25 * LOW, "cannot tell")):
        ax.text(x, y, words, ha="left" if words == "differs" else "right", va="bottom", fontsize=9, weight="bold")
    name_axis(ax.xaxis, "expanded uncertainty, of the predicted value", "%")
    name_axis(ax.yaxis, "difference, of the predicted value", "%")
    place(ax, wanted, fontsize=7.5)
    figure.says = f"tolerance {show(most, '%')}: " + "; ".join(
        f"{kind}: {', '.join(name for name, its in kinds.items() if its == kind) or 'none'}" for kind in KINDS)
    return figure


def _decades(ax) -> None:
    """Both axes in decades, once: a panel keeps them."""
    if ax.get_xlim() == (LOW, HIGH):
        return
    for which, axis in (("x", ax.xaxis), ("y", ax.yaxis)):
        count_in(ax, which, True)
        axis.set_minor_locator(NullLocator())
    ax.set_xlim(LOW, HIGH)
    ax.set_ylim(LOW, HIGH)


def deciding(found: Sequence[Compared], most: float = TOLERANCE) -> Panel:
    """The same while the tolerance is moved, and the instrument's uncertainty made a multiple of what it is."""

    def compute(most, times):
        return [Compared(c.name, c.difference, times * c.wide) for c in found], most

    sliders = [Slider("most", "tolerance", "%", 0.001, 0.5, most, logarithmic=True),
               Slider("times", "uncertainty, in times what it is", "", 0.1, 30, 1.0, logarithmic=True)]  # fmt: skip
    return Panel(compute, lambda numbers, onto: decisions(*numbers, onto=onto), sliders)


"""A finished design: what is left of a capacitor in service, and how many units of a lot keep a limit, on paper and under sliders.

    remains(bank, voltage, temperature, years)   capacitance of a bank against direct voltage, new and at its worst
    derating(bank, voltage, ambient)             panel: the same while voltage, temperature and age are moved
    keeping(outcome, limits)                     the share of units that would keep each of these limits
    yields(outcome, limit, worst)                that share against the limit
    stricter(outcome, worst)                     panel: the same while the limit is moved
"""

from __future__ import annotations

import numpy as np

from ..design.tolerance import Outcome
from ..parts import capacitor_types
from ..parts.capacitor_choice import AGE, Bank
from ..parts.kinds import REFERENCE
from ..units import guard, show
from .curves import curves
from .live import Panel, Slider
from .style import Figure, styled

POINTS = 240  # along a curve
YEAR = 8760.0  # h
ROOM = 0.05  # of the width, beside the outermost unit

# --- what is left of a capacitor ---


@styled
def remains(bank: Bank, voltage: float, temperature: float, years: float = AGE / YEAR, *, onto: Figure | None = None) -> Figure:
    """A bank's capacitance against direct voltage: a usual piece, new and at 25 °C, and one at the low end of its tolerance at
    `temperature` (°C) and of this age; rings at `voltage` (V, at most the rated one)."""
    guard("voltage", voltage, 0, bank.voltage_limit, unit="V", why="the rated voltage of the bank")
    a_type, marked = capacitor_types.of(bank.kind), bank.count * bank.capacitance
    volts = np.unique(np.append(np.linspace(0.0, bank.voltage_limit, POINTS), voltage))
    here = int(np.searchsorted(volts, voltage))
    new = marked * a_type.capacitance_left(volts / bank.voltage_limit)
    worst = marked * (1 - a_type.tolerance) * a_type.capacitance_left(volts / bank.voltage_limit, temperature, years * YEAR)
    says = (f"{show(marked, 'F')} marked; at {show(voltage, 'V')} {show(new[here], 'F')} new and at {show(REFERENCE, '°C')}, "
            f"{show(worst[here], 'F')} ({show(worst[here] / marked, '%')} of the mark) for a piece at the low end of its tolerance at "
            f"{show(temperature, '°C')} after {show(years)} years")  # fmt: skip
    marks = {show(new[here], "F"): (voltage, new[here]), show(worst[here], "F"): (voltage, worst[here])}
    return curves(volts, {"new": new, "cold or hot, and old": worst}, along=("direct voltage", "V"), of=("capacitance", "F"),
                  marks=marks, level={"as marked": marked}, bottom=0.0, top=1.15 * marked, height=2.6, says=says, onto=onto)  # fmt: skip


def derating(bank: Bank, voltage: float, ambient: tuple[float, float]) -> Panel:
    """What is left of a bank while voltage, temperature and age are moved. `voltage`: where it works, V; `ambient`: coldest and
    hottest, °C; the panel starts at whichever of the two leaves less, and at ten years."""
    a_type = capacitor_types.of(bank.kind)
    low, high = a_type.limits
    start = min(ambient, key=lambda t: float(a_type.capacitance_left(voltage / bank.voltage_limit, t)))
    sliders = [
        Slider("voltage", "direct voltage", "V", 0.0, bank.voltage_limit, voltage),
        Slider("temperature", "temperature", "°C", low, high, start),
        Slider("years", "age in years", "", 0.2, 2 * AGE / YEAR, AGE / YEAR, logarithmic=True),
    ]

    return Panel(dict, lambda values, onto: remains(bank, **values, onto=onto), sliders)


# --- how many units keep a limit ---


def keeping(outcome: Outcome, limits) -> np.ndarray:
    """The share of units that would keep each of these limits (shape (n,), the unit of the demand); a unit that did not reach its
    output keeps none."""
    values = np.sort(outcome.values[np.isfinite(outcome.values)])
    if outcome.demand.least:
        kept = len(values) - np.searchsorted(values, limits, side="left")
    else:
        kept = np.searchsorted(values, limits, side="right")
    return np.asarray(kept) / len(outcome.values)


@styled
def yields(outcome: Outcome, limit: float | None = None, worst: float | None = None, *, onto: Figure | None = None) -> Figure:
    """The share of units that keep a limit, against that limit. `limit`: the one to mark, by default the demand's own; `worst`: what
    the worst case of all parts together comes to. Raises ValueError where no unit reached its output."""
    demand, limit = outcome.demand, outcome.demand.limit if limit is None else limit
    low, high = _ends(outcome, demand.limit, limit, worst)
    at = np.linspace(low, high, POINTS)
    ways, marks, words = {"": keeping(outcome, at)}, {}, ""
    if limit is not None:
        share = float(keeping(outcome, [limit])[0])
        ways[f"limit {show(limit, demand.unit)}"] = (np.full(2, limit), np.array([0.0, 1.0]))
        marks[f"{show(share, '%')} keep it"] = (limit, share)
        words = f"; {show(share, '%')} of the units keep {'at least' if demand.least else 'at most'} {show(limit, demand.unit)}"
    if worst is not None:
        marks["all parts at their worst"] = (worst, float(keeping(outcome, [worst])[0]))
        words += f"; with every part at its worst {show(worst, demand.unit)}"
    return curves(at, ways, along=(f"limit on the {demand.name}", demand.unit), of=("share of units that keep it", "%"), marks=marks,
                  bottom=-0.05, top=1.15, height=2.4, says=_lot(outcome) + words, onto=onto)  # fmt: skip


def _lot(outcome: Outcome) -> str:
    """The lot in words."""
    found, unit = outcome.values[np.isfinite(outcome.values)], outcome.demand.unit
    return (f"{len(outcome.values)} units: {outcome.demand.name} from {show(found.min(), unit)} to {show(found.max(), unit)}, half of them "
            f"below {show(float(np.median(found)), unit)}")  # fmt: skip


def _ends(outcome: Outcome, *also: float | None) -> tuple[float, float]:
    """Where the axis begins and ends: around all units and whatever else is marked."""
    found = outcome.values[np.isfinite(outcome.values)]
    if not found.size:
        raise ValueError(f"{outcome.demand.name}: no unit of {len(outcome.values)} reached its output, so there is nothing to draw")
    places = [found.min(), found.max(), *(place for place in also if place is not None)]
    room = ROOM * (max(places) - min(places)) or ROOM * abs(places[0])
    return min(places) - room, max(places) + room


def stricter(outcome: Outcome, worst: float | None = None) -> Panel:
    """How many units keep a limit while the limit is moved; it starts at the demand's own, or at the middle unit where none is
    demanded."""
    start = outcome.demand.limit
    low, high = _ends(outcome, start, worst)
    if start is None:
        start = float(np.median(outcome.values[np.isfinite(outcome.values)]))
    slider = Slider("limit", f"limit on the {outcome.demand.name}", outcome.demand.unit, low, high, start, steps=200)
    return Panel(lambda limit: limit, lambda limit, onto: yields(outcome, limit, worst, onto=onto), [slider])

"""Capacitors for the output, the input and the reserve: how many of which type, with what is left of them in service.

A capacitor chosen by its marked capacitance alone disappoints: direct voltage, cold and age take their part, and its series
resistance makes ripple and heat. Here every demand is held against the worst the ambient range can do, and the smallest
bank of each type is found.

Safety: banks hold energy. Bleed them through a resistor and measure before touching; a bank above 60 V can kill. Mount
electrolytic capacitors the right way round and leave room above the vent. Local codes and licensed practice come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from math import inf

import numpy as np

from ..units import guard, preferred, show
from . import capacitor_types, kinds
from .capacitor_types import Type

AGE = 87_600.0  # h, ten years: the age for which capacitance is reckoned
LARGEST_COUNT = 40  # pieces in one bank; more is another design
RATINGS = tuple(b * 10.0**k for k in range(3) for b in (1.0, 1.6, 2.5, 4.0, 6.3))  # V, series R5 of ISO 3 (from memory)
LARGEST_MARKED = 0.1  # F
ROLES = {
    "output": "holds the load up while the switch is closed, and takes the rectifier's pulses",
    "input": "takes the ripple of the coil current off the source and its leads",
    "bulk": "feeds bursts that the source is too slow for; give the frequency of the bursts as f_sw",
}


@dataclass(frozen=True)
class Bank:
    """`count` equal pieces in parallel.

    capacitance: one piece as marked, F. voltage_limit V. usual: of the bank at its voltage and 25 °C, new, F. effective: what
    is left at the worst of tolerance, voltage, temperature and age, F. esr: of the bank in the coldest ambient, Ω.
    temperature_rise: by ripple, in the hottest ambient, K. volume m³. life: hours at the hottest ambient (inf: no wear).
    """

    role: str
    kind: str
    capacitance: float
    voltage_limit: float
    count: int
    usual: float
    effective: float
    esr: float
    temperature_rise: float
    volume: float
    life: float
    why: tuple[str, ...]
    piece: kinds.Capacitor

    def part(self) -> kinds.Capacitor:
        """The whole bank as one capacitor: as marked, at 100 kHz and 20 °C."""
        one, n = self.piece, self.count
        name = one.name if n == 1 else f"{n} × {one.name}"
        heat = kinds.Heat(one.heat.resistance / n, one.heat.limit)
        return kinds.Capacitor(name, one.kind, n * one.capacitance, one.voltage_limit, one.series_resistance / n,
                               n * one.ripple_current, heat, one.invented)  # fmt: skip


@dataclass(frozen=True)
class Demand:
    """What a bank must do; fields as in `choose`."""

    role: str
    needed: float
    voltage: float
    ripple_rms: float
    f_sw: float
    ambient: tuple[float, float]
    esr_limit: float
    rated: float = 0.0

    def __post_init__(self):
        if self.role not in ROLES:
            raise ValueError(f"role = {self.role!r} must be one of {', '.join(ROLES)}: each is a place in the circuit")
        for name, unit in (("needed", "F"), ("voltage", "V"), ("f_sw", "Hz")):
            guard(name, getattr(self, name), 0, unit=unit, open_low=True)
        guard("ripple_rms", self.ripple_rms, 0, unit="A")
        guard("ambient", self.ambient[0], -273.15, self.ambient[1], unit="°C", why="coldest first, then hottest")
        if self.esr_limit != inf:
            guard("esr_limit", self.esr_limit, 0, unit="Ω", open_low=True)


def choose(role, needed, voltage, ripple_rms, f_sw, ambient=(-10.0, 45.0), esr_limit=None, kinds=kinds.TYPES,
           rated=0.0) -> tuple[Bank, ...]:  # fmt: skip
    """The smallest bank of each type that does what is asked, smallest first.

    Args: `role`, "output", "input" or "bulk"; `needed`, the capacitance that must be left at the worst, F; `voltage`, the
    highest direct voltage, V; `ripple_rms`, A; `f_sw`, Hz; `ambient`, coldest and hottest, °C; `esr_limit`, Ω, None for no
    limit; `kinds`, names of shipped types or Types of one's own; `rated`, V that a piece's rated voltage lies above in any case.
    Errors: ValueError where no type does it, saying why for each.
    """
    banks, refused = weigh(role, needed, voltage, ripple_rms, f_sw, ambient, esr_limit, kinds, rated)
    if not banks:
        raise ValueError("no type of capacitor will do: " + "; ".join(f"{kind}: {why}" for kind, why in refused.items()))
    return banks


def weigh(role, needed, voltage, ripple_rms, f_sw, ambient=(-10.0, 45.0), esr_limit=None,
          kinds=kinds.TYPES, rated=0.0) -> tuple[tuple[Bank, ...], dict[str, str]]:  # fmt: skip
    """As `choose`, with the reason why each other type was refused, and without an error where all were."""
    demand = Demand(role, needed, voltage, ripple_rms, f_sw, tuple(ambient), inf if esr_limit is None else esr_limit, rated)
    banks, refused = [], {}
    for kind in kinds:
        a_type = kind if isinstance(kind, Type) else capacitor_types.of(kind)
        found = _best(a_type, demand)
        if isinstance(found, str):
            refused[a_type.kind] = found
        else:
            banks.append(found)
    return tuple(sorted(banks, key=lambda bank: bank.volume)), refused


def preferred_between(low: float, high: float, series: str) -> list[float]:
    """The preferred values of a series of IEC 60063 ("E6", "E12", ...) from `low` up to `high`."""
    values = [preferred(low, series, "up")]
    while (following := preferred(values[-1] * 1.001, series, "up")) <= high:
        values.append(following)
    return values


def worst_left(a_type: Type, share, coldest: float, hottest: float):
    """The share of its marked capacitance that a piece has left at the worst: tolerance, ten years, and any temperature between
    the two (°C) inside it. share: of its rated voltage, a number or an array; the result is of its shape."""
    return (1 - a_type.tolerance) * a_type.capacitance_left(share, a_type.temperature.lowest(coldest, hottest), AGE)


@cache
def _pieces(a_type: Type) -> tuple[np.ndarray, ...]:
    """Every piece of a type that can be bought, as marked: capacitance, rated voltage, and what follows from these two."""
    sizes = preferred_between(a_type.smallest, LARGEST_MARKED, "E6")
    c, v = (grid.ravel() for grid in np.meshgrid(sizes, RATINGS))
    there = c * v**2 <= a_type.largest_energy
    c, v = c[there], v[there]
    return c, v, a_type.volume(c, v), a_type.heat_resistance(c, v)


@lru_cache(maxsize=64)
def _fitting(a_type: Type, voltage: float, rated: float, ambient: tuple[float, float]) -> tuple[np.ndarray, ...]:
    """The pieces that bear a voltage, and the worst share of their marked capacitance over ambient, own heat, age and tolerance.
    Kept, since a sweep asks for one voltage and ambient again and again."""
    columns = _pieces(a_type)
    bear = (columns[1] * a_type.largest_share >= voltage * (1 - 1e-12)) & (columns[1] > rated)
    c, v, volume, heat = (column[bear] for column in columns)
    return c, v, volume, heat, worst_left(a_type, voltage / v, ambient[0], ambient[1] + a_type.rise) if c.size else c


def _best(a_type: Type, demand: Demand) -> Bank | str:
    """The smallest bank of one type, or why there is none."""
    cold, hot = demand.ambient
    coldest, hottest = a_type.limits
    if cold < coldest or hot + a_type.rise > hottest:
        return f"bears {show(coldest, '°C')} to {show(hottest, '°C')}, its own heat of {show(a_type.rise, 'K')} included"
    c, v, volume, heat, left = _fitting(a_type, demand.voltage, demand.rated, demand.ambient)
    if not c.size:
        above = f" and rated above {show(demand.rated, 'V')}" if demand.rated else ""
        return f"none is made for {show(demand.voltage, 'V')} at {show(a_type.largest_share, '%')} of its rated voltage{above}"
    esr_cold, esr_hot = (a_type.esr(demand.f_sw, t, c, v) for t in (cold, hot))
    needs = np.array([demand.needed / (c * left), esr_cold / demand.esr_limit,
                      demand.ripple_rms * np.sqrt(esr_hot * heat / a_type.rise)])  # fmt: skip
    counts = np.maximum(np.ceil(needs.max(axis=0) - 1e-9), 1)
    room = np.where(counts <= LARGEST_COUNT, counts * volume, inf)
    k = int(np.argmin(room))
    if room[k] == inf:
        return f"more than {LARGEST_COUNT} pieces, for {_drivers(needs[:, int(np.argmin(counts))])}"
    return _bank(a_type, demand, float(c[k]), float(v[k]), int(counts[k]), float(left[k]), needs[:, k])


def _bank(a_type: Type, demand: Demand, c: float, v: float, count: int, left: float, needs) -> Bank:
    cold, hot = demand.ambient
    rise = float(a_type.ripple_rise(demand.ripple_rms / count, demand.f_sw, hot, c, v))
    usual = count * c * float(a_type.capacitance_left(demand.voltage / v))
    piece = _piece(a_type, c, v)
    why = (
        f"{show(count * c, 'F')} marked, {show(usual, 'F')} at {show(demand.voltage, 'V')}, "
        f"{show(count * c * left, 'F')} at the worst of tolerance, temperature and ten years",
        f"the count is set by {_drivers(needs)}",
        *_cautions(a_type, demand, hot + rise),
    )
    return Bank(demand.role, a_type.kind, c, v, count, usual, count * c * left,
                float(a_type.esr(demand.f_sw, cold, c, v)) / count, rise, count * float(a_type.volume(c, v)),
                a_type.life(hot + rise), why, piece)  # fmt: skip


def _piece(a_type: Type, c: float, v: float) -> kinds.Capacitor:
    heat = kinds.Heat(float(a_type.heat_resistance(c, v)), a_type.limits[1])
    name = f"{a_type.kind} {show(c, 'F')} {show(v, 'V')}"
    return kinds.Capacitor(name, a_type.kind, c, v, float(a_type.esr(1e5, 20.0, c, v)), float(a_type.ripple_limit(c, v)), heat,
                           invented=True)  # fmt: skip


def _drivers(needs) -> str:
    """Which demand asks for the most pieces, in words."""
    return ("capacitance", "series resistance in the cold", "heat by ripple in the heat")[int(np.argmax(needs))]


def _cautions(a_type: Type, demand: Demand, inside: float) -> tuple[str, ...]:
    """For a type that wears out, which is the polarised one: how long it lives, and what reversal does to it."""
    if not a_type.hours:
        return ()
    reversal = "" if demand.role == "output" else ", and so does a source connected the wrong way round"
    return (f"always at its hottest it lives about {a_type.life(inside) / 8760:.3g} years",
            f"mind the polarity: fitted the wrong way round it boils and vents{reversal}")  # fmt: skip

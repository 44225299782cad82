"""A coil whose current is interrupted, exactly: what takes the current over decides the voltage, and so how fast it falls.

    coil = Coil.charged(v_in=6, inductance="47 µH", time="15 µs")
    kick = coil.into_capacitance("200 pF")
    kick.v_switch_peak, kick.energies

The source drives the coil towards the switch node; the switch lies from the node to the source's other end and opens at
time 0. A path lies across the switch, or across the coil; a stray capacitance, where there is one, across the switch.
Between the instants at which a diode or clamp starts or stops, everything is one affine system (`flow`).

Safety: such a coil makes hundreds of volts out of a battery. Numbers are free of danger; a bench is not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

import numpy as np

from ..units import guard, read, show
from .flow import PlanarFlow

TIME_CONSTANTS, RINGS = 8.0, 5.0  # how long a course without an end of its own is followed
MOST_RINGS = 10_000.0
MOST_PARTS, MOST_SAMPLES = 3000, 1_000_000  # starts and stops that are followed; samples of a waveform
ACCURACY = 1e-6  # of the energy books; what is solved worse is refused
SMALLEST, LARGEST = 1e-15, 1e12  # what a part's number may be, SI units
FLOWS = {"source": ("v_source", "i_source"), "path": ("v_path", "i_path"), "winding": ("v_winding", "i_inductor")}
QUANTITIES = ("i_inductor", "v_switch", "v_inductor", "i_path", "v_path", "i_source")


@dataclass(frozen=True)
class CoilWaveforms:
    """Sampled waveforms, arrays of shape (n,), SI units; where a path starts or stops two samples share one time.

    `v_switch` is the voltage across the switch, `v_inductor` across the inductance itself (its winding resistance left
    out), `v_path` and `i_path` belong to what has taken the current over, `i_source` leaves the source. `edges` in s.
    """

    time: np.ndarray
    i_inductor: np.ndarray
    v_switch: np.ndarray
    v_inductor: np.ndarray
    i_path: np.ndarray
    v_path: np.ndarray
    i_source: np.ndarray
    edges: tuple[float, ...]


class Path(NamedTuple):
    """What can take the current over: it conducts above a `threshold` (V) with a `resistance` (Ω), `across` the "switch" or the
    "coil"; `one_way`: never backwards."""

    threshold: float
    resistance: float
    across: str
    one_way: bool = False


@dataclass(frozen=True)
class Stage:
    """One way in which the circuit can be: a flow of (coil current, switch voltage), every quantity as a row over the two and
    1, and the row that stays at or above zero while it `lasts` (None: for ever)."""

    flow: PlanarFlow
    rows: dict[str, np.ndarray]
    lasts: tuple | None


@dataclass(frozen=True)
class Part:
    """A stretch of time in one stage."""

    stage: Stage
    start: float
    duration: float
    state: tuple[float, float]

    @property
    def end_state(self) -> tuple:
        return self.stage.flow.advance(self.state, self.duration)

    @cached_property
    def moments(self) -> np.ndarray:
        """Integrals of (coil current, switch voltage, 1) times themselves, shape (3, 3)."""
        return self.stage.flow.moments(self.state, self.duration)

    def product(self, one: str, other: str) -> float:
        """Integral of one quantity times another, exactly."""
        rows = self.stage.rows
        return float(rows[one] @ self.moments @ rows[other])

    def highest(self, name: str) -> tuple[float, float]:
        """The highest value of a quantity, and when."""
        flow, row = self.stage.flow, self.stage.rows[name]
        times = [0.0, *flow.extremes(row, self.state, self.duration), self.duration]
        found = ((float(flow.value(row, flow.advance(self.state, t))), self.start + t) for t in times)
        return max(found, key=itemgetter(0))


@dataclass(frozen=True)
class Interrupted:
    """What happened after the switch opened.

    path: what took the current over, in words. duration: how long it was followed, s. v_switch_peak, peak_at: the highest
    voltage across the switch (V) and when (s). time_to_rest: the first instant at which the path carries no current any
    more, s; inf where it never stops within `duration`. c_stray: the capacitance across the switch, F. `energies`, J:
    `field_before` and `source` come in; `path`, `winding`, `field_after` and `capacitance_after` are where they went.
    """

    coil: Coil
    path: str
    duration: float
    v_switch_peak: float
    peak_at: float
    time_to_rest: float
    c_stray: float
    parts: tuple[Part, ...]

    @cached_property
    def energies(self) -> dict[str, float]:
        """What came from where and went where, J, integrated exactly."""
        current, voltage = self.parts[-1].end_state
        return {name: sum(part.product(*factors) for part in self.parts) for name, factors in FLOWS.items()} | {
            "field_before": self.coil.inductance * self.coil.i_start**2 / 2,
            "field_after": self.coil.inductance * current**2 / 2,
            "capacitance_after": self.c_stray * voltage**2 / 2,
        }  # fmt: skip

    @property
    def books(self) -> float:
        """What came in less where it went, over the largest amount among them and in the stray capacitance at its peak: zero to
        rounding (1e-15; 1e-7 where a path of very small resistance lies beside stray capacitance; beyond 1e-6 it is refused)."""
        e = self.energies
        came = e["field_before"] + e["source"]
        went = e["path"] + e["winding"] + e["field_after"] + e["capacitance_after"]
        largest = max(*map(abs, e.values()), self.c_stray * self.v_switch_peak**2 / 2)
        return (came - went) / largest if largest else 0.0

    def waveforms(self, n: int = 1000) -> CoilWaveforms:
        """About n samples, at least two for each part."""
        n = guard("n", n, 2, MOST_SAMPLES, why="a waveform needs a first and a last sample")
        columns: dict[str, list] = {name: [] for name in ("time", *QUANTITIES)}
        for part in self.parts:
            count = max(2, round(n * part.duration / self.duration))
            times = np.linspace(0.0, part.duration, count)
            states = np.vstack([part.stage.flow.path(part.state, times), np.ones(count)])
            columns["time"].append(part.start + times)
            for name in QUANTITIES:
                columns[name].append(part.stage.rows[name] @ states)
        edges = tuple(after.start for _, after in pairwise(self.parts))
        return CoilWaveforms(**{name: np.concatenate(parts) for name, parts in columns.items()}, edges=edges)


@dataclass(frozen=True)
class Coil:
    """A coil on a source, carrying current when its switch opens; numbers or text with units ("47 µH").

    v_in: source voltage, V. inductance: H. i_start: current at that instant, A. r_inductor: resistance of the winding, Ω.
    Raises ValueError for what cannot be.
    """

    v_in: float
    inductance: float
    i_start: float
    r_inductor: float = 0.0

    def __post_init__(self):
        for name, unit in (("v_in", "V"), ("inductance", "H"), ("i_start", "A"), ("r_inductor", "Ω")):
            number = _number(name, getattr(self, name), unit, positive=name == "inductance")
            object.__setattr__(self, name, number)

    @classmethod
    def charged(cls, v_in, inductance, time, r_inductor=0.0, r_switch=0.0) -> Coil:
        """The coil after its switch (Ω) has been closed for a time (s), starting without current."""
        rise = cls(v_in, inductance, 0.0, r_inductor).closed(time, r_switch)
        return cls(v_in, inductance, rise.parts[-1].end_state[0], r_inductor)

    def letters(self) -> dict[str, float]:
        """The numbers by the letters of the formulas; `r_loop` is the winding alone, so add what a path adds."""
        return {"v_in": self.v_in, "inductance": self.inductance, "i_start": self.i_start, "r_loop": self.r_inductor}

    def closed(self, duration, r_switch=0.0) -> Interrupted:
        """The switch (Ω) stays closed for a time (s): the current builds up from `i_start`."""
        path = Path(0.0, _number("r_switch", r_switch, "Ω"), "switch")
        return self._follow([self._stage(path)], _time(duration), f"closed switch of {show(path.resistance, 'Ω')}")

    def through_resistor(self, resistance, across: str = "coil", c_stray=0.0, duration=None) -> Interrupted:
        """A resistor (Ω) across the "coil" or the "switch" takes over; a voltmeter is one of 1 MΩ or 10 MΩ.

        Without stray capacitance (F, across the switch) the first voltage is resistance times current, however high. The
        current never stops: it is followed for `duration` (s), by default eight time constants, and five rings with c_stray.
        """
        path = Path(0.0, _number("resistance", resistance, "Ω", positive=True), _side(across))
        c_stray = _number("c_stray", c_stray, "F")
        usual = TIME_CONSTANTS * self.inductance / (path.resistance + self.r_inductor) + self._rings(c_stray)
        words = f"resistor of {show(path.resistance, 'Ω')} across the {across}"
        return self._follow([self._stage(path, c_stray)], usual if duration is None else _time(duration), words, c_stray)

    def into_capacitance(self, c_stray, duration=None) -> Interrupted:
        """Nothing but a stray capacitance (F) across the switch takes the current; the winding's resistance damps the
        ringing. Followed for `duration` (s), by default five rings."""
        c_stray = _number("c_stray", c_stray, "F", positive=True)
        usual = self._rings(c_stray) if duration is None else _time(duration)
        return self._follow([self._open(c_stray)], usual, f"stray capacitance of {show(c_stray, 'F')}", c_stray)

    def through_diode(self, v_forward, resistance=0.0, c_stray=0.0, duration=None) -> Interrupted:
        """A diode across the coil (forward voltage V, resistance Ω) takes over until the current is zero. With stray
        capacitance (F) the switch voltage climbs to it first and rings about the source voltage afterwards, for five rings."""
        path = Path(_number("v_forward", v_forward, "V"), _number("resistance", resistance, "Ω"), "coil", one_way=True)
        return self._hold("v_forward", path, c_stray, duration, f"diode of {show(path.threshold, 'V')} across the coil")

    def into_clamp(self, v_clamp, across: str = "switch", resistance=0.0, c_stray=0.0, duration=None) -> Interrupted:
        """A clamp or an arc across the "switch" or the "coil" (V, with resistance Ω) takes over until the current is zero.
        Across the switch it must hold above `v_in`. Stray capacitance (F) as with a diode."""
        path = Path(_number("v_clamp", v_clamp, "V"), _number("resistance", resistance, "Ω"), _side(across), one_way=True)
        return self._hold("v_clamp", path, c_stray, duration, f"clamp of {show(path.threshold, 'V')} across the {across}")

    # --- how it is done ---

    def _rings(self, c_stray: float) -> float:
        return RINGS * 2 * math.pi * math.sqrt(self.inductance * c_stray)

    def _base(self, path: Path) -> float:
        """The switch voltage at which there is none across the path."""
        return self.v_in if path.across == "coil" else 0.0

    def _hold(self, name: str, path: Path, c_stray, duration, words: str) -> Interrupted:
        """Through a path that conducts one way only; without stray capacitance it ends when the current is zero."""
        least = self.v_in - self._base(path)
        guard(name, path.threshold, least, unit="V", open_low=True,
              why="at the source voltage or below it the current of the coil never falls to zero" if least else
                  "without a voltage against it the current of the coil never falls to zero")
        guard("i_start", self.i_start, 0, unit="A", open_low=True, why="without current there is nothing to interrupt")
        c_stray = _number("c_stray", c_stray, "F")
        usual = self.inductance * self.i_start / (path.threshold - least) * (1 + 1e-6) + self._rings(c_stray)
        stages = [self._open(c_stray, path)] if c_stray else []
        return self._follow([*stages, self._stage(path, c_stray)], usual if duration is None else _time(duration), words, c_stray)

    def _open(self, c_stray: float, path: Path | None = None) -> Stage:
        """Only the stray capacitance takes the current, until its voltage has climbed to the path's threshold."""
        node = _row(v=1.0)
        start = None if path is None else tuple(_row(one=self._base(path) + path.threshold) - node)
        return self._with(node, _row(), path, c_stray, start)

    def _stage(self, path: Path, c_stray: float = 0.0) -> Stage:
        """The path carries current; a one-way path until that is zero."""
        foot = _row(one=self._base(path) + path.threshold)
        if c_stray and path.resistance:
            node = _row(v=1.0)
            current = (node - foot) / path.resistance
        else:
            current = _row(i=1.0)
            node = foot + path.resistance * current
        return self._with(node, current, path, c_stray, tuple(current) if path.one_way else None)

    def _with(self, node, current, path: Path | None, c_stray: float, lasts: tuple | None) -> Stage:
        """A stage from the rows of the switch voltage and the path's current."""
        coil, source = _row(i=1.0), _row(one=self.v_in)
        across_coil = path is not None and path.across == "coil"
        rows = {
            "i_inductor": coil, "v_switch": node, "v_inductor": source - self.r_inductor * coil - node, "i_path": current,
            "v_path": node - source if across_coil else node, "i_source": coil - current if across_coil else coil,
            "v_source": source, "v_winding": self.r_inductor * coil,
        }  # fmt: skip
        rates = rows["v_inductor"] / self.inductance, (coil - current) / c_stray if c_stray else _row()
        amps = max(self.i_start, 1e-3)
        scale = amps, amps * math.sqrt(self.inductance / c_stray) if c_stray else 1.0
        return Stage(PlanarFlow([rate[:2] for rate in rates], [rate[2] for rate in rates], scale), rows, lasts)

    def _follow(self, stages: list[Stage], duration: float, words: str, c_stray: float = 0.0) -> Interrupted:
        """From stage to stage until the time is over, or until the only path has stopped. The last stage is the path."""
        x, now, rest, turn, parts = (self.i_start, 0.0), 0.0, math.inf, 0, []
        if c_stray:
            guard("duration", duration, high=MOST_RINGS * self._rings(c_stray) / RINGS, unit="s",
                  why=f"{MOST_RINGS:g} rings of coil and stray capacitance are the most that are followed")
        while now < duration:
            stage, left = stages[turn % len(stages)], duration - now
            flow = stage.flow
            lasts = flow.first_fall(stage.lasts, x, left, flow.advance(x, left)) if stage.lasts else None
            parts.append(Part(stage, now, left if lasts is None else lasts, x))
            if len(parts) > MOST_PARTS:
                raise ValueError(f"{self._said(c_stray)} must start and stop the path at most {MOST_PARTS} times within "
                                 f"{show(duration, 's')}, and {words} does so more often: it needs more resistance or less time")
            if lasts is None:
                break
            x, now, turn = parts[-1].end_state, now + lasts, turn + 1
            if stage is stages[-1]:
                rest = min(rest, now)
                if not c_stray:
                    break
        return self._summed(tuple(parts), words, rest, c_stray)

    def _summed(self, parts: tuple[Part, ...], words: str, rest: float, c_stray: float) -> Interrupted:
        peak, at = max((part.highest("v_switch") for part in parts), key=itemgetter(0))
        found = Interrupted(self, words, parts[-1].start + parts[-1].duration, peak, at, rest, c_stray, parts)
        if not abs(found.books) <= ACCURACY:
            raise ValueError(f"{self._said(c_stray)} must be solved to {ACCURACY:g}, and the energies that came and went differ by "
                             f"{abs(found.books):.2g} of the largest: {words} makes time constants too far apart")
        return found

    def _said(self, c_stray: float) -> str:
        stray = f" beside c_stray = {show(c_stray, 'F')}" if c_stray else ""
        return f"inductance = {show(self.inductance, 'H')} with r_inductor = {show(self.r_inductor, 'Ω')}{stray}"


def _row(i: float = 0.0, v: float = 0.0, one: float = 0.0) -> np.ndarray:
    """A quantity as a row over (coil current, switch voltage, 1)."""
    return np.array([i, v, one])


def _number(name: str, value, unit: str, positive: bool = False) -> float:
    return guard(name, read(value, unit, name), SMALLEST if positive else 0, LARGEST, unit=unit)


def _time(duration) -> float:
    return _number("duration", duration, "s", positive=True)


def _side(across: str) -> str:
    if across not in ("switch", "coil"):
        raise ValueError(f'across = {across!r} must be "switch" or "coil": the path lies across one of the two')
    return across

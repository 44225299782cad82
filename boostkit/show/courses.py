"""One period of a converter or of a hydraulic ram, as a moving picture needs it: what has moved, and how far, by when.

Both have the same parts under other names: coil and drive pipe, switch and waste valve, rectifier and check valve,
capacitor and air vessel, load and delivery pipe. Everything that a picture moves by is computed here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from ..circuit.results import SteadyState
from ..units import show
from ..water.ram import Strokes

IDLE, CLOSED, CONDUCTING = 0, 1, 2  # states, numbered as the tones of a picture; see `Course.state`
RELEASING = 3  # tone of capacitor or vessel giving back; told of CONDUCTING while it helps to feed the load
BACKWARDS = 4  # told of CONDUCTING while the flow has turned, which a second switch lets it do
RETURNING = 5  # told of IDLE while the coil's current runs back through the open switch's body diode
CONDUITS = ("drive", "waste", "delivery", "store", "out")
TRAVEL = 150.0  # how far the flow in the coil or drive pipe carries a mark in one period, in dots of the picture
STEPS = 48  # single steps in a period, besides the instants of switching


@dataclass(frozen=True)
class Course:
    """One period, each array of shape (n,) in SI units. At a switching instant two samples may share one time.

    `kind`: `circuit` (flows in A, pressures in V) or `water` (m³/s, Pa). `drive`: flow in the coil or drive pipe;
    `waste`: in the switch or waste valve; `delivery`: in the rectifier or check valve; `out`: in the load or delivery
    pipe. `pressure`: at the output; `valve_pressure`: across the switch or the waste valve. `waste_open`, `check_open`:
    whether the switch or valve lets through. `supply`: pressure of source or supply tank. `rectifier`: `diode` or
    `switch`. An input capacitor counts as part of the source. Raises ValueError where arrays do not fit together.
    """

    kind: str
    time: np.ndarray
    drive: np.ndarray
    waste: np.ndarray
    delivery: np.ndarray
    out: np.ndarray
    pressure: np.ndarray
    valve_pressure: np.ndarray
    waste_open: np.ndarray
    check_open: np.ndarray
    supply: float
    rectifier: str = "diode"

    def __post_init__(self):
        if self.kind not in WORDS:
            raise ValueError(f'kind = "{self.kind}" must be one of {", ".join(WORDS)}')
        shape = np.shape(self.time)
        for name in ("drive", "waste", "delivery", "out", "pressure", "valve_pressure", "waste_open", "check_open"):
            if np.shape(getattr(self, name)) != shape or len(shape) != 1 or shape[0] < 2:
                raise ValueError(f"{name} has the shape {np.shape(getattr(self, name))}: it must have one entry for each of "
                                 f"at least two times, as time has {shape}")
        if self.period <= 0 or np.min(np.diff(self.time)) < -1e-9 * self.period:  # rounding where two pieces meet
            raise ValueError("time must never fall and must end after it began")

    @property
    def title(self) -> str:
        """What the picture is called."""
        return WORDS[self.kind]["title"]

    @property
    def period(self) -> float:
        """Length of the period, s."""
        return float(self.time[-1] - self.time[0])

    @cached_property
    def share(self) -> np.ndarray:
        """The times as shares of the period, 0 to 1."""
        return np.maximum.accumulate((self.time - self.time[0]) / self.period)

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest flow in the coil or drive pipe, zero included; apart even where nothing flows."""
        low, high = min(0.0, float(np.min(self.drive))), max(0.0, float(np.max(self.drive)))
        return low, high if high > low else low + 1.0

    @property
    def store(self) -> np.ndarray:
        """Flow into the capacitor or air vessel: what is delivered and not drawn. Negative while it empties."""
        return self.delivery - self.out

    @cached_property
    def state(self) -> np.ndarray:
        """CLOSED: the switch is closed, the waste valve open. CONDUCTING: rectifier or check valve passes. Else IDLE."""
        return np.where(self.waste_open, CLOSED, np.where(self.check_open, CONDUCTING, IDLE))

    @cached_property
    def stretches(self) -> list[tuple[float, float, int]]:
        """From share to share of the period, and the state that lasts in between."""
        state, share = self.state, self.share
        cuts = [0, *(int(i) + 1 for i in np.flatnonzero(np.diff(state))), len(state)]
        found = [(float(share[a]), float(share[min(b, len(state) - 1)]), int(state[a])) for a, b in pairwise(cuts)]
        return [(start, end, kind) for start, end, kind in found if end > start]

    def moved(self, conduit: str) -> np.ndarray:
        """Integral of the flow in a conduit since the period began, C or m³: shape (n,). Trapezoids between samples."""
        flow = getattr(self, conduit)
        return np.concatenate([[0.0], np.cumsum(0.5 * (flow[1:] + flow[:-1]) * np.diff(self.share * self.period))])

    @cached_property
    def moving(self) -> dict[str, tuple[str, np.ndarray]]:
        """Every array that a picture moves by: its name, how it goes between samples, its numbers.

        `blend`: straight from sample to sample. `carry`: the same, and each further period adds its last value. `hold`:
        as it was at the sample before.
        """
        throughput = np.trapezoid(np.abs(self.drive), self.time) or 1.0
        still = self._still
        arrays = {"share": ("blend", self.share), "state": ("hold", self.state), "told": ("hold", self._told)}
        for name in CONDUITS:
            flow = getattr(self, name)
            way = np.where(np.abs(flow) > still, np.sign(flow), 0.0)
            arrays[f"move_{name}"] = ("carry", TRAVEL / throughput * self.moved(name))
            arrays[f"way_{name}"] = ("hold", way)
            arrays[f"tone_{name}"] = ("hold", self._tone(name, way))
        top = max(np.max(self.pressure), np.max(self.valve_pressure), self.supply)
        volume = self.moved("store")
        return arrays | {
            "waste_open": ("hold", np.asarray(self.waste_open, float)),
            "check_open": ("hold", np.asarray(self.check_open, float)),
            "height": ("blend", (self.drive - self.span[0]) / (self.span[1] - self.span[0])),
            "level": ("blend", (volume - volume.min()) / (np.ptp(volume) or 1.0)),
            "gauge_valve": ("blend", np.clip(self.valve_pressure / top, 0, 1)),
            "gauge_out": ("blend", np.clip(self.pressure / top, 0, 1)),
        }

    @property
    def _still(self) -> float:
        """A flow below this counts as none."""
        return 1e-6 * max(np.max(np.abs(self.drive)), np.max(np.abs(self.out)))

    @cached_property
    def _told(self) -> np.ndarray:
        """Which sentence of WORDS is true."""
        still = self._still
        conducting = np.where(self.delivery < -still, BACKWARDS, np.where(self.store < -still, RELEASING, CONDUCTING))
        idle = np.where(np.abs(self.waste) > still, RETURNING, IDLE)
        return np.where(self.state == CONDUCTING, conducting, np.where(self.state == IDLE, idle, self.state))

    def _tone(self, conduit: str, way: np.ndarray) -> np.ndarray:
        """Which of a picture's tones a conduit has: that of the state whose path it lies on, 0 if on none."""
        state = np.where(self._told == RETURNING, CLOSED, self.state)  # the same path, though the switch is open
        if conduit == "waste":
            return np.where(state == CLOSED, CLOSED, 0)
        if conduit == "delivery":
            return np.where(state == CONDUCTING, CONDUCTING, 0)
        if conduit == "store":
            return np.where(way > 0, CONDUCTING, np.where(way < 0, RELEASING, 0))
        if conduit == "out":
            return np.where(state == CONDUCTING, CONDUCTING, RELEASING)
        return state

    def at(self, share: float) -> dict[str, float]:
        """Every array of `moving` at a share of the period; a switching instant counts to what comes after it."""
        return {name: float(self._read(values, share, how)) for name, (how, values) in self.moving.items()}

    def _read(self, values: np.ndarray, share: float, how: str = "blend") -> float:
        """An array at a share of the period, as `player.js` reads it."""
        shares = self.share.astype(np.float32)
        before = int(np.clip(np.searchsorted(shares, np.float32(share), "right") - 1, 0, len(shares) - 2))
        if how == "hold":
            return values[before]
        start, end = self.share[before], self.share[before + 1]
        part = np.clip((share - start) / (end - start), 0.0, 1.0) if end > start else 0.0
        return values[before] + part * (values[before + 1] - values[before])

    def reading(self, share: float) -> str:
        """What an instant shows, in one line of words and numbers."""
        told = WORDS[self.kind]
        state = told["states"][int(self._read(self.state, share, "hold"))].lower()
        if self._read(self._told, share, "hold") == RETURNING:
            state = f"{state}, {told['told'][RETURNING]}"
        flows = ", ".join(f"{told[name]} {self.flow_words(self._read(getattr(self, name), share))}" for name in CONDUITS)
        pressure = show(self._read(self.pressure, share), told["pressure_unit"])
        return f"{show(share * self.period, 's')} of {show(self.period, 's')}, {state}: {flows}; {told['pressure']} {pressure}"

    def flow_words(self, flow: float) -> str:
        """A flow with its unit: A, or litres per second."""
        if abs(flow) < 1e-9 * max(np.max(np.abs(self.drive)), np.max(np.abs(self.out))):
            flow = 0.0
        return (show(flow, "A") if self.kind == "circuit" else show(1e3 * flow, "L") + "/s").replace("-", "−")


WORDS = {
    "circuit": {
        "title": "Current in the circuit", "drive": "coil", "waste": "switch", "delivery": "rectifier", "store": "capacitor",
        "out": "load", "supply": "source", "flow": "coil current", "pressure": "output", "pressure_unit": "V",
        "bars": "bars: voltage across switch and output; tick: source",
        "states": {CLOSED: "Switch closed", CONDUCTING: "Switch open, rectifier conducts", IDLE: "Both off"},
        "told": {
            CLOSED: "the coil's current rises; the capacitor feeds the load",
            CONDUCTING: "source and coil feed capacitor and load",
            RELEASING: "source, coil and capacitor feed the load",
            BACKWARDS: "the current runs back: the capacitor feeds coil and load",
            IDLE: "the coil is empty; the capacitor feeds the load",
            RETURNING: "current runs back through the switch's body diode",
        },
    },
    "water": {
        "title": "Water in the ram", "drive": "drive pipe", "waste": "waste valve", "delivery": "check valve",
        "store": "air vessel", "out": "delivery", "supply": "supply", "flow": "flow in the drive pipe",
        "pressure": "pressure in the vessel", "pressure_unit": "Pa",
        "bars": "bars: pressure at waste valve and in vessel; tick: supply; level enlarged",
        "states": {CLOSED: "Waste valve open", CONDUCTING: "Waste valve shut, check valve open", IDLE: "Both valves shut"},
        "told": {
            CLOSED: "the water gains speed; the vessel feeds the delivery",
            CONDUCTING: "supply and moving water fill vessel and delivery",
            RELEASING: "supply, moving water and vessel feed the delivery",
            BACKWARDS: "the water runs back",
            IDLE: "the drive pipe rests; the vessel feeds the delivery",
        },
    },
}  # fmt: skip


def of_converter(state: SteadyState, n: int = 400) -> Course:
    """Course of a converter in steady state, from about n samples of its exact waveforms."""
    w, converter = state.waveforms(n), state.converter
    return Course("circuit", w.time, w.i_inductor, w.i_switch, w.i_rectifier, w.i_load, w.v_out, w.v_switch,
                  w.closed, w.conducting & ~w.closed, converter.source.voltage, converter.rectifier.kind)


def of_ram(strokes: Strokes, n: int = 400) -> Course:
    """Course of a hydraulic ram that has settled, from about n samples of one stroke."""
    w = strokes.waveforms(n)
    return Course("water", w.time, w.flow, w.waste_flow, w.check_flow, w.delivery_flow, w.delivery_pressure, w.valve_pressure,
                  w.waste_open, w.check_open & ~w.waste_open, strokes.ram.supply_pressure)

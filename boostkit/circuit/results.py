"""What the exact solver hands out: waveforms, their summary, a steady state, a transient. Frozen; drawing is elsewhere."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..units import guard
from .converter import Converter
from .modes import QUANTITIES, Block, Piece
from .saturation import Curve

SUMMARIES = {  # a field of SteadyState: the quantity that it sums up
    "output_voltage": "v_out", "inductor_current": "i_inductor", "switch_current": "i_switch",
    "rectifier_current": "i_rectifier", "capacitor_current": "i_capacitor", "switch_voltage": "v_switch",
    "rectifier_voltage": "v_rectifier", "source_current": "i_source",
}  # fmt: skip


@dataclass(frozen=True)
class Waveforms:
    """Sampled waveforms, each an array of shape (n,), SI units. At a switching instant two samples share one time, so
    that a jump is drawn upright. `edges` are the switching instants in s, `closed` tells whether the switch is closed,
    `conducting` whether the rectifier carries current. Voltages: `v_switch` across the switch (the switch node),
    `v_inductor` across the inductance itself (its winding resistance left out), `v_rectifier` from switch node to output.
    """

    time: np.ndarray
    i_inductor: np.ndarray
    v_capacitor: np.ndarray
    v_out: np.ndarray
    v_inductor: np.ndarray
    v_switch: np.ndarray
    v_rectifier: np.ndarray
    i_switch: np.ndarray
    i_rectifier: np.ndarray
    i_capacitor: np.ndarray
    i_load: np.ndarray
    i_source: np.ndarray
    v_input: np.ndarray
    closed: np.ndarray
    conducting: np.ndarray
    edges: tuple[float, ...]


@dataclass(frozen=True)
class Summary:
    """One quantity over a stretch of time, integrated exactly: `mean`, `rms`, and its extremes `min`, `max`."""

    mean: float
    min: float
    max: float
    rms: float

    @property
    def ripple(self) -> float:
        """Peak to peak."""
        return self.max - self.min


@dataclass(frozen=True)
class SteadyState:
    """The exact periodic solution.

    `mode`: `continuous` or `discontinuous`. `duty`: share of the period with the switch closed. `conduction_end`: share of
    the period at which the rectifier stops (1 in continuous conduction). `multipliers`: by how much a small disturbance
    of the state is multiplied in one period (all within the unit circle: it dies out). `losses` in W by part.
    `summaries` holds a Summary for each quantity of Waveforms.
    """

    converter: Converter
    mode: str
    period: float
    duty: float
    conduction_end: float
    output_voltage: Summary
    inductor_current: Summary
    switch_current: Summary
    rectifier_current: Summary
    capacitor_current: Summary
    switch_voltage: Summary
    rectifier_voltage: Summary
    source_current: Summary
    input_power: float
    output_power: float
    losses: dict[str, float]
    multipliers: tuple[complex, ...]
    pieces: tuple[Piece, ...]

    @property
    def efficiency(self) -> float:
        """Output over input power; conduction losses only, as in the circuit itself."""
        return self.output_power / self.input_power if self.input_power else float("nan")

    @property
    def ripple_voltage(self) -> float:
        """Output ripple, V peak to peak."""
        return self.output_voltage.ripple

    @property
    def ripple_current(self) -> float:
        """Inductor current ripple, A peak to peak."""
        return self.inductor_current.ripple

    @property
    def letters(self) -> dict[str, float]:
        """The numbers of its converter by letter."""
        return self.converter.letters()

    @property
    def saturation(self) -> Curve:
        """The saturation curve of its inductor, empty for a linear one."""
        return self.converter.inductor.saturation

    @property
    def energy_by_way(self) -> tuple[float, float]:
        """Energy of one period by the way it takes, J: into the field of the coil while the switch is closed, and straight
        from the input through coil and rectifier while it is open. Integrated exactly."""
        into_field = straight = 0.0
        for piece in self.pieces:
            m = piece.mode.flow.moments(piece.state, piece.duration)
            voltage, current = (np.array(piece.mode.rows[q]) for q in ("v_inductor", "i_inductor"))
            if piece.mode.kind.switch == "closed":
                into_field += float(voltage @ m @ current)
            else:
                straight += float(np.array(piece.mode.rows["v_input"]) @ m @ current)
        return into_field, straight

    def energy_in_coil(self, n: int = 1000) -> tuple[np.ndarray, np.ndarray]:
        """Time (s) and the energy in the field of the coil (J), about n samples of one period."""
        wave = self.waveforms(n)
        return wave.time, self.converter.inductor.energy(wave.i_inductor)

    def waveforms(self, n: int = 1000) -> Waveforms:
        """About n samples of one period, starting where the switch closes."""
        return sample(self.pieces, n)


def sample(pieces: tuple[Piece, ...], n: int, more: tuple[str, ...] = (), kind: type[Waveforms] = Waveforms) -> Waveforms:
    """About n samples of every quantity, at least two a piece: first and last instant of each, on its own side of a jump.
    `more`: further quantities that the modes have, for a `kind` that holds them."""
    n = guard("n", n, 2, why="a waveform needs a first and a last sample")
    total = sum(piece.duration for piece in pieces)
    columns: dict[str, list] = {name: [] for name in ("time", *QUANTITIES, *more, "closed", "conducting")}
    for piece in pieces:
        count = max(2, round(n * piece.duration / total))
        times = np.linspace(0.0, piece.duration, count)
        states = np.vstack([piece.mode.flow.path(piece.state, times), np.ones(count)])
        columns["time"].append(piece.start + times)
        values = np.array([piece.mode.rows[name] for name in (*QUANTITIES, *more)]) @ states
        for name, value in zip((*QUANTITIES, *more), values, strict=True):
            columns[name].append(value)
        columns["closed"].append(np.full(count, piece.mode.kind.switch == "closed"))
        columns["conducting"].append(np.full(count, piece.mode.kind.rectifier != "off"))
    joined = {name: np.concatenate(parts) for name, parts in columns.items()}
    joined.pop("i_input_capacitor")
    return kind(**joined, edges=_edges(pieces))


def _edges(pieces) -> tuple[float, ...]:
    """Where the set of conducting elements changes (a load crossing its knee is no switching instant)."""
    return tuple(
        after.start
        for before, after in pairwise(pieces)
        if (before.mode.kind.switch, before.mode.kind.rectifier) != (after.mode.kind.switch, after.mode.kind.rectifier)
    )


@dataclass(frozen=True)
class Extreme:
    """The lowest and highest value of a quantity and when they were reached (s)."""

    min: float
    min_at: float
    max: float
    max_at: float


@dataclass(frozen=True)
class Transient:
    """What happened over a number of periods: extremes of output voltage and inductor current, the last state, and what
    was kept of the course (all of it, or with `keep=False` the last periods only). `duration` in s."""

    converter: Converter
    periods: int
    duration: float
    output_voltage: Extreme
    inductor_current: Extreme
    state: tuple[float, ...]
    kept: tuple[Block, ...]

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The pieces that were kept, in order."""
        return tuple(piece for block in self.kept for piece in block.pieces())

    def waveforms(self, n: int = 1000) -> Waveforms:
        """About n samples of what was kept (never fewer than two a piece)."""
        return sample(self.pieces, n)

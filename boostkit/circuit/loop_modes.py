"""Power stage and regulator as one system: the modes of the closed loop.

A mode of the loop is a mode of the circuit together with what the regulator does in it: whether its amplifier is free or held by
its clamp, whether the set point still climbs, and whether the comparators are watched. States: those of the circuit, those of the
network, the set point, and the time since the clock; the last entry of a state is 1.

The clamp. While it holds, the network gets the input that keeps y on the limit instead of the error, so its states go on as if no
more had been asked for and nothing winds up; the amplifier comes free at the instant at which the error asks for less. Where the
network passes its input on at once (d not 0), that input follows from y; where it does not, from the first derivative of y that the
input moves, and as the clamp sets in, y is put on the limit and the derivatives below that one to zero, along b, a b, ...
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..units import guard
from .controller import Controller, Sampled
from .linear import Linear
from .modes import Circuit, Mode
from .planar import Planar
from .series import Series

FREE, LOW, HIGH = 0, -1, 1
UNMOVED = 1e-12  # share of its terms below which a product is rounding
DRIVES = ("voltage", "current")


class LoopKind(NamedTuple):
    """The name of a mode of the loop; `power` is that of the circuit."""

    power: Mode
    clamp: int
    rising: bool
    watched: bool

    @property
    def switch(self) -> str:
        """What the switch does."""
        return self.power.kind.switch

    @property
    def rectifier(self) -> str:
        """What the rectifier does."""
        return self.power.kind.rectifier


class LoopMode:
    """One mode of the loop: its flow, its quantities as rows, its guards."""

    def __init__(self, loop: Loop, kind: LoopKind):
        self.kind, power = kind, kind.power
        wide = {name: loop.widen(row) for name, row in power.rows.items()}
        error = loop.unit("set") - wide["v_out"]
        asked = loop.asked(error, kind)
        self.rows = wide | {"control": loop.held_at(kind.clamp) if kind.clamp else asked, "set_point": loop.unit("set"), "error": error}
        rates = loop.network_rates(error, asked, kind)
        matrix = np.vstack([
            *(loop.widen(row) for row in np.column_stack([power.flow.a, power.flow.b])), rates,
            loop.unit("one") * (loop.climb if kind.rising else 0.0), loop.unit("one"),
        ])  # fmt: skip
        guards = [*loop.clamp_guards(asked, error, kind), *((name, loop.widen(row)) for name, row in power.guards)]
        drives = loop.drive_guards(self.rows) if kind.watched else []
        self.late = len(drives)
        guards += drives
        self.guards = tuple((name, tuple(row.tolist())) for name, row in guards)
        self.lead = error if loop.sampled else self.rows["control"] - loop.threshold(self.rows)  # what counts at the clock
        system = matrix[:, : loop.n], matrix[:, loop.n], loop.scale(power), [row for _, row in self.guards], loop.t_sw
        self.flow = Planar(power.flow, *system) if loop.planar else Series(*system)


class Loop:
    """A converter and its controller; modes built when first met."""

    def __init__(self, converter, controller: Controller | Sampled):
        if not converter.switch.frequency:
            raise ValueError("switch.frequency is missing: a regulated converter needs a clock")
        self.circuit, self.controller, self.t_sw = Circuit(converter), controller, converter.t_sw
        self.sampled = isinstance(controller, Sampled)
        self.network = Linear.constant(0.0) if self.sampled else controller.network
        check(controller, self.t_sw)
        self.nx, self.nz = self.circuit.n, self.network.n
        self.n = self.nx + self.nz + 2
        self.planar = self.nx == 2 and self.sampled
        self.soft_periods = math.ceil(controller.soft_start / self.t_sw - 1e-9)
        self.climb = controller.v_set / (self.soft_periods * self.t_sw) if self.soft_periods else 0.0
        self.reached = _reached(self.network)
        self.clamps = not self.sampled and (self.network.d != 0 or self.reached is not None)
        self._modes: dict[LoopKind, LoopMode] = {}
        self.plans: dict[tuple, object] = {}  # for marching, by pattern

    def mode(self, kind: tuple) -> LoopMode:
        """The mode of that name, a LoopKind or a plain tuple of its fields."""
        mode = self._modes.get(kind)
        if mode is None:
            mode = self._modes[kind] = LoopMode(self, LoopKind(*kind))
        return mode

    def unit(self, name: str) -> np.ndarray:
        """The row of the set point, of the time since the clock, or of 1."""
        row = np.zeros(self.n + 1)
        row[{"set": -3, "clock": -2, "one": -1}[name]] = 1.0
        return row

    def widen(self, row) -> np.ndarray:
        """A row of the circuit as one of the loop."""
        return np.concatenate([row[: self.nx], np.zeros(self.nz + 2), [row[-1]]])

    def scale(self, power) -> np.ndarray:
        """Sizes of the states for a well-balanced exponential."""
        return np.concatenate([power.flow.scale[:-1], np.ones(self.nz + 1), [self.t_sw]])

    def offset(self, rising: bool) -> np.ndarray:
        """The control voltage without an error and with an empty network: it climbs with the set point, since it comes of the reference."""
        bias = 0.0 if self.sampled else self.controller.bias
        return self.unit("set") * (bias / self.controller.v_set) if rising else self.unit("one") * bias

    def asked(self, error: np.ndarray, kind: LoopKind) -> np.ndarray:
        """The control voltage without a clamp."""
        row = self.network.d * error + self.offset(kind.rising)
        row[self.nx : self.nx + self.nz] += self.network.c
        if not self.clamps:
            row[-1] = min(max(row[-1], getattr(self.controller, "low", 0.0)), getattr(self.controller, "high", math.inf))
        return row

    def beyond(self, y: float) -> int:
        """On which limit the clamp puts this control voltage."""
        if not self.clamps:
            return FREE
        return HIGH if y > self.controller.high else LOW if y < self.controller.low else FREE

    def onto_limit(self, w: np.ndarray, clamp: int, rising: bool) -> np.ndarray:
        """What brings the network's states to this limit as the clamp sets in; nothing where it holds the input."""
        move = np.zeros(self.n + 1)
        if self.nz and not self.network.d:
            limit = self.controller.high if clamp == HIGH else self.controller.low
            lacks = -self.reached.rows[:-1] @ w[self.nx : self.nx + self.nz]
            lacks[0] += limit - self.offset(rising) @ w
            lacks[1:2] -= self._climbs(rising)
            move[self.nx : self.nx + self.nz] = self.reached.ways @ np.linalg.solve(self.reached.rows[:-1] @ self.reached.ways, lacks)
        return move

    def held_at(self, clamp: int) -> np.ndarray:
        """The control voltage at this limit."""
        return self.unit("one") * (self.controller.high if clamp == HIGH else self.controller.low)

    def _driven(self, error: np.ndarray) -> np.ndarray:
        """Rates of the network's states with the error as input: (nz, n + 1)."""
        rates = np.outer(self.network.b, error)
        rates[:, self.nx : self.nx + self.nz] += self.network.a
        return rates

    def _climbs(self, rising: bool) -> float:
        """How fast the offset climbs, V/s."""
        return self.controller.bias / self.controller.v_set * self.climb if rising else 0.0

    def _pull(self, error: np.ndarray, rising: bool) -> np.ndarray:
        """The first derivative of the control voltage that the error moves."""
        row = self.reached.moves * error
        if len(self.reached.rows) == 2:
            row[-1] += self._climbs(rising)
        row[self.nx : self.nx + self.nz] += self.reached.rows[-1]
        return row

    def network_rates(self, error, asked, kind: LoopKind) -> np.ndarray:
        """Rates of the network's states, free or clamped."""
        if kind.clamp and self.network.d:
            return self._driven(error + (self.held_at(kind.clamp) - asked) / self.network.d)
        if kind.clamp:
            return self._driven(error - self._pull(error, kind.rising) / self.reached.moves)
        return self._driven(error)

    def clamp_guards(self, asked, error, kind: LoopKind):
        """Where the amplifier meets its clamp, or comes free of it."""
        c = self.controller
        if not self.clamps:
            return
        if kind.clamp:
            pressed = asked - self.held_at(kind.clamp) if self.network.d else self._pull(error, kind.rising)
            yield "frees", kind.clamp * pressed
            return
        if math.isfinite(c.low):
            yield "low", asked - self.held_at(LOW)
        if math.isfinite(c.high):
            yield "high", self.held_at(HIGH) - asked

    def threshold(self, rows) -> np.ndarray:
        """What the comparator holds against the control voltage."""
        c = self.controller
        if self.sampled:
            return 0.0 * self.unit("one")
        if c.drive == "voltage":
            return self.unit("clock") * (c.ramp / self.t_sw)
        return c.sense * (rows["i_inductor"] + c.slope * self.unit("clock"))

    def drive_guards(self, rows) -> list[tuple[str, np.ndarray]]:
        """What opens the switch."""
        found = [] if self.sampled else [("opens", rows["control"] - self.threshold(rows))]
        if self.controller.i_limit is not None:
            found.append(("current limit", self.controller.i_limit * self.unit("one") - rows["i_inductor"]))
        return found


class Reached(NamedTuple):
    """How the input reaches the output of a network with d = 0: `rows` c, c a, ... of y and its derivatives up to the first that the
    input moves, by `moves`; `ways` b, a b, ... as columns, one fewer."""

    rows: np.ndarray
    ways: np.ndarray
    moves: float


def _reached(network: Linear) -> Reached | None:
    """None where the input never reaches the output."""
    rows, ways, way = [network.c], [], network.b
    for _ in range(network.n):
        ways.append(way)
        moves = float(rows[-1] @ network.b)
        rows.append(rows[-1] @ network.a)
        if abs(moves) > UNMOVED * np.linalg.norm(rows[-2]) * np.linalg.norm(network.b):
            return Reached(np.array(rows), np.array(ways).T, moves)
        way = network.a @ way
    return None


def check(controller: Controller | Sampled, t_sw: float) -> None:
    """The rules of a controller's numbers, against the period too."""
    c = controller
    guard("v_set", c.v_set, 0, unit="V", open_low=True)
    guard("most_duty", c.most_duty, 0, 1)
    guard("least_on_time", c.least_on_time, 0, c.most_duty * t_sw, unit="s", why="a pulse no shorter must fit into most_duty of a period")
    guard("soft_start", c.soft_start, 0, unit="s")
    if c.i_limit is not None:
        guard("i_limit", c.i_limit, 0, unit="A", open_low=True)
    if isinstance(c, Sampled):
        _check_sampled(c)
        return
    if c.drive not in DRIVES:
        raise ValueError(f'drive = "{c.drive}" must be one of {", ".join(DRIVES)}')
    if not c.low < c.high:
        raise ValueError(f"low = {c.low} V must lie below high = {c.high} V")
    if c.drive == "voltage":
        guard("ramp", c.ramp, 0, unit="V", open_low=True)
    else:
        guard("sense", c.sense, 0, unit="Ω", open_low=True, why="the comparator sees the current through it")
        guard("slope", c.slope, 0, unit="A/s")


def _check_sampled(c: Sampled) -> None:
    """Shapes and steps of a digital regulator."""
    n = len(c.b)
    if np.shape(c.a) not in ((n, n), (0,) if n == 0 else ()) or len(c.c) != n or len(c.start) not in (0, n):
        raise ValueError(f"a {np.shape(c.a)}, b ({n},), c ({len(c.c)},), start ({len(c.start)},): must be (n, n), (n,), (n,), (n,) or ()")
    guard("adc_step", c.adc_step, 0, unit="V")
    guard("duty_step", c.duty_step, 0, 1)
    if c.delay != int(c.delay) or c.delay < 0:
        raise ValueError(f"delay = {c.delay} must be a whole number of periods, 0 or more")

"""The regulated converter a second time: Kirchhoff's equations, the network and its clamp, integrated from event to event.

The power stage is `kirchhoff.Network`; nothing comes from `boostkit.circuit` but the numbers of converter and controller. scipy's
integrators run from event to event: an element that starts or stops conducting, the comparator, the current limit, the clamp.
Every phase begins anew at an edge of the clock or a change of the converter, so no event hides in an end point.
"""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from kirchhoff import NAMES, Network
from scipy.integrate import solve_ivp

from boostkit.circuit.controller import Sampled


@dataclass
class Options:
    """How to integrate: `steps` is the least number of steps a period, so that no event is stepped over."""

    method: str = "DOP853"
    rtol: float = 1e-12
    atol: float = 1e-16
    steps: int = 16
    dense: bool = True


class Regulated:
    """Power stage and amplifier in one state of conduction, the amplifier free (`held` 0) or on its upper or lower clamp (1, -1).

    Every quantity is a row over (circuit's states, network's states, 1, set point, time since the clock). Held, the clamp's current goes
    where the network's input goes, and keeps y; with a direct path the input is replaced by one that puts y on the limit.
    """

    def __init__(self, controller, network, state, held, t_sw, climb):
        c, n = controller, network.n
        self.c, self.network, self.state, self.held = c, network, state, held
        m = 0 if isinstance(c, Sampled) else c.network.n
        self.unit = np.eye(n + m + 3)
        one, v_set, local = self.unit[n + m:]
        matrix, constant = network.solve(*state)
        whole = np.hstack([matrix, np.zeros((len(matrix), m)), constant[:, None], np.zeros((len(matrix), 2))])
        self.rates, self.error = whole[len(NAMES):], v_set - whole[NAMES.index("v_out")]
        if not isinstance(c, Sampled):
            self.bias, self.climb = c.bias / c.v_set * v_set, c.bias / c.v_set * climb * one      # out of the reference
            self.amplifier(c.network, self.unit[n:n + m], one)
            self.other = c.ramp / t_sw * local if c.drive == "voltage" else c.sense * (self.unit[0] + c.slope * local)

    def amplifier(self, g, z, one):
        """What it is asked for, what it gives, how hard it presses on its clamp, and the rates of the network's states."""
        held = self.held
        self.asked = self.bias + g.c @ z + g.d * self.error
        self.control = self.limit(held) * one if held else self.asked
        forced = held and g.d
        self.free = g.a @ z + np.outer(g.b, (self.limit(held) * one - self.bias - g.c @ z) / g.d if forced else self.error)
        moves = g.c @ self.free + self.climb
        presses = self.asked - self.limit(held) * one if g.d or not g.n else moves
        self.pressing = np.sign(held) * presses
        still = np.outer(clamp_way(g), moves) / (g.c @ clamp_way(g)) if held and g.n and not g.d else 0.0
        self.rates = np.vstack([self.rates, self.free - still])

    def limit(self, side):
        """The level of a clamp."""
        return self.c.high if side > 0 else self.c.low

    def sides(self):
        """The sides on which there is a clamp."""
        return [side for side in (1, -1) if np.isfinite(self.limit(side))]

    def clamp_ends(self):
        """Rows that fall through zero where the clamp begins or ends to hold."""
        if self.held:
            return [self.pressing]
        one = self.unit[-3]
        return [side * (self.limit(side) * one - self.asked) for side in self.sides()]

    def stops(self):
        """Rows that fall through zero where the switch must open."""
        found = [] if isinstance(self.c, Sampled) else [self.control - self.other]
        return found + ([] if self.c.i_limit is None else [self.c.i_limit * self.unit[-3] - self.unit[0]])

    @cached_property
    def ends(self):
        """Rows that fall through zero where an element starts or stops conducting, by the event's name."""
        n, zero = self.network.n, np.zeros(self.network.n)
        found = {}
        for name, f in self.network.events(self.state).items():         # each is affine in the circuit's states
            rest = f(0.0, zero)
            found[name] = rest * self.unit[-3] + sum((f(0.0, x) - rest) * self.unit[k] for k, x in enumerate(np.eye(n)))
        return found


@dataclass
class Loop:
    """A course: `segments` of (begin, end, system, solution of circuit and network, clock), `duty` a period.

    `changes` are yet to come; `numbers` and `waiting` are a sampled regulator's states and the duties that have not taken effect.
    """

    controller: object
    network: Network
    options: Options
    x: np.ndarray
    z: np.ndarray
    changes: list
    t: float = 0.0
    segments: list = field(default_factory=list)
    duty: list = field(default_factory=list)
    numbers: np.ndarray | None = None
    waiting: list = field(default_factory=list)
    known: dict = field(default_factory=dict)

    def __post_init__(self):
        self.t_sw, self.analogue = 1 / self.network.c.switch.frequency, not isinstance(self.controller, Sampled)
        self.idle = "channel" if self.network.second else "open"        # the gate of a period in which the switch stays open
        self.state, self.clock = self.network.conducting(self.idle, self.x), 0.0

    def at(self, name, times):
        """A quantity of the circuit at many times (at an edge the later side); `control`: what the amplifier gives."""
        out = np.full(len(times), np.nan)
        for begin, end, system, solution, clock in self.segments:
            inside = (times >= begin) & (times <= end)
            if inside.any():
                w, t = solution(times[inside]), times[inside]
                n = system.network.n
                full = np.vstack([w, np.ones(len(t)), self.v_set(t), t - clock])
                out[inside] = system.control @ full if name == "control" else system.network.value(name, system.state, w[:n])
        return out

    def v_set(self, t):
        """The set point: a straight line from zero to the end of the soft start, which takes whole periods."""
        span = np.ceil(self.controller.soft_start / self.t_sw - 1e-9) * self.t_sw
        return self.controller.v_set * (np.minimum(t / span, 1.0) if span else 1.0 + 0 * t)

    def system(self, held=0):
        """The equations of this state of conduction."""
        climb = (self.v_set(self.clock + self.t_sw) - self.v_set(self.clock)) / self.t_sw
        key = id(self.network), self.state, held, climb > 1e-9 * self.controller.v_set / self.t_sw
        if key not in self.known:
            self.known[key] = Regulated(self.controller, self.network, self.state, held, self.t_sw, climb if key[-1] else 0.0)
        return self.known[key]

    def now(self, row):
        """The value of a row at this moment."""
        return float(row @ np.concatenate([self.x, self.z, [1.0, self.v_set(self.t), self.t - self.clock]]))

    def clamp(self):
        """Free (0) or held high (1) or low (-1) just now. A network that begins beyond a limit is charged to it at once."""
        c, free = self.controller, self.system()
        near = 1e-11 * (1 + max(abs(level) for level in (c.low, c.high, c.v_set) if np.isfinite(level)))
        for side in free.sides():
            beyond = side * (self.now(free.asked) - free.limit(side))
            if beyond > near and c.network.n and not c.network.d:
                way = clamp_way(c.network)
                self.z = self.z - way * side * beyond / (c.network.c @ way)
            if beyond >= -near and self.now(self.system(side).pressing) > 0:
                return side
        return 0

    # --- one stretch of time in one position of the gate ---

    def phase(self, gate, until, watch=False):
        """On to `until` (s), or to where a comparator opens the switch; whether one did."""
        self.state, held = self.network.conducting(gate, self.x), None
        while self.t < until:
            held = (self.clamp() if held is None else held) if self.analogue else 0
            system = self.system(held)
            stops, ends = system.stops() if watch else [], system.ends
            if any(self.now(stop) <= 0 for stop in stops):
                return True
            clamps = system.clamp_ends() if self.analogue else []
            what = self.integrate(system, until, [*ends.values(), *clamps, *stops])
            if what is None:
                continue
            if what >= len(ends) + len(clamps):
                return True
            if what < len(ends):                                # after a jump of the output the clamp must be looked at again
                held, (self.state, self.x) = None, self.network.after(self.state, list(ends)[what], self.x)
            else:                                               # the event itself says on which side it is: rounding must not
                held = 0 if held else system.sides()[what - len(ends)]
        return False

    def stretch(self, gate, until, watch=False):
        """The same, through every change of the converter on the way."""
        while self.t < until:
            change = self.changes[0][0] if self.changes else np.inf
            if self.phase(gate, min(until, change), watch):
                return True
            if change <= self.t:
                self.network = Network(self.changes.pop(0)[1])
        return False

    def integrate(self, system, until, rows):
        """One run of the integrator, time counted from now in periods; the number of the row that ended it, or None."""
        start, unit, o = self.t, self.t_sw, self.options
        size, u = len(self.x) + len(self.z), np.array([1.0, self.v_set(start), start - self.clock])
        rise = np.array([0.0, (self.v_set(until) - u[1]) / (until - start), 1.0]) * unit
        a, b, slope = system.rates[:, :size] * unit, system.rates[:, size:] @ u * unit, system.rates[:, size:] @ rise * unit
        watched = []
        for row in rows:
            left, rest, moves = row[:size], float(row[size:] @ u), float(row[size:] @ rise)
            watched.append(lambda s, w, left=left, rest=rest, moves=moves: left @ w + (rest + moves * s))
            watched[-1].terminal, watched[-1].direction = True, -1
        found = solve_ivp(lambda s, w: a @ w + (b + slope * s), (0.0, (until - start) / unit), np.concatenate([self.x, self.z]),
                          method=o.method, rtol=o.rtol, atol=o.atol, events=watched, dense_output=o.dense, max_step=1 / o.steps)
        self.x, self.z = found.y[:len(self.x), -1].copy(), found.y[len(self.x):, -1].copy()
        self.t = until if found.status == 0 else start + found.t[-1] * unit
        self.segments.append((start, self.t, system, lambda t, sol=found.sol: sol((t - start) / unit), self.clock))
        return next((k for k, times in enumerate(found.t_events) if len(times)), None) if found.status == 1 else None

    # --- period by period ---

    def period(self):
        """One period of the clock: what the output was just before it decides whether the switch closes."""
        c, k = self.controller, len(self.duty)
        self.clock, end = k * self.t_sw, (k + 1) * self.t_sw
        longest = c.most_duty * self.t_sw if self.analogue else self.sample() * self.t_sw
        if not self.skipped(longest):
            self.stretch("closed", self.clock + min(c.least_on_time, longest))
            self.stretch("closed", self.clock + longest, watch=True)
        self.duty.append((self.t - self.clock) / self.t_sw)
        dead = self.network.c.rectifier.dead_time if self.network.second and self.duty[-1] else 0.0
        for gate, until in (("open", self.t + dead), (self.idle, end - dead), ("open", end)):
            self.stretch(gate, until)

    def skipped(self, longest):
        """Whether the switch stays open for this period."""
        if not self.analogue:
            return longest <= 0 or longest < self.controller.least_on_time
        system = self.system(self.clamp())
        return self.now(system.control) <= self.now(system.other)

    def sample(self):
        """The sampled regulator's work of one clock; the duty that takes effect now."""
        c = self.controller
        a, b, row = np.array(c.a, float).reshape(len(c.b), len(c.b)), np.array(c.b, float), np.array(c.c, float)
        e = rounded(self.now(self.system().error), c.adc_step)
        duty = row @ self.numbers + c.d * e
        held = min(max(rounded(duty, c.duty_step), 0.0), c.most_duty)
        if not 0.0 <= duty <= c.most_duty and c.d:           # without wind-up: the input that would have asked for the limit
            e = (min(max(duty, 0.0), c.most_duty) - row @ self.numbers) / c.d
        self.numbers = a @ self.numbers + b * e
        self.waiting.append(held)
        return self.waiting.pop(0)


def rounded(value, step):
    """To the nearest step; no step, no rounding."""
    return step * np.round(value / step) if step else value


def clamp_way(network):
    """The direction in which the current of the clamp moves the network's states: that of its input, b; where that does not reach y
    at once, a b, a² b and so on."""
    way = network.b
    while abs(network.c @ way) <= 1e-12 * np.linalg.norm(network.c) * np.linalg.norm(way):
        way = network.a @ way
    return way


def follow(converter, controller, periods, *, begin=None, changes=(), **options):
    """The regulated converter over whole periods, from rest or from `begin` (states of circuit and network)."""
    network = Network(converter)
    n = 0 if isinstance(controller, Sampled) else controller.network.n
    x, z = (np.array(part, float) for part in (begin or (np.zeros(network.n), np.zeros(n))))
    loop = Loop(controller, network, Options(**options), x, z, list(changes))
    if not loop.analogue:
        loop.numbers = np.array(controller.start or np.zeros(len(controller.b)), float)
        loop.waiting = [0.0] * controller.delay
    for _ in range(periods):
        loop.period()
    return loop

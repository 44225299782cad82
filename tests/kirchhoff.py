"""The boost converter a second time, written down from Kirchhoff's laws and integrated step by step: a reference for tests.

It shares nothing with `boostkit.circuit` but the converter's numbers. Per conducting state the network's equations are
listed one by one and solved as they stand; in time scipy's DOP853 goes from event to event.
"""

from dataclasses import dataclass

import numpy as np
from scipy.integrate import quad, solve_ivp
from scipy.optimize import minimize_scalar

NAMES = ("v_switch", "v_out", "v_input", "v_inductor", "i_switch", "i_rectifier", "i_load", "i_capacitor",
         "i_input_capacitor", "i_source")  # fmt: skip


class Network:
    """One converter. States: inductor current, capacitor voltage, [input capacitor's voltage, [source current]]."""

    def __init__(self, converter):
        c, extra = converter, converter.input_capacitor
        self.c, self.n = c, 2 + bool(extra) + bool(extra and c.source.inductance)
        self.second = c.rectifier.kind == "switch"
        self.drop = c.rectifier.body_diode_voltage if self.second else c.rectifier.forward_voltage
        self.solved = {}

    def solve(self, switch, rectifier, above):
        """All voltages and currents as an affine function of the state: (matrix, constant) by name, and the rates."""
        key = switch, rectifier, above
        if key not in self.solved:
            columns = [self._tableau(*key, x) for x in (np.zeros(self.n), *np.eye(self.n))]
            constant = columns[0]
            matrix = np.array([column - constant for column in columns[1:]]).T
            self.solved[key] = matrix, constant
        return self.solved[key]

    def _tableau(self, switch, rectifier, above, x):
        """Kirchhoff's laws and the parts' laws for one state, solved; the unknowns in the order of NAMES, then the rates."""
        c, equations = self.c, []

        def law(right, **left):
            equations.append(([left.get(name, 0.0) for name in NAMES], right))

        idle = switch == "open" and rectifier == "off"
        if idle:
            law(0.0, v_inductor=1)                                       # no current and no change of it
        else:
            law(x[0], i_switch=1, i_rectifier=1)                         # node behind the coil
        law(0.0, i_rectifier=1, i_capacitor=-1, i_load=-1)               # node of the output
        law(x[1], v_out=1, i_capacitor=-c.capacitor.series_resistance)
        law(-c.inductor.resistance * x[0], v_inductor=1, v_switch=1, v_input=-1)
        if c.load.resistance:
            law(0.0, v_out=1, i_load=-c.load.resistance)
        elif above:
            law(c.load.current, i_load=1)
        else:
            law(0.0, i_load=1, v_out=-c.load.current / c.load.knee)
        if switch == "closed":
            law(0.0, v_switch=1, i_switch=-c.switch.on_resistance)
        elif switch == "body":
            law(-c.switch.body_diode_voltage, v_switch=1)
        else:
            law(0.0, i_switch=1)
        if rectifier == "off":
            law(0.0, i_rectifier=1)
        else:
            drop = 0.0 if rectifier == "channel" else self.drop
            resistance = 0.0 if rectifier == "body" else c.rectifier.resistance
            law(drop, v_switch=1, v_out=-1, i_rectifier=-resistance)
        law(x[0], i_source=1, i_input_capacitor=-1)                      # node of the input
        if c.input_capacitor:
            law(x[2], v_input=1, i_input_capacitor=-c.input_capacitor.series_resistance)
        else:
            law(0.0, i_input_capacitor=1)
        if self.n == 4:
            law(x[3], i_source=1)
        else:
            law(c.source.voltage, v_input=1, i_source=c.source.resistance)
        w = np.linalg.solve(np.array([left for left, _ in equations]), np.array([right for _, right in equations]))
        at = dict(zip(NAMES, w, strict=True))
        rates = [at["v_inductor"] / c.inductor.inductance, at["i_capacitor"] / c.capacitor.capacitance]
        if c.input_capacitor:
            rates.append(at["i_input_capacitor"] / c.input_capacitor.capacitance)
        if self.n == 4:
            rates.append((c.source.voltage - c.source.resistance * x[3] - at["v_input"]) / c.source.inductance)
        return np.concatenate([w, rates])

    def value(self, name, state, x):
        """A quantity in a conducting state; x of shape (n,) or (n, k)."""
        x = np.asarray(x, float)
        if name in ("i_inductor", "v_capacitor"):
            return x[("i_inductor", "v_capacitor").index(name)]
        if name == "v_rectifier":
            return self.value("v_switch", state, x) - self.value("v_out", state, x)
        matrix, constant = self.solve(*state)
        k = NAMES.index(name)
        return matrix[k] @ x + constant[k]

    def conducting(self, gate, x):
        """Which elements conduct where the drive has just put the gate in this position."""
        on = "body" if self.second else "diode"
        if gate == "channel":
            return self._knee("open", "channel", x)
        if gate == "closed":
            state = self._knee("closed", "off", x)
            return self._knee("closed", on, x) if self._forward(state, x) > 0 else state
        if x[0] < 0:
            return self._knee("body", "off", x)
        state = self._knee("open", "off", x)
        return self._knee("open", on, x) if x[0] > 0 or self._forward(state, x) > 0 else state

    def _knee(self, switch, rectifier, x):
        load = self.c.load
        above = bool(load.resistance) or not load.current or self.value("v_out", (switch, rectifier, True), x) >= load.knee
        return switch, rectifier, above

    def _forward(self, state, x):
        """By how much the rectifier, not conducting, is driven beyond its forward drop."""
        return self.value("v_rectifier", state, x) - self.drop

    def events(self, state):
        """Functions of (t, x) that fall through zero where the conducting state ends, each with its name."""
        switch, rectifier, above = state
        found = {}
        matrix, constant = self.solve(*state)
        row = matrix[NAMES.index("v_out")] - matrix[NAMES.index("v_switch")]         # what holds the rectifier off
        rest = constant[NAMES.index("v_out")] - constant[NAMES.index("v_switch")] + self.drop
        if switch == "closed" and rectifier == "off" and self.c.switch.on_resistance:
            found["on"] = lambda t, x: row @ x + rest
        if switch == "closed" and rectifier in ("diode", "body"):
            found["off"] = lambda t, x: self.value("i_rectifier", state, x)
        if switch == "open" and rectifier in ("diode", "body"):
            found["rest"] = lambda t, x: x[0]
        if switch == "body":
            found["rest"] = lambda t, x: -x[0]
        if switch == "open" and rectifier == "off":
            found["on"] = lambda t, x: row @ x + rest
        if self.c.load.current:
            sign = 1 if above else -1
            found["knee"] = lambda t, x: sign * (self.value("v_out", state, x) - self.c.load.knee)
        return found

    def after(self, state, event, x):
        """State of conduction and x behind an event."""
        switch, rectifier, above = state
        on = "body" if self.second else "diode"
        if event == "knee":
            return (switch, rectifier, not above), x
        if event == "rest":
            x = np.array([0.0, *x[1:]])
            return self.conducting("open", x), x
        return self._knee("closed" if switch == "closed" else "open", on if event == "on" else "off", x), x


@dataclass
class Course:
    """What the integrator found: segments (network, conducting state, begin, end, solution)."""

    segments: list
    x: np.ndarray
    time: float

    def at(self, name, times):
        """A quantity at many times; at a switching instant the later side."""
        out = np.empty(len(times))
        for network, state, begin, end, solution in self.segments:
            inside = (times >= begin) & (times <= end)
            if inside.any():
                out[inside] = network.value(name, state, solution(times[inside]))
        return out

    def integral(self, *names):
        """The integral of a product of quantities, by adaptive quadrature over each segment."""
        def product(t, network, state, solution):
            return np.prod([network.value(name, state, solution(t)) for name in names])

        return sum(
            quad(product, begin, end, args=(network, state, solution), epsabs=0, epsrel=1e-11, limit=200)[0]
            for network, state, begin, end, solution in self.segments
        )

    def extremes(self, name, count=400):
        """Lowest and highest value: many samples of each segment, then a bounded search about the best."""
        low, high = np.inf, -np.inf
        for network, state, begin, end, solution in self.segments:
            times = np.linspace(begin, end, count)
            for sign in (1, -1):
                values = sign * network.value(name, state, solution(times))
                k = int(np.argmin(values))
                best = values[k]
                if 0 < k < count - 1:
                    def toward(t, sign=sign, network=network, state=state, solution=solution):
                        return sign * network.value(name, state, solution(t))

                    best = min(best, minimize_scalar(toward, bounds=(times[k - 1], times[k + 1]), method="bounded",
                                                     options={"xatol": 1e-13 * (end - begin)}).fun)
                low, high = (min(low, best), high) if sign > 0 else (low, max(high, -best))
        return low, high


def follow(network, gate, x, start, duration, segments, stop=None, *, rtol=1e-12, atol=1e-16, steps=20, method="DOP853",
           dense=True):
    """One position of the gate, event by event, for `duration` or until the function `stop` falls through zero."""
    state, t, end = network.conducting(gate, x), start, start + duration
    if duration <= 0:
        return x, start, False
    while True:
        named = network.events(state)
        functions = [*named.values(), *([stop] if stop else [])]
        for function in functions:
            function.terminal, function.direction = True, -1
        matrix, constant = network.solve(*state)
        a, b = matrix[len(NAMES):] * duration, constant[len(NAMES):] * duration
        # time counts from the last event in units of `duration`: scipy finds an event to 1e-15 of whatever the unit is
        found = solve_ivp(lambda _, x: a @ x + b, (0, (end - t) / duration), x, method=method,  # noqa: B023
                          rtol=rtol, atol=atol, events=functions, dense_output=dense, max_step=1 / steps)
        begin, t = t, end if found.status == 0 else t + found.t[-1] * duration
        segments.append((network, state, begin, t, lambda at, sol=found.sol, begin=begin: sol((at - begin) / duration)))
        x = found.y[:, -1]
        if found.status == 0 or t >= end:
            return x, end, False
        which = next(k for k, times in enumerate(found.t_events) if len(times))
        if which == len(named):
            return x, t, True
        state, x = network.after(state, list(named)[which], x)


def clock(converter):
    """Gate and duration of each phase of a period under a clock and a duty."""
    t_sw, duty, dead = 1 / converter.switch.frequency, converter.switch.duty, converter.rectifier.dead_time
    if converter.rectifier.kind == "diode":
        return [("closed", duty * t_sw), ("open", (1 - duty) * t_sw)]
    if duty == 0:
        return [("channel", t_sw)]
    return [("closed", duty * t_sw), ("open", dead), ("channel", (1 - duty) * t_sw - 2 * dead), ("open", dead)]


def run(converter, x, periods=1, start=0.0, **options):
    """Follow a converter from the state x, the switch closing, for a number of its drive's periods."""
    network, x, segments, t = Network(converter), np.array(x, float), [], start
    drive, peak = converter.switch.drive, converter.switch.peak_current
    for k in range(periods):
        if drive == "duty":
            t = start + k / converter.switch.frequency
            for gate, duration in clock(converter):
                x, t, _ = follow(network, gate, x, t, duration, segments, **options)
            continue

        def reached(_, x):
            return peak - x[0]

        def rests(_, x):
            return x[0]

        if drive == "peak current":
            begin = start + k / converter.switch.frequency
            t = begin
            if x[0] < peak:
                x, t, _ = follow(network, "closed", x, t, 1 / converter.switch.frequency, segments, reached, **options)
            x, t, _ = follow(network, "open", x, t, begin + 1 / converter.switch.frequency - t, segments, **options)
        else:
            ramp = converter.inductor.inductance * peak / converter.source.voltage      # about how long the switch is closed
            for gate, stop in (("closed", reached), ("open", rests)):
                stopped = False
                while not stopped:
                    x, t, stopped = follow(network, gate, x, t, ramp, segments, stop, **options)
            x = np.array([0.0, *x[1:]])
    return Course(segments, x, t)

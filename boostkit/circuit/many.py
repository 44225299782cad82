"""Many converters at once: the steady states of arrays of parameters through one vectorised path.

It serves the common circuit: two states, a clocked duty, one conduction of the rectifier a period. Whatever is not that
(an input capacitor, another drive, dead time, a rectifier that wakes again, a current that saturates the inductor) goes one
by one through `single`, which the caller hands in. The two paths share the circuit's equations and nothing else, so each
checks the other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .converter import LETTERS, Converter
from .flow import growth, moments
from .modes import Kind, parameters, rows
from .results import SUMMARIES, SteadyState, Summary
from .saturation import Curve

ROUNDS = 80  # for the end of conduction; false position usually needs a dozen


@dataclass(frozen=True)
class SteadyStates:
    """As SteadyState, each number an array of shape (N,); nan where there is no steady state, and `refused` says why
    (index: reason). `discontinuous` is an array of bool. `letters`: the converter's numbers, those that vary as arrays.
    `saturation`: the curve of the inductor, the same for all."""

    letters: dict[str, float | np.ndarray]
    discontinuous: np.ndarray
    period: np.ndarray
    duty: np.ndarray
    conduction_end: np.ndarray
    output_voltage: Summary
    inductor_current: Summary
    switch_current: Summary
    rectifier_current: Summary
    capacitor_current: Summary
    switch_voltage: Summary
    rectifier_voltage: Summary
    source_current: Summary
    input_power: np.ndarray
    output_power: np.ndarray
    losses: dict[str, np.ndarray]
    refused: dict[int, str]
    saturation: Curve = ()

    @property
    def efficiency(self) -> np.ndarray:
        """Output over input power."""
        return self.output_power / self.input_power

    @property
    def ripple_voltage(self) -> np.ndarray:
        """Output ripple, V peak to peak."""
        return self.output_voltage.ripple

    @property
    def ripple_current(self) -> np.ndarray:
        """Inductor current ripple, A peak to peak."""
        return self.inductor_current.ripple


def steady_states(converter: Converter, single: Callable[[Converter], SteadyState], **letters) -> SteadyStates:
    """The steady states of `converter` with some letters replaced by arrays (they broadcast to one shape (N,)).

    Raises ValueError for a letter that is unknown or a value that is out of range; a converter without a steady state
    is refused singly (nan, and the reason in `refused`).
    """
    arrays = _arrays(letters)
    count = next((a.size for a in arrays.values()), 0)
    if count == 0:
        raise ValueError("steady_states needs at least one letter with at least one value, as in duty=[0.5, 0.6]")
    converter = _checked(converter, arrays)
    plain = converter.switch.drive == "duty" and not converter.rectifier.dead_time and converter.input_capacitor is None
    plain = plain and not set(arrays) & {"c_input", "l_source", "dead_time", "peak_current"}
    table, rest = _empty(converter, count, arrays), np.arange(count)
    if plain:
        with np.errstate(all="ignore"):  # what is no common case may run out to inf or nan; it goes one by one
            table, rest = _together(converter, arrays, count)
    refused = {}
    for k in rest.tolist():
        try:
            one = single(converter.change(**{name: float(values[k]) for name, values in arrays.items()}))
        except ValueError as trouble:
            refused[k] = str(trouble)
            _put(table, k, None)
        else:
            _put(table, k, one)
    summaries = {name: Summary(**{field: table[name, field] for field in SUMMARY_FIELDS}) for name in SUMMARIES}
    losses = {name[1]: values for name, values in table.items() if name[0] == "losses"}
    plain_numbers = {name: table[name] for name in ("period", "duty", "conduction_end")}
    return SteadyStates(converter.letters() | arrays, table["discontinuous"] > 0, **plain_numbers, **summaries,
                        input_power=table["input_power"], output_power=table["output_power"], losses=losses, refused=refused,
                        saturation=converter.inductor.saturation)


SUMMARY_FIELDS = ("mean", "min", "max", "rms")
PARTS = ("inductor", "switch", "rectifier", "capacitor")


def _arrays(letters: dict) -> dict[str, np.ndarray]:
    """The letters as arrays of one shape (N,), checked."""
    for name, values in letters.items():
        if name not in LETTERS or LETTERS[name][2] is None:
            raise ValueError(f"{name} is not a number of a converter; known are {', '.join(LETTERS)}")
        values = np.asarray(values, float)
        if not np.isfinite(values).all():
            raise ValueError(f"{name} = {values[~np.isfinite(values)].flat[0]} must be a finite number")
    arrays = np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, float)) for v in letters.values()))
    return dict(zip(letters, (a.ravel() for a in arrays), strict=True))


def _checked(converter: Converter, arrays: dict) -> Converter:
    """The converter with the letters' first values, so that it has the kind of load and drive that they ask for; both ends
    of each range are tried, and refused in the words of a converter file."""
    first = converter.change(**{name: float(values[0]) for name, values in arrays.items()})
    if not first.rectifier.dead_time:  # else each one is judged singly, its duty and dead time together
        for name, values in arrays.items():
            for value in (values.min(), values.max()):
                first.change(**{name: float(value)})
    return first


def _empty(converter: Converter, count: int, arrays: dict) -> dict:
    parts = PARTS + (("source",) if converter.source.resistance or "r_source" in arrays else ())
    parts += ("input_capacitor",) if converter.input_capacitor else ()
    names = ["discontinuous", "period", "duty", "conduction_end", "input_power", "output_power", *(("losses", part) for part in parts)]
    names += [(name, field) for name in SUMMARIES for field in SUMMARY_FIELDS]
    return {name: np.full(count, np.nan) for name in names}


def _put(table: dict, k: int, one: SteadyState | None) -> None:
    """One converter's numbers into the table (nan where there are none)."""
    for name, values in table.items():
        if one is None:
            values[k] = np.nan
        elif name == "discontinuous":
            values[k] = one.mode == "discontinuous"
        elif isinstance(name, str):
            values[k] = getattr(one, name)
        elif name[0] == "losses":
            values[k] = one.losses.get(name[1], 0.0)
        else:
            values[k] = getattr(getattr(one, name[0]), name[1])


class _Stretch:
    """One mode of N converters, each over its own duration. States are (N, 3), scaled, with a last column of ones."""

    def __init__(self, p, kind: Kind, scale: np.ndarray):
        quantities, rates = rows(p, kind)
        shape = (3, len(scale))
        self.rows = {name: np.broadcast_to(row, shape).T * scale for name, row in quantities.items()}
        self.f = np.zeros((len(scale), 3, 3))
        for k, rate in enumerate(rates):
            self.f[:, k, :] = np.broadcast_to(rate, shape).T * scale / scale[:, k, None]
        a, d = self.f[:, :2, :2], self.f[:, 0, 0] - self.f[:, 1, 1]
        self.mean = (a[:, 0, 0] + a[:, 1, 1]) / 2
        self.turn = np.sqrt(d**2 / 4 + a[:, 0, 1] * a[:, 1, 0] + 0j)  # imaginary where the mode rings

    def after(self, z: np.ndarray, t: np.ndarray) -> np.ndarray:
        """The states after t, in closed form for an invertible mode: x goes on by A^-1 (exp(A t) - 1) of its rate."""
        with np.errstate(all="ignore"):
            e1, e2 = np.exp((self.mean + self.turn) * t), np.exp((self.mean - self.turn) * t)
            c = ((e1 + e2) / 2).real
            s = np.where(abs(self.turn) * t < 1e-9, e1 * t, (e1 - e2) / (2 * self.turn)).real
        a = self.f[:, :2, :2]
        rate = np.einsum("nab,nb->na", self.f, z)[:, :2]
        grown = (c - 1 - self.mean * s)[:, None] * rate + s[:, None] * np.einsum("nab,nb->na", a, rate)
        det = a[:, 0, 0] * a[:, 1, 1] - a[:, 0, 1] * a[:, 1, 0]
        x0 = (a[:, 1, 1] * grown[:, 0] - a[:, 0, 1] * grown[:, 1]) / det
        x1 = (a[:, 0, 0] * grown[:, 1] - a[:, 1, 0] * grown[:, 0]) / det
        return z + np.stack([x0, x1, np.zeros_like(x0)], axis=1)

    def run(self, start: np.ndarray, t: np.ndarray) -> np.ndarray:
        """Follow from `start`, remembering it, the duration and the exact moments; returns the end."""
        self.start, self.t, self.moments = start, t, moments(self.f, start, t)
        self.end = start + np.einsum("nab,nb->na", growth(self.f, t), start)
        return self.end

    def value(self, quantity: str, z: np.ndarray) -> np.ndarray:
        return np.einsum("na,na->n", self.rows[quantity], z)

    def extremes(self, quantity: str, coupled: bool) -> list[np.ndarray]:
        """Values at both ends and, in a coupled mode, where the quantity turns in between (once at most)."""
        found = [self.value(quantity, self.start), self.value(quantity, self.end)]
        if coupled:
            row, rate = self.rows[quantity][:, :2], np.einsum("nab,nb->na", self.f, self.start)[:, :2]
            p = np.einsum("na,na->n", row, rate)
            q = np.einsum("na,nab,nb->n", row, self.f[:, :2, :2], rate) - self.mean * p
            with np.errstate(all="ignore"):
                t = (np.arctanh(-p * self.turn / q) / self.turn).real
                t = np.where((t < 0) & (self.turn.imag > 0), t + np.pi / self.turn.imag, t)
            inside = (t > 0) & (t < self.t)
            found.append(np.where(inside, self.value(quantity, self.after(self.start, np.where(inside, t, 0.0))), found[0]))
        return found

    def integral(self, first: str, second: str) -> np.ndarray:
        return np.einsum("na,nab,nb->n", self.rows[first], self.moments, self.rows[second])


def _together(converter: Converter, arrays: dict, count: int) -> tuple[dict, np.ndarray]:
    """The table of all, and the indices that the common path does not serve."""
    p = parameters(converter.letters() | arrays)
    diode = converter.rectifier.kind == "diode"
    one = np.ones(count)
    scale = np.stack([one / np.sqrt(p.inductance), one / np.sqrt(p.capacitance), one], axis=1)
    closed, conducting, idle = (
        _Stretch(p, kind, scale)
        for kind in (Kind("closed", "off"), Kind("open", "diode" if diode else "channel"), Kind("open", "off"))
    )
    length = one / p.f_sw
    t1 = p.duty * length
    start = _continuous(closed, conducting, t1, length - t1)
    discontinuous = (start[:, 0] < 0) & diode
    t2, start = _conduction(closed, conducting, idle, t1, length - t1, start, discontinuous)
    middle = closed.run(start, t1)
    end = conducting.run(middle, t2)
    end = np.where(discontinuous[:, None], end * [0.0, 1.0, 1.0], end)
    idle.run(end, length - t1 - t2)
    strange = ~np.isfinite(idle.end).all(axis=1) | (conducting.turn.imag * t2 > 2.5)
    if diode:
        backed = idle.value("v_out", idle.end) + p.v_rectifier - idle.value("v_input", idle.end)
        strange |= discontinuous & (backed < 0)
        strange |= closed.value("v_out", middle) + p.v_rectifier < closed.value("v_switch", middle)
        strange |= conducting.value("v_inductor", conducting.end) > 0
    else:
        strange |= closed.value("v_out", middle) + p.v_rectifier_body < closed.value("v_switch", middle)
    if p.i_out is not None:
        strange |= np.minimum(closed.value("v_out", middle), idle.value("v_out", idle.end)) < p.v_knee
        strange |= np.broadcast_to(p.i_out, count) == 0
    table = _table(_empty(converter, count, arrays), p, (closed, conducting, idle), length)
    if converter.inductor.saturation:
        swing = np.maximum(table["inductor_current", "max"], -table["inductor_current", "min"])
        strange |= swing > converter.inductor.saturation[0][0]
    table["discontinuous"][:] = discontinuous
    table["period"][:], table["duty"][:], table["conduction_end"][:] = length, p.duty, (t1 + t2) / length
    return table, np.nonzero(strange)[0]


def _continuous(closed: _Stretch, conducting: _Stretch, t1, t2) -> np.ndarray:
    """Where the period starts in continuous conduction: the fixed point of an affine map."""
    first, second = growth(closed.f, t1), growth(conducting.f, t2)
    total = second @ first + second + first
    x = np.linalg.solve(-total[:, :2, :2], total[:, :2, 2, None])[:, :, 0]
    return np.concatenate([x, np.ones((len(x), 1))], axis=1)


def _conduction(closed, conducting, idle, t1, rest, start, discontinuous) -> tuple[np.ndarray, np.ndarray]:
    """How long the rectifier conducts, and the start of the period. In discontinuous conduction the capacitor voltage that
    repeats is linear in closed form for any conduction time, and the right time is the one at which the current ends."""

    def trial(t2):
        zero = np.zeros_like(start)
        zero[:, 2] = 1.0
        ends = []
        for z in (zero, zero + [0.0, 1.0, 0.0]):
            middle = z + np.einsum("nab,nb->na", first, z)
            late = conducting.after(middle, t2)
            current, late = late[:, 0], late * [0.0, 1.0, 1.0]
            a, b = idle.f[:, 1, 1], idle.f[:, 1, 2]
            with np.errstate(all="ignore"):
                share = np.where(a == 0, rest - t2, np.expm1(a * (rest - t2)) / a)
            ends.append((current, late[:, 1] + (a * late[:, 1] + b) * share))
        (i_0, v_0), (i_1, v_1) = ends
        v = v_0 / (1 - (v_1 - v_0))
        return i_0 + (i_1 - i_0) * v, v

    if not discontinuous.any():
        return rest, start
    first = growth(closed.f, t1)
    low, high = np.zeros_like(rest), rest.copy()
    y_low, y_high = trial(low)[0], trial(high)[0]
    side = np.zeros(len(rest))
    last = high
    for _ in range(ROUNDS):
        with np.errstate(all="ignore"):
            t = (low * y_high - high * y_low) / (y_high - y_low)
        t = np.where((t > low) & (t < high), t, 0.5 * (low + high))
        y, v = trial(t)
        if np.all(~discontinuous | (abs(t - last) <= 4e-16 * rest)):
            break
        last, above = t, y > 0
        y_high = np.where(above, np.where(side > 0, y_high / 2, y_high), y)
        y_low = np.where(above, y, np.where(side < 0, y_low / 2, y_low))
        low, high, side = np.where(above, t, low), np.where(above, high, t), np.where(above, 1, -1)
    again = np.stack([np.zeros_like(v), v, np.ones_like(v)], axis=1)
    return np.where(discontinuous, t, rest), np.where(discontinuous[:, None], again, start)


def _table(table: dict, p, stretches, length) -> dict:
    """Summaries, powers and losses of all, integrated exactly."""
    for name, quantity in SUMMARIES.items():
        mean = sum(np.einsum("na,na->n", s.rows[quantity], s.moments[:, :, 2]) for s in stretches) / length
        square = sum(s.integral(quantity, quantity) for s in stretches) / length
        found = [np.where(s.t > 0, v, np.nan) for k, s in enumerate(stretches) for v in s.extremes(quantity, k == 1)]
        low, high = np.fmin.reduce(found), np.fmax.reduce(found)  # these two pass over nan
        for field, values in zip(SUMMARY_FIELDS, (mean, low, high, np.sqrt(np.maximum(square, 0))), strict=True):
            table[name, field][:] = values

    def average(first: str, second: str):
        return sum(s.integral(first, second) for s in stretches) / length

    table["input_power"][:] = p.v_in * table["source_current", "mean"]
    table["output_power"][:] = average("v_out", "i_load")
    table["losses", "inductor"][:] = p.r_inductor * average("i_inductor", "i_inductor")
    table["losses", "switch"][:] = average("v_switch", "i_switch")
    table["losses", "rectifier"][:] = average("v_rectifier", "i_rectifier")
    table["losses", "capacitor"][:] = p.r_capacitor * average("i_capacitor", "i_capacitor")
    if ("losses", "source") in table:
        table["losses", "source"][:] = p.r_source * average("i_source", "i_source")
    return table

"""One affine system, x' = A x + b, in closed form: where it goes, where it turns, where it crosses, what it integrates to.

Between two switching instants a converter is such a system. `Flow` is any number of states; `PlanarFlow` is the common
case of two, written out in plain floats. A `row` (c_1, ..., c_n, d) stands for the quantity c.x + d, such as the output
voltage or the switch current: every voltage and current of the circuit is one.
"""

from __future__ import annotations

import cmath
import math
from functools import cached_property
from operator import mul

import numpy as np

ROUNDING = 1e-13  # a guard has been crossed when it is below zero by more than this share of its own size
TERMS = 18  # Taylor terms for a step of norm 1/2: the rest is below 1e-21 of what the first gives
MOMENT_TERMS = 22  # the same for integrals, whose step has norm 1
BELOW_ONE = 1 - 2**-53
FADED = 40.0  # time constants after which a ringing is below rounding, e^-40 = 4e-18
MEMO = 64  # remembered propagators a flow; a clocked converter needs two or three


def _halvings(f: np.ndarray, h) -> tuple[int, float | np.ndarray]:
    """How often to halve h until the norm of F h is at most 1/2, and that shorter step (shape of h, for broadcasting)."""
    norm = np.abs(f).sum(axis=-1).max(axis=-1) * h
    largest = float(norm.max(initial=0.0))
    if not math.isfinite(largest):
        raise ValueError("the circuit's numbers are out of range: the matrix exponential is not finite")
    halvings = max(0, math.ceil(math.log2(largest / 0.5))) if largest > 0 else 0
    return halvings, (float(h) if np.ndim(h) == 0 else np.asarray(h)[..., None, None]) / 2.0**halvings


def growth(f: np.ndarray, h) -> np.ndarray:
    """exp(F h) - 1 for F of shape (..., m, m) and h of shape (...): Taylor at a short step, then doubled. Without the 1, so
    that what hardly changes in h keeps its digits."""
    halvings, step = _halvings(f, h)
    term = f * step
    total = term.copy()
    for k in range(2, TERMS):
        term = term @ f * (step / k)
        total += term
    for _ in range(halvings):
        total = total @ total + 2 * total
    return total


def moments(f: np.ndarray, z: np.ndarray, h) -> np.ndarray:
    """The integral of z z^T over 0..h where z' = F z, exactly; shapes as in `growth`, z of shape (..., m). Where the last
    entry of z is the constant 1, the last column holds the integral of z itself."""
    halvings, step = _halvings(f, h)
    term = z[..., :, None] * z[..., None, :] * step
    total = term.copy()
    for k in range(2, MOMENT_TERMS):
        product = f @ term
        term = (product + product.swapaxes(-1, -2)) * (step / k)
        total += term
    flow = np.eye(f.shape[-1]) + growth(f, np.asarray(h) / 2.0**halvings)
    for _ in range(halvings):
        total = total + flow @ total @ flow.swapaxes(-1, -2)
        flow = flow @ flow
    return total


class Flow:
    """x' = A x + b with n states. `a`: (n, n), `b`: (n,), `scale`: (n,) sizes for a well-balanced exponential."""

    def __init__(self, a, b, scale):
        self.n = len(b)
        self.scale = np.append(np.asarray(scale, float), 1.0)
        f = np.zeros((self.n + 1, self.n + 1))
        f[: self.n, : self.n], f[: self.n, self.n] = a, b
        self.f = f * self.scale[None, :] / self.scale[:, None]
        self.a, self.b = np.asarray(a, float), np.asarray(b, float)
        self._memo: dict[float, np.ndarray] = {}
        self._grids: dict[float, tuple] = {}

    def _growth(self, t: float) -> np.ndarray:
        """exp(F t) - 1 in the original units, (n+1, n+1); the last few are remembered."""
        if t not in self._memo:
            if len(self._memo) >= MEMO:
                self._memo.clear()
            self._memo[t] = growth(self.f, t) * self.scale[:, None] / self.scale[None, :]
        return self._memo[t]

    def advance(self, x: tuple, t: float) -> tuple:
        """The state after t."""
        g = self._growth(t)
        x = np.asarray(x)
        return tuple((x + g[: self.n, : self.n] @ x + g[: self.n, self.n]).tolist())

    def path(self, x: tuple, times: np.ndarray) -> np.ndarray:
        """The states at many times, shape (n, len(times))."""
        g = growth(np.broadcast_to(self.f, (len(times), *self.f.shape)), times)
        z = np.append(np.asarray(x, float), 1.0) / self.scale
        return ((z + g @ z) * self.scale)[:, : self.n].T

    def propagator(self, t: float) -> np.ndarray:
        """exp(A t), shape (n, n): how a disturbance of the state is carried."""
        return np.eye(self.n) + self._growth(t)[: self.n, : self.n]

    def rate(self, x: tuple) -> tuple:
        """dx/dt."""
        return tuple((self.a @ np.asarray(x) + self.b).tolist())

    def moments(self, x: tuple, t: float) -> np.ndarray:
        """Integral of z z^T over 0..t with z = (x, 1): (n+1, n+1)."""
        z = np.append(np.asarray(x, float), 1.0) / self.scale
        return moments(self.f, z, t) * self.scale[:, None] * self.scale[None, :]

    def _grid(self, h: float) -> tuple[list, np.ndarray]:
        """Times in 0..h close enough together for a sum of the system's exponentials to turn at most once in between, and
        the propagators to them, (times, n, n); the last few h are remembered."""
        if h not in self._grids:
            if len(self._grids) >= MEMO:
                self._grids.clear()
            speeds = self._modal[0]
            fastest = float(np.max(np.abs(speeds)))
            ringing = float(np.max(np.abs(speeds.imag)))
            fading = float(np.min(-speeds.real[np.abs(speeds.imag) > 0], initial=np.inf))
            heard = min(h, FADED / max(fading, 1e-300))
            times = np.linspace(0, heard, int(heard * ringing / (math.pi / 8)) + 9)
            if heard < h:
                times = np.union1d(times, np.linspace(heard, h, 9))
            if fastest * h > 1:
                times = np.union1d(times, np.geomspace(0.05 / fastest, h, 40))
            times[-1] = h
            g = growth(np.broadcast_to(self.f, (len(times), *self.f.shape)), times)
            carry = (np.eye(self.n + 1) + g) * self.scale[:, None] / self.scale[None, :]
            self._grids[h] = times.tolist(), carry[:, : self.n, : self.n]
        return self._grids[h]

    def _sum_of_exponentials(self, c: np.ndarray, x: np.ndarray):
        """c exp(A t) x as a function of t: a sum of exponentials, good enough to look for a root; where the modes nearly
        coincide, the exponential itself."""
        speeds, shapes, inverse = self._modal
        if inverse is None:
            return lambda t: float(c @ self.propagator(t) @ x)
        weights = ((c * self.scale[:-1]) @ shapes) * (inverse @ (x / self.scale[:-1]))
        terms = list(zip(weights.tolist(), speeds.tolist(), strict=True))
        return lambda t: sum((w * cmath.exp(s * t)).real for w, s in terms)

    @cached_property
    def _modal(self) -> tuple:
        """Eigenvalues, eigenvectors and their inverse of the scaled A; no inverse where it would lose too many digits."""
        speeds, shapes = np.linalg.eig(self.f[: self.n, : self.n].astype(complex))
        return speeds, shapes, np.linalg.inv(shapes) if np.linalg.cond(shapes) < 1e5 else None

    def extremes(self, row, x: tuple, h: float) -> list[float]:
        """Times in (0, h) at which row.x has an extreme, in order."""
        c, rate = np.asarray(row[: self.n]), np.asarray(self.rate(x))
        times, carry = self._grid(h)
        slopes = carry @ rate @ c
        turns = np.nonzero(slopes[:-1] * slopes[1:] < 0)[0].tolist()
        if not turns:
            return []
        slope = self._sum_of_exponentials(c, rate)
        return [_root(slope, times[k], times[k + 1], float(slopes[k]), float(slopes[k + 1])) for k in turns]

    def value(self, row, x: tuple) -> float:
        """The quantity that the row stands for."""
        return sum(c * s for c, s in zip(row, x, strict=False)) + row[-1]

    def slope(self, row, x: tuple) -> float:
        """Its rate of change."""
        return sum(c * s for c, s in zip(row, self.rate(x), strict=False))

    def grain(self, row, x: tuple, h: float) -> float:
        """Size of the terms that cancel in the change of row.x over h: what its rounding errors are measured by. A current
        that starts from zero where voltages balance is far smaller than they."""
        terms = h * (np.abs(self.a) @ np.abs(np.asarray(x)) + np.abs(self.b))
        return float(np.abs(np.asarray(row[: self.n])) @ terms)

    def first_fall(self, row, x: tuple, h: float, x_end: tuple) -> float | None:
        """The first time in [0, h] at which row.x falls below zero (it starts at or above), or None. Between two extremes
        the quantity is monotone, so every crossing is bracketed. `x_end` is the state at h."""
        size = max(sum(map(abs, map(mul, row, x))), sum(map(abs, map(mul, row, x_end)))) + abs(row[-1])
        size = max(size, self.grain(row, x, h))
        t0, y0 = 0.0, self.value(row, x)
        for t1 in [*self.extremes(row, x, h), h]:
            y1 = self.value(row, x_end if t1 == h else self.advance(x, t1))
            if y1 < -ROUNDING * size:
                if y0 <= 0:
                    return t0
                return _root(lambda t: self.value(row, self.advance(x, t)), t0, t1, y0, y1)
            t0, y0 = t1, y1
        return None


class PlanarFlow(Flow):
    """Two states, in closed form: exp(A t) = e^(s t) [C + (A - s) S] with C, S = cosh, sinh/d or cos, sin/w of half the
    spread of the eigenvalues. The same answers as `Flow`, thirty times as fast."""

    def __init__(self, a, b, scale):
        super().__init__(a, b, scale)
        (self.a00, self.a01), (self.a10, self.a11) = ((float(v) for v in r) for r in a)
        self.b0, self.b1 = (float(v) for v in b)
        self.mean = (self.a00 + self.a11) / 2
        self.half = (self.a00 - self.a11) / 2
        self.spread = self.half**2 + self.a01 * self.a10  # square of half the spread of the eigenvalues
        self.turn = math.sqrt(abs(self.spread))
        self.fast = self.mean - self.turn
        self.slow = self.mean + self.turn
        self.coupled = self.a01 != 0 or self.a10 != 0
        if self.coupled:
            det = self.a00 * self.a11 - self.a01 * self.a10
            if self.spread > 0 and self.fast:
                self.slow = det / self.fast  # the sum above loses digits where the two are far apart
            if det == 0:
                raise ValueError("the circuit's numbers are out of range: a coupled pair of states without equilibrium")
            self.rest0 = (self.a01 * self.b1 - self.a11 * self.b0) / det
            self.rest1 = (self.a10 * self.b0 - self.a00 * self.b1) / det
        self._carry: dict[float, tuple] = {}

    def _exponential(self, t: float) -> tuple:
        """e^(s t) C and e^(s t) S; no term can overflow, whatever the spread."""
        w = self.turn * t
        if self.spread < 0:
            e = math.exp(self.mean * t)
            return e * math.cos(w), (e * math.sin(w) / self.turn if w > 1e-8 else e * t)
        slow = math.exp(self.slow * t)
        if w < 1e-8:
            return slow, slow * t
        return (slow + math.exp(self.fast * t)) / 2, -slow * math.expm1(-2 * w) / (2 * self.turn)

    def _entries(self, t: float) -> tuple:
        entries = self._carry.get(t)
        if entries is None:
            c, s = self._exponential(t)
            entries = (c + self.half * s, self.a01 * s, self.a10 * s, c - self.half * s)
            if len(self._carry) >= MEMO:
                self._carry.clear()
            self._carry[t] = entries
        return entries

    def advance(self, x: tuple, t: float) -> tuple:
        if not self.coupled:
            return _decay(x[0], self.a00, self.b0, t), _decay(x[1], self.a11, self.b1, t)
        e00, e01, e10, e11 = self._entries(t)
        u, v = x[0] - self.rest0, x[1] - self.rest1
        return self.rest0 + e00 * u + e01 * v, self.rest1 + e10 * u + e11 * v

    def exponentials(self, times: np.ndarray) -> tuple:
        """e^(s t) C and e^(s t) S of a coupled pair, at many times."""
        if self.spread < 0:
            e, w = np.exp(self.mean * times), self.turn * times
            return e * np.cos(w), e * np.sin(w) / self.turn
        slow = np.exp(self.slow * times)
        if not self.turn:
            return slow, slow * times
        return (slow + np.exp(self.fast * times)) / 2, -slow * np.expm1(-2 * self.turn * times) / (2 * self.turn)

    def path(self, x: tuple, times: np.ndarray) -> np.ndarray:
        """As in `Flow`; or from many states x, shape (2, k), each after its own time (k,) or all after one."""
        if not self.coupled:
            return np.array([_decays(x[0], self.a00, self.b0, times), _decays(x[1], self.a11, self.b1, times)])
        c, s = self.exponentials(times)
        u, v = x[0] - self.rest0, x[1] - self.rest1
        i = self.rest0 + c * u + s * (self.half * u + self.a01 * v)
        return np.array([i, self.rest1 + c * v + s * (self.a10 * u - self.half * v)])

    def propagator(self, t: float) -> np.ndarray:
        if not self.coupled:
            return np.array([[math.exp(self.a00 * t), 0.0], [0.0, math.exp(self.a11 * t)]])
        return np.array(self._entries(t)).reshape(2, 2)

    def rate(self, x: tuple) -> tuple:
        i, v = x
        return self.a00 * i + self.a01 * v + self.b0, self.a10 * i + self.a11 * v + self.b1

    def value(self, row, x: tuple) -> float:
        return row[0] * x[0] + row[1] * x[1] + row[2]

    def grain(self, row, x: tuple, h: float) -> float:
        if self.coupled:
            return abs(row[0] * self.rest0) + abs(row[1] * self.rest1)
        return h * (abs(row[0]) * (abs(self.a00 * x[0]) + abs(self.b0)) + abs(row[1]) * (abs(self.a11 * x[1]) + abs(self.b1)))

    def slope(self, row, x: tuple) -> float:
        r = self.rate(x)
        return row[0] * r[0] + row[1] * r[1]

    def inner_extremes(self, row, x: np.ndarray, end: np.ndarray, t) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """For many states x, shape (2, k), that are at `end` after t, where no quantity turns twice: which of them turn in
        between (indices), when, and the quantity's value there."""
        p, last = (row[0] * r[0] + row[1] * r[1] for r in (self.rate(x), self.rate(end)))
        turns = np.nonzero(p * last < 0)[0]
        if turns.size == 0:
            return turns, np.empty(0), np.empty(0)
        x, p = x[:, turns], p[turns]
        r0, r1 = self.rate(x)
        q = row[0] * (self.half * r0 + self.a01 * r1) + row[1] * (self.a10 * r0 - self.half * r1)
        with np.errstate(divide="ignore"):
            if self.spread < 0:
                when = np.arctan2(-p * self.turn, q) % math.pi / self.turn
            else:  # rounding can put the turn of a quantity that hardly moves at infinity
                ratio = np.clip(-p * self.turn / q, -BELOW_ONE, BELOW_ONE)
                when = np.arctanh(ratio) / self.turn if self.turn else -p / q
        when = np.clip(when, 0.0, np.broadcast_to(t, last.shape)[turns])
        at = self.path(x, when)
        return turns, when, row[0] * at[0] + row[1] * at[1] + row[2]

    def extremes(self, row, x: tuple, h: float) -> list[float]:
        """The slope of a quantity is e^(s t) [p C + q S]: its zeros are an arc tangent away."""
        r0, r1 = self.rate(x)
        p = row[0] * r0 + row[1] * r1
        q = row[0] * (self.half * r0 + self.a01 * r1) + row[1] * (self.a10 * r0 - self.half * r1)
        if p == 0 and q == 0:
            return []
        if self.spread < 0:
            first = math.atan2(-p * self.turn, q) % math.pi / self.turn
            step = math.pi / self.turn
            h = min(h, FADED / -self.mean) if self.mean < 0 else h
            count = int((h - first) / step) + 1 if first < h else 0
            return [t for t in (first + k * step for k in range(count)) if 0 < t < h]
        if abs(p) * self.turn >= abs(q):
            return []
        t = math.atanh(-p * self.turn / q) / self.turn if self.turn else -p / q
        return [t] if 0 < t < h else []


def _decay(x: float, a: float, b: float, t: float) -> float:
    """The solution of x' = a x + b after t."""
    if a == 0:
        return x + b * t
    return x + (a * x + b) * math.expm1(a * t) / a


def _decays(x: float, a: float, b: float, times: np.ndarray) -> np.ndarray:
    return x + b * times if a == 0 else x + (a * x + b) * np.expm1(a * times) / a


def _root(g, t0: float, t1: float, y0: float, y1: float) -> float:
    """The zero of g between t0 and t1, where it takes y0 and y1 of opposite sign: false position kept honest by halving
    the weight of an end that stays (the Illinois rule), to rounding error."""
    last, side = math.nan, 0
    for _ in range(200):
        t = (t0 * y1 - t1 * y0) / (y1 - y0)
        if not t0 < t < t1:
            t = 0.5 * (t0 + t1)
        y = g(t)
        if y == 0 or abs(t - last) <= 4e-16 * t1 or t1 - t0 <= 4e-16 * t1:
            return t
        last = t
        if (y < 0) == (y1 < 0):
            t1, y1, y0, side = t, y, (y0 / 2 if side == 1 else y0), 1
        else:
            t0, y0, y1, side = t, y, (y1 / 2 if side == -1 else y1), -1
    return 0.5 * (t0 + t1)

"""One affine system of any number of states as a power series in time: quick to start, quick to watch.

`Flow` goes to a given time; a closed loop has to find out, a few times a period and from ever new states, which of many guards
falls first. So the series of the exponential is multiplied out once, for the states and for every guard together: one product
with the state then gives them all as polynomials in time. They are good to rounding within `reach`; longer stretches go in steps.
"""

from __future__ import annotations

import math

import numpy as np

from .flow import ROUNDING, Flow
from .polynomials import CUTS, DEEPEST, MOST_TERMS, ORDER, PARTS, at, fall_since, first_part, turning

ORDERS = (10, 14, 18, 22, MOST_TERMS)  # terms of the series; as few as reach over the whole stretch, else the last
REST = 1e-17  # the first term left out, over the state; no term is then larger than about e^2.8 of it
FEWER = 16  # terms that the polynomial of a part needs: it runs over a quarter of the time, and 0.7^16/16! is rounding


class Series(Flow):
    """x' = A x + b with the rows of `guards` watched. `longest`: the stretch (s) that is asked for as a rule.

    A state is an array of n + 1 numbers, the last of them 1.
    """

    def __init__(self, a, b, scale, guards, longest: float):
        super().__init__(a, b, scale)
        self.terms, self.reach, self.pace = _terms_and_reach(self.a, longest)
        f = np.zeros((self.n + 1, self.n + 1))
        f[: self.n, : self.n], f[: self.n, self.n] = self.a, self.b
        power, powers = np.eye(self.n + 1), []
        for k in range(self.terms):
            powers.append(power)
            power = f @ power * (self.reach / (k + 1))
        self._powers = np.array(powers)
        rows = np.concatenate([np.eye(self.n, self.n + 1), np.array(guards, float).reshape(-1, self.n + 1)])
        self.count, self._series = len(rows) - self.n, np.einsum("ri,kij->rkj", rows, self._powers).reshape(-1, self.n + 1)
        self._shape, rows = (len(rows), self.terms), np.abs(rows[self.n :])
        self._grains = list(np.array([rows, rows @ np.abs(f) * self.reach]).transpose(1, 0, 2).copy())
        self._cuts = np.ascontiguousarray(CUTS[:, :FEWER, : self.terms].transpose(2, 0, 1)).reshape(self.terms, -1)

    def first_event(self, w: np.ndarray, h: float, since: float = 0.0, late: int = 0) -> tuple[np.ndarray, float, int | None]:
        """The state where the first guard falls below zero, when, and which; at h and None where none does. Of guards that fall
        together the first in the list counts. The last `late` guards count from the time `since` on."""
        gone = 0.0
        while True:
            step = min(h - gone, self.reach)
            w, t, event = self._within_reach(w, step / self.reach, (since - gone) / self.reach, self.count - late)
            if event is not None:
                return w, gone + t, event
            gone += step
            if gone >= h * (1 - 1e-15):
                return w, h, None

    def _within_reach(self, w, span: float, since: float, early: int) -> tuple[np.ndarray, float, int | None]:
        """The same within reach, times as shares of it (what comes back is in s). A guard is looked at closely only where the sizes of
        its terms let it fall at all."""
        n, event = self.n, None
        terms, powers = (self._series @ w).reshape(self._shape), self._to_the(span)
        first, bends = terms[n:, :2].tolist(), (np.abs(terms[n:, 2:]) @ powers[2:]).tolist()
        near = [k for k, (y, slope) in enumerate(first) if y + (slope * span if slope < 0 else 0.0) < bends[k]]
        if near and near[-1] >= early and self._monotone(terms[n + near[-1]], powers):
            k = near.pop()  # a guard that ends a phase as a rule: it leaves less to look through
            s = fall_since(terms[n + k].tolist(), span, since, self._tolerance(k, w, span), DEEPEST)
            if s is not None:
                span, event, powers = s, k, self._to_the(s)
        if near:
            share, found = self._first_of(near, terms * powers, w, span, since, early)
            if found is not None:
                span, event = share * span, found
                powers = self._to_the(span)
        end = np.empty(n + 1)
        np.dot(terms[:n], powers, end[:n])
        end[n] = 1.0
        return end, span * self.reach, event

    @staticmethod
    def _monotone(p: np.ndarray, powers: np.ndarray) -> bool:
        """Whether a polynomial has no turn, by the sizes of its terms."""
        sizes = np.abs(p) * powers
        return bool(sizes[1] >= sizes[2:] @ ORDER[2 : len(p)])

    def _to_the(self, span: float) -> np.ndarray:
        """The powers of span."""
        powers = np.empty(self.terms)
        powers.fill(span)
        powers[0] = 1.0
        return np.multiply.accumulate(powers, out=powers)

    def _tolerance(self, k: int, w, span: float) -> float:
        """How far below zero the k-th guard may be by rounding."""
        grain, grows = (self._grains[k] @ np.abs(w)).tolist()
        return ROUNDING * (grain + span * grows)

    def _first_of(self, near: list, terms: np.ndarray, w, span: float, since: float, early: int) -> tuple[float, int | None]:
        """Which of these guards, polynomials on [0, 1], falls first, and where. Each is looked at in parts, with a polynomial of its own
        in each part: most of them then cannot fall."""
        parts = (terms[[self.n + k for k in near]] @ self._cuts).reshape(len(near), PARTS, -1)
        lowest = (parts[:, :, 0] + np.minimum(parts[:, :, 1], 0.0) - np.abs(parts[:, :, 2:]).sum(axis=2)).tolist()
        best, event = 1.0, None
        for j, k in enumerate(near):
            if min(lowest[j]) < 0:
                s = first_part(parts[j], lowest[j], self._tolerance(k, w, span), since / span if k >= early and since > 0 else 0.0)
                if s is not None and (event is None or s < best):
                    best, event = s, k
        return best, event

    def value(self, row, x) -> float:
        return float(np.asarray(row) @ x)

    def rate(self, x) -> np.ndarray:
        return self.a @ x[:-1] + self.b

    def advance(self, x, t: float) -> np.ndarray:
        """The state after t, n + 1 numbers."""
        return self.along(np.asarray(x)[:, None], t)[:, 0]

    def carry(self, t: float) -> np.ndarray:
        """What a state becomes after t, as a matrix (n + 1, n + 1)."""
        return np.eye(self.n + 1) + self._growth(t)

    def about(self, t: float, unit: float, terms: int) -> np.ndarray:
        """What becomes of a state after t + s unit, as a series in s: (terms, n + 1, n + 1)."""
        pieces = max(1, math.ceil(abs(t) / self.reach))
        once = np.tensordot(self._to_the(t / pieces / self.reach), self._powers, 1)
        found = np.zeros((terms, self.n + 1, self.n + 1))
        some = self._powers[:terms]
        found[: len(some)] = some @ np.linalg.matrix_power(once, pieces) * (unit / self.reach) ** np.arange(len(some))[:, None, None]
        return found

    def stretches(self, w: np.ndarray, t: np.ndarray):
        """From many states w, (n + 1, k), each over its own time t (k,), in stretches within reach: the guards as polynomials on [0, 1],
        (guards, terms, k), how far below zero rounding may put them, (guards, k), and the states at the end, (n + 1, k)."""
        count = max(1, math.ceil(float(np.max(t)) / self.reach * (1 - 1e-12)))
        share, n = t / (count * self.reach), self.n
        powers = np.empty((self.terms, len(share)))
        powers[:], powers[0] = share, 1.0
        np.multiply.accumulate(powers, out=powers)
        grains = np.array(self._grains).reshape(-1, 2, n + 1)
        for _ in range(count):
            terms = (self._series @ w).reshape(*self._shape, -1) * powers
            grain = grains @ np.abs(w)
            end = np.ones_like(w)
            end[:n] = terms[:n].sum(axis=1)
            yield terms[n:], ROUNDING * (grain[:, 0] + share * grain[:, 1]), end
            w = end

    def backwards(self, guard: int, w: np.ndarray, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """A guard that falls to zero at w: what it is there, (k,), and the rest of it as a polynomial in the time before that, t being 1,
        divided by that time: (terms - 1, k)."""
        share = -t / self.reach
        powers = np.multiply.accumulate(np.broadcast_to(share, (self.terms - 1, len(share))), axis=0)
        terms = self._series[(self.n + guard) * self.terms : (self.n + guard + 1) * self.terms] @ w
        return terms[0], terms[1:] * powers

    def positive(self, p: np.ndarray, slack: np.ndarray) -> np.ndarray:
        """In which of k cases these polynomials, (guards, terms, k), are all sure to stay above zero on [0, 1], or no further below than
        the slack (guards, k), by the sizes of their terms; where that does not tell, part by part."""
        guard, case = np.nonzero(p[:, 0] + np.minimum(p[:, 1], 0.0) + slack <= np.abs(p[:, 2:]).sum(axis=1))
        sure = np.ones(p.shape[2], bool)
        if case.size:
            parts = (p[guard, :, case] @ self._cuts).reshape(len(case), PARTS, -1)
            low = parts[:, :, 0] + np.minimum(parts[:, :, 1], 0.0) - np.abs(parts[:, :, 2:]).sum(axis=2)
            sure[case[low.min(axis=1) + slack[guard, case] <= 0]] = False
        return sure

    def moments(self, x, t: float) -> np.ndarray:
        return super().moments(x[:-1], t)

    def extremes(self, row, x, h: float) -> list[float]:
        return np.sort(self.turns(row, np.asarray(x)[:, None], np.array([h]))[1]).tolist()

    def path(self, x, times: np.ndarray) -> np.ndarray:
        """As in `Flow`, from a state of n + 1 numbers."""
        return self.along(np.repeat(np.asarray(x)[:, None], len(times), axis=1), times)[: self.n]

    def along(self, w: np.ndarray, t) -> np.ndarray:
        """From many states w, shape (n + 1, k), each after its own time t (k,): the states, (n + 1, k)."""
        w, left = np.array(w), np.array(np.broadcast_to(t, w.shape[1]))
        while True:
            step = np.minimum(left, self.reach)
            at, total = step / self.reach, self._powers[-1, : self.n] @ w
            for power in self._powers[-2::-1, : self.n]:
                total = total * at + power @ w
            w[: self.n] = total
            left = left - step
            if not np.any(left > 1e-15 * step):
                return w

    def turns(self, row, w: np.ndarray, t: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Where the quantity of `row` may have its extremes on the way from many states w, (n + 1, k), each over its own time t:
        both ends and each turn in between. Which way (indices), when, and the value there."""
        which, left, gone = np.arange(w.shape[1]), np.array(t, float), np.zeros(w.shape[1])
        series, found = np.asarray(row) @ self._powers, []
        while which.size:
            step = np.minimum(left, self.reach)
            p = (series @ w) * (step / self.reach) ** np.arange(self.terms)[:, None]
            k, s = turning(p)
            found.append((which[k], gone[k] + s * step[k], at(p[:, k], s)))
            found += [(which, gone, p[0]), (which, gone + step, p.sum(axis=0))]
            more = left - step > 1e-15 * left
            which, gone, left, w = which[more], (gone + step)[more], (left - step)[more], self.along(w[:, more], step[more])
        return tuple(np.concatenate(part) for part in zip(*found, strict=True))


def _terms_and_reach(a: np.ndarray, longest: float) -> tuple[int, float, float]:
    """How many terms to take, how far they reach, s: at most `longest`, and the pace p (1/s): from the first of the `ORDERS` on, term k
    is no larger than (p t)^k / k!."""
    from scipy.linalg import matrix_balance

    balanced, _ = matrix_balance(a, permute=False)
    power, reach, pace = np.eye(len(a)), longest, 0.0
    for k in range(1, ORDERS[-1] + 1):
        power = balanced @ power
        if k not in ORDERS:
            continue
        size = float(np.abs(power).sum(axis=1).max())
        if not math.isfinite(size):
            raise ValueError("the loop's numbers are out of range: a pole is too fast for the switching period")
        pace = size ** (1 / k) if k == ORDERS[0] else pace
        reach = (REST * math.factorial(k) / size) ** (1 / k) if size else math.inf
        if reach >= longest:
            break
    return k, min(reach, longest), pace

"""One linear system from one input to one output: x' = a x + b u, y = c x + d u. Plants, networks and their chains are such."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

PAIRED = 1e-9  # share of its size by which a root may miss its conjugate partner
NOTHING = 1e-13  # share below which what is left of a sum is its rounding
POLISH = 0.05  # share of a zero within which Newton's method may move it
AT_REST = 1e-13  # share of the fastest pole below which a pole is an integrator


@dataclass(frozen=True, eq=False)
class Linear:
    """`a` (n, n), `b` (n,), `c` (n,), `d` a number; in seconds. n may be 0: a plain gain.

    Calling it with frequencies in Hz gives its complex response. Raises ValueError where the shapes do not fit or a number is
    not finite.
    """

    a: np.ndarray
    b: np.ndarray
    c: np.ndarray
    d: float = 0.0

    def __post_init__(self):
        a, b, c = (np.asarray(part, float) for part in (self.a, self.b, self.c))
        n = len(b) if b.ndim == 1 else -1
        if a.shape != (n, n) or c.shape != (n,):
            raise ValueError(f"a linear system of n states needs a (n, n), b (n,) and c (n,): got {a.shape}, {b.shape}, {c.shape}")
        if not all(np.all(np.isfinite(part)) for part in (a, b, c, self.d)):
            raise ValueError("a, b, c and d of a linear system must be finite numbers")
        for name, part in (("a", a), ("b", b), ("c", c), ("d", float(self.d))):
            object.__setattr__(self, name, part)

    @classmethod
    def constant(cls, gain: float) -> Linear:
        """A plain gain, without states."""
        return cls(np.zeros((0, 0)), np.zeros(0), np.zeros(0), float(gain))

    @classmethod
    def of_roots(cls, gain: float, zeros=(), poles=()) -> Linear:
        """gain * prod(s - zero) / prod(s - pole), roots in rad/s, as a chain of sections of first and second order.

        Complex roots come in conjugate pairs. Raises ValueError where one lacks its partner, or the zeros outnumber the poles.
        """
        upper, lower = _factors("zeros", zeros), _factors("poles", poles)
        if len(np.atleast_1d(zeros)) > len(np.atleast_1d(poles)):
            raise ValueError(f"{len(zeros)} zeros and {len(poles)} poles: a network needs at least as many poles as zeros")
        chain, factor = cls.constant(1.0), float(gain)
        for numerator, denominator in _sections(upper, lower):
            section, share = _section(numerator, denominator)
            chain, factor = chain.then(section), factor * share
        return chain.scaled(factor)

    @classmethod
    def corner_form(cls, dc: float, zeros_hz=(), poles_hz=(), q_pairs=(), integrators: int = 0) -> Linear:
        """dc prod(1 + s/w_z) / prod(1 + s/w_p) / prod(1 + s/(Q w_0) + (s/w_0)^2) / s^integrators.

        Corners in Hz, w = 2 pi f; a negative corner lies in the right half plane. `q_pairs`: (f_0 in Hz, Q) of resonant
        pole pairs. With integrators, `dc` is the factor before 1/s^k, in rad/s each.
        """
        zeros, poles = ([-2 * math.pi * f for f in corners] for corners in (zeros_hz, poles_hz))
        pairs = [root for f, q in q_pairs for root in _pair(2 * math.pi * f, q)]
        if not all(zeros) or not all(poles) or not all(pairs):
            raise ValueError("a corner at 0 Hz has no place in corner form: count it in `integrators`")
        gain = dc * math.prod(-p for p in poles) * math.prod((p for p in pairs), start=1.0).real / math.prod(-z for z in zeros)
        return cls.of_roots(gain, zeros, [*poles, *pairs, *(0.0,) * integrators])

    @property
    def n(self) -> int:
        """How many states."""
        return len(self.b)

    def __call__(self, f) -> np.ndarray:
        """Its complex response at frequencies `f` (Hz), of the shape of f."""
        s = 2j * np.pi * np.asarray(f, float)
        eye = np.eye(self.n)
        x = np.linalg.solve(s[..., None, None] * eye - self.a, np.broadcast_to(self.b, (*s.shape, self.n))[..., None])[..., 0]
        return x @ self.c + self.d

    @cached_property
    def poles(self) -> np.ndarray:
        """Its poles, rad/s, complex."""
        return np.linalg.eigvals(self.a).astype(complex)

    @cached_property
    def zeros(self) -> np.ndarray:
        """Its finite zeros, rad/s, complex: the s at which an input passes unseen at the output.

        Where there is no feedthrough, the output is held at zero and its own rate takes its place, one state fewer each time
        (a change of coordinates by a reflection, which loses no digits)."""
        from scipy.linalg import eigvals

        a, b, c, d = self._balanced()
        while d == 0:
            size = np.linalg.norm(c)
            if len(b) == 0 or size == 0:
                return np.zeros(0, complex)
            turn = _reflection(c / size)
            a, b = turn @ a @ turn, turn @ b
            a, c, d = a[:-1, :-1], a[-1, :-1], b[-1] if abs(b[-1]) > NOTHING * np.linalg.norm(b) else 0.0
            b = b[:-1]
        pace, n = np.linalg.norm(a) or 1.0, len(b)
        found = eigvals(np.block([[a / pace, b[:, None] / pace], [c[None, :], np.array([[d]])]]), np.diag([1.0] * n + [0.0]))
        found = sorted(found[np.isfinite(found)], key=abs)[:n]
        return np.array([self._polished(pace * z) for z in found if abs(z) < 1 / NOTHING], complex)

    def _polished(self, zero: complex) -> complex:
        """A zero that the whole matrix knows to its rounding only, by Newton's method on the response itself."""
        for _ in range(3):
            lead = zero * np.eye(self.n) - self.a
            try:
                x = np.linalg.solve(lead, self.b)
                step = (self.c @ x + self.d) / (self.c @ np.linalg.solve(lead, x))
            except np.linalg.LinAlgError:  # on a pole: the two cancel
                return zero
            if not abs(step) < POLISH * abs(zero):
                return zero
            zero = zero + step if zero.imag else complex((zero + step).real)
        return zero

    def _balanced(self) -> tuple:
        """The same system with its states, input and output in such sizes that rows and columns weigh alike."""
        from scipy.linalg import matrix_balance

        whole = np.block([[self.a, self.b[:, None]], [self.c[None, :], np.array([[self.d]])]])
        whole, _ = matrix_balance(whole, permute=False)
        return whole[:-1, :-1], whole[:-1, -1], whole[-1, :-1], whole[-1, -1]

    @property
    def dc(self) -> float:
        """Its gain at rest (f = 0); infinite with an integrator."""
        sizes = np.abs(self.poles)
        if self.n and sizes.min() <= AT_REST * sizes.max():
            return math.inf
        return float(self.d - self.c @ np.linalg.solve(self.a, self.b))

    def scaled(self, factor: float) -> Linear:
        """`factor` times this one."""
        return Linear(self.a, self.b, self.c * factor, self.d * factor)

    def then(self, other: Linear) -> Linear:
        """In series: this one's output feeds the other."""
        a = np.block([[self.a, np.zeros((self.n, other.n))], [np.outer(other.b, self.c), other.a]])
        return Linear(a, np.append(self.b, other.b * self.d), np.append(other.d * self.c, other.c), other.d * self.d)

    def plus(self, other: Linear) -> Linear:
        """Side by side: one input, the outputs added."""
        a = np.block([[self.a, np.zeros((self.n, other.n))], [np.zeros((other.n, self.n)), other.a]])
        return Linear(a, np.append(self.b, other.b), np.append(self.c, other.c), self.d + other.d)

    def closed(self, back: Linear | None = None) -> Linear:
        """With negative feedback through `back` (left out: the output itself): this / (1 + this back)."""
        back = back or Linear.constant(1.0)
        k = 1 + self.d * back.d
        if abs(k) <= NOTHING:
            raise ValueError("the loop's instant gain is -1: a loop that answers itself without delay has no solution")
        a = np.block([
            [self.a - np.outer(self.b, self.c) * back.d / k, -np.outer(self.b, back.c) / k],
            [np.outer(back.b, self.c) / k, back.a - np.outer(back.b, back.c) * self.d / k],
        ])  # fmt: skip
        return Linear(a, np.append(self.b, back.b * self.d) / k, np.append(self.c, -self.d * back.c) / k, self.d / k)


def _pair(w: float, q: float) -> tuple[complex, complex]:
    """The two roots of 1 + s/(q w) + (s/w)^2."""
    if not (w > 0 and q > 0):
        raise ValueError(f"q_pairs: a resonance needs a frequency and a quality above 0, got {w / (2 * math.pi):.4g} Hz and {q:.4g}")
    half = w / (2 * q)
    if q > 0.5:
        swing = math.sqrt(w**2 - half**2)
        return complex(-half, swing), complex(-half, -swing)
    far = half + math.sqrt(half**2 - w**2)
    return complex(-far), complex(-(w**2) / far)


def _factors(name: str, roots) -> list[tuple]:
    """Real polynomials with these roots, highest power first, (1, c) and (1, c1, c0); slow roots first."""
    left = sorted(np.atleast_1d(np.asarray(roots, complex)).tolist(), key=abs, reverse=True)
    found: list[tuple] = []
    while left:
        root = left.pop()
        if abs(root.imag) <= PAIRED * abs(root):
            found.append((1.0, -root.real))
            continue
        partner = min(left, key=lambda r: abs(r - root.conjugate()), default=math.inf)
        if not abs(partner - root.conjugate()) <= PAIRED * abs(root):
            raise ValueError(f"{name}: {root:.4g} rad/s lacks its conjugate partner; complex roots come in pairs")
        left.remove(partner)
        found.append((1.0, -2 * root.real, abs(root) ** 2))
    return found


def _sections(upper: list[tuple], lower: list[tuple]):
    """Numerator and denominator of each section: a pair of zeros gets a pair of poles, made of two real ones where need be."""
    singles, pairs = ([f for f in lower if len(f) == k] for k in (2, 3))
    zero_singles, zero_pairs = ([f for f in upper if len(f) == k] for k in (2, 3))
    while len(pairs) < len(zero_pairs):
        (_, c1), (_, c2) = singles.pop(0), singles.pop(0)
        pairs.append((1.0, c1 + c2, c1 * c2))
    for denominator in pairs:
        if zero_pairs:
            yield zero_pairs.pop(0), denominator
        elif len(zero_singles) > len(singles):
            (_, c1), last = zero_singles.pop(), (zero_singles.pop() if len(zero_singles) > len(singles) else None)
            yield ((1.0, c1 + last[1], c1 * last[1]) if last else (0.0, 1.0, c1)), denominator
        else:
            yield (0.0, 0.0, 1.0), denominator
    for k, denominator in enumerate(singles):
        yield (zero_singles[k] if k < len(zero_singles) else (0.0, 1.0)), denominator


def _section(numerator: tuple, denominator: tuple) -> tuple[Linear, float]:
    """A section with states of the size of its input, divided by a factor so that its own gain is near 1; and that factor."""
    *_, a0 = denominator
    if len(denominator) == 2:
        b1, b0 = numerator
        w = abs(a0) or abs(b0) or 1.0
        share = 1.0 if b1 else 1 / w
        return Linear([[-a0]], [w], [(b0 - b1 * a0) / w / share], b1 / share), share
    b2, b1, b0 = numerator
    a1 = denominator[1]
    w = math.sqrt(abs(a0)) or abs(a1) or math.sqrt(abs(b0)) or 1.0
    share = 1.0 if b2 else 1 / w if b1 else 1 / w**2
    c = [(b0 - b2 * a0) / w**2 / share, (b1 - b2 * a1) / w / share]
    return Linear([[0.0, w], [-a0 / w, -a1]], [0.0, w], c, b2 / share), share


def _reflection(unit: np.ndarray) -> np.ndarray:
    """The reflection that takes this unit vector into the last axis (up to its sign)."""
    v = unit.copy()
    v[-1] += math.copysign(1.0, v[-1])
    return np.eye(len(v)) - 2 * np.outer(v, v) / (v @ v)

"""Polynomials on a short stretch: where one first falls below zero, where many turn. A power series cut off is such a polynomial.

A bound on what the higher terms can do settles most questions; where it does not, the stretch is cut into parts, in each of which
they can do far less.
"""

from __future__ import annotations

import math

import numpy as np

from .flow import ROUNDING

MOST_TERMS = 28
LOOKS = 7  # places at which a stretch is asked whether a quantity has turned
NEWTON = 4  # rounds that find a turn; its value is right to the square of its place
PARTS = 4  # into which a stretch is cut to see where a guard may fall
DEEPEST = 24  # times over: 4^24 is more than rounding tells apart
NOTHING = 1e-17  # share of a guard's size below which its last terms are left out


def first_fall(p: list, span: float, tolerance: float, depth: int = 0) -> float | None:
    """The first s in [0, span] at which the polynomial p[0] + p[1] s + ... is below zero, or None where it never is by more
    than the tolerance. Where it turns, the stretch is cut up until it is monotone in each part; at the `DEEPEST` depth it is known to
    be."""
    if p[0] < -tolerance:
        return 0.0
    if depth == DEEPEST:
        return _monotone_fall(p, span, tolerance)
    bend = turn = 0.0
    power = span
    for k in range(2, len(p)):
        size = abs(p[k]) * power
        turn += k * size
        bend += size
        power *= span
    if p[0] + min(p[1], 0.0) * span - bend * span >= -tolerance:
        return None
    if abs(p[1]) >= turn:
        return _monotone_fall(p, span, tolerance)
    return _in_parts(p, span, tolerance, depth + 1)


def _monotone_fall(p: list, span: float, tolerance: float) -> float | None:
    """The same for a polynomial without a turn in [0, span]."""
    if _value(p, span) >= -tolerance:
        return None
    return _root(p, span) if p[0] > 0 else 0.0


def _in_parts(p: list, span: float, tolerance: float, depth: int) -> float | None:
    """The same part by part."""
    n = len(p)
    parts = CUTS[:, :n, :n] @ (np.array(p) * np.power(span, ORDER[:n]))
    lowest = parts[:, 0] + np.minimum(parts[:, 1], 0.0) - np.abs(parts[:, 2:]).sum(axis=1)
    s = first_part(parts, lowest.tolist(), tolerance, 0.0, depth)
    return None if s is None else s * span


def fall_since(p: list, span: float, since: float, tolerance: float, depth: int = 0) -> float | None:
    """`first_fall` from `since` on; what the polynomial does before does not count."""
    least = tolerance * NOTHING / ROUNDING
    while len(p) > 2 and -least < p[-1] < least:
        p.pop()
    s = first_fall(p, span, tolerance, depth) if since < span else None
    if s is None or s >= since:
        return s
    s = first_fall(_shifted(p, since), span - since, tolerance, depth)
    return None if s is None else since + s


def first_part(parts: np.ndarray, lowest: list, tolerance: float, since: float = 0.0, depth: int = 0) -> float | None:
    """The first fall, from `since` on, of what these polynomials make up on [0, 1], where it cannot be below `lowest` in each."""
    for k, low in enumerate(lowest):
        if low < -tolerance and (k + 1) / PARTS > since:
            s = fall_since(parts[k].tolist(), 1.0, since * PARTS - k, tolerance, depth)
            if s is not None:
                return (k + s) / PARTS
    return None


def _cuts(parts: int, terms: int) -> np.ndarray:
    """What makes of a polynomial on [0, 1] those on its parts, each again on [0, 1]: (parts, terms, terms)."""
    cut = np.array([[math.comb(j, k) for j in range(terms)] for k in range(terms)], float)
    begins = np.arange(parts)[:, None, None]
    powers = np.arange(terms)[None, :] - np.arange(terms)[:, None]  # of where the part begins
    return cut * np.where(powers >= 0, begins ** np.maximum(powers, 0).astype(float), 0.0) / float(parts) ** np.arange(terms)[None, :]


CUTS, ORDER = _cuts(PARTS, MOST_TERMS), np.arange(float(MOST_TERMS))


def _value(p: list, s: float) -> float:
    y = 0.0
    for c in reversed(p):
        y = y * s + c
    return y


def _shifted(p: list, by: float) -> list:
    """The polynomial in s - by."""
    p = list(p)
    for k in range(len(p) - 1):
        for j in range(len(p) - 2, k - 1, -1):
            p[j] += by * p[j + 1]
    return p


def _root(p: list, span: float) -> float:
    """The zero of a polynomial that falls from above zero to below it without a turn: Newton's method, kept in the bracket."""
    low, high, highest_first = 0.0, span, p[::-1]
    s = min(-p[0] / p[1], span) if p[1] < 0 else span
    for _ in range(200):
        y = slope = 0.0
        for c in highest_first:
            slope = slope * s + y
            y = y * s + c
        if y > 0:
            low = s
        else:
            high = s
        new = s - y / slope if slope else 0.5 * (low + high)
        if not low < new < high:
            if abs(new - s) <= 4e-16 * span:
                return s
            new = 0.5 * (low + high)
        if abs(new - s) <= 4e-16 * span or y == 0:
            return new if y else s
        s = new
    return s


def turning(p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where polynomials (terms, k) turn between 0 and 1: which, and where. Within reach no mode of the system swings through more
    than half a radian from one look to the next."""
    slope = p[1:] * np.arange(1, len(p))[:, None]
    points = np.linspace(0, 1, LOOKS)
    looks = points[:, None] ** np.arange(len(slope)) @ slope
    look, k = np.nonzero(looks[:-1] * looks[1:] < 0)
    first, last, slope = looks[look, k], looks[look + 1, k], slope[:, k]
    low, high = points[look], points[look + 1]
    bend, s = slope[1:] * np.arange(1, len(slope))[:, None], low + (high - low) * first / (first - last)
    for _ in range(NEWTON):
        y = at(slope, s)
        low, high = np.where(y * first > 0, s, low), np.where(y * first > 0, high, s)
        with np.errstate(all="ignore"):
            s = s - y / at(bend, s)
        s = np.where((low <= s) & (s <= high), s, (low + high) / 2)
    return k, s


def at(p: np.ndarray, s: np.ndarray) -> np.ndarray:
    """Polynomials (terms, k), each at its own s (k,)."""
    total = np.zeros(np.shape(s))
    for term in p[::-1]:
        total = total * s + term
    return total

"""Numbers that carry their uncertainty, after JCGM 100:2008 (the GUM). Home of the `uncertainties` library.

An uncertain number is an estimate and a standard uncertainty, `u.n` and `u.s`. It remembers where its uncertainty comes
from, so that two readings with one probe share the probe's error: their ratio is free of it. Add, multiply and divide
such numbers like others. What each part contributes is its `budget`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from uncertainties import correlated_values as _correlated
from uncertainties import correlation_matrix, ufloat
from uncertainties.core import AffineScalarFunc as Uncertain
from uncertainties.core import LinearCombination

from ..units import guard, quoted, read, show

COVERAGE = 2  # factor k of an expanded uncertainty: about 95 %, JCGM 100, 6.3.3
SAME = "correlated readings"


@dataclass(frozen=True)
class Share:
    """One line of a budget: what it is, its standard uncertainty in the unit of the result, its share of the variance."""

    what: str
    standard: float
    share: float


def uncertain(value: float, standard: float, what: str) -> Uncertain:
    """An estimate with its standard uncertainty (same unit; 0: exact); `what` names the source in a budget."""
    value, standard = guard("value", value), guard("standard uncertainty", standard, 0)
    return ufloat(value, standard, what) if standard else Uncertain(value, LinearCombination([]))


def within(limit: float, what: str) -> Uncertain:
    """An error of 0 that may lie anywhere between -limit and +limit: limit/sqrt(3) (type B; JCGM 100, 4.3.7).

    A maker's "accuracy" is such a limit where nothing else is said.
    """
    return uncertain(0.0, guard("limit of error", limit, 0) / sqrt(3), what)


def resolution(step: float, what: str = "resolution") -> Uncertain:
    """An error of 0 from a display or converter with this step: step/sqrt(12) (type B; JCGM 100, F.2.2.1)."""
    return within(guard("resolution", step, 0) / 2, what)


def factor(limit: float, what: str) -> Uncertain:
    """A factor of 1 that may be off by up to the share `limit`: the gain of an amplifier, the ratio of a probe."""
    return 1 + within(limit, what)


def from_readings(readings, what: str = "scatter of readings") -> Uncertain:
    """The mean of repeated readings with s/sqrt(n) (type A; JCGM 100, 4.2.3). At least two readings."""
    values = _readings("readings", readings)
    return uncertain(float(values.mean()), float(values.std(ddof=1) / sqrt(len(values))), what)


def correlated_means(**readings) -> tuple[Uncertain, ...]:
    """The means of several quantities read together, n times each, with their covariances (JCGM 100, 5.2.3).

    Example: `voltage, current = correlated_means(voltage=[5.007, 4.994], current=[19.66e-3, 19.64e-3])`.
    """
    table = [_readings(name, values) for name, values in readings.items()]
    if len({len(values) for values in table}) > 1:
        raise ValueError(f"{', '.join(readings)} = {', '.join(str(len(v)) for v in table)} readings must be equally many: read together")
    covariance = np.cov(np.array(table), ddof=1) / len(table[0])
    return correlated([values.mean() for values in table], np.atleast_2d(covariance), tuple(readings))


def correlated(values, covariance, names=None) -> tuple[Uncertain, ...]:
    """Estimates that err together, from their covariance matrix (in the products of their units), as a fit gives it."""
    names = names or [f"{SAME} {k + 1}" for k in range(len(values))]
    return tuple(_correlated([float(v) for v in values], np.asarray(covariance, dtype=float), tags=list(names)))


def straight_line(x, y, about: float = 0.0) -> tuple[Uncertain, Uncertain]:
    """Value at `about` and slope of the straight line through points, by least squares, errors in y alone.

    Their uncertainties come from the scatter about the line and are correlated (JCGM 100, H.3). At least three points,
    not all at one x. Result: (value, slope), in the unit of y and of y over x.
    """
    x, y = _readings("x", x, 3) - about, _readings("y", y, 3)
    if len(x) != len(y) or np.ptp(x) == 0:
        raise ValueError(f"x = {len(x)} values must be as many as y ({len(y)}), and not all the same")
    design = np.column_stack([np.ones_like(x), x])
    found, *_ = np.linalg.lstsq(design, y, rcond=None)
    variance = float(np.sum((y - design @ found) ** 2)) / (len(x) - 2)
    return correlated(found, variance * np.linalg.inv(design.T @ design), ("value of the line", "slope of the line"))


def correlation(a: Uncertain, b: Uncertain) -> float:
    """The correlation coefficient of two uncertain numbers, from -1 to 1; 0 where one of them is exact."""
    return float(correlation_matrix([a, b])[0, 1]) if a.s and b.s else 0.0


def standard(u) -> float:
    """The combined standard uncertainty; 0 for a plain number."""
    return float(getattr(u, "s", 0.0))


def expanded(u, k: float = COVERAGE) -> float:
    """The expanded uncertainty k times the combined one: the value lies within plus or minus this, at k = 2 with about 95 %."""
    return guard("coverage factor k", k, 0, open_low=True) * standard(u)


def budget(u) -> tuple[Share, ...]:
    """Where the uncertainty comes from, the largest part first; parts of one name that err independently are added as squares."""
    parts: dict[str, float] = {}
    for source, size in getattr(u, "error_components", dict)().items():
        parts[source.tag or "unnamed"] = parts.get(source.tag or "unnamed", 0.0) + size**2
    total = sum(parts.values()) or 1.0
    lines = [Share(what, sqrt(square), square / total) for what, square in parts.items() if square > 0]
    return tuple(sorted(lines, key=lambda line: -line.standard))


def show_with(u, unit: str = "", digits: int | None = None) -> str:
    """An uncertain number in words: `"1.94(2) A"`, `"47.1(12) µH"`, `"88.2(4) %"` for unit `"%"`.

    The digits in brackets are the standard uncertainty in the last digits printed (JCGM 100, 7.2.2): as many as `digits` (1 or
    2), or one, and two where the first would be a 1.
    """
    value, error = guard("value to print", float(getattr(u, "n", u))), guard("standard uncertainty", standard(u), 0)
    if digits not in (None, 1, 2):
        raise ValueError(f"digits = {quoted(digits)} must be 1 or 2: an uncertainty is never known better")
    if not error:
        return show(value, unit, 4)
    word = show(max(abs(value), error), unit).partition(" ")[2]
    scale = 0.01 if unit == "%" else read(f"1 {word}", unit) if word else 1.0
    value, error = value / scale, error / scale
    places = _places(error, digits)
    if places < 0:
        return f"{round(value, places):.0f}({round(error, places):.0f}) {word}".strip()
    return f"{value:.{places}f}({round(error * 10**places)}) {word}".strip()


def _places(error: float, digits: int | None) -> int:
    """Decimals that leave so many digits of the error; it is rounded first, since 0.0996 is 0.10."""
    first, power = f"{error:.1e}"[0], int(f"{error:.{(digits or 2) - 1}e}".partition("e")[2])
    return (digits or (2 if first == "1" else 1)) - 1 - power


def _readings(name: str, values, least: int = 2) -> np.ndarray:
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise ValueError(f"{name} = {quoted(values)} must be a list of numbers") from None
    if array.ndim != 1 or len(array) < least or not np.isfinite(array).all():
        raise ValueError(f"{name} = {quoted(values)} must be a list of at least {least} finite numbers")
    return array

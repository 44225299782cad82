"""An inductor whose core saturates: its inductance falls in steps as the current grows.

A curve is a tuple of points (current A, share): beyond that current, in either direction, this share of the small-current
inductance is left. What is meant is the slope of the flux linkage over the current (the inductance that a small ripple
meets), so the flux linkage is piecewise linear in the current, and odd. No points: a linear inductor.

The stretches between the points are numbered from 0, the one about zero current, up to the number of points, and with a
minus sign where the current is negative.
"""

from __future__ import annotations

from bisect import bisect_right
from itertools import pairwise

import numpy as np

from ..files import Section
from ..units import guard, quoted

Curve = tuple[tuple[float, float], ...]
LEAST = 1e-4  # share of the inductance at least left; the winding without its core has more
MOST_POINTS = 100


def read_curve(s: Section) -> Curve:
    """The curve under the key `saturation`: `[[2.0, 0.6], ["3 A", "20 %"]]`, currents rising. Raises ValueError naming
    the point, counted from 1."""
    points, curve, last = s.value("saturation", ()), [], 0.0
    if not isinstance(points, list | tuple) or not all(isinstance(p, list | tuple) and len(p) == 2 for p in points):
        s.fail("saturation", quoted(points), "must be a list of pairs [current, share of the inductance left beyond it]")
    if len(points) > MOST_POINTS:
        s.fail("saturation", f"a list of {len(points)} points", f"must have at most {MOST_POINTS}")
    for k, (current, share) in enumerate(points, 1):
        pair = Section({"current": current, "share": share}, s.where, f"{s.key}.saturation[{k}]")
        last = pair.quantity("current", "A", low=last, open_low=True, high=1e5, why="each above the one before")
        curve.append((last, pair.quantity("share", "", low=LEAST, high=1)))
    return tuple(curve)


def curve_through(currents, flux_linkages) -> tuple[float, Curve]:
    """Small-current inductance (H) and curve of the straight lines from the origin through the points (A, Wb), such as a
    wound core or a bench gives; both rise strictly from point to point. The last line goes on for ever, so the last point
    is no knee. Raises ValueError where a line is steeper than the first (a core does not saturate backwards)."""
    points = [(0.0, 0.0), *zip(map(float, currents), map(float, flux_linkages), strict=True)]
    if len(points) < 2:
        raise ValueError("currents = [] must hold at least one point")
    slopes = []
    for k, ((i0, flux0), (i1, flux1)) in enumerate(pairwise(points), 1):
        guard(f"current of point {k}", i1, i0, unit="A", open_low=True, why="each above the one before")
        guard(f"flux linkage of point {k}", flux1, flux0, unit="Wb", open_low=True, why="each above the one before")
        slopes.append((flux1 - flux0) / (i1 - i0))
    shares = [guard(f"slope before point {k} over the first", slope / slopes[0], LEAST, 1 + 1e-9)
              for k, slope in enumerate(slopes[1:], 2)]
    return slopes[0], tuple((i, min(share, 1.0)) for (i, _), share in zip(points[1:], shares, strict=False))


def share_left(curve: Curve, stretch: int) -> float:
    """Share of the small-current inductance in this stretch."""
    return curve[abs(stretch) - 1][1] if stretch else 1.0


def stretch_at(curve: Curve, current: float) -> int:
    """In which stretch the current (A) is; at a point, the outer one."""
    beyond = bisect_right([knee for knee, _ in curve], abs(current))
    return beyond if current > 0 else -beyond


def ends(curve: Curve, stretch: int) -> tuple[float | None, float | None]:
    """Lowest and highest current (A) of the stretch; None where it has no end."""
    inner = curve[abs(stretch) - 1][0] if stretch else None
    outer = curve[abs(stretch)][0] if abs(stretch) < len(curve) else None
    if stretch > 0:
        return inner, outer
    return (None if outer is None else -outer), (outer if stretch == 0 else -inner)


def flux_linkage(inductance, curve: Curve, current):
    """Flux linkage (Wb) at a current (A), numbers or arrays."""
    size = np.abs(current)
    return np.sign(current) * sum(
        inductance * share * (np.minimum(size, high) - np.minimum(size, low)) for low, high, share in _stretches(curve)
    )


def field_energy(inductance, curve: Curve, current, since=0.0):
    """Energy (J) that the field takes up as the current goes from `since` to `current` (A): the integral of current over
    flux linkage, numbers or arrays. L/2 (i² - i0²) for a linear inductor."""
    if not curve:
        return inductance / 2 * (current**2 - since**2)
    return sum(
        inductance * share / 2 * (np.clip(np.abs(current), low, high) ** 2 - np.clip(np.abs(since), low, high) ** 2)
        for low, high, share in _stretches(curve)
    )


def _stretches(curve: Curve):
    """(lowest current, highest current, share left) of each stretch from zero outwards."""
    knees, shares = [0.0, *(knee for knee, _ in curve), np.inf], [1.0, *(share for _, share in curve)]
    return [(low, high, share) for (low, high), share in zip(pairwise(knees), shares, strict=True)]

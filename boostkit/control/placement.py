"""How fast a loop may be, and the compensator that makes it so at every corner.

    limits = reach(plants, f_sw=150e3)                    # what each thing in the way allows
    placed = place(plants, "one zero", crossover=limits.crossover, phase_margin=60, f_sw=150e3)
    placed.compensator, placed.met, placed.why

A plant is any function from frequency (Hz) to the complex response from control voltage to output voltage; `plants` maps each corner of
source voltage and load to one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from itertools import combinations_with_replacement, product
from math import inf, pi, sqrt

import numpy as np

from ..units import guard, quoted, show
from .compensator import KINDS, Compensator
from .corners import from_above, grid, of_loop, passes, reserves, worst
from .margins import Margins

OF_SWITCHING = 0.1  # Erickson & Maksimovic, 3rd ed., sec. 9.5.1 (as quoted): up to about a tenth
OF_ZERO = 0.25  # between a fifth and a third of the right-half-plane zero: common practice, no source
TURN_BY_DELAY = 30.0  # degrees that a delay may take at the crossover: common practice, no source
BELOW = 1e-5  # of the crossover, from where the margins are counted, unless a pole lies lower
UNDER = 0.01  # of the slowest pole, from where they are then counted: a plain slope of gain by there
AIR = 0.3  # degrees added while searching, for what lies between the points
OCTAVE = 30.0  # degrees that a missing factor of two counts for, in the search only
WIDTHS = (1.4, 1.15, 1.05, 1.015)  # of the steps of the search, as factors of frequency
SLOWEST = 1 / 300  # of the crossover, for a zero: slower ones leave no gain at low frequency
APART = 2.0  # of pole over zero, at least: closer together they only cancel


@dataclass(frozen=True)
class Limit:
    """One thing in the way: its name, the highest crossover (Hz) that it allows, the corner where it is lowest, and words."""

    name: str
    crossover: float
    corner: object
    words: str


@dataclass(frozen=True)
class Reach:
    """The highest sensible crossover (Hz), the limit that sets it, and all the limits, lowest first."""

    crossover: float
    by: str
    limits: tuple[Limit, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        return tuple(limit.words for limit in self.limits)


def reach(plants: Mapping, f_sw: float, *, zeros: Mapping | None = None, delay: float = 0.0, of_zero: float = OF_ZERO,
          of_switching: float = OF_SWITCHING) -> Reach:  # fmt: skip
    """How high the crossover may lie: the least of what the right-half-plane zero, the clock and a delay allow, over all corners.

    Args: plants, corner to plant; f_sw Hz; zeros, corner to the right-half-plane zero in Hz (None: there is none), else read from the
    plants that know their `zeros` (rad/s, as `circuit.linear.Linear` does); delay s, of a sampled regulator; of_zero, of_switching: the
    shares of zero and clock to stay below. A quarter of the zero takes 14° of the phase. Errors: ValueError.
    """
    guard("f_sw", f_sw, 0, unit="Hz", open_low=True)
    guard("delay", delay, 0, unit="s")
    guard("of_zero", of_zero, 0, 1, open_low=True, why="beyond its zero a loop has no phase left")
    guard("of_switching", of_switching, 0, 0.5, open_low=True, why="a loop acts once a period")
    if not plants:
        raise ValueError("plants must hold at least one corner")
    _check_zeros(zeros)
    clock = of_switching * f_sw
    limits = [Limit("switching frequency", clock, None, f"{show(of_switching, '%')} of the switching frequency: {show(clock, 'Hz')}")]
    known = {corner: zeros.get(corner) if zeros is not None else right_half_plane(plant) for corner, plant in plants.items()}
    if known := {corner: zero for corner, zero in known.items() if zero is not None}:
        most = of_zero * known[corner := min(known, key=known.get)]
        limits.append(Limit("right-half-plane zero", most, corner,
                            f"{show(of_zero, '%')} of the right-half-plane zero, {show(known[corner], 'Hz')} at {corner}: "
                            f"{show(most, 'Hz')}"))  # fmt: skip
    if delay:
        most = TURN_BY_DELAY / 360 / delay
        limits.append(Limit("delay", most, None, f"a delay of {show(delay, 's')} takes {TURN_BY_DELAY:.0f}° at {show(most, 'Hz')}"))
    limits.sort(key=lambda limit: limit.crossover)
    return Reach(limits[0].crossover, limits[0].name, tuple(limits))


def _check_zeros(zeros) -> None:
    if zeros is not None and not isinstance(zeros, Mapping):
        raise ValueError(f"zeros = {quoted(zeros)} must map each corner to its right-half-plane zero in Hz, or to None")
    for corner, zero in (zeros or {}).items():
        if zero is not None:
            guard(f"the right-half-plane zero at {corner}", zero, 0, unit="Hz", open_low=True)


def right_half_plane(plant) -> float | None:
    """The lowest zero of a plant in the right half plane, Hz, if the plant knows its zeros and has such a one."""
    zeros = np.atleast_1d(getattr(plant, "zeros", ()))
    right = [abs(zero) / (2 * pi) for zero in zeros if np.real(zero) > 0]
    return float(min(right)) if right else None


@dataclass(frozen=True)
class Placed:
    """A compensator and what it does.

    crossover Hz: the highest of all corners. margins: by corner, those left out at which none can be reckoned. met: whether every corner
    is stable, with the phase and gain margin asked for. worst: the corner with the least phase margin, or without margins. why: in words.
    """

    compensator: Compensator
    crossover: float
    margins: Mapping
    met: bool
    worst: object
    why: tuple[str, ...]


@dataclass(frozen=True)
class Wish:
    """What a placement has to meet: margins in degrees and as a factor, and the most gain at the switching frequency."""

    crossover: float
    phase_margin: float
    gain_margin: float
    f_sw: float
    most_ripple_gain: float


def place(plants: Mapping, kind: str, crossover: float, phase_margin: float, f_sw: float, *, gain_margin: float = 2.0,
          most_ripple_gain: float = inf) -> Placed:  # fmt: skip
    """The compensator of a kind with the most gain at low frequency that keeps its margins at every corner.

    Args: plants, corner to plant; kind, one of `compensator.KINDS`; crossover Hz, which the corner with the most gain has and no other
    exceeds; phase_margin degrees and gain_margin (a factor), kept at the worst corner; f_sw Hz; most_ripple_gain, of the compensator
    at f_sw: output ripple times this has to stay small against the ramp. Zeros and one place for the poles are searched for.
    Where no place meets all, the one that comes closest is returned, with `met` False. Errors: ValueError.
    """
    _check(plants, kind, crossover, phase_margin, gain_margin, f_sw, most_ripple_gain)
    wish = Wish(crossover, phase_margin, gain_margin, f_sw, most_ripple_gain)
    f = grid(plants, SLOWEST * crossover, f_sw / 2)
    answers = np.array([np.asarray(plant(f), complex) for plant in plants.values()])
    peak = max(abs(complex(plant(crossover))) for plant in plants.values())
    shaped = partial(_shaped, kind, crossover=crossover, peak=peak)
    worth = partial(_worth, f=f, gains=np.log(np.abs(answers)), phases=np.unwrap(np.angle(answers)), wish=wish)
    best = max(map(shaped, _places(kind, crossover, f_sw)), key=worth)
    return _judged(_climbed(best, shaped, worth, crossover, f_sw / 2) if best.zeros else best, plants, wish)


def furthest(plants: Mapping, kind: str, phase_margin: float, f_sw: float, most: float, **wishes) -> Placed:
    """The same at the highest crossover, up to `most` Hz, at which all is met, within 5 %; where none is, the last one tried.

    Other arguments and errors: as in `place`. Steps down from `most` to a thousandth of it, as a resonance may leave a gap between
    crossovers that work.
    """
    steps = [most * factor for factor in np.geomspace(1.0, 1e-3, 25).tolist()]
    tried = (place(plants, kind, crossover, phase_margin, f_sw, **wishes) for crossover in steps)
    met = next(((k, found) for k, found in enumerate(tried) if found.met), None)
    if met is None:
        return place(plants, kind, steps[-1], phase_margin, f_sw, **wishes)
    k, found = met
    low, high = steps[k], steps[max(k - 1, 0)]
    while high > 1.05 * low:
        middle = sqrt(low * high)
        closer = place(plants, kind, middle, phase_margin, f_sw, **wishes)
        low, high, found = (middle, high, closer) if closer.met else (low, middle, found)
    return found


def _check(plants, kind, crossover, phase_margin, gain_margin, f_sw, most_ripple_gain) -> None:
    if not plants:
        raise ValueError("plants must hold at least one corner")
    if kind not in KINDS:
        raise ValueError(f"kind = {kind!r} must be one of {', '.join(KINDS)}")
    guard("f_sw", f_sw, 0, unit="Hz", open_low=True)
    guard("crossover", crossover, 0, f_sw / 2, unit="Hz", open_low=True, open_high=True, why="a loop acts once a period")
    guard("phase_margin", phase_margin, 0, 120, unit="°", open_low=True)
    guard("gain_margin", gain_margin, 1)
    if most_ripple_gain != inf:
        guard("most_ripple_gain", most_ripple_gain, 0, open_low=True, why="no compensator is deaf to the ripple")


def _places(kind: str, crossover: float, f_sw: float) -> list[tuple[float, ...]]:
    """Zeros and poles to try: the zeros in order, then one pole for all of them."""
    if kind == "integrator":
        return [()]
    one = kind == "one zero"
    zeros = np.geomspace(SLOWEST * crossover, 2 * crossover, 24 if one else 12).tolist()
    poles = np.geomspace(crossover, f_sw / 2, 8 if one else 6).tolist()
    sets = [(zero,) for zero in zeros] if one else combinations_with_replacement(zeros, 2)
    return [(*at, pole) for at, pole in product(sets, poles) if pole >= APART * at[-1]]


def _climbed(best: Compensator, shaped, worth, crossover: float, highest: float) -> Compensator:
    """From a good place to the best one near it, in steps that grow shorter. The pole stays at the crossover or above: below it, it
    would take back what the zero lifts, and leave an integrator under another name."""
    reached = worth(best)
    for width in WIDTHS:
        at = (*best.zeros, best.poles[0])
        while True:
            steps = product((-1, 0, 1), repeat=len(at) - 1), (-4, -1, 0, 1, 4)  # a pole far above moves little, so it steps far too
            near = [(*sorted(max(x * width**i, SLOWEST * crossover) for x, i in zip(at, zeros, strict=False)),
                     min(max(at[-1] * width**j, crossover), highest)) for zeros, j in product(*steps)]  # fmt: skip
            tried = [shaped(each) for each in near if APART * each[-2] <= each[-1]]
            found = max(tried, key=worth, default=best)
            if worth(found) <= reached:
                break
            best, reached, at = found, worth(found), (*found.zeros, found.poles[0])
    return best


def _shaped(kind: str, at: tuple[float, ...], crossover: float, peak: float) -> Compensator:
    """The compensator with a loop gain of one at the crossover of the plant with the most gain."""
    *zeros, pole = at or (None,)
    raw = Compensator(kind, 1.0, tuple(zeros), (pole,) * len(zeros))
    return raw.scaled(1 / (peak * abs(complex(raw(crossover)))))


def _worth(compensator: Compensator, f: np.ndarray, gains: np.ndarray, phases: np.ndarray, wish: Wish) -> tuple[float, float]:
    """First what is missing (0 or below), then the gain at low frequency."""
    own = compensator(f)
    phase = from_above(phases + np.unwrap(np.angle(own)))
    loud = np.log(max(1.0, abs(complex(compensator(wish.f_sw))) / wish.most_ripple_gain))
    return -_missing(f, gains + np.log(np.abs(own)), phase, wish) - float(OCTAVE / np.log(2) * loud), compensator.f_integrator


def _missing(f: np.ndarray, gain: np.ndarray, phase: np.ndarray, wish: Wish) -> float:
    """How many degrees of margin are missing on the worst of several loops (a row of log gain and of phase each); 0 if none. A factor
    of gain that is missing counts as OCTAVE degrees for each doubling."""
    reserve, close = reserves(gain, phase)[1], np.abs(passes(gain, phase)[1])
    late = float(np.max(gain[:, f > 1.02 * wish.crossover], initial=-1.0))
    loud = max(late, float(np.max(1.01 * np.log(wish.gain_margin) - close, initial=-1.0)))
    return max(0.0, OCTAVE / np.log(2) * loud, float(np.max(wish.phase_margin + AIR - reserve, initial=0.0)))


def _judged(compensator: Compensator, plants: Mapping, wish: Wish) -> Placed:
    found, none = _reckoned(compensator, plants, wish)
    if not found:
        return Placed(compensator, wish.crossover, found, False, next(iter(none)), (str(compensator), *none.values()))
    corner, least = worst(found)
    quiet = abs(complex(compensator(wish.f_sw))) <= wish.most_ripple_gain * 1.001
    met = quiet and not none and all(m.stable and m.phase_margin >= wish.phase_margin and m.gain_margin >= wish.gain_margin
                                     for m in found.values())  # fmt: skip
    slowest, *_, fastest = sorted(m.crossover for m in (*found.values(), least))
    tightest = min(m.gain_margin for m in found.values())
    why = (
        str(compensator),
        f"crossover {show(fastest, 'Hz')} at the corner with the most gain, {show(slowest, 'Hz')} at the slowest",
        f"least phase margin {least.phase_margin:.1f}° at {corner}" + ("" if least.stable else ", where the loop is unstable"),
        "no limit of gain seen" if tightest == inf else f"least gain margin {show(tightest)} ({20 * np.log10(tightest):.1f} dB)",
        *none.values(),
        *(() if met else (f"{wish.phase_margin:.0f}° and a factor of {show(wish.gain_margin)} are not to be had with this kind here",)),
    )
    return Placed(compensator, fastest, found, met, next(iter(none), corner), why)


def _reckoned(compensator: Compensator, plants: Mapping, wish: Wish) -> tuple[dict[object, Margins], dict[object, str]]:
    """Margins by corner, and by corner why there are none."""
    found, none = {}, {}
    slowest = min((slowest_pole(plant) for plant in plants.values()), default=inf)
    for corner, plant in plants.items():
        low = lowest(lambda f, plant=plant: compensator(f) * plant(f), wish.crossover, slowest)
        try:
            found[corner] = of_loop(compensator, plant, low, wish.f_sw / 2)
        except ValueError as trouble:
            none[corner] = f"no margins at {corner}: {trouble}"
    return found, none


def lowest(loop, crossover: float, slowest: float = inf) -> float:
    """From where the margins of a loop are counted, Hz: far below its crossover and its slowest pole (Hz), and where its gain, which
    falls from an integrator, still lies above one."""
    low = min(BELOW * crossover, UNDER * slowest)
    return low * min(1.0, abs(complex(loop(low))) / 2)


def slowest_pole(plant) -> float:
    """The lowest pole of a plant, Hz, if the plant knows its poles; inf if not. One at 0 Hz, an integrator's, does not count."""
    poles = np.abs(np.atleast_1d(getattr(plant, "poles", ()))) / (2 * pi)
    return float(np.min(poles[poles > 0], initial=inf))

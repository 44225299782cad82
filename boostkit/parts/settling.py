"""Losses and temperatures make each other: the solver behind `warming`, by formula for arrays and on the exact circuit for one.

The unknowns are the temperatures of the parts whose losses depend on them, and the current that is lost on the way to the load.
What the losses make of them is the answer; where answer and unknowns agree the converter has settled. The slopes of the answer
say by how many kelvins a kelvin warms it further: their largest eigenvalue is the loop gain, and from one on nothing settles.
"""

from __future__ import annotations

import numpy as np

from ..circuit import SteadyState, switched
from ..units import show
from . import losses
from .kinds import Heat, Parts
from .losses import Losses
from .point import Number, Point

FEED_BACK = ("switch", "rectifier", "inductor")  # whose losses depend on their own temperature
STEP = 1.0  # K, over which a slope is taken: wide enough to pass over a kink at the border of conduction
ROUNDS = 40  # Newton's method needs about five; close to runaway it halves what is left each round
NEAR = 1e-8  # K, and A
TRACE = 1e-6  # A


class Runaway(ValueError):  # noqa: N818 - the event itself, and its name in the trade
    """No temperature settles. `part`: where the warming feeds itself; `loop_gain`: by how many kelvins a kelvin warms it further,
    at `temperature` (°C), as far as it was followed."""

    def __init__(self, part: str, name: str, loop_gain: float, temperature: float, ambient: float):
        self.part, self.loop_gain, self.temperature = part, loop_gain, temperature
        grows = (f"each kelvin adds losses that warm it by {loop_gain:.3g} K more" if np.isfinite(loop_gain)
                 else "the resistances have grown until the output is out of reach")  # fmt: skip
        super().__init__(
            f'{part} "{name}" runs away at an ambient of {show(ambient, "°C")}: no temperature settles. Where the search for one '
            f"ended, at {show(temperature, '°C')}, {grows}; a real part fails long before. Less thermal resistance, a part that "
            "loses less, or less load would help")  # fmt: skip


def heats(parts: Parts) -> dict[str, Heat]:
    """How each part gets rid of its heat, by part."""
    named = {name: getattr(parts, name) for name in (*FEED_BACK, "capacitor", "input_capacitor")}
    return {name: part.heat for name, part in named.items() if part is not None}


class Case:
    """Points to settle. The unknowns x: the temperatures of FEED_BACK and, last, the current lost on the way."""

    def __init__(self, parts: Parts, v_in, v_out, i_out, f_sw, ambient):
        self.parts = parts
        self.where = {"v_in": v_in, "v_out": v_out, "i_out": i_out, "f_sw": f_sw}
        self.ambient = np.asarray(ambient, float)
        self.carries_off = [np.asarray(heats(parts)[name].resistance, float) for name in FEED_BACK]
        self.shape = np.broadcast_shapes(np.shape(self.at(self.start())[1].total), *map(np.shape, [self.ambient, *self.carries_off]))
        self.ambient = np.broadcast_to(self.ambient, self.shape)

    def start(self) -> list[np.ndarray]:
        """All at ambient temperature, and a trace on the way: with nothing at all the switch would rest, and lose nothing."""
        return [self.ambient] * len(FEED_BACK) + [np.full_like(self.ambient, TRACE)]

    def warmth(self, x: list) -> dict[str, Number]:
        """The temperatures among the unknowns, by part."""
        return {name: np.asarray(x[k])[()] for k, name in enumerate(FEED_BACK)}

    @property
    def free(self) -> list[int]:
        """The unknowns that move: a part that is held at ambient temperature does not."""
        return [k for k, r in enumerate(self.carries_off) if np.any(r > 0)] + [len(FEED_BACK)]

    def at(self, x: list) -> tuple[Point, Losses]:
        """The formulas at these unknowns."""
        warm = self.warmth(x)
        point = Point.by_formula(**self.where, inductance=self.parts.inductor.inductance, i_lost=x[-1],
                                 diode=self.parts.rectifier.kind == "diode", **losses.resistances(self.parts, warm))  # fmt: skip
        return point, losses.at(point, self.parts, warm)

    def temperatures(self, found: Losses) -> dict[str, Number]:
        """What these losses make of every part, °C."""
        heat = found.of_part
        return {name: self.ambient + h.resistance * heat[name] for name, h in heats(self.parts).items()}

    def answer(self, found: Losses) -> list[Number]:
        """What these losses make of the unknowns."""
        warm = self.temperatures(found)
        return [*(warm[name] for name in FEED_BACK), found.on_the_way / self.where["v_out"]]

    def cold(self) -> tuple[list, np.ndarray]:
        """The current lost on the way, all parts at ambient temperature: the unknowns, and where the output is out of reach.

        It goes up with itself, at light load as a root and steeply, so its slope counts at most half in Newton's method.
        """
        x = self.start()
        for _ in range(ROUNDS):
            answer, slopes = self._slopes(x, [len(FEED_BACK)])
            off = answer[-1] - x[-1]
            slope = np.clip(np.nan_to_num(slopes[..., 0, 0], nan=0.5), 0.0, 0.5)  # nan where a little more current is out of reach
            step = np.where(np.isfinite(off), off / (1 - slope), 0.0)
            x[-1] = np.maximum(x[-1] + step, 0.0)
            if np.all(abs(step) < NEAR):
                break
        return x, ~np.isfinite(off) | (abs(step) > 0.01 * x[-1] + NEAR)

    def warm(self, x: list) -> tuple[list, np.ndarray, np.ndarray, np.ndarray]:
        """From there Newton's method, for all at once: unknowns, loop gain, slopes, and where nothing settles.

        Losses bend upwards with temperature, so from below the method cannot step over the first solution: where a loop gain of
        one is reached on the way, there is none.
        """
        x = [np.broadcast_to(v, self.shape).astype(float) for v in x]
        failed, gain = np.zeros(self.shape, bool), np.zeros(self.shape)
        for _ in range(ROUNDS):
            answer, slopes = self._slopes(x, self.free)
            now = thermal_gain(slopes)
            gain = np.where(failed, gain, np.where(np.isfinite(now), now, np.inf))
            failed = failed | ~np.isfinite(now) | (now >= 1)
            step = _newton(np.stack([answer[k] - x[k] for k in self.free], axis=-1), slopes, failed)
            for j, k in enumerate(self.free):
                x[k] = x[k] + step[..., j]
            x[-1] = np.maximum(x[-1], 0.0)
            if np.all(abs(step) < NEAR):
                break
        else:
            failed = failed | np.any(abs(step) > STEP, axis=-1)  # a kink at the border of conduction may keep it within a kelvin
        return x, gain, slopes, failed

    def _slopes(self, x: list, free: list[int]) -> tuple[list, np.ndarray]:
        """The answer at x, and by how much each answer moves with each unknown: from cooler to x, so that where losses bend upwards
        the slope comes out a little low and Newton's method stays below the solution."""
        answer = self.answer(self.at(x)[1])
        slopes = np.empty((*self.shape, len(free), len(free)))
        for j, k in enumerate(free):
            h = -STEP if k < len(FEED_BACK) else 0.01 * (np.asarray(self.where["i_out"]) + x[-1]) + 1e-9
            moved = self.answer(self.at([v + h if m == k else v for m, v in enumerate(x)])[1])
            for i, m in enumerate(free):
                slopes[..., i, j] = (moved[m] - answer[m]) / h
        return answer, slopes

    def exact(self, x: list, slopes: np.ndarray) -> tuple[SteadyState, Point, Losses]:
        """From the formulas' solution to that of the exact circuit, on the formulas' slopes."""
        free, x = self.free, [float(v) for v in x]
        near = float(self.at(x)[0].duty)
        for _ in range(ROUNDS):
            warm = self.warmth(x)
            try:
                state = switched.steady_state(losses.converter(self.parts, **self.where, temperatures=warm, i_lost=x[-1], near=near))
            except ValueError:
                break
            near = state.duty
            point = Point.of(state, self.where["i_out"])
            found = losses.at(point, self.parts, warm)
            answer = self.answer(found)
            off = np.array([float(answer[k] - x[k]) for k in free])
            if np.all(abs(off) < [NEAR] * (len(free) - 1) + [1e-11 * state.rectifier_current.mean]):
                return state, point, found
            for k, step in zip(free, _newton(off, slopes, np.array(False)), strict=True):
                x[k] += float(step)
        raise self.runaway(x, np.array(np.inf), slopes)

    def runaway(self, x: list, gain: np.ndarray, slopes: np.ndarray) -> Runaway:
        """Names the part that feeds its own warming most, or where no slope could be taken, the one that has warmed most."""
        hot = self.free[:-1]
        own = np.diagonal(slopes)[: len(hot)]
        if not np.isfinite(own).all():
            own = [float(x[k] - self.ambient) for k in hot]
        k = hot[int(np.argmax(own))]
        return Runaway(FEED_BACK[k], getattr(self.parts, FEED_BACK[k]).name, float(gain), float(x[k]), float(self.ambient))


def _newton(off: np.ndarray, slopes: np.ndarray, held: np.ndarray) -> np.ndarray:
    """The step that closes the gap between answer and unknowns; none where held."""
    off = np.where(held[..., None], 0.0, off)
    matrix = np.eye(slopes.shape[-1]) - np.where(held[..., None, None], 0.0, slopes)
    return np.linalg.solve(matrix, off[..., None])[..., 0]


def thermal_gain(slopes: np.ndarray) -> np.ndarray:
    """By how many kelvins a kelvin warms the parts further: the loop gain of the temperatures, the current on the way following
    them at once. nan where that has no value."""
    ways = slopes.shape[-1] - 1
    if not ways:
        return np.where(np.isfinite(slopes).all(axis=(-2, -1)), 0.0, np.nan)
    left = 1 - slopes[..., ways:, ways:]
    with np.errstate(invalid="ignore"):
        through = slopes[..., :ways, ways:] @ slopes[..., ways:, :ways] / np.where(left > 0, left, np.nan)
    return loop_gain(slopes[..., :ways, :ways] + through)


def loop_gain(slopes: np.ndarray) -> np.ndarray:
    """The largest real part among the eigenvalues, for arrays of matrices (..., k, k); nan where a slope is. A temperature that
    answers a kelvin with more than a kelvin grows; one that swings about a lower value does not, for heat takes its time."""
    whole = np.isfinite(slopes).all(axis=(-2, -1))
    gains = np.linalg.eigvals(np.where(whole[..., None, None], slopes, 0.0)).real.max(axis=-1)
    return np.where(whole, gains, np.nan)

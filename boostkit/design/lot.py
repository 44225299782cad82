"""A lot: many units of one design, each with part values of its own, every one regulated to the output asked for.

What strays and how far is a list of Tolerance. A unit is a position from -1 to 1 within each of them, and one for its
temperature; arrays of positions make a lot, and the exact circuit runs all of it at once.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np

from ..circuit import Converter, switched
from ..parts.kinds import COPPER, REFERENCE
from ..units import guard, quoted
from .judge import SwitchData
from .spec import Spec

RISE = 30.0  # K that the parts may lie above the hottest ambient: invented, the thermal sheet of a design tells better
PILOT = 150  # units that are solved to the end, to guess the duty of all others
ACCURACY = 1e-4  # of the output voltage: closer than any regulator's own reference
ROUNDS = 15
TEMPERATURE = "temperature"
SHAPES = ("even", "bell")


@dataclass(frozen=True)
class Tolerance:
    """How far one number of a part strays.

    name: a letter of Converter or a field of SwitchData. share: the limits, as a share of the nominal value either way.
    growth: its share of change per kelvin away from 25 °C. shape: `even` between the limits (all that is known are the
    limits: JCGM 100, 4.3.7), or `bell`: normal, the limits at three standard deviations and nothing beyond them.
    """

    name: str
    share: float
    growth: float = 0.0
    shape: str = "even"
    basis: str = "invented"

    def __post_init__(self):
        guard(f"tolerance of {self.name}", self.share, 0, 1, open_high=True, why="a share of the nominal value")
        if self.shape not in SHAPES:
            raise ValueError(f"shape of {self.name} = {quoted(self.shape)} must be one of {', '.join(SHAPES)}")


MARKED = "a part marked with tolerance code M, IEC 60062"
SPREADS = (
    Tolerance("inductance", 0.2, basis=MARKED),
    Tolerance("capacitance", 0.2, basis=MARKED),
    Tolerance("r_capacitor", 0.4, -0.005),
    Tolerance("r_inductor", 0.1, COPPER, basis="invented; growth of copper, IEC 60028"),
    Tolerance("r_switch", 0.25, 0.005),
    Tolerance("v_rectifier", 0.1, -0.003),
    Tolerance("r_rectifier", 0.2, 0.002),
    Tolerance("f_sw", 0.05, shape="bell"),
    Tolerance("rise_time", 0.3),
    Tolerance("fall_time", 0.3),
    Tolerance("output_capacitance", 0.2),
    Tolerance("gate_charge", 0.2),
)
STRAYING = (*(t.name for t in SPREADS), "r_source", "l_source", "c_input", "r_input_capacitor")


@dataclass(frozen=True)
class Lot:
    """Nominal converter and edges, what strays, and between which temperatures (°C) the parts may be.

    A dead time (s) is kept apart: the converter is without it, so that many can be solved at once, and what the body diode
    loses meanwhile is counted by formula.
    """

    converter: Converter
    dead_time: float
    edges: SwitchData
    spreads: tuple[Tolerance, ...]
    temperature: tuple[float, float]

    @property
    def names(self) -> tuple[str, ...]:
        """What strays, temperature last."""
        return (*(tolerance.name for tolerance in self.spreads), TEMPERATURE)

    def degrees(self, position):
        """The temperature at a position from -1 to 1, °C."""
        low, high = self.temperature
        return (low + high) / 2 + (high - low) / 2 * position

    def values(self, positions: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        """The numbers of the units at these positions, by letter or field."""
        nominal, warmer = self._nominal(), self.degrees(positions[TEMPERATURE]) - REFERENCE
        return {
            t.name: nominal[t.name] * (1 + t.share * positions[t.name]) * (1 + t.growth * warmer) for t in self.spreads
        }

    def draw(self, units: int, seed: int) -> dict[str, np.ndarray]:
        """Positions of `units` units at random; the same seed draws the same units."""
        rng = np.random.default_rng(seed)
        shapes = {t.name: t.shape for t in self.spreads} | {TEMPERATURE: "even"}
        return {name: rng.uniform(-1, 1, units) if shapes[name] == "even" else _bell(rng, units) for name in self.names}

    def split(self, values: dict[str, np.ndarray]) -> tuple[dict[str, np.ndarray], SwitchData]:
        """The letters of the converters, and the edges, of units with these values."""
        edges = {name: array for name, array in values.items() if name in asdict(self.edges)}
        return {name: array for name, array in values.items() if name not in edges}, replace(self.edges, **edges)

    def far(self, letters: dict[str, np.ndarray]) -> np.ndarray:
        """How far the letters lie from their nominal values: logarithms of the ratios, shape (units, letters)."""
        nominal = self._nominal()
        return np.stack([np.log(array / nominal[name]) for name, array in letters.items()], axis=1)

    def _nominal(self) -> dict[str, float]:
        return self.converter.letters() | asdict(self.edges)


def lot_of(spec: Spec, converter: Converter, edges: SwitchData, spreads: tuple[Tolerance, ...]) -> Lot:
    """The lot of a design; whatever is zero in it, or not in it, does not stray.

    Raises ValueError for a name that no part has, for a growth that turns a value negative, and where nothing strays.
    """
    low, high = spec.surroundings
    numbers = converter.letters() | asdict(edges)
    for tolerance in spreads:
        if tolerance.name not in STRAYING:
            raise ValueError(f"tolerance of {quoted(tolerance.name)} must be of one of {', '.join(STRAYING)}")
        for there in (low, high + RISE):
            guard(f"{tolerance.name} at {there:g} °C, as a share of its value at 25 °C", 1 + tolerance.growth * (there - REFERENCE),
                  0, open_low=True)
    straying = tuple(t for t in spreads if numbers.get(t.name))
    if not straying:
        raise ValueError("spreads must hold at least one Tolerance of a number that this design has")
    dead_time = converter.rectifier.dead_time
    return Lot(converter.change(dead_time=None) if dead_time else converter, dead_time, edges, straying, (low, high + RISE))


def settle(converter: Converter, v_out: float, letters: dict, duty, accuracy: float = 1e-9) -> dict[str, np.ndarray]:
    """Every unit at the duty that brings its mean output to `v_out`: arrays of what the exact circuit does there.

    Secants from the duties given, for all units that are not there yet at once. A unit that does not get there, because
    the output is beyond its reach, is nan throughout.
    """
    duty = np.array(np.broadcast_to(duty, np.broadcast_shapes(*(np.shape(a) for a in letters.values()))), float)
    found = _measured(converter, letters, duty)
    slope, last = v_out / (1 - duty), None
    for _ in range(ROUNDS):
        off = np.flatnonzero(abs(found["output"] - v_out) > accuracy * v_out)
        if not off.size:
            break
        if last is not None:
            rise, run = found["output"][off] - last["output"][off], found["duty"][off] - last["duty"][off]
            slope[off] = np.where(rise * run > 0, rise / np.where(run == 0, 1, run), slope[off])
        last = {name: array.copy() for name, array in found.items()}
        wanted = found["duty"][off] - (found["output"][off] - v_out) / slope[off]
        wanted = np.clip(wanted, 0.5 * found["duty"][off], 0.5 + 0.5 * found["duty"][off])
        again = _measured(converter, {name: array[off] for name, array in letters.items()}, wanted)
        for name, array in found.items():
            array[off] = again[name]
    lost = ~(abs(found["output"] - v_out) <= accuracy * v_out)
    return {name: np.where(lost, np.nan, array) for name, array in found.items()}


def guess(lot: Lot, converter: Converter, v_out: float, letters: dict, duty: float) -> np.ndarray:
    """A duty near the right one for every unit: the first ones are solved to the end and a surface laid through them,
    quadratic in the logarithms. It only starts the search; what comes of it is measured."""
    first = settle(converter, v_out, {name: array[:PILOT] for name, array in letters.items()}, duty, ACCURACY / 10)["duty"]
    terms = _quadratic(lot.far(letters))
    good = np.isfinite(first)
    if good.sum() < 2 * terms.shape[1]:
        return np.full(len(terms), duty)
    surface = np.linalg.lstsq(terms[:PILOT][good], np.log(first[good]), rcond=None)[0]
    return np.minimum(np.exp(terms @ surface), 0.5 + 0.5 * duty)


def _measured(converter: Converter, letters: dict, duty: np.ndarray) -> dict[str, np.ndarray]:
    s = switched.steady_states(converter, duty=duty, **letters)
    return {
        "duty": duty.copy(), "output": s.output_voltage.mean, "ripple": s.ripple_voltage, "i_mean": s.inductor_current.mean,
        "peak": s.inductor_current.max, "period": s.period, "power_in": s.input_power, "power_out": s.output_power,
    }  # fmt: skip


def _quadratic(x: np.ndarray) -> np.ndarray:
    """1, each column, and each product of two."""
    one, two = np.triu_indices(x.shape[1])
    return np.concatenate([np.ones((len(x), 1)), x, x[:, one] * x[:, two]], axis=1)


def _bell(rng, units: int) -> np.ndarray:
    """Normal positions with a standard deviation of a third, those beyond the limits drawn again."""
    drawn = rng.normal(0, 1 / 3, units)
    while (beyond := abs(drawn) > 1).any():
        drawn[beyond] = rng.normal(0, 1 / 3, beyond.sum())
    return drawn

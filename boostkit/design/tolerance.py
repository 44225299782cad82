"""What the spread of parts does to a design: the worst case, and a lot of units drawn at random.

Every unit is judged by the exact circuit at every corner of source voltage and load current, its duty set for the
output asked for, its parts at a temperature of its own. It meets a demand only if it does so at every corner.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from types import SimpleNamespace

import numpy as np

from ..circuit import Converter, switched
from ..derivations import recovery
from . import judge
from .judge import SwitchData
from .lot import ACCURACY, SPREADS, TEMPERATURE, Lot, Tolerance, guess, lot_of, settle
from .spec import Spec

QUANTILES = (0.01, 0.05, 0.5, 0.95, 0.99)
CHECKED = 100
PASSES = 6


@dataclass(frozen=True)
class Demand:
    """What is looked at: `limit` None where the specification demands nothing. `least`: the value must not lie below."""

    name: str
    limit: float | None
    unit: str
    least: bool = False

    def met(self, values):
        """Whether these values meet the limit; nan, a unit that did not reach its output, does not."""
        return values >= self.limit if self.least else values <= self.limit


@dataclass(frozen=True)
class Extreme:
    """The worst case of one demand: every part at the end of its tolerance that hurts most, at the worst corner.

    settings: position of each part within its tolerance, -1, 0 or 1. worst_at: v_in, i_out, temperature (°C).
    """

    demand: Demand
    nominal: float
    value: float
    met: bool | None
    worst_at: dict[str, float]
    settings: dict[str, int]


@dataclass(frozen=True)
class Outcome:
    """What a lot makes of one demand.

    values: each unit's worst, over the corners. share: of units that meet it, which lies within `between` with 95 %
    confidence (None without a limit). quantiles: share of units below to value. importance: rank correlation of the
    value with each part's position, the strongest first; its sign says in which direction the part pushes.
    """

    demand: Demand
    values: np.ndarray
    share: float | None
    between: tuple[float, float] | None
    quantiles: dict[float, float]
    importance: dict[str, float]

    @property
    def matters_most(self) -> str:
        """The part whose spread this value follows most closely."""
        return next(iter(self.importance))


@dataclass(frozen=True)
class Spread:
    """A lot of units, judged. not_reached: units that cannot bring up the output at some corner; they meet no demand.

    checked: `units` taken again one by one through the single path of the exact circuit, the largest relative
    `deviation` of any value, and the largest relative distance `output` of the mean output from what is asked for.
    """

    units: int
    seed: int
    temperature: tuple[float, float]
    spreads: tuple[Tolerance, ...]
    outcomes: dict[str, Outcome]
    not_reached: int
    checked: dict[str, float]

    def to_dict(self) -> dict:
        """Everything but the single units, as plain data."""
        plain = {k: v for k, v in vars(self).items() if k not in ("outcomes", "spreads")}
        outcomes = {
            name: {"limit": o.demand.limit, "unit": o.demand.unit, "share": o.share, "between": o.between,
                   "quantiles": {str(k): v for k, v in o.quantiles.items()}, "importance": o.importance}
            for name, o in self.outcomes.items()
        }  # fmt: skip
        return plain | {"spreads": [asdict(t) for t in self.spreads], "outcomes": outcomes}


def demands(spec: Spec) -> tuple[Demand, ...]:
    """Ripple and inductor peak in the worst corner, efficiency at usual source voltage and full load."""
    return (Demand("ripple", spec.ripple, "V"), Demand("efficiency", spec.efficiency, "%", least=True),
            Demand("inductor peak", None, "A"))  # fmt: skip


def worst_case(spec: Spec, converter: Converter, edges: SwitchData, spreads=SPREADS, progress=None) -> dict[str, Extreme]:
    """The worst case of each demand, by name.

    Each part in turn is put to whichever of its limits or its nominal value is worst with all others as they stand, until
    a pass changes nothing. That finds the worst of all combinations where no two parts' effects turn each other round;
    `monte_carlo` would show a unit beyond it. Raises ValueError where a unit on the way cannot reach the output.
    """
    tell = progress or (lambda done, total, words: None)
    lot = lot_of(spec, converter, edges, tuple(spreads))
    places = judge.corners(spec, lot.converter, edges)
    wanted = [(demand, c) for demand in demands(spec) for c in places if demand.name != "efficiency" or judge.at_full_load(spec, c)]
    found: dict[str, Extreme] = {}
    for k, (demand, place) in enumerate(wanted):
        tell(k, len(wanted), f"worst case of {demand.name}")
        one = _extreme(spec, lot, demand, place)
        best = found.get(demand.name)
        if best is None or (one.value < best.value if demand.least else one.value > best.value):
            found[demand.name] = one
    return found


def _extreme(spec: Spec, lot: Lot, demand: Demand, place: judge.Corner) -> Extreme:
    at, sign = dict.fromkeys(lot.names, 0), -1 if demand.least else 1
    nominal = _trial(spec, lot, demand, place, [at])[0]
    for _ in range(PASSES):
        tries = [at | {name: end} for name in lot.names for end in (-1, 0, 1)]
        values = sign * _trial(spec, lot, demand, place, tries).reshape(len(lot.names), 3)
        here = values[0, at[lot.names[0]] + 1]
        better = {name: int(row.argmax()) - 1 for name, row in zip(lot.names, values, strict=True) if row.max() > here}
        if not better:
            break
        at = at | better
    value = float(_trial(spec, lot, demand, place, [at])[0])
    where = {"v_in": place.v_in, "i_out": place.i_out, TEMPERATURE: float(lot.degrees(at[TEMPERATURE]))}
    return Extreme(demand, float(nominal), value, None if demand.limit is None else bool(demand.met(value)), where, at)


def _trial(spec: Spec, lot: Lot, demand: Demand, place: judge.Corner, tries: list[dict]) -> np.ndarray:
    """The value of one demand at one corner for units at these positions."""
    letters, edges = lot.split(lot.values({name: np.array([t[name] for t in tries], float) for name in lot.names}))
    found = settle(_at(lot.converter, place), spec.v_out, letters, place.duty)
    if not np.isfinite(found["output"]).all():
        raise ValueError(f"{spec.where}: load.voltage = {spec.v_out:g} V is out of reach for some units within their tolerances, at a "
                         f"source of {place.v_in:g} V and a load of {place.i_out:g} A; less resistance would help")
    return _values(lot, found, edges)[demand.name]


def monte_carlo(spec: Spec, converter: Converter, edges: SwitchData, *, units: int = 10_000, seed: int = 1,
                spreads=SPREADS, progress=None) -> Spread:  # fmt: skip
    """A lot of units at random, the same for the same seed, each judged at every corner.

    edges: nominal data of the switch's edges, as for `judge.corners`. progress(done, total, words). A converter with an
    input capacitor or a saturating inductor has no path for many at once: it works, at milliseconds a unit and corner.
    Raises ValueError where the nominal design cannot reach its output, or for a tolerance that makes no sense.
    """
    if not 2 <= units <= 1_000_000:
        raise ValueError(f"units = {units} must lie in [2, 1000000]")
    tell = progress or (lambda done, total, words: None)
    lot = lot_of(spec, converter, edges, tuple(spreads))
    positions = lot.draw(units, seed)
    letters, fast = lot.split(lot.values(positions))
    places = judge.corners(spec, lot.converter, edges)
    runs = []
    for k, place in enumerate(places):
        tell(k, len(places) + 1, f"{units} units at {place.v_in:g} V and {place.i_out:g} A")
        there = _at(lot.converter, place)
        start = guess(lot, there, spec.v_out, letters, place.duty)
        found = settle(there, spec.v_out, letters, start, ACCURACY)
        runs.append(found | _values(lot, found, fast))
    tell(len(places), len(places) + 1, "the same again one by one")
    usual = next(k for k, place in enumerate(places) if judge.at_full_load(spec, place))
    worst = {"ripple": np.max([r["ripple"] for r in runs], axis=0), "efficiency": runs[usual]["efficiency"],
             "inductor peak": np.max([r["inductor peak"] for r in runs], axis=0)}  # fmt: skip
    lost = ~np.isfinite(np.sum([r["output"] for r in runs], axis=0))
    worst = {name: np.where(lost, np.nan, values) for name, values in worst.items()}
    outcomes = {d.name: _outcome(d, worst[d.name], positions) for d in demands(spec)}
    checked = _checked(spec, lot, places, runs, letters, usual)
    return Spread(units, seed, lot.temperature, lot.spreads, outcomes, int(lost.sum()), checked)


def _at(converter: Converter, place: judge.Corner) -> Converter:
    return converter.change(v_in=place.v_in, i_out=place.i_out)


def _values(lot: Lot, found: dict[str, np.ndarray], edges: SwitchData) -> dict[str, np.ndarray]:
    """What is demanded of units at one corner; the edges' losses are the judge's own. Formulas take no nan, so a unit that did
    not reach its output gets some number there, and stays nan by its input power."""
    some = {name: np.where(np.isfinite(array), array, 1.0) for name, array in found.items()}
    like_a_state = SimpleNamespace(
        period=some["period"], duty=1.0, converter=lot.converter,  # no unit here has a duty of 0, for which no edge is counted
        output_voltage=SimpleNamespace(mean=some["output"]), inductor_current=SimpleNamespace(mean=some["i_mean"]),
    )  # fmt: skip
    power = found["power_in"] + sum(judge.switching_losses(like_a_state, edges).values()) + _dead(lot, some)
    return {"ripple": found["ripple"], "efficiency": found["power_out"] / power, "inductor peak": found["peak"]}


def _dead(lot: Lot, found: dict[str, np.ndarray]):
    """What the body diode of a second switch loses in the dead times, W."""
    if not lot.dead_time:
        return 0.0
    return recovery.dead_time_loss().formula(
        v_body=lot.converter.rectifier.body_diode_voltage, i_inductor_mean=found["i_mean"], t_dead=lot.dead_time,
        f_sw=1 / found["period"])  # fmt: skip


def _outcome(demand: Demand, values: np.ndarray, positions: dict[str, np.ndarray]) -> Outcome:
    reached = np.isfinite(values)
    met = None if demand.limit is None else int(demand.met(values).sum())
    quantiles = {q: float(np.quantile(values[reached], q)) for q in QUANTILES} if reached.any() else {}
    follows = {name: _rank_correlation(values[reached], array[reached]) for name, array in positions.items()}
    return Outcome(
        demand, values, None if met is None else met / len(values), None if met is None else _between(met, len(values)),
        quantiles, dict(sorted(follows.items(), key=lambda item: -abs(item[1]))),
    )  # fmt: skip


def _rank_correlation(one: np.ndarray, other: np.ndarray) -> float:
    """Spearman's: 1 where one always rises with the other, 0 where it takes no notice, or where there is nothing to rank."""
    if len(one) < 2 or np.ptp(one) == 0 or np.ptp(other) == 0:
        return 0.0
    ranks = [np.argsort(np.argsort(array)) for array in (one, other)]
    return float(np.corrcoef(*ranks)[0, 1])


def _between(met: int, units: int) -> tuple[float, float]:
    """Clopper and Pearson's limits of a share at 95 % confidence."""
    from scipy.special import betaincinv

    low = betaincinv(met, units - met + 1, 0.025) if met else 0.0
    high = betaincinv(met + 1, units - met, 0.975) if met < units else 1.0
    return float(low), float(high)


def _checked(spec: Spec, lot: Lot, places, runs, letters, usual: int) -> dict[str, float]:
    """The first hundred units one by one, each at its corner of most ripple and at usual source voltage and full load."""
    count = min(CHECKED, len(runs[0]["output"]))
    deviation = output = 0.0
    for k in range(count):
        ripples = [run["ripple"][k] for run in runs]
        if not np.isfinite(ripples).all():
            continue
        for c in {int(np.argmax(ripples)), usual}:
            run, own = runs[c], {name: float(array[k]) for name, array in letters.items()}
            s = switched.steady_state(_at(lot.converter, places[c]).change(duty=float(run["duty"][k]), **own))
            pairs = ((s.ripple_voltage, "ripple"), (s.inductor_current.max, "peak"), (s.input_power, "power_in"),
                     (s.output_power, "power_out"), (s.output_voltage.mean, "output"))  # fmt: skip
            deviation = max(deviation, *(abs(run[name][k] / value - 1) for value, name in pairs))
            output = max(output, abs(s.output_voltage.mean / spec.v_out - 1))
    return {"units": count, "deviation": float(deviation), "output": float(output)}

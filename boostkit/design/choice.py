"""Which of the parts at hand: what fits, sorted by what the converter loses with it, and why each other was refused.

    Needs.of(spec, corners)                 what the parts of a design must bear, as the exact circuit measured it
    pick(what, candidates, needs, parts)    one kind of part, the others as they stand
    choose(spec, corners, candidates, edges)    all four kinds in turn until nothing changes

Losses and temperatures are settled by `warming.settle_many` at every corner and the hottest ambient. Ratings are held with
the margins below; makers' own derating and safe operating areas come on top.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, inf

import numpy as np

from ..circuit import Converter
from ..parts import capacitor_types, warming
from ..parts.capacitor_choice import LARGEST_COUNT, Bank, worst_left
from ..parts.kinds import Capacitor, Inductor, Parts, Rectifier, Switch, stacked
from ..parts.tables import Candidates
from ..units import show
from .at_output import room_for
from .at_source import TOLERANCE
from .judge import Corner, SwitchData
from .procedure import ABOVE_PEAK
from .spec import Spec

HEADROOM = 1.5  # voltage limit over the highest voltage seen: common practice, no source
WHATS = {"switch": "switches", "rectifier": "rectifiers", "inductor": "inductors", "capacitor": "capacitors"}
ROUNDS = 4
ALIKE = 1.01  # times the least loss of the converter: a difference that no one would pay for


@dataclass(frozen=True)
class Needs:
    """What the parts of one design must bear and do (SI units, °C).

    v_in, i_out: the corners. usual: which of them has usual source voltage and full load. voltage: the highest across switch
    or rectifier. peak, inductor_rms, capacitor_rms: the highest of any corner, A. inductance: at least. capacitance: at
    least, with all that bias, cold and age take. esr: of the output capacitor, at most. ambient: coldest, hottest. at_output: V that
    the output capacitor has to bear when the feedback is lost.
    """

    v_in: np.ndarray
    i_out: np.ndarray
    usual: int
    v_out: float
    f_sw: float
    rectifier: str
    voltage: float
    peak: float
    inductor_rms: float
    capacitor_rms: float
    inductance: float
    capacitance: float
    esr: float
    ambient: tuple[float, float]
    at_output: float = 0.0

    @classmethod
    def of(cls, spec: Spec, corners: list[Corner]) -> Needs:
        """From the corners of a design, as `judge.corners` measured them."""
        places, states = [(c.v_in, c.i_out) for c in corners], [c.state for c in corners]
        drawn = states[0].converter
        return cls(
            *(np.array(side) for side in zip(*places, strict=True)), places.index((spec.v_in.usual, spec.i_out.max)), spec.v_out,
            drawn.switch.frequency, drawn.rectifier.kind, max(s.switch_voltage.max for s in states),
            max(s.inductor_current.max for s in states), max(s.inductor_current.rms for s in states),
            max(s.capacitor_current.rms for s in states), drawn.inductor.inductance, drawn.capacitor.capacitance,
            drawn.capacitor.series_resistance or inf, spec.surroundings, room_for(spec),
        )  # fmt: skip

    def look_for(self, what: str, i_limit: float | None = None) -> str:
        """What to look for where no table is given, or nothing in it fits. `i_limit`: of the controller, A, where there is one."""
        bears = f"at least {show(HEADROOM * self.voltage, 'V')}"
        esr = "" if self.esr == inf else f", series resistance at most {show(self.esr, 'Ω')} at the coldest ambient"
        return {
            "switch": f"bears {bears} and {show(self.peak, 'A')} peak, with little on resistance and gate charge, fully on at the gate "
                      "voltage that the lowest source allows",
            "rectifier": f'of kind "{self.rectifier}", bears {bears} in reverse and {show(self.peak, "A")} peak, fast enough for '
                         f"{show(self.f_sw, 'Hz')}",
            "inductor": f"at least {show(self.inductance, 'H')}, still so at {show(i_limit or ABOVE_PEAK * self.peak, 'A')}, and "
                        f"{show(self.inductor_rms, 'A')} rms",
            "capacitor": f"at least {show(self.capacitance, 'F')} left at {show(self.v_out, 'V')}, {show(self.ambient[0], '°C')} and old "
                         f"age{esr}, {show(self.capacitor_rms, 'A')} rms",
        }[what]  # fmt: skip


@dataclass(frozen=True)
class Fit:
    """A part that fits. loss: of the whole converter with it, W, at usual source voltage and full load; own: what of that heats
    this part; temperature: its highest at any corner, °C, in the hottest ambient. bank: for a capacitor, how many in parallel."""

    part: Switch | Rectifier | Inductor | Capacitor
    loss: float
    own: float
    temperature: float
    bank: Bank | None = None


@dataclass(frozen=True)
class Picked:
    """What came of a table: `best`, what fits, least loss first; `refused`, name to reason; `look_for`, in words."""

    what: str
    best: tuple[Fit, ...]
    refused: dict[str, str]
    look_for: str


@dataclass(frozen=True)
class Chosen:
    """The parts of a design; a kind for which nothing fits, or no table is given, stays as it was `drawn`."""

    parts: Parts
    picked: dict[str, Picked]

    @property
    def complete(self) -> bool:
        """Whether every kind of part was found."""
        return all(picked.best for picked in self.picked.values())


def pick(what: str, candidates, needs: Needs, parts: Parts) -> Picked:
    """One kind of part ("switch", "rectifier", "inductor", "capacitor") out of `candidates`, the others as `parts` has them.

    A capacitor may be several of the same in parallel; of banks that lose alike the smallest comes first. Raises ValueError for
    another word.
    """
    if what not in WHATS:
        raise ValueError(f"what = {what} must be one of {', '.join(WHATS)}")
    found = {candidate.name: FALLS_SHORT[what](candidate, needs) or _trial(what, candidate, needs) for candidate in candidates}
    tried = {name: trial for name, trial in found.items() if not isinstance(trial, str)}
    for alike in _groups(tried.values()):
        found |= {trial[0].name: fit for trial, fit in zip(alike, _fits(what, alike, needs, parts), strict=True)}
    fits = [fit for fit in found.values() if isinstance(fit, Fit)]
    least = min((fit.loss for fit in fits), default=0.0)
    refused = {name: why for name, why in found.items() if isinstance(why, str)}
    return Picked(what, tuple(sorted(fits, key=lambda fit: _order(fit, least, needs))), refused, needs.look_for(what))


def _order(fit: Fit, least: float, needs: Needs) -> tuple[bool, bool, float]:
    """By loss, switches that the lowest source cannot drive behind all others; banks of capacitors within a hundredth of the least by
    room instead, for thirty pieces are no bargain."""
    weak = isinstance(fit.part, Switch) and TOLERANCE**2 * fit.part.drive_voltage > float(np.min(needs.v_in))
    alike = fit.bank is not None and fit.loss <= ALIKE * least
    return (weak, not alike, fit.bank.volume if alike else fit.loss)


def choose(spec: Spec, corners: list[Corner], candidates: Candidates, edges: SwitchData, control_current: float = 0.0) -> Chosen:
    """All four kinds, each of least loss beside the others, in turn until nothing changes.

    That is the least of all combinations where no pair of parts is better only together. What no table brings stays as the
    design was drawn, with `edges`.
    """
    needs = Needs.of(spec, corners)
    parts = drawn(corners[0].state.converter, edges, control_current)
    for _ in range(ROUNDS):
        before, picked = parts, {}
        for what, table in WHATS.items():
            picked[what] = pick(what, getattr(candidates, table), needs, parts)
            if picked[what].best:
                parts = replace(parts, **{what: picked[what].best[0].part})
        if parts == before:
            break
    return Chosen(parts, picked)


def drawn(converter: Converter, edges: SwitchData, control_current: float = 0.0) -> Parts:
    """The parts that a converter is drawn with: no ratings, no heat, no name on the market."""
    c, name = converter, "as drawn"
    rectifier = Rectifier(name, inf, inf, c.rectifier.resistance, c.rectifier.kind, c.rectifier.forward_voltage,
                          dead_time=c.rectifier.dead_time, body_diode_voltage=c.rectifier.body_diode_voltage)  # fmt: skip
    if c.rectifier.kind == "switch":
        rectifier = replace(rectifier, gate_charge=edges.gate_charge, drive_voltage=edges.drive_voltage)
    return Parts(
        Switch(name, inf, inf, c.switch.on_resistance, edges.rise_time, edges.fall_time, output_capacitance=edges.output_capacitance,
               gate_charge=edges.gate_charge, drive_voltage=edges.drive_voltage),
        rectifier, Inductor(name, c.inductor.inductance, c.inductor.resistance, inf, inf),
        Capacitor(name, "ceramic", c.capacitor.capacitance, inf, c.capacitor.series_resistance, inf), control_current=control_current,
    )  # fmt: skip


def _trial(what: str, candidate, needs: Needs) -> tuple | str:
    """A candidate, the part to reckon with and its bank, if it is a capacitor; or why it will not do."""
    if what != "capacitor":
        return candidate, candidate, None
    bank = _bank(candidate, needs)
    return bank if isinstance(bank, str) else (candidate, bank.part(), bank)


def _groups(trials) -> list[list[tuple]]:
    """Trials whose parts can be settled together as arrays: those that are alike in what is no number, or a number that may not vary."""
    groups: dict[tuple, list[tuple]] = {}
    for trial in trials:
        part = trial[1]
        key = getattr(part, "core_alpha", None), bool(getattr(part, "capacitance_voltage", 0)), getattr(part, "saturation", ())
        groups.setdefault(key, []).append(trial)
    return list(groups.values())


def _fits(what: str, trials: list[tuple], needs: Needs, parts: Parts) -> list[Fit | str]:
    """Losses and temperatures with each of these parts at every corner, or why it will not do."""
    together = replace(parts, **{what: stacked([part for _, part, _ in trials], column=True)})
    found = warming.settle_many(together, needs.v_in, needs.v_out, needs.i_out, needs.f_sw, needs.ambient[1])
    own, total = (np.broadcast_to(x, found.runs_away.shape)[:, needs.usual] for x in (found.losses.of_part[what], found.losses.total))
    return [
        _trouble(part, needs, found.out_of_reach[k], found.runs_away[k], found.temperatures[what][k])
        or Fit(part, float(total[k]), float(own[k]), float(np.max(found.temperatures[what][k])), bank)
        for k, (_, part, bank) in enumerate(trials)
    ]  # fmt: skip


def _trouble(part, needs: Needs, out_of_reach: np.ndarray, runs_away: np.ndarray, temperatures: np.ndarray) -> str:
    """Why a part that was settled at every corner will not do; nothing where it will."""
    for trouble, why in ((out_of_reach, "leaves the output out of reach"), (runs_away, "warms itself without end")):
        if trouble.any():
            k = int(np.argmax(trouble))
            return f"{why} at a source of {show(needs.v_in[k], 'V')} and a load of {show(needs.i_out[k], 'A')}"
    hottest = float(np.max(temperatures))
    if hottest > part.heat.limit:
        return f"reaches {show(hottest, '°C')} in an ambient of {show(needs.ambient[1], '°C')}, and bears {show(part.heat.limit, '°C')}"
    return ""


def _too_little_voltage(part: Switch | Rectifier, needs: Needs) -> str:
    asked = HEADROOM * needs.voltage
    if part.voltage_limit >= asked:
        return ""
    return (f"bears {show(part.voltage_limit, 'V')}, and {show(asked, 'V')} are asked for: {HEADROOM} times the {show(needs.voltage, 'V')} "
            "across it (common practice, no source)")


def _too_little_current(limit: float, needed: float, words: str) -> str:
    return "" if limit >= needed else f"bears {show(limit, 'A')} {words}, and {show(needed, 'A')} flow"


def _switch_short(part: Switch, needs: Needs) -> str:
    return _too_little_voltage(part, needs) or _too_little_current(part.current_limit, needs.peak, "peak")


def _rectifier_short(part: Rectifier, needs: Needs) -> str:
    if part.kind != needs.rectifier:
        return f'is of kind "{part.kind}", and the design asks for "{needs.rectifier}"'
    return _switch_short(part, needs)


def _inductor_short(part: Inductor, needs: Needs) -> str:
    if part.inductance < needs.inductance * (1 - 1e-9):
        return f"has {show(part.inductance, 'H')}, and the ripple asks for {show(needs.inductance, 'H')}"
    asked = ABOVE_PEAK * needs.peak
    if part.saturation_current < asked:
        return (f"saturates at {show(part.saturation_current, 'A')}, and {show(asked, 'A')} are asked for: {ABOVE_PEAK} times the peak of "
                f"{show(needs.peak, 'A')} (common practice, no source)")
    return _too_little_current(part.rms_current, needs.inductor_rms, "rms")


def _capacitor_short(part: Capacitor, needs: Needs) -> str:
    most = capacitor_types.of(part.kind).largest_share * part.voltage_limit
    if most < needs.v_out:
        return (f"bears {show(part.voltage_limit, 'V')}, of which its type should see {show(most, 'V')}, and the output has "
                f"{show(needs.v_out, 'V')}")
    if part.voltage_limit <= needs.at_output:
        return (f"bears {show(part.voltage_limit, 'V')}, and a clamp above the over-voltage cut-off takes more than "
                f"{show(needs.at_output, 'V')}")
    coldest, hottest = capacitor_types.of(part.kind).limits
    if needs.ambient[0] < coldest or needs.ambient[1] > min(hottest, part.heat.limit):
        return f"is of a type that bears {show(coldest, '°C')} to {show(hottest, '°C')}"
    return ""


FALLS_SHORT = {"switch": _switch_short, "rectifier": _rectifier_short, "inductor": _inductor_short, "capacitor": _capacitor_short}


def _bank(part: Capacitor, needs: Needs) -> Bank | str:
    """As many in parallel as it takes for capacitance, series resistance in the cold and ripple current; the part's own numbers,
    carried to bias, cold, age and frequency as its type goes."""
    a_type, c, v = capacitor_types.of(part.kind), part.capacitance, part.voltage_limit
    cold, hot = needs.ambient
    share = needs.v_out / v
    left = float(worst_left(a_type, share, cold, hot))
    carried = [part.series_resistance * float(a_type.esr(needs.f_sw, t, c, v) / a_type.esr(1e5, 20.0, c, v)) for t in needs.ambient]
    wants = {"capacitance": needs.capacitance / (c * left), "series resistance in the cold": carried[0] / needs.esr,
             "ripple current": needs.capacitor_rms / part.ripple_current}  # fmt: skip
    driver = max(wants, key=wants.get)
    count = max(1, ceil(wants[driver] - 1e-9))
    if count > LARGEST_COUNT:
        return f"is too small: {count} in parallel would be needed for {driver}, and more than {LARGEST_COUNT} is another design"
    rise = (needs.capacitor_rms / count) ** 2 * carried[1] * part.heat.resistance
    why = (f"{count} in parallel, set by {driver}: {show(count * c, 'F')} marked, {show(count * c * left, 'F')} left at the worst",)
    return Bank("output", part.kind, c, v, count, count * c * float(a_type.capacitance_left(share)), count * c * left,
                carried[0] / count, rise, count * float(a_type.volume(c, v)), a_type.life(hot + rise), why, part)  # fmt: skip

"""What cannot be read off a part: winding resistance, ESR, on-resistance, true inductance, fitted to a capture.

Least squares on the exact waveform. The errors of instrument and meters are unknowns of the fit too, each with what its
maker says of it, so that a stated uncertainty holds them (JCGM 100, 5.2.4 and H.3, in one).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..circuit import Converter
from ..circuit.converter import LETTERS
from ..units import show
from .capture import Capture
from .conduction import conduction
from .edges import find_edges
from .features import step_of, timing
from .grid import Edges
from .instrument import Instrument
from .points import points
from .rough import BENT
from .solve import Solution, solve
from .steadiness import cut_off
from .together import Together, together, told
from .uncertain import COVERAGE, Uncertain, show_with
from .unknowns import LABEL, Model, Unknown

WHAT = ("inductance", "r_inductor", "r_capacitor", "r_switch")
CAN = ("inductance", "r_inductor", "r_switch", "v_rectifier", "r_rectifier", "capacitance", "r_capacitor", "r_load", "i_out", "v_in",
       "r_source", "c_input", "r_input_capacitor")  # fmt: skip
SHOWN = ("v_out", "i_inductor", "v_switch", "v_rectifier", "v_inductor", "i_switch", "i_rectifier", "i_capacitor", "i_load", "i_source",
         "v_input")  # fmt: skip
LOOSE = 5.0  # by which edges told from the points themselves count less
BLIND = 0.3  # of a thorough change of a letter: an uncertainty beyond that is no knowledge
APART = 1.5  # times the noise: what is left over beyond that is no noise


@dataclass(frozen=True)
class Fitted:
    """What a fit found.

    `values`: the letters as uncertain numbers that err together; `told`: those that stand above their expanded uncertainty;
    `together`: combinations that the data tell where they cannot tell the letters apart. `nuisance`: the drive (`f_sw`, `duty`,
    `shift` in periods), the errors of the instrument and the letters known by meters, as the fit sees them. `residual`: rms of
    what is left over, in standard errors of the points (1: nothing but noise). `converter`: the converter with the fitted
    values in it, driven by a clock at the measured frequency and duty; `edges`: those of the capture.
    """

    where: str
    values: dict[str, Uncertain]
    told: tuple[str, ...]
    together: tuple[Together, ...]
    nuisance: dict[str, Uncertain]
    residual: float
    converter: Converter
    edges: Edges
    notes: tuple[str, ...]

    def __getitem__(self, name: str) -> Uncertain:
        if name not in self.values:
            raise ValueError(f"{self.where}: {name} was not fitted; there are {', '.join(self.values)}")
        return self.values[name]

    @property
    def lines(self) -> tuple[str, ...]:
        """In words: each letter with its standard uncertainty, then what is told together."""
        lines = [f"{_plain(name)} = {show_with(value, LETTERS[name][2])}" for name, value in self.values.items()]
        lines += [f"{group.written(_plain)} = {show_with(group.value, group.unit)}" for group in self.together]
        return tuple(lines)


def fit(capture: Capture, converter: Converter, what: Iterable[str] = WHAT, *, instrument: Instrument | None = None,
        known: dict[str, Uncertain] | None = None) -> Fitted:  # fmt: skip
    """Fit letters of a converter to a capture of its steady state.

    Args: `converter`, labels and all that is known: what is not fitted counts as exact, but for frequency and duty, which are
    told from the edges. `what`: the letters to fit, any of `CAN`. `instrument`, that of the capture's mapping where none is
    given. `known`: letters measured by other means, as `{"v_in": readings["v_in"]}`; their uncertainty goes into the result.
    Raises ValueError of one line where no channel shows the switching instants, a letter is unknown, is not in the circuit, or
    changes nothing that was captured.
    """
    instrument, known, what = instrument or capture.instrument, known or {}, (what,) if isinstance(what, str) else tuple(what)
    _check(converter, what, known)
    edges = find_edges(capture)
    _, stop, _ = conduction(capture, edges)
    notes: list[str] = [*capture.notes]
    seen = [points(capture, edges, name, stop, instrument) for name in _channels(capture, instrument, notes)]
    converter = converter.change(duty=edges.duty, f_sw=1 / edges.period)
    drive, shift = _drive(edges, capture.interval, instrument)
    letters = (*_letters(converter, what, known), *drive)
    solution = solve(Model(converter, letters, shift, seen, instrument), known)
    _refuse_blind(solution, what, capture)
    return _fitted(capture, converter, what, edges, solution, notes)


def _check(converter: Converter, what: tuple[str, ...], known: dict) -> None:
    """Letters that are no letters, are not in this circuit, or are not for a fit."""
    for name in (*what, *known):
        if name in ("duty", "f_sw"):
            raise ValueError(f"{name} cannot be fitted as a letter: it is told from the edges, and stands in the result's nuisance")
        if name not in CAN:
            raise ValueError(f"{name} cannot be fitted; these can: {', '.join(CAN)}")
        if name not in converter.letters():
            raise ValueError(f"{name} cannot be fitted: this circuit has none")
    if not what or len({*what, *known}) < len(what) + len(known):
        raise ValueError(f"what = {', '.join(what) or 'nothing'} must name at least one letter, each once, and none that is known")


def _channels(capture: Capture, instrument: Instrument, notes: list) -> list[str]:
    """The channels that the circuit predicts; a note on each that is left out."""
    used = [name for name in capture.channels if name in SHOWN and name not in capture.overflowed and not _cut(capture, instrument, name)]
    for name in capture.channels:
        if name not in SHOWN and name != "v_gate":
            notes.append(f"{name} is left out: the circuit does not predict it")
        elif name in SHOWN and name not in used:
            notes.append(f"{name} is left out: its samples are cut off")
        elif name in used and not instrument.channel(name).gain_error + instrument.channel(name).probe_error:
            notes.append(f"{name}: no limit of error given for gain and probe, so both count as exact")
    if not used:
        raise ValueError(f"{capture.where}: none of {', '.join(capture.channels)} can be fitted; capture one of {', '.join(SHOWN)}")
    return used


def _cut(capture: Capture, instrument: Instrument, name: str) -> bool:
    """Whether samples of a channel look cut off at one level."""
    values = capture.channel(name)
    return cut_off(values, name, step_of(instrument, name, values)) is not None


def _drive(edges: Edges, interval: float, instrument: Instrument) -> tuple[tuple[Unknown, ...], Unknown]:
    """Duty, frequency and the shift of the closing. Edges told from a voltage are known apart from the points, which leave
    them out; those of a current are its bends, which the points show themselves."""
    readings = timing(edges, interval, instrument)
    loose = LOOSE if edges.channel.startswith("i_") else 1.0
    duty, f_sw = readings["duty"].value, readings["f_sw"].value
    closing = np.hypot(edges.width / 2 / np.sqrt(3), edges.scatter / np.sqrt(len(edges.closes))) / edges.period
    return (
        Unknown("duty", edges.duty, loose * duty.s, 1.0, source="edges"),
        Unknown("f_sw", 1 / edges.period, f_sw.s, 1 / edges.period, source="time base"),
    ), Unknown("shift", 0.0, loose * closing, 1.0, source="edges")


def _letters(converter: Converter, what: tuple[str, ...], known: dict):
    """Unknowns of the circuit. A letter that is fitted is given an uncertainty as wide as all that it could be."""
    there = converter.letters()
    load = there["r_load"] if "r_load" in there else there["v_in"] / (1 - there["duty"]) / max(there["i_out"], 1e-9)
    path = load * (1 - there["duty"]) ** 2   # what the load looks like from the source
    for name in (*what, *known):
        value = there[name]
        positive = name in ("inductance", "capacitance", "c_input", "r_load", "v_in", "i_out")
        scale = value if positive else there["v_in"] if name == "v_rectifier" else load if "capacitor" in name else path
        if name in known:
            yield Unknown(name, float(known[name].n), float(known[name].s) or 1e-9 * scale, scale, 0.0, name)
        else:
            yield Unknown(name, value, 3 * scale, scale, 1e-3 * value if positive else 0.0, LABEL)


def _refuse_blind(solution: Solution, what: tuple[str, ...], capture: Capture) -> None:
    """A letter by itself that the data say nothing about."""
    for name in what:
        k = solution.model.place[name]
        alone = 1 / np.sqrt(max(solution.information[k], 1e-300))
        if alone > BLIND * solution.model.unknowns[k].scale:
            channels = ", ".join(points.name for points in solution.model.seen)
            raise ValueError(f"{name} cannot be fitted: {channels} of {capture.where} do not show it")


def _fitted(capture: Capture, converter: Converter, what, edges: Edges, solution: Solution, notes: list) -> Fitted:
    """The result of a solution, and what must be said of it."""
    values = {name: solution.values[name] for name in what}
    groups = [group for unit in dict.fromkeys(LETTERS[name][2] for name in what) for group in _groups(values, unit, solution)]
    caught = {name for group in groups for _, name in group.what}
    sure = tuple(name for name in what if told(values[name]) and name not in caught)
    notes += [f"{group.words}: the data tell this, not its letters" for group in groups]
    for name in what:
        if values[name].n < -COVERAGE * values[name].s:
            notes.append(f"{name}: below zero by {-values[name].n / values[name].s:.2g} times its standard uncertainty, as no part is: "
                         "something known is wrong, or missing from the circuit")  # fmt: skip
        elif name not in sure and name not in caught:
            unit = LETTERS[name][2]
            most = max(values[name].n, 0.0) + 2 * values[name].s
            notes.append(f"{name}: at most {show(most, unit, 2)}; the data do not tell it from zero")
        elif values[name].s > BENT * values[name].n and solution.model.unknowns[solution.model.place[name]].low > 0:
            notes.append(f"{name}: known so roughly that the truth may lie further above than below")
    notes += solution.notes(APART)
    if solution.left.get("v_out", 0.0) > APART and not converter.letters().get("r_capacitor"):
        notes.append("r_capacitor: this circuit has none, so its v_out cannot jump when the switch opens; give it one and fit it")
    model = solution.model
    letters = {u.name: max(values[u.name].n if u.name in values else solution.values[u.name].n, u.low)
               for u in model.unknowns[: model.count]}  # fmt: skip
    nuisance = {name: value for name, value in solution.values.items() if name not in values}
    return Fitted(capture.where, values, sure, tuple(groups), nuisance, solution.residual, converter.change(**letters), edges, tuple(notes))


def _groups(values: dict[str, Uncertain], unit: str, solution: Solution) -> tuple[Together, ...]:
    names = [name for name in values if LETTERS[name][2] == unit]
    places = [solution.model.place[name] for name in names]
    return together({name: values[name] for name in names}, solution.covariance[np.ix_(places, places)], unit)


def _plain(name: str) -> str:
    """The letter of the text, `R_L` for `r_inductor`."""
    from ..derivations import letters

    return getattr(letters, name).plain if hasattr(letters, name) else name

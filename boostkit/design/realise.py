"""A design made of real parts: chosen out of tables, wound, derated, warm, regulated, spread; and judged again with all that.

    real = realise(design(spec))                        with the invented parts that ship
    real = realise(design(spec), tables.read_folder("my_parts"))

What a table of one's own does not hold stays as the design was drawn, with a word on what to look for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import isfinite, sqrt

import numpy as np

from ..circuit import Converter, SteadyState, switched
from ..parts import inductor_build, kinds, losses, snubber, tables, warming
from ..parts.capacitor_choice import Bank
from ..parts.inductor_build import Built
from ..parts.kinds import Capacitor, Parts, Switch
from ..parts.point import Point
from ..parts.snubber import Snubber
from ..parts.tables import Candidates
from ..parts.warming import Operating
from ..units import show
from . import banks, choice, judge, told, tolerance
from .choice import Picked
from .hazard import Known, Protection
from .judge import Corner, SwitchData, Verdict
from .loop import Loop, regulate
from .procedure import Design, Line, Part, illustrative_edges
from .protection import protections
from .spec import Spec
from .tolerance import Spread

CLIMATE = (-60.0, 150.0)  # °C, the ambient within which the data of cores and capacitors say anything
UNITS = 2000  # of the lot that is drawn at random
STRAY = 8e-9  # H of the loop of switch, rectifier and output capacitor: a few millimetres of board, invented
RING_SHARE = 0.85  # of the switch's voltage limit that ringing may reach: common practice, no source


@dataclass(frozen=True)
class Real:
    """A design with real parts.

    fitted: the parts that were taken. picked: what came of each table. inductor: as wound, None where one was taken out of a table or no
    core would do (`unwound` says why for each core). banks: "output" and "input"; `unfitted` says why one is missing. operating: each
    corner of the design at rest in the hottest ambient, on the exact circuit. corners: the same, their ripple with what is left of the
    output capacitor at its worst. saturating: the hardest corner with the coil's own curve. snubber: for the switch node. spread: of a
    lot of units. loop: what holds the output, None where nothing tried does (`unregulated` says why). protections: against
    switch-on and faults (none where `unprotected` says why).
    """

    design: Design
    fitted: Parts
    picked: dict[str, Picked]
    inductor: Built | None
    unwound: dict[str, str]
    banks: dict[str, Bank]
    unfitted: dict[str, str]
    operating: tuple[Operating, ...]
    corners: list[Corner]
    saturating: SteadyState | None
    snubber: Snubber | None
    spread: Spread
    loop: Loop | None
    unregulated: str
    protections: tuple[Protection, ...]
    unprotected: str
    verdicts: list[Verdict]

    @property
    def spec(self) -> Spec:
        """What was asked for."""
        return self.design.spec

    @cached_property
    def converter(self) -> Converter:
        """The exact circuit at usual source voltage and full load, its parts warm."""
        return _warm(self.spec, self.fitted, self.usual)

    @property
    def stray(self) -> float:
        """The stray inductance that the snubber is made for, H."""
        return STRAY

    @property
    def lines(self) -> list[Line]:
        """Worked lines and sentences for the sheet."""
        return told.lines(self)

    @property
    def parts(self) -> list[Part]:
        """The parts list for the sheet."""
        return told.parts(self)

    @property
    def cautions(self) -> list[str]:
        """What can hurt people or parts, and what is not judged."""
        return told.cautions(self)

    @property
    def unjudged(self) -> list[str]:
        """What is demanded or drawn, and not judged."""
        return told.unjudged(self)

    def to_dict(self) -> dict:
        """Everything as plain data for `design.json`."""
        return told.to_dict(self)

    @property
    def usual(self) -> Operating:
        """At rest at usual source voltage and full load, in the hottest ambient."""
        return self.operating[self.design.corners.index(judge.full_load(self.spec, self.design.corners))]

    @property
    def hardest(self) -> Operating:
        """At rest at the corner of largest loss."""
        return max(self.operating, key=lambda o: o.losses.total)

    @property
    def met(self) -> bool:
        """Whether every demand is met, a step that is demanded was judged, a loop holds the output, and every protection protects."""
        return not self.shortfalls and all(each.met for each in (*self.verdicts, *self.protections))

    @property
    def shortfalls(self) -> list[str]:
        """Where the regulator falls short beyond the verdicts, in words."""
        return told.shortfalls(self)


def realise(design: Design, own: Candidates | None = None, units: int = UNITS, progress=None) -> Real:
    """Real parts for a design. `own`: tables of one's own; the invented ones where left out. `units`: of the random lot.

    Raises ValueError, naming the specification and the corner, where a part warms itself without end or the output is out of reach
    when warm, and for an ambient outside CLIMATE.
    """
    _bearable(design.spec)
    tell = progress or (lambda done, total, words: None)
    tell(0, 5, "choosing parts out of tables, winding the inductor")
    candidates = tables.illustrative() if own is None else own
    chosen = choice.choose(design.spec, design.corners, candidates, illustrative_edges())
    wound, unwound = _wound(design, chosen.parts) if own is None or not own.inductors else (None, {})
    found, unfitted = _banks(design, chosen.picked["capacitor"], own)
    capacitors = {"capacitor" if role == "output" else "input_capacitor": _at_work(bank) for role, bank in found.items()}
    parts = replace(chosen.parts, **capacitors, **({"inductor": wound.part()} if wound else {}))  # fmt: skip
    tell(1, 5, "losses and temperatures at every corner")
    spec = design.spec
    rest = tuple(_at_rest(spec, parts, corner) for corner in design.corners)
    tell(2, 5, "what is left of the output capacitor, and the exact circuit with it")
    corners = [_measured(spec, operating, found.get("output")) for operating in rest]
    tell(3, 5, "closing the loop, and stepping the load on the exact circuit")
    warm = _warm(spec, parts, rest[corners.index(judge.full_load(spec, corners))])
    loop, unregulated = _regulated(spec, warm, found.get("output"))
    guards, unprotected = _protected(spec, warm, corners, parts, loop, _known(parts, wound, found))
    tell(4, 5, "a lot of units, drawn at random")
    drawn = losses.converter(parts, spec.v_in.usual, spec.v_out, spec.i_out.max, spec.frequency)
    spread = tolerance.monte_carlo(spec, drawn, _edges(parts.switch), units=units)
    verdicts = [*judge.verdicts(spec, corners), *(loop.verdicts if loop else ()), *_temperatures(spec, parts, rest, corners)]
    return Real(design, parts, chosen.picked, wound, unwound, found, unfitted, rest, corners, _saturating(wound, rest),
                _snubbed(parts, max(rest, key=lambda at: at.state.inductor_current.max)), spread, loop, unregulated,
                guards, unprotected, verdicts)  # fmt: skip


def _bearable(spec: Spec) -> None:
    for name, value in zip(("min", "max"), spec.surroundings, strict=True):
        if not CLIMATE[0] <= value <= CLIMATE[1]:
            raise ValueError(f"{spec.where}: limits.ambient, {name} = {show(value, '°C')} must lie in [{show(CLIMATE[0], '°C')}, "
                             f"{show(CLIMATE[1], '°C')}]: the data of parts go no further")


def _at_rest(spec: Spec, parts: Parts, corner: Corner) -> Operating:
    """One corner warm, in the hottest ambient, on the exact circuit."""
    try:
        return warming.settle(parts, corner.v_in, spec.v_out, corner.i_out, spec.frequency, spec.surroundings[1])
    except ValueError as trouble:
        raise ValueError(f"{spec.where}: load.voltage = {show(spec.v_out, 'V')} cannot be kept with these parts at a source of "
                         f"{show(corner.v_in, 'V')} and a load of {show(corner.i_out, 'A')}: {trouble}") from None


def _warm(spec: Spec, parts: Parts, usual: Operating) -> Converter:
    """The exact circuit at usual source voltage and full load, its parts as warm as they get there."""
    return losses.converter(parts, spec.v_in.usual, spec.v_out, spec.i_out.max, spec.frequency, usual.temperatures)


def _regulated(spec: Spec, warm: Converter, bank: Bank | None) -> tuple[Loop | None, str]:
    """The loop, with a new output capacitor and with what is left of it at its worst; or why there is none."""
    try:
        return regulate(spec, warm, worn=(bank.effective, bank.esr) if bank else None), ""
    except ValueError as trouble:
        return None, str(trouble).removeprefix(f"{spec.where}: ")


def _protected(
    spec: Spec, warm: Converter, corners: list[Corner], parts: Parts, loop: Loop | None, known: Known,
) -> tuple[tuple[Protection, ...], str]:  # fmt: skip
    """What guards these parts against switch-on and faults, with the current limit of the loop; or why nothing was sized."""
    bears = min(part.voltage_limit for part in (parts.switch, parts.rectifier, parts.capacitor))
    limits = {"i_limit": loop.controller.i_limit, "most_duty": loop.controller.most_duty} if loop else {}
    try:
        return protections(spec, warm, corners, v_limit=bears if isfinite(bears) else None, known=known, **limits), ""
    except ValueError as trouble:
        return (), str(trouble).removeprefix(f"{spec.where}: ")


def _known(parts: Parts, wound: Built | None, found: dict[str, Bank]) -> Known:
    """What these parts tell the protections: capacitors as marked, the coil's own curve, what coil and rectifier bear."""
    coil, output, held = parts.inductor, found.get("output"), found["input"].part() if "input" in found else None
    curve = (wound.first_inductance, wound.saturation) if wound else (coil.inductance, coil.saturation)
    return Known(
        output.part().capacitance if output else None, output.effective if output else None,
        (held.capacitance, held.series_resistance, held.voltage_limit) if held else None, curve if curve[1] else None,
        *(limit if isfinite(limit) else None for limit in (coil.saturation_current, parts.rectifier.current_limit)),
        _gate(parts.switch),
    )  # fmt: skip


def _gate(switch: Switch) -> tuple[float, float] | None:
    """Charge and drive voltage of its gate, where a table says them of a switch that is not invented."""
    told = (switch.gate_charge, switch.drive_voltage)
    unsaid = not isfinite(switch.voltage_limit) or told == (Switch.gate_charge, Switch.drive_voltage)
    return None if switch.invented or unsaid else told


def _wound(design: Design, parts: Parts) -> tuple[Built | None, dict[str, str]]:
    """The smallest inductor that does what the corners ask of it, the other parts being these."""
    spec, corners = design.spec, design.corners
    found = warming.settle_many(parts, np.array([c.v_in for c in corners]), spec.v_out, np.array([c.i_out for c in corners]),
                                spec.frequency, spec.surroundings[1])  # fmt: skip
    for k in np.flatnonzero(found.out_of_reach | found.runs_away):
        _at_rest(spec, parts, corners[k])  # says what is wrong
    point, hard = found.point, int(np.argmax(found.point.i_inductor_rms))
    return inductor_build.smallest(
        design.converter.inductor.inductance, float(np.max(point.i_inductor_max)), float(point.i_inductor_rms[hard]),
        float(point.ripple_current[hard]), spec.frequency, float(point.duty[hard]), ambient=spec.surroundings[1])  # fmt: skip


def _banks(design: Design, picked: Picked, own: Candidates | None) -> tuple[dict[str, Bank], dict[str, str]]:
    """Output bank: out of the table where one's own has a fit, or where the designer has fixed what it must do; else by type, and where
    no type will do, out of the table after all. Input bank by type. And why one is missing."""
    spec, found, failed = design.spec, {}, {}
    fixed = spec.capacitance is not None or spec.series_resistance is not None
    hard = Point.of(max(design.corners, key=lambda c: c.state.inductor_current.rms).state)
    wide = Point.of(max(design.corners, key=lambda c: c.state.ripple_current).state)
    by_type = {"output": lambda: banks.output_bank(spec, hard, design.converter.inductor.inductance, kinds.TYPES),
               "input": lambda: banks.input_bank(spec, wide, kinds.TYPES)}  # fmt: skip
    if fixed or (own is not None and picked.best):
        del by_type["output"]
        failed["output"] = "what [choices] fixes for it, no capacitor in the table does"
    for role, way in by_type.items():
        try:
            found[role] = way()
        except ValueError as trouble:  # nothing fits
            failed[role] = str(trouble)
    if picked.best:
        found = {"output": picked.best[0].bank} | found
    return found, {role: why for role, why in failed.items() if role not in found}


def _at_work(bank: Bank) -> Capacitor:
    """A bank as one part, with what is left of its capacitance at its voltage when new."""
    return replace(bank.part(), capacitance=bank.usual)


def _measured(spec: Spec, at_rest: Operating, bank: Bank | None) -> Corner:
    """One corner: currents and efficiency warm, the output ripple with what is left of the capacitor in the cold and old."""
    state, found = at_rest.state, at_rest.losses
    worst = state
    if bank is not None:
        old = state.converter.change(capacitance=bank.effective, r_capacitor=bank.esr)
        worst = switched.steady_state(old.change(duty=switched.duty_for(old, spec.v_out, state.duty)))
    kept = spec.v_out * at_rest.point.i_out
    return Corner(
        float(at_rest.point.v_in), float(at_rest.point.i_out), state.duty, state.mode, worst.ripple_voltage, state.inductor_current.max,
        float(found.efficiency), float(kept / (kept + found.conduction)), {k: float(v) for k, v in found.items.items()}, state,
    )  # fmt: skip


def _temperatures(spec: Spec, parts: Parts, rest, corners: list[Corner]) -> list[Verdict]:
    """A verdict on each part's highest temperature, where the specification names an ambient and the part says how it cools."""
    given = []
    for name in (name for name in rest[0].temperatures if spec.ambient and getattr(parts, name).heat.resistance):
        k = max(range(len(rest)), key=lambda n: rest[n].temperatures[name])
        limit, value = getattr(parts, name).heat.limit, rest[k].temperatures[name]
        where = {"v_in": corners[k].v_in, "i_out": corners[k].i_out}
        given.append(Verdict(f"temperature of the {name.replace('_', ' ')} in the hottest ambient, at most", limit, value, "°C",
                             value <= limit, where))  # fmt: skip
    return given


def _saturating(wound: Built | None, rest) -> SteadyState | None:
    """The hardest corner once more, the coil's inductance falling with current as its core has it."""
    if wound is None:
        return None
    state = max(rest, key=lambda o: o.state.inductor_current.max).state
    bent = state.converter.change(inductance=wound.first_inductance, saturation=wound.saturation)
    return switched.steady_state(bent.change(duty=switched.duty_for(bent, state.output_voltage.mean, state.duty)))


def _snubbed(parts: Parts, hard: Operating) -> Snubber | None:
    """The switch node with an invented stray inductance, at the largest current; None for a switch that is only drawn."""
    switch, v_out = parts.switch, hard.state.output_voltage.mean
    node = switch.output_capacitance * (sqrt(switch.capacitance_voltage / v_out) if switch.capacitance_voltage else 1.0)
    limit = RING_SHARE * switch.voltage_limit
    if not node or not isfinite(limit) or limit <= v_out:
        return None
    return snubber.size(STRAY, node, v_out, hard.state.inductor_current.max, hard.point.f_sw, limit)


def _edges(switch: Switch) -> SwitchData:
    return SwitchData(switch.rise_time, switch.fall_time, switch.output_capacitance, switch.gate_charge, switch.drive_voltage)

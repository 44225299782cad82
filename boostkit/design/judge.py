"""The judge: the exact circuit at every corner of a specification, and a verdict on each demand."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from ..circuit import Converter, SteadyState, switched
from ..derivations import real_parts
from ..parts.point import Point
from ..units import show
from .spec import Spec

LIGHTEST = 1e-3  # of full load: with less, or none, the output climbs without end at any fixed duty, and nothing is settled


@dataclass(frozen=True)
class SwitchData:
    """What the edges of the switch cost: times in s, capacitance in F, charge in C, drive voltage in V."""

    rise_time: float
    fall_time: float
    output_capacitance: float
    gate_charge: float
    drive_voltage: float


@dataclass(frozen=True)
class Corner:
    """One combination of source voltage and load current: what the exact circuit does there (SI units)."""

    v_in: float
    i_out: float
    duty: float
    mode: str
    ripple_voltage: float
    inductor_peak: float
    efficiency: float
    efficiency_conduction: float
    losses: dict[str, float]
    state: SteadyState


@dataclass(frozen=True)
class Verdict:
    """One demand: its limit, the worst value that the judge measured, whether it is met, and where the worst lies."""

    demand: str
    limit: float
    value: float
    unit: str
    met: bool
    worst_at: dict[str, float]


def corners(spec: Spec, converter: Converter, edges: SwitchData) -> list[Corner]:
    """Every combination of lowest, usual and highest source voltage and load current, each brought to the output asked
    for. Raises ValueError, naming the corner, where the output cannot be reached there."""
    voltages, loads = (dict.fromkeys((r.min, r.usual, r.max)) for r in (spec.v_in, spec.i_out))
    loads = dict.fromkeys(max(load, LIGHTEST * spec.i_out.max) for load in loads)
    return [corner(spec, converter, edges, v_in, i_out) for v_in, i_out in product(voltages, loads)]


def corner(spec: Spec, converter: Converter, edges: SwitchData, v_in: float, i_out: float) -> Corner:
    """The exact circuit at one source voltage and load current, the duty set for the output asked for."""
    there = converter.change(v_in=v_in, i_out=i_out)
    try:
        duty = switched.duty_for(there, spec.v_out, _guess(there, spec.v_out, i_out))
        state = switched.steady_state(there.change(duty=duty))
    except ValueError as trouble:
        raise ValueError(f"{spec.where}: load.voltage = {show(spec.v_out, 'V')} is out of reach at a source of {show(v_in, 'V')} and "
                         f"a load of {show(i_out, 'A')} ({trouble}). Less resistance in winding, switch and rectifier, a "
                         "higher source voltage or a lighter load would help") from None
    losses = dict(state.losses) | switching_losses(state, edges)
    return Corner(
        v_in, i_out, duty, state.mode, state.ripple_voltage, state.inductor_current.max,
        state.output_power / (state.output_power + sum(losses.values())), state.efficiency, losses, state,
    )  # fmt: skip


def _guess(converter: Converter, v_out: float, i_out: float) -> float | None:
    """A duty close by, by the formulas of both conduction modes; None where they give none."""
    c, letters = converter, converter.letters()
    path = {name: letters[name] for name in ("r_inductor", "r_switch", "r_rectifier", "r_capacitor", "v_rectifier") if name in letters}
    duty = float(Point.by_formula(c.source.voltage, v_out, i_out, c.switch.frequency, c.inductor.inductance,
                                  diode=c.rectifier.kind == "diode", **path).duty)  # fmt: skip
    return duty if 0 <= duty < 1 else None


def switching_losses(state: SteadyState, edges: SwitchData) -> dict[str, float]:
    """First-order losses of the edges, W: the exact circuit switches at once and has none."""
    f_sw, v_out = 1 / state.period, state.output_voltage.mean
    if state.duty == 0:
        return {}
    return {
        "edges": real_parts.overlap_loss().formula(
            v_out=v_out, i_inductor_mean=state.inductor_current.mean, t_rise=edges.rise_time, t_fall=edges.fall_time,
            f_sw=f_sw),
        "switch capacitance": real_parts.capacitance_loss().formula(
            c_switch=edges.output_capacitance, v_out=v_out, f_sw=f_sw),
        "gate": _gates(state) * real_parts.gate_loss().formula(
            q_gate=edges.gate_charge, v_drive=edges.drive_voltage, f_sw=f_sw),
    }  # fmt: skip


def _gates(state: SteadyState) -> int:
    """A second switch as rectifier has a gate to feed as well."""
    return 2 if state.converter.rectifier.kind == "switch" else 1


def at_full_load(spec: Spec, corner: Corner) -> bool:
    """Whether a corner is that of usual source voltage and full load."""
    return (corner.v_in, corner.i_out) == (spec.v_in.usual, spec.i_out.max)


def full_load(spec: Spec, found: list[Corner]) -> Corner:
    """The corner of usual source voltage and full load."""
    return next(c for c in found if at_full_load(spec, c))


def verdicts(spec: Spec, found: list[Corner]) -> list[Verdict]:
    """One for each demand that the specification makes and that these corners can judge."""
    given = []
    if spec.ripple is not None:
        worst = max(found, key=lambda c: c.ripple_voltage)
        given.append(Verdict("output ripple, peak to peak, at most", spec.ripple, worst.ripple_voltage, "V",
                             worst.ripple_voltage <= spec.ripple, _place(worst)))
    if spec.efficiency is not None:
        usual = full_load(spec, found)
        given.append(Verdict("efficiency at usual source voltage and full load, at least", spec.efficiency,
                             usual.efficiency, "%", usual.efficiency >= spec.efficiency, _place(usual)))
    return given


def unjudged(spec: Spec) -> list[str]:
    """What the specification demands and nothing here has judged."""
    open_points = []
    lightest = LIGHTEST * spec.i_out.max
    if spec.i_out.min < lightest:
        open_points.append(f"A load of {show(spec.i_out.min, 'A')} is judged at {show(lightest, 'A')}, a "
                           "thousandth of full load; below that, and without any load, operation is **not judged**: at a fixed duty "
                           "the output then climbs.")
    if spec.step_deviation is not None:
        open_points.append(f"The step deviation of at most {show(spec.step_deviation, 'V')} is **not judged** here: it "
                           "depends on the regulator, and this sheet sets the duty by hand.")
    if spec.ambient is not None:
        open_points.append(f"The ambient range of {show(spec.ambient[0], '°C')} to {show(spec.ambient[1], '°C')} is **not "
                           "judged** here: part data stand at one temperature.")
    return open_points


def _place(corner: Corner) -> dict[str, float]:
    return {"v_in": corner.v_in, "i_out": corner.i_out}

"""From a specification to a design: each choice with its formula, its numbers and its reason, then the judge.

The formulas choose; the exact circuit decides. Whatever the formulas leave out shows in the verdicts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from importlib.resources import as_file, files

from ..algebra import Derivation
from ..algebra.formula import latex_value
from ..circuit import Converter
from ..derivations import sizing, stress, switching
from ..files import Section, read_toml
from ..units import preferred, show
from . import judge
from .judge import Corner, SwitchData, Verdict
from .spec import Spec

EXTRA_LOW = 60.0  # V of direct current; above it the law of most countries asks for protection: IEC 61140, from memory
UNHELD = "Never run it without a load or a regulator"
DEADLY = ("More than 60 V direct current can kill, and the output stays charged after switch-off. Cover it, work on it only switched off, "
          "discharged and measured, and leave live work to those licensed for it.")  # fmt: skip
POWER = "Where the power goes"
ABOVE_PEAK = 1.2  # the current limit, and what the coil bears, over the highest peak in service: common practice, no source
ESR_SHARE = 0.5  # of the ripple limit that the series resistance may take


@dataclass(frozen=True)
class Line:
    """One worked line: what it is about, one sentence, and the formula with its numbers as text and as LaTeX."""

    group: str
    say: str
    text: str
    latex: str = ""
    value: float | None = None
    unit: str = ""


@dataclass(frozen=True)
class Part:
    """One part: its value, why that value, and what to look for when buying it."""

    what: str
    value: float | str
    unit: str
    why: str
    look_for: str


@dataclass(frozen=True)
class Design:
    """A finished design. `converter` is built for usual source voltage and full load; `corners` and `verdicts` are
    measured on the exact circuit."""

    spec: Spec
    converter: Converter
    corners: list[Corner]
    verdicts: list[Verdict]
    lines: list[Line]
    parts: list[Part]
    cautions: list[str]

    @property
    def met(self) -> bool:
        """Whether every demand that was judged is met."""
        return all(verdict.met for verdict in self.verdicts)

    def to_dict(self) -> dict:
        """Everything as plain data for `design.json`."""
        return {
            "spec": self.spec.to_dict(),
            "converter": self.converter.to_dict(),
            "corners": [{k: v for k, v in vars(c).items() if k != "state"} for c in self.corners],
            "verdicts": [asdict(v) for v in self.verdicts],
            "lines": [asdict(line) for line in self.lines],
            "parts": [asdict(part) for part in self.parts],
            "cautions": self.cautions,
        }


def design(spec: Spec, progress=None) -> Design:
    """The complete first procedure. `progress(done, total, words)` is called before each stage.

    Raises ValueError where the output cannot be reached with such parts, saying why and what would help.
    """
    tell = progress or (lambda done, total, words: None)
    data = illustrative()
    tell(0, 4, "choosing the inductor")
    inductance, coil_lines = _inductor(spec)
    tell(1, 4, "choosing the output capacitor")
    capacitance, esr, capacitor_lines = _capacitor(spec, inductance, data)
    converter = _assembled(spec, inductance, capacitance, esr, data)
    tell(2, 4, "measuring every corner on the exact circuit")
    corners = judge.corners(spec, converter, illustrative_edges())
    usual = judge.full_load(spec, corners)
    converter = usual.state.converter
    tell(3, 4, "writing it down")
    stress_lines, stress_parts = _stress(spec, corners, data)
    lines = [*coil_lines, *capacitor_lines, *_duty_lines(spec, corners, data), *stress_lines, *_light_load(spec, usual),
             *_losses(usual)]
    parts = [*_passive_parts(converter, corners), *stress_parts]
    found = judge.verdicts(spec, corners)
    return Design(spec, converter, corners, found, lines, parts, _cautions(spec, corners, data))


def illustrative() -> dict:
    """The invented part data that fill in for parts nobody named (SI units)."""
    with as_file(files("boostkit") / "data" / "illustrative_parts.toml") as path:
        top = read_toml(path)
    units_of = {"output_capacitance": "F"}
    return {
        name: {key: _number(top.section(name), key, units_of.get(key, "")) for key in top.section(name).data}
        for name in top.data
    }


def illustrative_edges() -> SwitchData:
    """What the edges of the invented switch cost."""
    switch = illustrative()["switch"]
    return SwitchData(**{k: switch[k] for k in SwitchData.__dataclass_fields__})


def _number(section: Section, key: str, unit: str) -> float:
    return section.quantity(key, unit, low=0)


def worked(group: str, say: str, derivation: Derivation, **values) -> Line:
    """A line from a formula with its numbers put in."""
    worked = derivation.formula.worked(**values)
    return Line(group, say, worked.text, worked.latex, float(worked.value), worked.unit)


def _inductor(spec: Spec) -> tuple[float, list[Line]]:
    """The inductance, and how it came about."""
    group, duty = "The inductor", 1 - spec.v_in.usual / spec.v_out
    gain = worked(group, f"A first duty from the ideal gain: {show(spec.v_out, 'V')} from {show(spec.v_in.usual, 'V')} asks for "
                   f"D = {show(duty)}.", switching.ideal_gain(), duty=duty)
    mean = worked(group, "The load current sets the mean inductor current.", switching.charge_balance(),
                   i_out=spec.i_out.max, duty=duty)
    ripple = spec.ripple_fraction * mean.value
    wanted = worked(group, f"A ripple of {show(spec.ripple_fraction)} of this mean, {show(ripple, 'A')} peak to peak, asks for this "
                     "inductance.", sizing.inductance_for_ripple(), v_in=spec.v_in.usual, duty=duty, ripple_current=ripple,
                     f_sw=spec.frequency)
    chosen = spec.inductance or preferred(wanted.value, "E12", "up")
    why = "fixed by the designer" if spec.inductance else "the next preferred value above (E12, IEC 60063)"
    choice = worked(group, f"Chosen: {show(chosen, 'H')}, {why}. With it the ripple is this.", switching.inductor_ripple(),
                     v_in=spec.v_in.usual, duty=duty, inductance=chosen, f_sw=spec.frequency)
    return chosen, [gain, mean, wanted, choice]


def _capacitor(spec: Spec, inductance: float, data: dict) -> tuple[float, float, list[Line]]:
    """Output capacitance and series resistance, and how they came about, at the lowest source voltage and full load."""
    group, duty = "The output capacitor", 1 - spec.v_in.min / spec.v_out
    limit = spec.ripple_limit
    peak = worked(group, "At the lowest source voltage and full load the inductor current peaks highest.", stress.peak_current(),
                   i_out=spec.i_out.max, duty=duty, v_in=spec.v_in.min, inductance=inductance, f_sw=spec.frequency)
    esr = spec.series_resistance
    if esr is None:
        esr = min(data["capacitor"]["series_resistance"], preferred(ESR_SHARE * limit / peak.value, "E12", "down"))
    step = worked(group, f"A series resistance of {show(esr, 'Ω')} turns that peak into a step of the output where the switch "
                   f"opens. The limit is {show(limit, 'V')} in all" + ("." if spec.ripple else ", chosen here as 1 % of the output."),
                   sizing.esr_ripple(), r_capacitor=esr, i_inductor_max=peak.value)
    if step.value >= limit:
        named = "limits.ripple =" if spec.ripple else "the 1 % of the output that stands in for limits.ripple,"
        raise ValueError(f"{spec.where}: choices.series_resistance = {show(esr, 'Ω')} alone makes a ripple of {show(step.value, 'V')}, "
                         f"above {named} {show(limit, 'V')}; at most {show(limit / peak.value, 'Ω')} can do")
    wanted = worked(group, "What the step leaves of the limit, the charge may use.", sizing.capacitance_for_ripple(),
                     i_out=spec.i_out.max, duty=duty, ripple_voltage=limit, r_capacitor=esr, i_inductor_max=peak.value,
                     f_sw=spec.frequency)
    chosen = spec.capacitance or preferred(wanted.value, "E6", "up")
    why = "fixed by the designer" if spec.capacitance else "the next preferred value above (E6, IEC 60063)"
    choice = worked(group, f"Chosen: {show(chosen, 'F')}, {why}. The charge part of the ripple is then this.", switching.output_ripple(),
                     i_out=spec.i_out.max, duty=duty, capacitance=chosen, f_sw=spec.frequency)
    return chosen, esr, [peak, step, wanted, choice]


def _assembled(spec: Spec, inductance: float, capacitance: float, esr: float, data: dict) -> Converter:
    """The converter with illustrative parts around the chosen ones, the duty still a guess."""
    rectifier = data["diode"] if spec.rectifier == "diode" else data["second_switch"]
    return Converter.from_dict({
        "source": {"voltage": spec.v_in.usual},
        "inductor": {"inductance": inductance, "resistance": inductance / data["inductor"]["time_constant"]},
        "switch": {"frequency": spec.frequency, "duty": 0.5, "on_resistance": data["switch"]["on_resistance"]},
        "rectifier": {"kind": spec.rectifier, **rectifier},
        "capacitor": {"capacitance": capacitance, "series_resistance": esr},
        "load": {"current": spec.i_out.max},
    }, spec.where)  # fmt: skip


def _duty_lines(spec: Spec, corners: list[Corner], data: dict) -> list[Line]:
    """What the drive must be able to do."""
    low, high = min(corners, key=lambda c: c.duty), max(corners, key=lambda c: c.duty)
    shortest = low.duty / spec.frequency
    switch = data["switch"]

    def at(c: Corner) -> str:
        return f"at {show(c.v_in, 'V')} and {show(c.i_out, 'A')}"

    enough = "is within" if high.duty <= switch["largest_duty"] else "is **beyond**"
    long = "is longer" if shortest >= switch["least_on_time"] else "is **shorter**"
    return [
        Line("The drive", f"With all losses the exact circuit needs its largest duty {at(high)}; it {enough} the "
             f"{show(switch['largest_duty'])} of the illustrative drive.", f"D = {show(high.duty)}",
             f"D_{{\\mathrm{{max}}}} = {show(high.duty)}", high.duty),
        Line("The drive", f"Its shortest on-time comes {at(low)}; it {long} than the {show(switch['least_on_time'], 's')} that "
             "the illustrative drive can do.", f"t_on = {show(low.duty)}/{show(spec.frequency, 'Hz')} = {show(shortest, 's')}",
             f"t_{{\\mathrm{{on}}}} = \\frac{{D}}{{f_s}} = {latex_value(shortest, 's')}", shortest, "s"),
    ]  # fmt: skip


def _stress(spec: Spec, corners: list[Corner], data: dict) -> tuple[list[Line], list[Part]]:
    """What the parts must bear, from formulas at the hardest corner, beside what the exact circuit measured anywhere."""
    hard = next(c for c in corners if (c.v_in, c.i_out) == (spec.v_in.min, spec.i_out.max))
    group, s = "What switch, rectifier and capacitor must bear", hard.state
    both = {"i_inductor_mean": s.inductor_current.mean, "ripple_current": s.ripple_current}
    stage = {"v_in": hard.v_in, "inductance": s.converter.inductor.inductance, "f_sw": spec.frequency}
    lines = [
        worked(group, _beside("The peak of inductor, switch and rectifier current, at the lowest source voltage and full load",
                               max(c.inductor_peak for c in corners)), stress.peak_current(), i_out=hard.i_out,
                duty=hard.duty, **stage),
        worked(group, _beside("The switch's rms current", s.switch_current.rms), stress.switch_rms(), duty=hard.duty, **both),
        worked(group, _beside("The rectifier's mean current", s.rectifier_current.mean), stress.rectifier_mean(), i_out=hard.i_out),
        worked(group, _beside("The rectifier's rms current", s.rectifier_current.rms), stress.rectifier_rms(), duty=hard.duty, **both),
        worked(group, _beside("The output capacitor's rms current", s.capacitor_current.rms), stress.capacitor_rms(),
                duty=hard.duty, i_out=hard.i_out, ripple_current=s.ripple_current),
    ]
    voltage = max(c.state.switch_voltage.max for c in corners)
    bear = f"at least {show(1.5 * voltage, 'V')} (half again as much as the {show(voltage, 'V')} it sees: common practice, no source)"
    parts = [
        Part("Switch", f"{show(data['switch']['on_resistance'], 'Ω')} on-resistance", "", "illustrative and invented",
             f"{bear}, {show(max(c.inductor_peak for c in corners), 'A')} peak, {show(s.switch_current.rms, 'A')} rms, fully on at the "
             "gate voltage that the lowest source allows"),
        Part("Rectifier", "diode" if spec.rectifier == "diode" else "second switch", "", "illustrative and invented",
             f"{bear} in reverse, {show(s.rectifier_current.mean, 'A')} mean, fast enough for {show(spec.frequency, 'Hz')}"),
    ]
    return lines, parts


def _beside(what: str, measured: float) -> str:
    return f"{what}; the exact circuit gives {show(measured, 'A')}."


def _light_load(spec: Spec, usual: Corner) -> list[Line]:
    """Where conduction turns discontinuous, at the usual source voltage."""
    c = usual.state.converter
    border = worked("Light load", "Below this load the inductor current runs dry each cycle, and the duty has to follow "
                     "the load.", sizing.border_current(), v_in=c.source.voltage, duty=usual.duty,
                     inductance=c.inductor.inductance, f_sw=spec.frequency)
    return [border]


def _losses(usual: Corner) -> list[Line]:
    """Where the power goes at usual source voltage and full load."""
    return power_lines(usual.losses, usual.state.output_power, "Conduction is measured on the exact circuit; edges, switch capacitance "
                       "and gate are first-order formulas. Together:")  # fmt: skip


def power_lines(losses: Mapping[str, float], out: float, say: str, least: float = 0.0) -> list[Line]:
    """Every loss (W) above the share `least` of all, the largest first, and the efficiency with `out` W at the output."""
    total = float(sum(losses.values()))
    efficiency = out / (out + total)
    lines = [
        Line(POWER, f"{part[:1].upper() + part[1:]}: {show(watts, 'W')}.", "", "", float(watts), "W")
        for part, watts in sorted(losses.items(), key=lambda item: -item[1]) if watts > least * total
    ]
    said = f"{show(out, 'W')}/({show(out, 'W')} + {show(total, 'W')}) = {show(efficiency, '%')}"
    return [*lines, Line(POWER, say, f"efficiency = {said}",
                         rf"\eta = \frac{{P_{{\mathrm{{out}}}}}}{{P_{{\mathrm{{out}}}} + P_{{\mathrm{{loss}}}}}} = "
                         rf"\frac{{{latex_value(out, 'W')}}}{{{latex_value(out, 'W')} + "
                         rf"{latex_value(total, 'W')}}} = {latex_value(efficiency, '%')}", efficiency, "%")]  # fmt: skip


def _passive_parts(converter: Converter, corners: list[Corner]) -> list[Part]:
    peak = max(c.inductor_peak for c in corners)
    heat = max(c.state.capacitor_current.rms for c in corners)
    hard = max(corners, key=lambda c: c.state.inductor_current.rms).state
    volts = max(c.state.output_voltage.max for c in corners)
    return [
        Part("Inductor", converter.inductor.inductance, "H", "keeps the ripple current to the share chosen",
             f"this inductance still at {show(ABOVE_PEAK * peak, 'A')} (a fifth above the peak: common practice, no source), "
             f"{show(hard.inductor_current.rms, 'A')} rms, winding at most {show(converter.inductor.resistance, 'Ω')}"),
        Part("Output capacitor", converter.capacitor.capacitance, "F", "keeps the output ripple to its limit",
             f"this capacitance left at {show(volts, 'V')} and the coldest ambient, series resistance at most "
             f"{show(converter.capacitor.series_resistance, 'Ω')}, {show(heat, 'A')} rms"),
    ]  # fmt: skip


def _cautions(spec: Spec, corners: list[Corner], data: dict) -> list[str]:
    """What can hurt people or parts, and what this sheet has not shown."""
    found = [
        f"{UNHELD}: at a fixed duty the output of an unloaded boost converter climbs until a part breaks.",
        "The path from source through inductor and rectifier to the output is always there: opening the switch does not "
        "switch the load off, and a shorted output is fed until a fuse blows. Fit one.",
        f"The output capacitor holds up to {show(max(c.state.output_voltage.max for c in corners), 'V')} after switch-off. Measure "
        "before you touch.",
        *([DEADLY] if spec.v_out > EXTRA_LOW else []),
        "Inductor, switch and rectifier run hot. A shorted battery burns: fuse it at its terminal.",
        "Part data are illustrative and invented. Put in the data of real parts and run the design again before you buy.",
        *judge.unjudged(spec),
    ]
    if max(c.duty for c in corners) > data["switch"]["largest_duty"]:
        found.append("The largest duty needed is beyond the illustrative drive: choose another drive or a higher source voltage.")
    if min(c.duty for c in corners) / spec.frequency < data["switch"]["least_on_time"]:
        found.append("The shortest on-time is below what the illustrative drive can do: it will skip cycles at light load.")
    return [*found, "Local codes and licensed practice come before this sheet."]

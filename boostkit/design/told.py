"""What real parts come to, in words: the lines, the parts list and the cautions that a design with real parts adds to its sheet."""

from __future__ import annotations

from math import isinf

from ..derivations import magnetics
from ..parts.inductor_demand import flux_limit
from ..units import show
from . import judge
from .choice import Needs
from .procedure import POWER, Line, Part, power_lines, worked

HEAT = "How warm it gets"
WOUND = "The inductor, wound"
LEFT = "What is left of the capacitors"
NODE = "The switch node"
SPREAD = "What the spread of parts does"
REFUSED = "Which parts, and why not others"
LEAST = 5e-4  # of all losses: what is less gets no line
TOUCH = 60.0  # °C of a metal surface that burns skin within seconds: ISO 13732-1 gives about this for bare metal, from memory
LITTLE = 0.1  # of the ripple limit, that a series resistance may take without a word: common practice, no source
MOST = 3  # refusals and causes that are told; all stand in design.json


def lines(real) -> list[Line]:
    """The lines of the design, its losses replaced by those of the real parts, and what else there is to say."""
    kept = [line for line in real.design.lines if line.group != POWER]
    return [*kept, *_power(real), *_heat(real), *_wound(real), *_left(real), *(real.loop.lines if real.loop else ()),
            *(line for guard in real.protections for line in guard.told), *_node(real), *_spread(real), *_picked(real)]  # fmt: skip


def _power(real) -> list[Line]:
    """Every loss at usual source voltage and full load that is worth a line, the largest first."""
    found = real.usual.losses
    return power_lines(found.items, float(found.output_power), f"With real parts, warm in an ambient of {show(real.usual.ambient, '°C')}. "
                       "Conduction is measured on the exact circuit; edges, charges and core are first-order formulas. Together:",
                       LEAST)  # fmt: skip


def _heat(real) -> list[Line]:
    """The temperatures at the hardest corner, and how near to running away."""
    hard = real.hardest
    told = [Line(HEAT, f"{_name(part)}: {show(t, '°C')}; it bears {show(getattr(real.fitted, part).heat.limit, '°C')}.", "", "", t, "°C")
            for part, t in hard.temperatures.items() if getattr(real.fitted, part).heat.resistance]  # fmt: skip
    if silent := _silent(real):
        told.append(Line(HEAT, f"{_list(silent)}: nothing says how it cools, so its temperature is **not judged**.", ""))
    return [Line(HEAT, f"At the corner of largest loss, in an ambient of {show(hard.ambient, '°C')}; resistances and temperatures are "
                 f"solved together. A kelvin more warms the parts by {show(hard.loop_gain)} K further: below one, it settles.",
                 "", "", hard.loop_gain), *told]  # fmt: skip


def _wound(real) -> list[Line]:
    built = real.inductor
    if built is None:
        return [Line(WOUND, f"{core} will not do: {why}", "") for core, why in list(real.unwound.items())[-1:]]
    turns = worked(WOUND, f"With fewer turns than this the flux density at the peak would pass what is allowed; {built.turns} are wound.",
                   magnetics.turns_for_flux(), inductance=built.inductance, i_inductor_max=built.demand.i_peak,
                   flux_density_max=flux_limit(built.demand, built.material), area_core=built.core.area_least) if built.gap else None
    bent = real.saturating
    straight = max(c.inductor_peak for c in real.corners)
    peaks = show(bent.inductor_current.max, "A"), show(straight, "A")
    curve = [Line(WOUND, f"With the core's own curve, at the hardest corner, the exact circuit peaks at {peaks[0]}; a coil of constant "
                  f"inductance would at {peaks[1]}.", "", "", bent.inductor_current.max, "A")] if len(set(peaks)) == 2 else []  # fmt: skip
    return [*([turns] if turns else []), *(Line(WOUND, why[:1].upper() + why[1:], "") for why in built.why), *curve]


def _left(real) -> list[Line]:
    return [Line(LEFT, f"{_name(role)} capacitor, {bank.count} × {bank.piece.name}: {why}.", "") for role, bank in real.banks.items()
            for why in bank.why]  # fmt: skip


def _node(real) -> list[Line]:
    if real.snubber is None:
        return []
    return [Line(NODE, f"With a stray inductance of {show(real.stray, 'H')} (invented; measure yours): {why}.", "") if n == 0
            else Line(NODE, f"{why[:1].upper() + why[1:]}.", "") for n, why in enumerate(real.snubber.why)]  # fmt: skip


def _spread(real) -> list[Line]:
    """Share of units that meet each demand, and what matters most."""
    if real.spread.not_reached == real.spread.units:
        return [Line(SPREAD, "**None** of the units drawn at random reaches the output at every corner.", "")]
    told = [Line(SPREAD, f"{real.spread.units} units drawn at random within the tolerances of their parts, each at every corner of the "
                 "exact circuit. The tolerances are invented where no standard gives them. The efficiency of a unit leaves out core, "
                 "recovery and the ripple's part in the winding.", "")]  # fmt: skip
    if real.spread.not_reached:
        told.append(Line(SPREAD, f"{real.spread.not_reached} of them do **not** reach the output at every corner, and meet no demand.", ""))
    for name, outcome in real.spread.outcomes.items():
        low, high = outcome.quantiles[0.01], outcome.quantiles[0.99]
        unit = outcome.demand.unit
        share = "" if outcome.share is None else f", and {show(outcome.share, '%')} of them meet the demand"
        told.append(Line(SPREAD, f"{_name(name)}: 98 % of the units lie between {show(low, unit)} and {show(high, unit)}{share}. It "
                         f"follows the {_name(outcome.matters_most).lower()} most closely.", "", "", outcome.share))  # fmt: skip
    return told


def _picked(real) -> list[Line]:
    told = []
    for what, picked in real.picked.items():
        if _made(real, what):
            continue
        if not picked.best:
            said = "nothing in the table fits" if picked.refused else "there is no table of them"
            told.append(Line(REFUSED, f"{_name(what)}: {said}. Look for: {picked.look_for}.", ""))
            told += _refusals(picked)
            continue
        best, others = picked.best[0], ", ".join(fit.part.name for fit in picked.best[1 : 1 + MOST])
        told.append(Line(REFUSED, f"{_name(what)}: {best.part.name}; the converter then loses {show(best.loss, 'W')}"
                         + (f". Next best: {others}." if others else "."), ""))  # fmt: skip
        told += _refusals(picked)
    return told


def _refusals(picked) -> list[Line]:
    return [Line(REFUSED, f"Not {name}: it {why}.", "") for name, why in list(picked.refused.items())[:MOST]]


def _made(real, what: str) -> bool:
    """Whether this part did not come out of the table: wound, or chosen by its type."""
    if what == "inductor":
        return real.inductor is not None
    best = real.picked[what].best
    return what == "capacitor" and "output" in real.banks and not (best and best[0].bank is real.banks["output"])


def _only_drawn(real) -> list[str]:
    """The parts that are as the design was drawn, and no real ones."""
    missing = [what for what, picked in real.picked.items() if not picked.best and not _made(real, what)]
    return missing + [f"{role} capacitor" for role in real.unfitted if role != "output"]


def _silent(real) -> list[str]:
    """The parts that do not say how they cool."""
    return [name for name in real.usual.temperatures if not getattr(real.fitted, name).heat.resistance]


def _list(names: list[str]) -> str:
    return _name(", ".join(name.replace("_", " ") for name in names))


def parts(real) -> list[Part]:
    """The parts list: what was taken, and what to look for instead."""
    fitted, look = real.fitted, {what: picked.look_for for what, picked in real.picked.items()}
    if real.loop:  # its current limit is what the coil must bear
        look["inductor"] = Needs.of(real.spec, real.design.corners).look_for("inductor", real.loop.controller.i_limit)
    listed = [Part(_name(what), getattr(fitted, what).name, "", _origin(real, what), look[what])
              for what in ("switch", "rectifier", "inductor")]
    listed += [Part(f"{_name(role)} capacitor", f"{bank.count} × {bank.piece.name}", "", f"{show(bank.effective, 'F')} left at the worst",
                    f"at least this left, {_resistance(real, bank)}" if role == "output"
                    else "close to coil and switch, with a short loop") for role, bank in real.banks.items()]  # fmt: skip
    listed += [part for part in real.design.parts if part.what == "Output capacitor" and "output" not in real.banks]
    listed += real.loop.parts if real.loop else []
    if real.snubber is not None and not isinf(real.snubber.resistance):
        listed.append(Part("Snubber", f"{show(real.snubber.resistance, 'Ω')}, {show(real.snubber.capacitance, 'F')}", "",
                           "for the stray inductance assumed", f"in series across the switch, {show(real.snubber.resistor_heat, 'W')} of "
                           "heat, close to it"))  # fmt: skip
    return [*listed, *(guard.part for guard in real.protections)]


def _resistance(real, bank) -> str:
    """What an output capacitor's series resistance may be: that of the bank, or where that hardly counts, up to where it would."""
    counts = LITTLE * real.spec.ripple_limit / max(c.inductor_peak for c in real.corners)
    if bank.esr < counts:
        return f"series resistance below {show(counts, 'Ω')} in the cold, where it hardly counts"
    return f"series resistance at most {show(bank.esr, 'Ω')} in the cold"


def _origin(real, what: str) -> str:
    """Where a part comes from, in words."""
    part = getattr(real.fitted, what)
    if _made(real, what):
        return "wound; core and its material are invented"
    if not real.picked[what].best:
        return "as drawn: illustrative, invented, and no real part"
    return "invented" if part.invented else "from your table"


def unjudged(real) -> list[str]:
    """What the specification demands or the design draws, and nothing has judged."""
    found = [c for c in judge.unjudged(real.spec) if "ambient range" not in c and "step deviation" not in c]
    if real.loop is None:
        found.append(f"How the output is held is **not judged**, nor how far a load step moves it: {real.unregulated}.")
    if not real.protections:
        found.append(f"What guards it against switch-on and faults is **not judged**: {real.unprotected}.")
    if real.loop and real.loop.unjudged:
        what = ("The step" if real.spec.step_deviation is None else f"The step deviation of at most {show(real.spec.step_deviation, 'V')}")
        found.append(f"{what} is **not judged**: {real.loop.unjudged}.")
    if real.spec.step and real.spec.step.low < judge.LIGHTEST * real.spec.i_out.max:
        found.append(f"The load step from {show(real.spec.step.low, 'A')} is judged from "
                     f"{show(judge.LIGHTEST * real.spec.i_out.max, 'A')}; from less it is **not judged**.")  # fmt: skip
    if drawn := _only_drawn(real):
        found.append(f"{_list(drawn)}: only drawn, no real part. Whether there is one that bears this is **not judged**.")
    if real.spec.ambient is None:
        found.append(f"No ambient is named: temperatures are those in {show(real.usual.ambient, '°C')}, and **not judged**.")
    elif silent := [name for name in _silent(real) if name not in drawn]:
        found.append(f"{_list(silent)}: no thermal resistance is given, so the temperature is **not judged**.")
    if "output" not in real.banks:
        found.append("What bias, cold and age leave of the output capacitor is **not judged**: the ripple is that of the values drawn. "
                     f"{_name(real.unfitted['output'])}.")  # fmt: skip
    if real.snubber is None:
        found.append("The ringing of the switch node is **not judged**: that takes a switch with a voltage limit well above the output "
                     "and a stated output capacitance.")  # fmt: skip
    return found


def shortfalls(real) -> list[str]:
    """Where the regulator falls short beyond the verdicts: there is none, it lacks margin or pace, or a step was not judged."""
    loop = real.loop
    held = dict.fromkeys((loop.short, loop.slow, loop.unjudged)) if loop else (real.unregulated,)
    return [f"{loop.name if loop else 'regulator'}: {words}" for words in held if words]


def cautions(real) -> list[str]:
    """Those of the design, without what is judged now; what the real parts add, of the protections only what is a matter of life and
    limb; the last word stays the last."""
    kept = [c for c in real.design.cautions if not any(words in c for words in ("**not judged**", "ambient range"))]
    polarised = any(bank.kind == "electrolytic" for bank in real.banks.values())
    added = ["An electrolytic capacitor fitted the wrong way round boils and vents: mind the polarity, keep your face away at first "
             "switch-on."] if polarised else []  # fmt: skip
    hot = [f"{_name(name)} reaches {show(t, '°C')}: too hot to touch." for name, t in real.hardest.temperatures.items() if t > TOUCH]
    rings = [f"The switch node rings to {show(snubber.peak, 'V')} even with the snubber: too high for the switch taken."
             for snubber in [real.snubber] if snubber and not snubber.met]  # fmt: skip
    held = real.loop.cautions if real.loop else []
    faults = [guard.danger for guard in real.protections if guard.danger]
    return [*kept[:-1], *unjudged(real), *held, *faults, *added, *hot, *rings, kept[-1]]


def to_dict(real) -> dict:
    """Everything as plain data for `design.json`: the keys of a design, and what the real parts add."""
    corner = {k: float(v) for k, v in real.usual.losses.items.items()}
    return real.design.to_dict() | {
        "converter": real.converter.to_dict(),
        "corners": [{k: v for k, v in vars(c).items() if k != "state"} for c in real.corners],
        "verdicts": [vars(v) for v in real.verdicts], "lines": [vars(line) for line in lines(real)],
        "parts": [vars(part) for part in parts(real)], "cautions": cautions(real), "losses": corner,
        "thermal": {"ambient": real.hardest.ambient, "loop_gain": real.hardest.loop_gain, "temperatures": real.hardest.temperatures},
        "inductor_build": _built(real), "capacitors": {role: _bank(bank) for role, bank in real.banks.items()},
        "snubber": None if real.snubber is None else {k: v for k, v in vars(real.snubber).items() if not (k == "resistance" and isinf(v))},
        "loop": real.loop.to_dict() if real.loop else {"refused": real.unregulated},
        "protections": [guard.to_dict() for guard in real.protections], "tolerance": real.spread.to_dict(),
        "choice": {what: {"best": [fit.part.name for fit in p.best], "refused": p.refused, "look_for": p.look_for}
                   for what, p in real.picked.items()},
    }  # fmt: skip


def _built(real) -> dict:
    b = real.inductor
    if b is None:
        return {"refused": real.unwound}
    return {"core": b.core.name, "material": b.material.name, "turns": b.turns, "gap": b.gap, "wire": b.wire.name, "layers": b.layers,
            "fill": b.fill, "flux_peak": b.flux_peak, "flux_ripple": b.flux_ripple, "resistance_dc": b.resistance_dc,
            "ac_ratio": b.ac_ratio, "winding_loss": b.winding_loss, "core_loss": b.core_loss, "temperature": b.temperature,
            "volume": b.volume, "saturation_current": b.saturation_current}  # fmt: skip


def _bank(bank) -> dict:
    return {"piece": bank.piece.name, "count": bank.count, "marked": bank.count * bank.capacitance, "usual": bank.usual,
            "effective": bank.effective, "esr": bank.esr, "temperature_rise": bank.temperature_rise, "volume": bank.volume}  # fmt: skip


def _name(name: str) -> str:
    """A key as words, with a capital."""
    words = {"r_capacitor": "series resistance of the capacitor", "r_inductor": "winding resistance", "r_switch": "on-resistance",
             "v_rectifier": "forward voltage", "r_rectifier": "resistance of the rectifier", "f_sw": "switching frequency"}  # fmt: skip
    said = words.get(name, name.replace("_", " "))
    return said[:1].upper() + said[1:]

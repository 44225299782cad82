"""The regulator in words: its lines, its parts and its cautions, as a sheet has them, and plain data for `design.json`."""

from __future__ import annotations

from ..control.networks import WORDS
from ..derivations import landmarks
from ..units import show
from . import step
from .procedure import Line, Part, worked

GROUP = "The regulator"
HELD = "How far the loop is from ringing"
STEP = "The load step, on the exact circuit"
PLACES = {  # of a part round an op-amp, in words
    "r_zero": "with the zero capacitor in a row, from the amplifier's output to its inverting input",
    "c_zero": "between the amplifier's output and its inverting input; with a zero resistor, in its row",
    "c_pole": "from the amplifier's output to its inverting input, beside that row",
    "r_lead": "with the lead capacitor in a row, across the top of the divider",
    "c_lead": "across the top of the divider; with a lead resistor, in its row",
}


def lines(loop) -> list[Line]:
    """How the loop was chosen, what its parts do, its margins, and the load step."""
    return [*_chosen(loop), *_made(loop), *_held(loop), *_moved(loop)]


def _chosen(loop) -> list[Line]:
    """Simpler ways and why not, and what keeps the crossover low."""
    spec, slow = loop.spec, min((h for h in loop.corners if h.right_half_plane_zero), key=lambda h: h.right_half_plane_zero, default=None)
    told = [Line(GROUP, f"{way[:1].upper() + way[1:]}: not taken; {why}.", "") for way, why in loop.refused.items()]
    if not spec.crossover:
        told.append(Line(GROUP, "Each way is tried at the crossover within reach, and at lower ones as far as the load step bears it, down "
                         "to a tenth (common practice, no source).", ""))  # fmt: skip
    told.append(Line(GROUP, f"Taken: {loop.name}.", ""))
    if slow is not None and slow.mode == "continuous":
        told.append(worked(GROUP, f"A longer on-time lowers the output first, for the rectifier conducts for less time at once. At "
                           f"{show(slow.v_in, 'V')} and {show(slow.i_out, 'A')} that sets a right-half-plane zero; with all losses it "
                           f"lies at {show(slow.right_half_plane_zero, 'Hz')}.", landmarks.rhp_zero(), duty=slow.duty,
                           r_load=spec.v_out / slow.i_out, inductance=loop.inductance))  # fmt: skip
    return [*told, *_reached(loop)]


def _reached(loop) -> list[Line]:
    """What keeps the crossover low, and how the loop taken lies to it."""
    limit, spec = loop.reach.limits[0], loop.spec
    where = "" if limit.corner is None else f" at {limit.corner}"
    told = [Line(GROUP, f"What keeps the crossover low is the {limit.name}{where}: there {show(limit.crossover, 'Hz')} is about as fast as "
                 "is sensible (common practice, no source).", "", "", limit.crossover, "Hz")]  # fmt: skip
    if spec.crossover:
        far = spec.crossover > limit.crossover
        told.append(Line(GROUP, f"The specification fixes {show(spec.crossover, 'Hz')}" + (": **beyond** that." if far else "."), ""))
    elif limit.corner is not None and loop.crossover > limit.crossover:
        fast = max(loop.corners, key=lambda h: h.crossover)
        zero = fast.right_half_plane_zero
        own = f", and its own right-half-plane zero lies at {show(zero, 'Hz')}" if zero else ", and it has no such zero"
        told.append(Line(GROUP, f"At {show(fast.v_in, 'V')} and {show(fast.i_out, 'A')} the same parts cross over at "
                         f"{show(fast.crossover, 'Hz')}: the gain is higher there{own}.", ""))  # fmt: skip
    return told


def _made(loop) -> list[Line]:
    """The parts and what they do."""
    d = loop.divider
    told = [Line(GROUP, f"The divider, {show(d.top, 'Ω')} over {show(d.bottom, 'Ω')} with a reference of {show(d.v_ref, 'V')} (invented), "
                 f"sets {show(d.v_set, 'V', 4)}. Resistors and reference at the ends of their tolerance set it too high or low by up to "
                 f"{show(d.spread(loop.stray['resistor'], loop.stray['reference']), '%')}.", "", "", d.v_set, "V")]  # fmt: skip
    told += [Line(GROUP, f"{why[:1].upper() + why[1:]}.", "") for why in loop.inner]
    told.append(Line(GROUP, f"From error to control voltage: {loop.compensator}.", ""))
    return told if loop.network else [*told, *_reckoned(loop)]


def _reckoned(loop) -> list[Line]:
    """What a digital regulator has to reckon, and how finely."""
    c, (reading, duty), f_sw = loop.controller, loop.resolution, loop.spec.frequency
    n = len(c.b)
    names = [f"z{k + 1}" for k in range(n)]
    rows = [f"{name}, next: {_sum((*row, b), (*names, 'e'))}" for name, row, b in zip(names, c.a, c.b, strict=True)]
    return [
        Line(GROUP, f"Once a period, with e the set point less the output (V) and {', '.join(names)} kept from the period before (0 at "
             "first), reckon the duty for the next period, then each new z from the old ones. Where the duty is held at a limit, take for "
             "e in those what would have asked for just that limit, so that nothing winds up.", ""),
        Line(GROUP, f"duty: {_sum((*c.c, c.d), (*names, 'e'))}.", ""),
        *(Line(GROUP, f"{row}.", "") for row in rows),
        Line(GROUP, f"Read the output in steps of {show(reading, 'V')} (of {show(2 * loop.divider.v_set, 'V')}; invented) and set the duty "
             f"in steps of {show(duty, '%')}: a timer of {show(f_sw / duty, 'Hz')}, or coarser steps that take turns. Four times that step "
             "is the least with which the output comes to rest; there it still hunts. The step below is measured without rounding.", ""),
    ]  # fmt: skip


def _sum(factors: tuple, names: tuple) -> str:
    """A sum of products, with nine digits."""
    return " ".join(f"{'-' if x < 0 else '+'} {abs(x):.9g} {name}" for x, name in zip(factors, names, strict=True) if x).removeprefix("+ ")


def _held(loop) -> list[Line]:
    """Margins by corner, as the averaged model has them."""
    how = "By the averaged model, with the preferred values" if loop.network else "By what the exact circuit gives at the clock"
    told = [Line(HELD, f"{how}, at every corner; of a new and a worn output capacitor the worse. Trust it well below half the switching "
                 "frequency. Source and load: crossover, phase margin, by what factor the gain may rise.", "")]  # fmt: skip
    if loop.network:
        told.append(Line(HELD, f"The output's ripple reaches the comparator too, up to {show(loop.ripple, '%', 2)} of its swing there, and "
                         "alters the gain by about as much. These margins leave that out; the load step below does not.", ""))  # fmt: skip
    for h in loop.corners:
        gain = "no limit of gain seen" if h.gain_margin is None else f"{show(h.gain_margin)} times"
        told.append(Line(HELD, f"{show(h.v_in, 'V')}, {show(h.i_out, 'A')}: {show(h.crossover, 'Hz')}, {show(h.phase_margin)}°, {gain}"
                         + ("." if h.stable else ", **unstable**."), ""))  # fmt: skip
    return [*told, *([_strayed(loop)] if loop.spread_at else [])]


def _strayed(loop) -> Line:
    """What the tolerance of the parts leaves of the margins."""
    stray = {name: show(share, "%") for name, share in loop.stray.items()}
    what = (f"Resistors off by {stray['resistor']}, capacitors by {stray['capacitor']} and the comparator's gain by {stray['gain']}"
            if loop.network else f"Divider and reference off by {stray['resistor']} and {stray['reference']}")  # fmt: skip
    gain = "" if loop.spread_gain_margin is None else f"; a gain margin of {show(loop.spread_gain_margin)} times, at {loop.spread_gain_at}"
    least = (f"of every combination and corner this is left at the worst: a phase margin of {show(loop.spread_phase_margin)}°, at "
             f"{loop.spread_at}{gain}" if loop.spread_stable else
             f"at the worst of every combination and corner it is **unstable**: at {loop.spread_at}")  # fmt: skip
    return Line(HELD, f"{what} (invented): {least}.", "", "", loop.spread_phase_margin, "°")


def _moved(loop) -> list[Line]:
    """How far the step moves the output, by source voltage and capacitance."""
    if not loop.moved:
        return []
    low, high = step.ends(loop.spec)
    light = "" if low == loop.spec.step.low else f" (in place of {show(loop.spec.step.low, 'A')}: a thousandth of full load)"
    return [Line(STEP, f"{show(low, 'A')}{light} to {show(high, 'A')} and back: how far from what is set, ripple included. What is set may "
                 f"itself be {show(loop.astray, 'V')} off; that comes on top.", ""),
            *(Line(STEP, f"{show(m.v_in, 'V')}, {show(m.capacitance, 'F')}: {show(m.up, 'V')} after the step up, {show(m.back, 'V')} after "
                   f"the step back; {show(m.left, 'V')} left after {show(loop.watched, 's')}.", "", "", m.worst, "V")
              for m in loop.moved)]  # fmt: skip


def parts(loop) -> list[Part]:
    """The regulator's parts."""
    d, c = loop.divider, loop.controller
    listed = [Part("Feedback divider", f"{show(d.top, 'Ω')} over {show(d.bottom, 'Ω')}", "",
                   f"sets {show(d.v_set, 'V', 4)} with a reference of {show(d.v_ref, 'V')}",
                   f"{show(loop.stray['resistor'], '%')}, close to the controller, its sense line at the output capacitor")]  # fmt: skip
    if loop.network is None:
        return [*listed, Part("Controller", loop.name, "", "reckons once a period", f"reads the output in steps of "
                              f"{show(loop.resolution[0], 'V')}, sets the duty in steps of {show(loop.resolution[1], '%')} up to "
                              f"{show(c.most_duty)}; a current limit of {show(c.i_limit, 'A')} cycle by cycle")]  # fmt: skip
    listed.append(Part("Controller", loop.name, "", "the simplest tried that keeps margins and load step" if loop.met else "the best tried",
                       f"duty up to {show(c.most_duty)}, on-time down to {show(c.least_on_time, 's')}, a current limit of "
                       f"{show(c.i_limit, 'A')} cycle by cycle, an amplifier far faster than the crossover"))  # fmt: skip
    closeness = {"r": (show(loop.stray["resistor"], "%"), "Ω"),
                 "c": (f"{show(loop.stray['capacitor'], '%')}, of a kind that keeps its capacitance with voltage and cold", "F")}
    listed += [Part(f"Compensation, {WORDS[name]}", value, closeness[name[0]][1], PLACES[name], closeness[name[0]][0])
               for name, value in loop.network.parts.items()]  # fmt: skip
    if loop.control == "current":
        listed.append(Part("Slope ramp", f"{show(c.slope, 'A/s')}", "", "calms the current loop above half duty",
                           f"{show(c.sense * c.slope, 'V/s')} at the comparator"))  # fmt: skip
    return listed


def cautions(loop) -> list[str]:
    """What falls short, what would help, and what has not been shown."""
    found = [f"The loop keeps too little margin: {loop.short}."] if loop.short else []
    found += [f"The loop is slow: {loop.slow}."] if loop.slow else []
    found += ["The load step moves the output too far."] if any(not v.met for v in loop.verdicts) else []
    fixed, reach = loop.spec.crossover, loop.reach
    if not loop.met and fixed and fixed > reach.crossover:
        found.append(f"The crossover that is fixed, {show(fixed, 'Hz')}, lies beyond the {show(reach.crossover, 'Hz')} that the {reach.by} "
                     "lets be sensible.")  # fmt: skip
    found += [" ".join(loop.advice)] if loop.advice else []
    return [*found, "The margins are those of a model: measure loop and load step on the bench, at the "
            "lowest source voltage and in the cold, before you rely on them."]  # fmt: skip


def to_dict(loop) -> dict:
    """Everything as plain data."""
    c, d = loop.controller, loop.divider
    drive = {"v_set": d.v_set, "i_limit": c.i_limit, "least_on_time": c.least_on_time, "most_duty": c.most_duty}
    if loop.control == "current":
        drive |= {"sense": c.sense, "slope": c.slope}
    elif loop.control == "voltage":
        drive |= {"ramp": c.ramp}
    else:
        reading, duty = loop.resolution
        drive |= {"a": c.a, "b": c.b, "c": c.c, "d": c.d, "delay": c.delay, "adc_step": reading, "duty_step": duty}
    g = loop.compensator
    return {
        "kind": loop.name, "control": loop.control, "parts": dict(loop.network.parts) if loop.network else {},
        "divider": {"top": d.top, "bottom": d.bottom, "v_ref": d.v_ref}, "drive": drive,
        "compensator": {"kind": g.kind, "f_integrator": g.f_integrator, "zeros": list(g.zeros), "poles": list(g.poles)},
        "spread": {"phase_margin": loop.spread_phase_margin, "gain_margin": loop.spread_gain_margin, "at": loop.spread_at,
                   "gain_at": loop.spread_gain_at, "stable": loop.spread_stable},
        "crossover": loop.crossover, "right_half_plane_zero": loop.right_half_plane_zero,
        "corners": [vars(h) for h in loop.corners], "step": [vars(m) for m in loop.moved],
        "met": loop.met, "short": loop.short, "slow": loop.slow, "unjudged": loop.unjudged,
        "refused": dict(loop.refused), "advice": list(loop.advice),
    }  # fmt: skip

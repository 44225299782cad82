"""Protections at the source: fuse, series switch, reversal, under-voltage lockout, surge. Beside each, the exact course of its fault."""

from __future__ import annotations

from ..circuit import Converter, faults, switched
from ..derivations import fuse, kick, lockout, output_short, slow_closing, source_faults
from ..units import show
from .hazard import GROUP, RATING, Case, Protection, say
from .procedure import Line, illustrative, illustrative_edges, worked

RATED, PULSE = 0.75, 0.2  # shares of a fuse's rating and of its melting value: common practice, no source
FUSES = (0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0, 50.0)
# A: steps of R 10 (ISO 3), in which miniature fuses come (IEC 60127), from memory
TRIP = 1.5  # where a series switch opens, over the current limit: common practice, no source
BEARS = 2.0  # times the current limit that the path is taken to bear where nothing is known of its parts: invented
TOLERANCE = 1.02  # of each level of the lockout: invented
LEAST_DRIVE = 1.8  # V at the gate, with less than which no ordinary power transistor is fully on: common practice, no source
ALMOST = 0.99  # of the most duty: beside it, to see whether the output still climbs
BISECTIONS = 6  # 1 part in 64 of the lowest source voltage: closer than any lockout
IDLE = 1.1  # of the highest source voltage, up to which a clamp carries nothing: common practice, no source
ROUNDING = 1e-9  # below a level that is just allowed
HALVINGS = 10  # of what lies between source and parts: 1 part in 1000, closer than any clamp
SURGE = 2.0  # of the output voltage: an example, to show what passes through; no standard's surge


def source_fuse(case: Case) -> Protection:
    """Large enough for the load, slow enough for the inrush, and able to end a short."""
    inrush, drawn = faults.inrush(case.empty), case.full.state.source_current.mean
    volts = show(case.top.source.voltage, "V")
    load = worked(GROUP, "The fuse carries the source current at full load and the lowest source voltage.", fuse.fuse_rating(),
                  i_source_full=drawn, share_rated=RATED)  # fmt: skip
    wear = worked(GROUP, "The square of that current at the battery's terminal, added up over coil and input capacitor, must not wear the "
                  "fuse out.", fuse.fuse_melting(), joule_inrush=inrush.joule_integral(), share_pulse=PULSE)  # fmt: skip
    short = worked(GROUP, f"With the output shorted, and {show(case.r_source, 'Ω')} of battery and leads (measure yours), this current "
                   "would flow: the fuse must melt long before the leads do.", output_short.short_end(), **case.loop)  # fmt: skip
    rated = next((size for size in FUSES if size >= load.value), None)
    unmet = "" if rated else (f"no miniature fuse of a standard size carries {show(load.value, 'A')}; the largest has "
                              f"{show(FUSES[-1], 'A')}. It takes another kind of fuse, chosen with the one who supplies the battery")
    return Protection(
        "Fuse at the source", f"{show(rated or load.value, 'A')}, slow",
        "shorted output, shorted switch, reversed source, worn lead; lets the inrush at switch-on pass",
        f"melting value at least {show(wear.value, 'A²·s')}; for direct current of at least {volts}; able to break what the battery gives "
        "into a short, which is in its data", (load, *_switched_on(case, inrush), wear, short),
        "Fit the fuse at the battery's terminal, before the first lead that could be shorted. Never bridge it, never take a larger one: it "
        f"protects the lead. {faults.CAUTIONS['inrush']}", unmet=unmet,
    )  # fmt: skip


def _switched_on(case: Case, inrush: faults.Fault) -> list[Line]:
    """What the exact circuit draws when it is plugged in, and what is counted in that."""
    coil = inrush.inductor_current.max
    curve = "the coil's own curve" if case.known.coil else "a coil that keeps its inductance (its saturation is **not known** here: a " \
            "real one lets more through)"  # fmt: skip
    lines = [say(f"Switched onto the empty output at {show(case.top.source.voltage, 'V')}, without load, with "
                 f"{show(case.marked, 'F')} at the output and {curve}, the exact circuit drives {show(coil, 'A')} through the coil at the "
                 f"most, and the output swings to {show(inrush.output_voltage.max, 'V')}.", coil, "A")]  # fmt: skip
    bears = case.known.i_rectifier
    if bears and coil > bears:
        lines.append(say(f"The rectifier bears {show(bears, 'A')}: without a slowly closing switch it needs a surge rating for this."))
    if not case.known.input:
        return [*lines, say("No input capacitor is counted: none is fitted here. One would add its own inrush.")]
    peak = inrush.extreme("i_source").max
    return [*lines, say(f"The input capacitor, {show(case.known.input[0], 'F')} as marked, fills first, through the leads: up to "
                        f"{show(peak, 'A')} at the battery's terminal. Inductance of the leads, not counted, lowers that peak; the square "
                        "added up stays, for the energy lost in the leads does.", peak, "A")]  # fmt: skip


def series_switch(case: Case) -> Protection:
    """Opens the path that the converter's own switch cannot, and closes so slowly that no inrush opens it again."""
    trip, filled = TRIP * case.i_limit, case.marked + (case.known.input or (0.0,))[0]
    fill = {"c_empty": filled, "v_in": case.spec.v_in.max}
    slow = worked(GROUP, f"It stands before the input capacitor and closes slowly: then all {show(filled, 'F')}, empty, draw no more than "
                  f"the current limit, well below the {show(trip, 'A')} at which it opens. The converter starts, and load comes, only "
                  "afterwards.", slow_closing.closing_time(), **fill, i_gate=case.i_limit)  # fmt: skip
    heat = worked(GROUP, "The switch itself turns this into heat each time, however slowly it closes.", slow_closing.closing_energy(),
                  **fill)  # fmt: skip
    opening, time, most, unmet = _opening(case, trip)
    held = worked(GROUP, "When it opens, the coil holds at most this energy; a diode from ground to the coil's source end must take its "
                  "current over, and what the input capacitor holds goes into the short as well.", kick.stored_energy(), **case.coil,
                  i_start=most)  # fmt: skip
    return Protection(
        "Series switch in the source lead", f"closes in {show(slow.value, 's')} or slower, opens at {show(trip, 'A')}",
        "shorted output; inrush at switch-on; switching the load really off",
        f"at least {show(RATING * case.spec.v_in.max, 'V')}; bears {show(heat.value, 'J')} within the time in which it closes"
        + (f"; has opened within {show(time, 's')} of coming to {show(trip, 'A')}" if time else ""),
        (slow, heat, *opening, held),
        "It does not replace the fuse: a switch can fail closed. Without that diode its opening makes hundreds of volts. "
        + faults.CAUTIONS["short"], unmet=unmet,
    )  # fmt: skip


def _opening(case: Case, trip: float) -> tuple[list[Line], float | None, float, str]:
    """How long a short grants it: lines; the time from the trip to what the path bears, s, where it comes to that; the most current that
    it may have to open; and what is not met."""
    short = faults.shorted(case.bent)
    seen, most = short.reaches("i_inductor", trip), short.inductor_current.max
    if seen is None:
        never = f"After a short the exact circuit never gets to {show(trip, 'A')}: it settles at {show(most, 'A')}."
        return [say(never, most, "A")], None, most, f"a short draws {show(most, 'A')} only, and does not open it; it must be told to open"
    least = worked(GROUP, "After a short a coil of constant inductance grants this time until it opens.", output_short.trip_time_least(),
                   **case.coil, **case.loop, i_trip=trip, i_start=short.pieces[0].state[0])  # fmt: skip
    bears = case.known.i_rectifier or BEARS * case.i_limit
    whose = "what the rectifier bears" if case.known.i_rectifier else f"{BEARS:g} times the limit (what the parts bear is **not known**)"
    curve = ", the coil's own curve counted," if case.known.coil else ""
    if bears <= trip:
        words = f"it opens at {show(trip, 'A')}, and the rectifier bears {show(bears, 'A')}: take a rectifier for more"
        return [least, say(f"The exact circuit{curve} takes {show(seen, 's')}.", seen, "s")], None, trip, words
    ends = short.reaches("i_inductor", bears)
    if ends is None:
        calm = f"The exact circuit{curve} takes {show(seen, 's')}; it never gets to {show(bears, 'A')}, {whose}."
        return [least, say(calm, seen, "s")], None, most, ""
    exact = say(f"The exact circuit{curve} takes {show(seen, 's')}. From there to {show(bears, 'A')}, {whose}, it takes "
                f"{show(ends - seen, 's')} more: by then sensing and gate must have opened the switch.", ends - seen, "s")  # fmt: skip
    return [least, exact], ends - seen, bears, ""


def reversal(case: Case) -> Protection:
    """A switch or a diode in the source lead, against a battery connected the wrong way round."""
    wrong = -faults.reversed_source(case.bent).inductor_current.min
    drawn = case.full.state.source_current.mean
    data = illustrative()
    lines = (
        say(f"Connected the wrong way round, the source drives {show(wrong, 'A')} through body diode and coil on the exact circuit; no "
            "gate is asked.", wrong, "A"),
        worked(GROUP, "A diode in the lead costs this.", source_faults.series_diode_loss(), v_series=data["diode"]["forward_voltage"],
               i_source_mean=drawn),
        worked(GROUP, "A switch in its place costs this.", source_faults.series_switch_loss(), r_series=data["second_switch"]["resistance"],
               i_source_mean=drawn),
        say("It cannot be the same transistor as the series switch: the body diode of this one points to the converter and carries on when "
            "the gate is off, that of the series switch must point to the battery. It takes two, back to back."),
    )  # fmt: skip
    return Protection(
        "Reversal protection", "a switch in the source lead, its body diode pointing to the converter; or a diode", "reversed source",
        f"at least {show(RATING * case.spec.v_in.max, 'V')} in reverse, {show(drawn, 'A')} for good; a second transistor beside the series "
        "switch", lines, faults.CAUTIONS["reversed"],
        "Keep your face away when a battery is connected for the first time: the wrong way round, it bursts capacitors and burns.",
    )  # fmt: skip


def undervoltage(case: Case) -> Protection:
    """A lockout that stops before the source, the duty, the current limit or the gate drive gives up.

    The gate drive that the parts table gives counts. An invented one counts while the source gives it; beyond that the source says what
    drive to look for, and no design falls short of an invented number."""
    hard, supply = case.full.state, illustrative()["regulator"]
    weak = {"r_source": case.r_source, "p_in": hard.input_power}
    charge, volts = case.known.gate or (illustrative_edges().gate_charge, illustrative_edges().drive_voltage)
    drive = worked(GROUP, "Fed from the source, controller and gate need this much; then the switch is fully on.",
                   lockout.least_source_for_drive(), v_drive=volts, r_supply=supply["supply_resistance"],
                   q_gate=charge, f_sw=case.spec.frequency, i_controller=supply["supply_current"])  # fmt: skip
    source = worked(GROUP, "The source itself gives the power down to here, if no losses grow.", lockout.least_source(), **weak)
    gap = worked(GROUP, "When the converter stops, the source recovers by this; the two levels lie farther apart.",
                 lockout.lockout_hysteresis(), r_source=case.r_source, i_source_mean=hard.source_current.mean)  # fmt: skip
    kept = _kept(case)
    exact = say(f"On the exact circuit, {show(case.r_source, 'Ω')} of battery and leads counted, a duty of at most "
                f"{show(case.most_duty)} " + (f"keeps the output at full load down to {show(kept, 'V')}." if kept else
                "does **not** keep the output at the lowest source voltage and full load."), kept, "V")  # fmt: skip
    needs = {"gate drive": drive.value, "source": source.value, "duty": kept or case.spec.v_in.min}
    allowed = _drive_allowed(case, gap.value, drive.value - volts)
    asked = [] if case.known.gate or volts <= allowed or allowed < LEAST_DRIVE else _other_drive(needs, volts, allowed)
    asked += _limited(case, needs, _drive_allowed(case, gap.value, 0.0))
    stop = TOLERANCE * max(needs.values())
    start = TOLERANCE * (stop + gap.value)
    setter = max(needs, key=needs.get)
    unmet = "" if kept else "a duty of at most " + show(case.most_duty) + " does not keep the output at the lowest source voltage"
    if start > case.spec.v_in.min:
        remedy = f". {_remedy(allowed)}" if setter == "gate drive" else ""
        unmet = (f"the lowest source voltage of the specification, {show(case.spec.v_in.min, 'V')}, lies below the level at which it "
                 f"starts, {show(start, 'V')}: it is the {setter} that must be changed{remedy}")  # fmt: skip
    look_for = f"; a switch that is fully on with {show(allowed, 'V')} at its gate" if asked else ""
    return Protection(
        "Under-voltage lockout", f"stops at {show(stop, 'V')}, starts at {show(start, 'V')}", "empty battery, half-driven gate",
        f"the {setter} sets it; measures at the terminals, holds the gate low below{look_for}", (drive, source, exact, gap, *asked),
        "Below its lowest voltage a battery that is drawn on harder and harder gets hot, and some cells are dangerous to charge after they "
        "have been emptied too far.", unmet=unmet,
    )  # fmt: skip


def _drive_allowed(case: Case, gap: float, lost: float) -> float:
    """The highest gate voltage, V, with which the lockout still starts at the lowest source voltage; `lost`: V on the way to the gate."""
    return (case.spec.v_in.min / TOLERANCE - gap) / TOLERANCE - lost


def _other_drive(needs: dict[str, float], volts: float, allowed: float) -> list[Line]:
    """The gate drive taken out of what sets the levels, and what to look for in its place."""
    del needs["gate drive"]
    return [say(f"Those {show(volts, 'V')} are **invented**, and more than this source gives. Take a switch that is fully on with "
                f"{show(allowed, 'V')} at its gate, name it with its drive voltage in a table of your own, and the lockout counts that.",
                allowed, "V")]  # fmt: skip


def _remedy(allowed: float) -> str:
    """What can be done where the source does not drive the gate."""
    if allowed < LEAST_DRIVE:
        return "No ordinary switch is fully on with what this source gives: feed the gate driver from another supply"
    return (f'Take a switch that is fully on with {show(allowed, "V")} at its gate (the table\'s column "drive voltage"), or feed the '
            "gate driver from another supply")  # fmt: skip


def _limited(case: Case, needs: dict[str, float], most: float) -> list[Line]:
    """The source voltage at which the coil comes to its limit at full load, put to `needs` where nothing else stops before it. `most`: V,
    with which the lockout still starts at the lowest source voltage; down from there the limit may act, as it is there to do."""
    stage, low, high = case.full.state.converter.change(r_source=case.r_source), max(needs.values()), case.spec.v_in.min
    if low >= high or _coil_peak(stage, low, case.spec.v_out) <= case.i_limit:
        return []
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        low, high = (low, middle) if _coil_peak(stage, middle, case.spec.v_out) <= case.i_limit else (middle, high)
    needs["current limit"] = max(min(high, (1 - ROUNDING) * most), *needs.values())
    return [say(f"Below {show(high, 'V')} the coil comes to its limit of {show(case.i_limit, 'A')} at full load, on the exact circuit: "
                "from there down the output sags, whatever the duty.", high, "V")]  # fmt: skip


def _coil_peak(stage: Converter, v_in: float, v_out: float) -> float:
    """A, with the output kept; without end where it cannot be."""
    there = stage.change(v_in=v_in)
    try:
        return switched.steady_state(there.change(duty=switched.duty_for(there, v_out))).inductor_current.max
    except ValueError:
        return float("inf")


def _kept(case: Case) -> float | None:
    """The lowest source voltage, V, to BISECTIONS halvings of what lies below that of the specification, at which the exact circuit
    keeps its output at full load; None where it does not keep it there either."""
    stage = case.full.state.converter.change(r_source=case.r_source)

    def keeps(v_in: float) -> bool:
        """The output climbs with the duty up to one peak: where the most duty lies on the way up, what it gives decides."""
        try:
            before, most = (_mean_output(stage, v_in, share * case.most_duty) for share in (ALMOST, 1.0))
        except ValueError:  # the output collapses there
            before, most = 1.0, 0.0
        if most >= case.spec.v_out or most > before:
            return most >= case.spec.v_out
        return faults.starving(stage, case.spec.v_out, [v_in], case.most_duty).least is not None

    low, high = 0.0, case.spec.v_in.min
    if not keeps(high):
        return None
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        low, high = (low, middle) if keeps(middle) else (middle, high)
    return high


def _mean_output(stage: Converter, v_in: float, duty: float) -> float:
    return switched.steady_state(stage.change(v_in=v_in, duty=duty)).output_voltage.mean


def surge(case: Case) -> Protection:
    """A clamp on the source; its size belongs to the installation."""
    height, idle = max(SURGE * case.spec.v_out, case.spec.v_in.max), IDLE * case.spec.v_in.max
    through = faults.load_dump(case.thin, height)
    passes = say(f"A surge to {show(height, 'V')}, {SURGE:g} times the output, would pass through the open converter: on the exact "
                 f"circuit the output swings to {show(through.output_voltage.max, 'V')} and the coil to "
                 f"{show(through.inductor_current.max, 'A')}.", through.output_voltage.max, "V")  # fmt: skip
    swing, rated = _swing_borne(case), (case.known.input or (0.0, 0.0, float("inf")))[2]
    holds = min(swing, rated)
    weakest = "the input capacitor bears no more" if rated < swing else (
        f"the output then swings to the {show(case.v_limit, 'V')} that its weakest part bears")
    held = say(f"So the source must be held below {show(holds, 'V')}: {weakest}. Up to {show(swing, 'V')} the swing of the output would "
               "stay within what parts there bear, on the exact circuit.", holds, "V")  # fmt: skip
    unmet = "" if holds > idle else (f"a clamp that carries nothing up to {show(idle, 'V')} cannot hold the source below "
                                     f"{show(holds, 'V')}: {weakest}. Parts for more voltage make room")
    return Protection(
        "Clamp at the source", f"carries nothing up to {show(idle, 'V')}, holds below {show(holds, 'V')}",
        "surge on the source (load dump)",
        "height and length of the surge come from the standard of the installation (on road vehicles ISO 16750-2); they are **not** in the "
        "specification and **not judged**, nor is the energy that the clamp must swallow", (passes, held),
        faults.CAUTIONS["load dump"], unmet=unmet,
    )  # fmt: skip


def _swing_borne(case: Case) -> float:
    """The highest level of the source, V, from which the output swings no farther than its parts bear."""
    low, high = case.spec.v_in.max, case.v_limit
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        borne = faults.load_dump(case.thin, middle).output_voltage.max <= case.v_limit
        low, high = (middle, high) if borne else (low, middle)
    return low

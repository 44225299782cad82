"""Protections of a design: sized for the fault that they are against, and held to the exact circuit."""

from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from boostkit.circuit import faults, switched
from boostkit.design import Spec, at_output, at_source, design, realise
from boostkit.design.at_output import slow_start
from boostkit.design.hazard import Known, case_of
from boostkit.design.procedure import ABOVE_PEAK
from boostkit.design.protection import protections
from boostkit.units import read

TIDE_GAUGE = Spec.from_file(files("boostkit") / "data" / "tide_gauge.toml")


@pytest.fixture(scope="module")
def gauge():
    """The tide gauge, designed."""
    return design(TIDE_GAUGE)


@pytest.fixture(scope="module")
def found(gauge):
    """Its protections, by name."""
    return {p.what: p for p in protections(gauge.spec, gauge.converter, gauge.corners)}


def value(line) -> float:
    """The number that a worked line ends in."""
    assert line.value is not None
    return line.value


def test_each_fault_has_its_protection_and_each_protection_its_caution(found):
    """Nothing stands on the sheet without a value, a reason, a size and a caution."""
    against = " ".join(p.against for p in found.values())
    for fault in ("shorted output", "reversed source", "empty battery", "load dump", "switch-on", "lost feedback", "lost load", "overload"):
        assert fault in against
    for p in found.values():
        assert p.value and p.look_for and len(p.caution) > 60 and p.lines
        assert p.part.what == p.what and p.part.look_for == p.look_for


def test_the_fuse_carries_the_load_and_bears_the_inrush(gauge, found):
    """Rated above full load at the lowest source voltage over 0.75; five inrushes of the exact circuit in its melting value."""
    fuse = found["Fuse at the source"]
    drawn = next(c for c in gauge.corners if (c.v_in, c.i_out) == (5.5, 0.6)).state.source_current.mean
    rated = read(fuse.value.split(",")[0], "A")
    assert drawn / 0.75 <= rated <= 1.3 * drawn / 0.75  # the next step of a tenth of a decade
    top = case_of(gauge.spec, gauge.converter, gauge.corners, None, None, None, None).top
    assert value(fuse.lines[3]) == pytest.approx(faults.inrush(top.change(i_out=0.0)).joule_integral() / 0.2, rel=1e-9)
    assert value(fuse.lines[4]) > 10 * rated  # a short melts it at once
    assert "saturation is **not known**" in fuse.lines[1].say and "none is fitted" in fuse.lines[2].say


def test_the_current_limit_lies_between_service_and_trip(gauge, found):
    """Above the peak in service, below where the series switch opens; a limit within service is refused."""
    peak = max(c.inductor_peak for c in gauge.corners)
    limit, trip = read(found["Current limit, cycle by cycle"].value, "A"), found["Series switch in the source lead"].value.split("at ")[1]
    assert peak < limit < read(trip, "A") and limit == pytest.approx(ABOVE_PEAK * peak, rel=5e-3)  # three digits
    with pytest.raises(ValueError, match="above the peak of the coil current in service"):
        protections(gauge.spec, gauge.converter, gauge.corners, i_limit=0.9 * peak)


def test_soft_start_keeps_the_coil_below_its_limit(gauge, found):
    """The exact circuit, its load raised by what filling takes, peaks below the limit at full load and the lowest source voltage."""
    case = case_of(gauge.spec, gauge.converter, gauge.corners, None, None, None, None)
    time = value(found["Soft start"].lines[0])
    filling = case.top.capacitor.capacitance * 18.0 / time
    loaded = case.full.state.converter.change(i_out=0.6 + filling)
    state = switched.steady_state(loaded.change(duty=switched.duty_for(loaded, 18.0)))
    assert state.inductor_current.max == pytest.approx(case.i_limit, rel=0.05)  # the duty grows a little with the losses
    slow = protections(gauge.spec, gauge.converter, gauge.corners, i_limit=1.01 * case.peak)
    assert read(next(p for p in slow if p.what == "Soft start").value.split(" or")[0], "s") > 2 * time


def test_a_limit_below_what_a_loaded_start_needs_is_said():
    """Where the load alone takes all that the limit allows, no soft start helps, and the sheet says so."""
    gauge = design(TIDE_GAUGE)
    case = case_of(gauge.spec, gauge.converter, gauge.corners, None, None, None, None)
    tight = replace(case, i_limit=1.0)
    assert "**not**" in slow_start(tight).lines[0].say


def test_the_cut_off_ends_a_runaway_in_time(gauge, found):
    """The exact output stays below what the parts bear, and above what a load step may do."""
    cut = found["Over-voltage cut-off"]
    level, top = read(cut.value, "V"), value(cut.lines[1])
    assert 18.0 + 0.6 < level < top < 1.5 * 18.0
    weak = next(p for p in protections(gauge.spec, gauge.converter, gauge.corners, v_limit=21.0) if p.what == cut.what)
    assert not weak.met and "the weakest bears 21 V" in weak.unmet and cut.met


def test_the_lockout_lies_below_the_lowest_source_and_above_all_needs(gauge, found):
    """Stops above what gate, source and duty need, starts above that by the source's recovery, below the lowest source voltage."""
    lockout = found["Under-voltage lockout"]
    stop, start = (read(words.split("at ")[1], "V") for words in lockout.value.split(","))
    needs = [value(line) for line in lockout.lines[:3]]
    assert max(needs) < stop < start < 5.5
    assert start - stop > value(lockout.lines[3])
    kept = needs[2]
    stage = gauge.converter.change(r_source=0.05, i_out=0.6)
    assert faults.starving(stage, 18.0, [kept, 0.95 * kept], 0.9).least == pytest.approx(kept)
    tired = protections(gauge.spec, gauge.converter, gauge.corners, most_duty=0.6)
    weak = next(p for p in tired if p.what == lockout.what)
    assert lockout.met and not weak.met and "duty" in weak.unmet


def test_more_than_touch_voltage_gets_a_discharge_resistor(found):
    """Above 60 V the output must empty; below, no such part is asked for."""
    assert "Discharge resistor at the output" not in found
    high = Spec.from_dict({"title": "high", "source": {"voltage": 12}, "load": {"voltage": 80, "current": {"min": 0.01, "usual": 0.05,
                           "max": 0.1}}, "choices": {"capacitance": 100e-6}})  # fmt: skip
    made = design(high)
    drain = next(p for p in protections(high, made.converter, made.corners) if p.what == "Discharge resistor at the output")
    assert 3.5 < value(drain.lines[0]) <= 5.0 and "measure" in drain.caution  # the next lower step of E12


def test_a_second_switch_as_rectifier_is_its_body_diode():
    """Undriven, the second switch drops its body diode's voltage; all protections are sized all the same."""
    spec = replace(TIDE_GAUGE, rectifier="switch")
    made = design(spec)
    case = case_of(spec, made.converter, made.corners, None, None, None, None)
    assert case.loop["v_rectifier"] == made.converter.rectifier.body_diode_voltage
    assert len(protections(spec, made.converter, made.corners)) == 9


@pytest.mark.parametrize("r_source, most_duty", [(0.05, 0.9), (0.05, 0.95), (0.3, 0.95), (0.3, 0.75), (0.05, 0.6), (1.5, 0.75)])
def test_the_lowest_source_voltage_is_where_the_exact_circuit_gives_up(gauge, r_source, most_duty):
    """Of 64 equal steps up to the lowest source voltage, the first at which a search over all duties keeps the output; or none. Where
    the peak of the gain lies within the duty allowed, and where it does not."""
    case = replace(case_of(gauge.spec, gauge.converter, gauge.corners, None, None, most_duty, None), r_source=r_source)
    stage, found = case.full.state.converter.change(r_source=r_source), at_source._kept(case)
    step = gauge.spec.v_in.min / 64
    keeps = [faults.starving(stage, 18.0, [v], most_duty).least is not None for v in ((found or 5.5), (found or 5.5) - step)]
    assert keeps == [found is not None, False]


# --- with real parts ---

CURVE = (60e-6, ((2.0, 0.8), (4.0, 0.5), (6.0, 0.3)))
REAL = Known(marked=270e-6, left=90e-6, input=(33e-6, 3e-3, 10.0), coil=CURVE, i_saturation=4.1, i_rectifier=6.0)


@pytest.fixture(scope="module")
def known(gauge):
    """The same with what real parts tell, by name; and what they are sized for."""
    made = protections(gauge.spec, gauge.converter, gauge.corners, v_limit=25.0, known=REAL)
    return {p.what: p for p in made}, case_of(gauge.spec, gauge.converter, gauge.corners, None, 25.0, None, None, REAL)


def share_at(current: float) -> float:
    """What is left of the inductance at a current, by the curve."""
    return next((share for knee, share in reversed(CURVE[1]) if abs(current) >= knee), 1.0)


def switched_on(case, source, span: float):
    """Kirchhoff's laws for leads, input capacitor, saturating coil, rectifier and output capacitor, all empty at first, by scipy; the
    square of the source's current besides. `source`: its voltage over time."""
    p, (c_in, r_in, _), lead = case.top.letters(), case.known.input, case.r_source
    r_coil, r_c = p["r_inductor"] + p["r_rectifier"], p["r_capacitor"]

    def drawn(t, x):
        return (source(t) - x[2] + r_in * x[0]) / (lead + r_in)

    def rate(t, x):
        i_source = drawn(t, x)
        push = x[2] + r_in * (i_source - x[0]) - p["v_rectifier"] - (r_coil + r_c) * x[0] - x[1]
        flows = x[0] > 0 or push > 0
        return [push / (CURVE[0] * share_at(x[0])) if flows else 0.0, max(x[0], 0.0) / case.known.marked, (i_source - x[0]) / c_in,
                i_source**2]  # fmt: skip

    run = solve_ivp(rate, (0, span), [0.0] * 4, method="LSODA", rtol=1e-8, atol=1e-10, max_step=2e-7)
    return run, np.array([drawn(t, x) for t, x in zip(run.t, run.y.T, strict=True)])


def test_the_inrush_is_that_of_empty_capacitors_and_a_saturating_coil(known):
    """Capacitors as marked, the coil's curve and the input capacitor, measured at the battery: against scipy."""
    fuse, case = known[0]["Fuse at the source"], known[1]
    run, drawn = switched_on(case, lambda t: 7.2, 1e-3)
    assert value(fuse.lines[1]) == pytest.approx(run.y[0].max(), rel=1e-4)  # the steps at the knees of the curve
    assert value(fuse.lines[3]) == pytest.approx(drawn.max(), rel=1e-9)
    over = np.argmax(run.y[0]) + np.argmax(run.y[0][np.argmax(run.y[0]):] <= 0)  # where the swing ends
    assert value(fuse.lines[4]) == pytest.approx(run.y[3][over] / 0.2, rel=2e-3)  # the input capacitor's last swing besides
    assert "The rectifier bears 6 A" in fuse.lines[2].say


def test_the_inductance_of_leads_does_not_change_what_heats_the_fuse():
    """What the sheet says of the input capacitor: the square added up is C V²/(2 R), with inductance or without."""
    capacitance, lead = 33e-6, 0.053
    for inductance in (20e-9, 1e-6):
        def rate(t, x, inductance=inductance):
            return [(7.2 - lead * x[0] - x[1]) / inductance, x[0] / capacitance, x[0] ** 2]

        run = solve_ivp(rate, (0, 2e-3), [0.0] * 3, rtol=1e-9, atol=1e-12)
        assert run.y[2, -1] == pytest.approx(capacitance * 7.2**2 / 2 / lead, rel=1e-5)


def test_a_slowly_closing_switch_keeps_the_inrush_below_its_trip_and_takes_the_heat(known):
    """Closing evenly in the time told, by scipy with everything that saturates and swings: the current, and the heat in the switch."""
    series, case = known[0]["Series switch in the source lead"], known[1]
    time, heat = value(series.lines[0]), value(series.lines[1])
    run, drawn = switched_on(case, lambda t: min(t / time, 1.0) * 7.2, 2 * time)
    trip = read(series.value.split("at ")[1], "A")
    assert run.y[0].max() <= case.i_limit < trip and drawn.max() < trip
    gap = 7.2 - np.minimum(run.t / time, 1.0) * 7.2
    assert 0.75 * heat < np.trapezoid(gap * drawn, run.t) <= heat  # the rectifier's drop is not charged
    assert faults.inrush(case.empty).inductor_current.max > 3 * trip  # which a switch that closes at once would see


def test_the_series_switch_opens_before_the_rectifier_has_too_much(known):
    """What the sheet grants after the trip, along the coil's own curve, by scipy; more is asked of a weak rectifier."""
    series, case = known[0]["Series switch in the source lead"], known[1]
    p, trip = case.top.letters(), 1.5 * case.i_limit
    r = case.r_source + p["r_inductor"] + p["r_rectifier"]

    def rate(t, x):
        return [(7.2 - p["v_rectifier"] - r * x[0] - 1e-3 * x[0]) / (CURVE[0] * share_at(x[0]))]

    def arrived(t, x):
        return x[0] - 6.0

    arrived.terminal = True
    run = solve_ivp(rate, (0, 1e-3), [trip], events=arrived, rtol=1e-9, max_step=1e-7)
    assert value(series.lines[3]) == pytest.approx(run.t_events[0][0], rel=2e-2)  # what the capacitor holds back yet
    assert series.met and "6 A" in series.lines[3].say
    weak = replace(case, known=replace(REAL, i_rectifier=trip - 0.1))
    assert "take a rectifier for more" in at_source.series_switch(weak).unmet


def test_the_clamp_at_the_source_holds_for_the_weakest(known):
    """The 10 V of the input capacitor here; without it, the level from which the output swings to what its parts bear."""
    clamp, case = known[0]["Clamp at the source"], known[1]
    assert clamp.value.endswith("holds below 10 V") and clamp.met
    free = replace(case, known=replace(REAL, input=None))
    level = value(at_source.surge(free).lines[1])
    assert level < 25.0
    for factor, most in ((1.0, True), (1.01, False)):
        assert (faults.load_dump(case.thin, factor * level).output_voltage.max <= 25.0) == most
    tight = replace(case, known=replace(REAL, input=(33e-6, 3e-3, 7.5)))
    assert "Parts for more voltage" in at_source.surge(tight).unmet


def test_a_coil_that_saturates_before_the_limit_is_not_met(known):
    """The current limit must lie below where the coil saturates."""
    assert at_output.current_limit(known[1]).met
    assert "saturates at 2 A" in at_output.current_limit(replace(known[1], known=replace(REAL, i_saturation=2.0))).unmet


def test_what_cannot_protect_says_so_and_is_told_apart():
    """3.3 V to 5 V with parts for 6.3 V: cut-off and clamp cannot work; a 100 A converter has no standard fuse."""
    spec = Spec.from_dict({"title": "low", "source": {"voltage": 3.3}, "load": {"voltage": 5, "current": {"min": 0.1, "usual": 0.3,
                           "max": 0.5}}})  # fmt: skip
    made = design(spec)
    found = {p.what: p for p in protections(spec, made.converter, made.corners, v_limit=5.7)}
    assert "the weakest bears 5.7 V" in found["Over-voltage cut-off"].unmet
    assert "below the cut-off" in found["Clamp at the output"].unmet
    assert "weakest part at the output bears 5.7 V" in found["Clamp at the output"].unmet
    needed = read(found["Clamp at the output"].unmet.split("more than ")[1].split(" make")[0], "V")
    roomy = {p.what: p for p in protections(spec, made.converter, made.corners, v_limit=1.01 * needed)}
    assert roomy["Clamp at the output"].met and roomy["Over-voltage cut-off"].met
    shown = found["Over-voltage cut-off"].told
    assert any("**Not met**" in line.say for line in shown) and shown[-1].say.startswith("Caution: ")
    assert {line.group for line in shown} == {"Switch-on and faults: over-voltage cut-off"}
    assert found["Over-voltage cut-off"].to_dict()["met"] is False
    big = case_of(spec, made.converter, made.corners, None, None, None, None)
    state = big.full.state
    heavy = replace(big, full=replace(big.full, state=replace(state, source_current=replace(state.source_current, mean=60.0))))
    assert "no miniature fuse" in at_source.source_fuse(heavy).unmet


def test_a_large_converter_has_leads_that_let_it_work():
    """12 V to 24 V at 30 A: leads of 50 mΩ would take all; a twentieth of the lowest source voltage is taken, and no standard fuse fits."""
    spec = Spec.from_dict({"title": "big", "source": {"voltage": {"min": 10, "usual": 12, "max": 14}}, "load": {"voltage": 24, "current": {
                           "min": 1, "usual": 20, "max": 30}}})  # fmt: skip
    made = design(spec)
    found = {p.what: p for p in protections(spec, made.converter, made.corners)}
    case = case_of(spec, made.converter, made.corners, None, None, None, None)
    assert case.r_source == pytest.approx(0.05 * 10 / case.full.state.source_current.mean) and case.r_source < 0.01
    assert "no miniature fuse" in found["Fuse at the source"].unmet and found["Under-voltage lockout"].met


def test_words_that_were_wrong(found):
    """Two transistors; the limit acts after the least on-time; the soft start is not against the inrush."""
    assert any("two, back to back" in line.say for line in found["Reversal protection"].lines)
    assert "acts once the least on-time has passed" in found["Current limit, cycle by cycle"].look_for
    assert "nothing against the inrush" in found["Soft start"].against and "just comes to its limit" in found["Soft start"].lines[0].say


@pytest.mark.parametrize(("name", "limits"), [("most_duty", {"most_duty": 2.0}), ("most_duty", {"most_duty": -1.0}),
                                              ("v_limit", {"v_limit": 17.0}), ("i_limit", {"i_limit": float("nan")}),
                                              ("r_source", {"r_source": -1.0}), ("r_source", {"r_source": 1.5})])  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(gauge, name, limits):
    """Name, value and rule."""
    with pytest.raises(ValueError, match=rf"^{name} = [^\n]*$"):
        protections(gauge.spec, gauge.converter, gauge.corners, **limits)


def test_corners_without_full_load_are_refused(gauge):
    """An empty list holds no corner to size for."""
    with pytest.raises(ValueError, match=r"^corners = [^\n]*full load$"):
        protections(gauge.spec, gauge.converter, [])


def test_a_tiny_coil_and_a_high_output_have_protections_too():
    """Where series resistance carries the output past the cut-off at once."""
    tiny = Spec.from_dict({"title": "tiny", "source": {"voltage": {"min": 5.5, "usual": 6.0, "max": 7.2}}, "load": {"voltage": 18.0,
                           "current": {"min": 0.02, "usual": 0.35, "max": 0.6}}, "choices": {"inductance": 1e-7}})  # fmt: skip
    made = design(tiny)
    cut = next(p for p in protections(tiny, made.converter, made.corners) if p.what == "Over-voltage cut-off")
    assert value(cut.lines[1]) > 20.7


def test_the_output_capacitor_leaves_room_for_a_clamp_above_the_cut_off():
    """Five volts out: a piece rated 6.3 V bears the output and its step, and not 1.1 times the cut-off at 1.15 times both."""
    asked = {"title": "five", "source": {"voltage": {"min": 3.0, "usual": 3.3, "max": 4.2}},
             "load": {"voltage": 5, "current": 0.5, "step": {"from": 0.1, "to": 0.5}},
             "limits": {"ripple": 0.05, "step_deviation": 0.25}}  # fmt: skip
    spec = Spec.from_dict(asked)
    assert at_output.room_for(spec) == pytest.approx(1.1 * 1.15 * 5.25)
    drawn = design(spec)
    point = next(c for c in drawn.corners if (c.v_in, c.i_out) == (3.0, 0.5))
    assert point.state.output_voltage.max < 6.3 < at_output.room_for(spec)
    made = realise(drawn)
    assert made.banks["output"].voltage_limit > at_output.room_for(spec) and not any(guard.unmet for guard in made.protections)

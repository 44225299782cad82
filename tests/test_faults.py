"""Switch-on and faults: formulas against the exact circuit, the exact circuit against an independent integration."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from boostkit.circuit import Converter, faults, switched
from boostkit.derivations import (
    fuse,
    inrush,
    inrush_heat,
    load_step,
    lockout,
    output_short,
    runaway,
    second_order,
    soft_start,
    source_faults,
)

V_IN, L, C, R_L, R_D, V_F = 7.2, 47e-6, 100e-6, 0.04, 0.02, 0.4
BASE = {"v_in": V_IN, "duty": 0.6, "f_sw": 150e3, "inductance": L, "capacitance": C, "i_out": 0.6, "r_inductor": R_L, "r_switch": 0.02,
        "v_rectifier": V_F, "r_rectifier": R_D, "r_capacitor": 0.01}  # fmt: skip
STAGE = Converter.of(**BASE)
BARE = STAGE.change(i_out=0.0, r_capacitor=None)  # coil, resistance, rectifier, capacitor: what the inrush formulas assume
R_LOOP = R_L + R_D


def damping(converter=BARE):
    """Damping of coil, output capacitor and the resistance between."""
    p = converter.letters()
    return (p["r_inductor"] + p["r_rectifier"]) / 2 * math.sqrt(p["capacitance"] / p["inductance"])


def integrated(rate, x, end, event=None):
    """Kirchhoff's laws by an independent integrator; up to `event` where one is given."""
    if event is not None:
        event.terminal, event.direction = True, -1
    return solve_ivp(rate, (0, end), x, method="DOP853", rtol=1e-11, atol=1e-12, events=event, dense_output=True)


def inrush_rate(_, x):
    """Source, coil, rectifier and output capacitor with a constant load current (a resistance below its knee of 1 V)."""
    i, v = x
    slope_load = 0.6
    load = None
    # v_out = v + r_c (i - load); load = 0.6 above the knee, 0.6 v_out below it
    v_out = v + 0.01 * (i - slope_load)
    load = slope_load
    if v_out < 1.0:
        v_out = (v + 0.01 * i) / (1 + 0.01 * slope_load)
        load = slope_load * v_out
    return [(V_IN - V_F - (R_L + R_D) * i - v_out) / L, (i - load) / C]


@pytest.mark.parametrize(("zeta", "peak"), [(0.1, 1.729), (0.2, 1.527), (0.5, 1.163), (0.7071, 1.043)])
def test_the_swing_of_a_switched_on_capacitor(zeta, peak):
    """The highest voltage over the source's, 1 + exp(-pi z/sqrt(1 - z^2)): textbook step response, values from memory."""
    r_loop = 2 * zeta * math.sqrt(L / C)
    stage = Converter.of(v_in=6.0, duty=0.0, f_sw=1e5, inductance=L, capacitance=C, i_out=0.0, r_inductor=r_loop)
    assert inrush_heat.inrush_full().formula(v_push=1.0, damping_lc=zeta) == pytest.approx(peak, abs=6e-4)  # the table has 3 decimals
    full = faults.inrush(stage).output_voltage.max
    assert full / 6.0 == pytest.approx(second_order.damped_peak().formula(damping_lc=zeta), rel=1e-9)


def test_a_lossless_switch_on_doubles_the_source():
    """Without resistance the output swings to twice the source and stays there (textbook, from memory)."""
    stage = Converter.of(v_in=6.0, duty=0.0, f_sw=1e5, inductance=L, capacitance=C, i_out=0.0)
    fault = faults.inrush(stage)
    assert fault.output_voltage.max == pytest.approx(12.0, rel=1e-12)
    assert fault.waveforms(200).v_out[-1] == pytest.approx(12.0, rel=1e-12)
    assert fault.inductor_current.max == pytest.approx(inrush.inrush_peak().formula(v_in=6, v_rectifier=0, capacitance=C, inductance=L))
    heat = inrush_heat.inrush_joule().formula(v_push=6.0, capacitance=C, inductance=L)
    assert fault.joule_integral() == pytest.approx(heat, rel=1e-12)


def test_inrush_with_losses_follows_its_formulas():
    """Peak, duration, end and heat of the inrush of coil, resistance and rectifier, as on the exact circuit."""
    fault, z, push = faults.inrush(BARE), damping(), V_IN - V_F
    part = {"v_push": push, "damping_lc": z}
    assert fault.inductor_current.max == pytest.approx(inrush_heat.inrush_peak_damped().formula(**part, capacitance=C, inductance=L))
    assert fault.output_voltage.max == pytest.approx(inrush_heat.inrush_full().formula(**part))
    left = math.exp(-math.pi * z / math.sqrt(1 - z * z))
    heat = inrush_heat.inrush_joule_damped().formula(v_push=push, capacitance=C, fading_fill=left, r_loop=R_LOOP)
    assert fault.joule_integral() == pytest.approx(heat)
    omega = math.sqrt(1 / (L * C) - (R_LOOP / 2 / L) ** 2)
    assert fault.pieces[0].duration == pytest.approx(inrush_heat.inrush_time().formula(omega_lifted=omega))
    at = 1e-4
    now = inrush.inrush_current().formula(v_push=push, omega_lifted=omega, rate_lifted=R_LOOP / 2 / L, inductance=L, t=at)
    assert fault.pieces[0].mode.flow.advance((0.0, 0.0), at)[0] == pytest.approx(now)


def test_inrush_with_load_against_an_integrator():
    """The exact course against solve_ivp on Kirchhoff's laws: peak, when it ends, heat."""
    fault = faults.inrush(STAGE)
    run = integrated(inrush_rate, [0.0, 0.0], 1e-3, lambda t, x: x[0] + (t < 1e-6))
    assert fault.reaches("i_inductor", 5.0) == pytest.approx(_first(run, 0, 5.0), rel=1e-7)
    stop = next(p.start + p.duration for p in fault.pieces if p.ended_by is not None and p.mode.flow.advance(p.state, p.duration)[0] < 1e-9)
    assert stop == pytest.approx(run.t_events[0][0], rel=1e-7)
    heat = quad(lambda t: run.sol(t)[0] ** 2, 0, run.t[-1], limit=500, epsabs=1e-12)[0]
    assert fault.joule_integral("i_source", stop) == pytest.approx(heat, rel=1e-6)  # quad's own


def _first(run, which, value):
    """When a state of an integration first comes to a value, by its dense output."""
    from scipy.optimize import brentq

    times = np.linspace(0, run.t[-1], 20001)
    above = np.flatnonzero(run.sol(times)[which] >= value)[0]
    return brentq(lambda t: run.sol(t)[which] - value, times[above - 1], times[above], xtol=1e-16)


@pytest.mark.parametrize("duty", [0.02, 0.2, 0.5, 0.8])
def test_no_duty_prevents_the_inrush(duty):
    """At any duty the first peak of the coil current lies at or above that of a switch that never closes."""
    idle = faults.inrush(STAGE).inductor_current.max
    assert switched.from_rest(STAGE.change(duty=duty), 60).inductor_current.max >= idle
    more = inrush.switching_adds().formula(duty=duty, v_out=5.0, v_rectifier=V_F, inductance=L)
    assert more == pytest.approx(duty * 5.4 / L)


def test_a_switch_that_never_closes_leaves_the_output_at_the_source():
    """The converter cannot switch its load off: the floor is the source less what rectifier and resistance take."""
    floor = inrush.output_floor().formula(v_in=V_IN, v_rectifier=V_F, r_loop=R_LOOP, i_out=0.6)
    assert switched.steady_state(STAGE.change(duty=0.0)).output_voltage.mean == pytest.approx(floor)
    assert faults.inrush(STAGE, 0.05).waveforms(50).v_out[-1] == pytest.approx(floor, rel=1e-6)  # what is left of the swing


def test_short_follows_its_exponential():
    """A dead short without series resistance of the capacitor: current, time to trip, heat by formula; the course, by solve_ivp."""
    fault = faults.shorted(STAGE, 1e-9)  # the smallest resistance that a load may have
    begin = fault.pieces[0].state[0]
    end = output_short.short_end().formula(v_in=V_IN, v_rectifier=V_F, r_loop=R_LOOP)
    tau, close = L / R_LOOP, 1e-3  # while the output capacitor empties it holds the current back a little
    course = output_short.short_current().formula(i_prospective=end, i_start=begin, t=fault.duration, time_coil=tau)
    assert fault.inductor_current.max == pytest.approx(course, rel=close)
    time = output_short.trip_time().formula(time_coil=tau, i_prospective=end, i_start=begin, i_trip=20.0)
    assert fault.reaches("i_inductor", 20.0) == pytest.approx(time, rel=0.01)  # likewise
    least = output_short.trip_time_least().formula(inductance=L, i_trip=20.0, i_start=begin, v_in=V_IN, v_rectifier=V_F, r_loop=R_LOOP)
    assert least < fault.reaches("i_inductor", 20.0)
    heat = output_short.short_joule().formula(i_prospective=end, t_trip=fault.duration, i_start=begin, time_coil=tau)
    assert fault.joule_integral() == pytest.approx(heat, rel=close)


def test_short_against_an_integrator():
    """Coil, rectifier, and the output capacitor with its series resistance emptying into the short, against solve_ivp."""
    fault = faults.shorted(STAGE, 5e-3)
    g, r_c = 1 / 5e-3, 0.01

    def rate(_, x):
        v_out = (x[1] + r_c * x[0]) / (1 + r_c * g)
        return [(V_IN - V_F - R_LOOP * x[0] - v_out) / L, (x[0] - g * v_out) / C]

    run = integrated(rate, list(fault.pieces[0].state), 1e-3)
    now = faults.shorted(STAGE, 5e-3, duration=1e-3).pieces[-1].end_state
    assert now == pytest.approx(run.y[:, -1], rel=1e-9)
    dump = output_short.capacitor_dump().formula(v_out=fault.pieces[0].state[1], r_capacitor=r_c, r_short=5e-3)
    current = -fault.extreme("i_capacitor").min
    assert current == pytest.approx(dump - fault.pieces[0].state[0] * 5e-3 / (r_c + 5e-3), rel=1e-9)  # the coil's current shares the short


def test_the_switch_cannot_end_a_short():
    """Stopped or driven on, the coil current passes any limit; driven on, it is there no later."""
    stopped, driven = faults.shorted(STAGE), faults.shorted(STAGE, stopped=False, duration=5e-4)
    assert stopped.pieces[0].state[0] == pytest.approx(switched.steady_state(STAGE).inductor_current.max)  # where the switch opens
    assert stopped.inductor_current.max > 50
    assert driven.reaches("i_inductor", 20.0) < 0.97 * stopped.reaches("i_inductor", 20.0)
    assert {p.mode.kind.switch for p in stopped.pieces} == {"open"}


def test_runaway_is_no_faster_than_its_formula():
    """Without feedback and load the output takes at least the time that the power limit gives; without loss it nears it."""
    ideal = Converter.of(v_in=6, duty=0.6, f_sw=1e6, inductance=L, capacitance=C, i_out=0.5)  # small ripple, soon at its limit
    part = {"capacitance": C, "v_after": 20.0, "v_before": switched.steady_state(ideal).output_voltage.mean, "v_in": 6, "i_limit": 6.0}
    for stage, most in ((STAGE, 3.0), (ideal, 1.2)):
        v_in = stage.source.voltage
        before = switched.steady_state(stage).output_voltage.max
        least = runaway.runaway_time().formula(**part | {"v_in": v_in, "v_before": before, "v_after": before + 8})
        took = faults.unregulated(stage, 2000, i_limit=6.0, loaded=False).reaches("v_out", before + 8)
        assert least < took < most * least


def test_runaway_without_load_is_the_unloaded_climb():
    """At a fixed duty it is the transient of `switched` after the load has gone."""
    fault = faults.unregulated(STAGE, 300, duty=0.6, loaded=False)
    other = switched.after_step(STAGE, STAGE.change(i_out=0.0), 300)
    assert fault.output_voltage.max == pytest.approx(other.output_voltage.max, rel=1e-12)
    assert fault.pieces[-1].end_state == pytest.approx(other.state, rel=1e-9)


def test_runaway_ends_where_the_load_takes_all():
    """Into a resistor the climb ends below sqrt(V I R), and not far below with small ripple and little loss."""
    stage = Converter.of(v_in=6, duty=0.5, f_sw=300e3, inductance=470e-6, capacitance=10e-6, r_load=60.0)
    end = runaway.runaway_end().formula(v_in=6, i_limit=3.0, r_load=60.0)
    reached = faults.unregulated(stage, 4000, i_limit=3.0).waveforms(10).v_out[-1]
    assert 0.95 * end < reached < end


def test_a_cut_off_leaves_the_coils_energy():
    """After the cut-off the lossless output swings to V_in + sqrt((V - V_in)^2 + L I^2/C), and no farther."""
    stage = Converter.of(v_in=6, duty=0.5, f_sw=150e3, inductance=L, capacitance=20e-6, i_out=0.5)
    fault = faults.unregulated(stage, 400, i_limit=5.0, loaded=False, cut_off=16.0)
    last = next(p for p in fault.pieces if p.start == pytest.approx(fault.reaches("v_out", 16.0), rel=1e-12))
    full = load_step.coil_surplus().formula(v_in=6.0, v_out=last.state[1], inductance=L, i_start=last.state[0], capacitance=20e-6)
    assert fault.output_voltage.max == pytest.approx(full, rel=1e-9)
    assert last.state[1] == pytest.approx(16.0, rel=1e-12) and last.mode.kind.switch == "open"
    for one, after in pairwise(fault.pieces):
        assert after.start == pytest.approx(one.start + one.duration) and after.state == pytest.approx(one.end_state, abs=1e-9)
    assert faults.unregulated(stage, 400, i_limit=5.0, loaded=False).output_voltage.max > 2 * full


def test_a_cut_off_that_reacts_late():
    """While it reacts the output climbs no more than the formula says, on a stage without ripple to speak of."""
    margin = runaway.react_margin().formula(v_in=6, i_limit=5.0, t_react=2e-4, capacitance=C, v_before=20.0)
    stage = Converter.of(v_in=6, duty=0.6, f_sw=300e3, inductance=470e-6, capacitance=C, i_out=0.5)
    run = faults.unregulated(stage, 2000, i_limit=5.0, loaded=False)
    begin = run.reaches("v_out", 20.0)
    wave = run.waveforms(60000)
    climbed = np.interp(begin + 2e-4, wave.time, wave.v_out) - 20.0
    assert 0.8 * margin < climbed < margin


def test_load_lost_by_energy():
    """Without loss the output ends where coil and source together put it."""
    lost = faults.load_lost(Converter.of(v_in=6, duty=0.5, f_sw=150e3, inductance=L, capacitance=20e-6, i_out=0.5))
    i, v = lost.pieces[0].state
    full = load_step.coil_surplus().formula(v_in=6.0, v_out=v, inductance=L, i_start=i, capacitance=20e-6)
    assert lost.output_voltage.max == pytest.approx(full, rel=1e-12)


def test_load_dump_against_an_integrator():
    """A surge through coil and rectifier, against solve_ivp until the rectifier stops; the formula without loss and load errs high."""
    dump = faults.load_dump(STAGE, 40.0)
    i, v = dump.pieces[0].state
    run = integrated(lambda _, x: [(40.0 - V_F - R_LOOP * x[0] - x[1] - 0.01 * (x[0] - 0.6)) / L, (x[0] - 0.6) / C], [i, v], 1e-3,
                     lambda _, x: x[0])  # fmt: skip
    assert dump.pieces[0].duration == pytest.approx(run.t_events[0][0], rel=1e-9)
    assert dump.pieces[0].end_state == pytest.approx(run.y_events[0][0], rel=1e-9, abs=1e-9)
    assert dump.inductor_current.max == pytest.approx(run.sol(np.linspace(0, run.t[-1], 100001))[0].max(), rel=1e-8)
    full = source_faults.surge_through().formula(v_surge=40.0, v_rectifier=V_F, v_out=v, inductance=L, i_start=i, capacitance=C)
    assert 0.9 * full < dump.output_voltage.max < full


def test_reversed_source_follows_its_exponential():
    """Body diode and coil: the course by formula and by solve_ivp, negative in the coil; the output is left alone."""
    stage = STAGE.change(r_source=0.03)
    fault = faults.reversed_source(stage, v_charged=18.0)
    loop = R_L + 0.03
    end = source_faults.reversed_end().formula(v_in=V_IN, v_body=0.8, r_loop=loop)
    last = source_faults.reversed_current().formula(i_reverse_end=end, r_loop=loop, t=fault.duration, inductance=L)
    assert -fault.inductor_current.min == pytest.approx(last, rel=1e-12)
    run = integrated(lambda t, x: [(V_IN - 0.8 - loop * x[0]) / L], [0.0], fault.duration)
    assert last == pytest.approx(run.y[0, -1], rel=1e-9)
    assert fault.output_voltage.max <= 18.0 and fault.joule_integral() > 0
    with pytest.raises(ValueError, match="does not open the body diode"):
        faults.reversed_source(STAGE.change(v_in=0.7, duty=0.0))


def test_a_saturating_coil_lets_more_through():
    """With a coil that saturates the inrush is higher and the trip current is there sooner."""
    bent = STAGE.change(saturation=[[3.0, 0.5], [5.0, 0.2]])
    assert faults.inrush(bent).inductor_current.max > 1.2 * faults.inrush(STAGE).inductor_current.max
    assert faults.shorted(bent).reaches("i_inductor", 20.0) < faults.shorted(STAGE).reaches("i_inductor", 20.0)
    assert faults.reversed_source(bent).reaches("i_inductor", -20.0) < faults.reversed_source(STAGE).reaches("i_inductor", -20.0)


def test_soft_start_current_on_the_exact_circuit():
    """A capacitor that is being filled takes its current as a load would: the mean coil current is that of the formula."""
    duty = 0.65
    filling = soft_start.filling_current().formula(capacitance=C, v_out=18.0, t_soft=5e-3)
    exact = switched.steady_state(STAGE.change(duty=duty, i_out=0.6 + filling)).inductor_current.mean
    said = soft_start.soft_start_current().formula(i_out=0.6, capacitance=C, v_out=18.0, t_soft=5e-3, duty_off=1 - duty)
    assert said == pytest.approx(exact, rel=5e-3)  # bent slopes
    back = soft_start.soft_start_time().formula(capacitance=C, v_out=18.0, duty_off=1 - duty, i_allowed=said, i_out=0.6)
    assert back == pytest.approx(5e-3)
    assert soft_start.climb_energy().formula(capacitance=C, v_out=18.0, v_push=6.0) == pytest.approx(C / 2 * (18**2 - 6**2))


def test_surge_clamp_against_integration():
    """Energy and time of a clamp on a fading surge, against numerical integration of its current."""
    surge = {"v_surge": 100.0, "v_clamp": 36.0, "time_surge": 0.1}
    time = source_faults.clamp_surge_time().formula(**surge)
    power = quad(lambda t: 36.0 * max(100 * math.exp(-t / 0.1) - 36, 0) / 2, 0, 0.3, points=[time])[0]
    assert source_faults.clamp_surge_energy().formula(**surge, r_surge=2.0) == pytest.approx(power, rel=1e-9)
    assert source_faults.clamp_surge_current().formula(v_surge=100.0, v_clamp=36.0, r_surge=2.0) == 32.0


def test_a_falling_source_is_drawn_on_harder():
    """What the exact circuit draws as its source falls, against the constant-power formula; and where the source gives up."""
    stage = Converter.of(v_in=6, duty=0.6, f_sw=150e3, inductance=L, capacitance=C, i_out=0.5, r_source=0.2)
    found = faults.starving(stage, 18.0, [7.0, 6.0, 5.0, 4.0, 2.0])
    for v_in, drawn in zip(found.v_in[:4], found.i_source[:4], strict=True):
        said = lockout.source_draw().formula(v_in=v_in, r_source=0.2, p_in=9.0)
        assert drawn == pytest.approx(said, rel=0.01)  # a stage without loss but for the ripple in the source's resistance
    least = lockout.least_source().formula(r_source=0.2, p_in=9.0)
    assert math.isnan(found.duty[-1]) and 2.0 < least < found.least
    assert lockout.most_power().formula(v_in=least, r_source=0.2) == pytest.approx(9.0)
    assert faults.starving(stage, 18.0, [1.0]).least is None


def test_series_loss_and_fuse_are_plain_arithmetic():
    """Values that need no machine."""
    assert source_faults.series_diode_loss().formula(v_series=0.5, i_source_mean=2.0) == 1.0
    assert source_faults.series_switch_loss().formula(r_series=0.5, i_source_mean=2.0) == 2.0
    assert fuse.fuse_rating().formula(i_source_full=3.0, share_rated=0.75) == 4.0
    assert fuse.fuse_melting().formula(joule_inrush=0.2, share_pulse=0.2) == pytest.approx(1.0)
    assert fuse.melting_time().formula(joule_fuse=10.0, i_prospective=100.0) == pytest.approx(1e-3)
    assert lockout.lockout_hysteresis().formula(r_source=0.1, i_source_mean=2.0) == pytest.approx(0.2)
    drive = lockout.least_source_for_drive().formula(v_drive=5.0, r_supply=10.0, q_gate=1e-7, f_sw=1e5, i_controller=0.0)
    assert drive == pytest.approx(5.1)


def test_every_fault_has_its_caution():
    """No course of a fault comes without a word on what it does to people."""
    stage = STAGE
    found = [faults.inrush(stage), faults.shorted(stage), faults.unregulated(stage, 5, duty=0.8), faults.reversed_source(stage),
             faults.load_dump(stage, 20.0), faults.load_lost(stage)]  # fmt: skip
    assert {f.what for f in found} == set(faults.CAUTIONS)
    assert all(len(f.caution) > 60 for f in found)


def test_faults_refuse_what_makes_no_sense():
    """Errors in words."""
    with pytest.raises(ValueError, match="one of the two"):
        faults.unregulated(STAGE, 10)
    with pytest.raises(ValueError, match="v_surge"):
        faults.load_dump(STAGE, 3.0)
    with pytest.raises(ValueError, match="duration must be given"):
        faults.reversed_source(STAGE.change(r_inductor=None))
    with pytest.raises(ValueError, match="duration"):
        faults.inrush(STAGE, 0.0)
    assert replace(faults.inrush(STAGE), what="x").what == "x"

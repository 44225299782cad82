"""The closed loop on the exact circuit, held against the independent integration of `closed_loop`, event by event.

Why 1e-6: the reference errs by about 1e-12 of a quantity a step; tens of periods add that up, and a loop that swings multiplies it in
each of them (by 1.5 or so where the inner loop of current drive is unstable: 1e5 over thirty periods). A comparator read one step
late, a clamp left a period late or a limit missed is off by 1e-4 and more.
"""

import dataclasses
from itertools import pairwise

import numpy as np
import pytest
from closed_loop import follow

from boostkit.circuit import Converter, regulated
from boostkit.circuit.controller import Controller, Sampled
from boostkit.circuit.linear import Linear

CLOSE = 1e-6
F_SW = 150e3
T_SW = 1 / F_SW
STAGE = Converter.of(v_in=6.0, inductance=10e-6, r_inductor=0.04, f_sw=F_SW, duty=0.5, r_switch=0.02, v_rectifier=0.4, r_rectifier=0.02,
                     capacitance=22e-6, r_capacitor=0.01, r_load=30.0)   # small parts: quick to settle


def two_zeros(f_integrator, f_zero, f_pole):
    """An integrator of unit gain at `f_integrator`, two zeros, two poles (Hz); as a chain, so that no number is extreme."""
    w_i, w_p, r = 2 * np.pi * f_integrator, 2 * np.pi * f_pole, f_pole / f_zero
    a = np.array([[0.0, 0.0, 0.0], [w_p, -w_p, 0.0], [w_p * r, w_p * (1 - r), -w_p]])
    return Linear(a, np.array([w_i, 0.0, 0.0]), np.array([r**2, r * (1 - r), 1 - r]))


def one_zero(f_integrator, f_zero):
    """An integrator and a zero (Hz): a direct path, so that the output's jumps at each edge reach the comparator."""
    return Linear(np.zeros((1, 1)), np.array([2 * np.pi * f_integrator]), np.ones(1), f_integrator / f_zero)


VOLTAGE = Controller(two_zeros(120, 3e3, 80e3), v_set=18.0, ramp=1.0, high=1.2, most_duty=0.8, i_limit=6.0, least_on_time=1e-7,
                     soft_start=40 * T_SW)
CURRENT = Controller(one_zero(500, 3e3), v_set=18.0, drive="current", sense=0.1, slope=6e5, high=0.9, most_duty=0.85, least_on_time=1e-7,
                     soft_start=40 * T_SW)
DIGITAL = Sampled(a=((1.0, 0.0), (0.0, 0.0)), b=(4e-3, 1.0), c=(1.0, -0.25), d=0.3, v_set=18.0, most_duty=0.8, i_limit=7.0,
                  soft_start=40 * T_SW)


def agree(converter, controller, periods, changes=()):
    """Follow it both ways; every duty, the output, the coil current and the control voltage agree. Returns both."""
    ours = regulated.follow(converter, controller, periods, changes=changes)
    theirs = follow(converter, controller, periods, changes=changes)
    size_v, size_i = ours.output_voltage.max - ours.output_voltage.min, ours.inductor_current.max - ours.inductor_current.min
    assert np.abs(ours.duty - theirs.duty).max() < CLOSE
    wave = ours.waveforms(40 * periods)
    edges = np.array([begin for begin, *_ in theirs.segments] + [theirs.t])
    beside = np.abs(wave.time - edges[np.clip(np.searchsorted(edges, wave.time), 1, len(edges) - 1)])
    clear = np.minimum(beside, np.abs(wave.time - edges[np.searchsorted(edges, wave.time) - 1])) > 1e-4 * T_SW   # no side of a jump
    assert clear.sum() > 10 * periods
    times = wave.time[clear]
    assert np.abs(wave.v_out[clear] - theirs.at("v_out", times)).max() < CLOSE * size_v
    assert np.abs(wave.i_inductor[clear] - theirs.at("i_inductor", times)).max() < CLOSE * size_i
    if isinstance(controller, Controller):
        control = theirs.at("control", times)
        assert np.abs(wave.control[clear] - control).max() <= CLOSE * np.ptp(control)
    low, high = theirs.at("v_out", times).min(), theirs.at("v_out", times).max()
    assert ours.output_voltage.min <= low + CLOSE * size_v and ours.output_voltage.max >= high - CLOSE * size_v
    return ours, theirs


def clamped(theirs):
    """How often the amplifier met a clamp, by its side."""
    held = [segment[2].held for segment in theirs.segments]
    return {side: sum(now == side and before != side for before, now in pairwise(held)) for side in (1, -1)}


@pytest.mark.parametrize("controller", [VOLTAGE, CURRENT, DIGITAL], ids=["voltage", "current", "sampled"])
def test_start_up(controller):
    """From empty capacitors through the soft start: inrush, pulses skipped while the output is ahead, then regulation."""
    ours, _ = agree(STAGE, controller, 70)
    skipped = ours.duty == 0
    assert skipped[2:6].all() and not skipped[-10:].any()
    assert ours.output(np.array([69.5 * T_SW]))[0] == pytest.approx(18.0, abs=1.5)


@pytest.mark.parametrize(("controller", "most"), [(VOLTAGE, {}), (CURRENT, {}), (VOLTAGE, {"high": 0.55}), (CURRENT, {"high": 0.35})],
                         ids=["voltage", "current", "voltage, clamped", "current, clamped"])  # fmt: skip
def test_start_up_with_a_bias_that_climbs(controller, most):
    """The amplifier's other input is the reference: what it gives without an error climbs with the set point, free and on its clamps."""
    biased = dataclasses.replace(controller, bias=0.3, low=0.05, **most)
    ours, theirs = agree(STAGE, biased, 70)
    still = regulated.follow(STAGE, dataclasses.replace(biased, bias=0.0), 70)
    assert np.abs(ours.duty - still.duty).max() > 0.01
    assert {segment[2].held for segment in theirs.segments} >= ({-1, 0, 1} if most else {-1, 0})


@pytest.mark.parametrize("controller", [VOLTAGE, CURRENT, DIGITAL], ids=["voltage", "current", "sampled"])
def test_load_step_up_and_back(controller):
    """The load doubles within a period and goes back within another; once in the closed and once in the open phase."""
    heavy = STAGE.change(r_load=15.0)
    ours, _ = agree(STAGE, controller, 120, changes=((80.1 * T_SW, heavy), (100.9 * T_SW, STAGE)))
    before, down, late, up = (ours.window(a * T_SW, b * T_SW) for a, b in ((76, 80.1), (80.1, 90), (96, 100.9), (100.9, 110)))
    assert down.min < before.min - 0.1 and up.max > late.max + 0.1


def test_overload_in_current_limit():
    """A load of 4 Ω is more than 6 A can carry: the limit opens the switch cycle by cycle and the amplifier lies on its clamp."""
    overload = STAGE.change(r_load=4.0)
    _, theirs = agree(STAGE, VOLTAGE, 90, changes=((55.3 * T_SW, overload), (75.3 * T_SW, STAGE)))
    peak = max(float(w.max()) for w in (theirs.at("i_inductor", np.linspace(60, 75, 5001) * T_SW),))
    assert peak == pytest.approx(6.0, rel=2e-3)          # sampled
    assert clamped(theirs)[1] >= 1


@pytest.mark.parametrize(("slope", "swings"), [(0.0, True), (6e5, False)])
def test_subharmonic_oscillation(slope, swings):
    """Peak-current drive above half duty: without a ramp the duties alternate, with one they are alike."""
    fast = dataclasses.replace(CURRENT, network=Linear.constant(0.0), bias=0.3, slope=slope, high=float("inf"), soft_start=0.0)
    stage = STAGE.change(inductance=22e-6, r_load=60.0, capacitance=10e-6)
    ours, _ = agree(stage, fast, 30)        # longer runs tell little: the swing doubles every difference in a few periods
    late = ours.duty[-8:]
    assert late.mean() > 0.5
    assert (np.ptp(late) > 0.1) == swings


def test_light_load():
    """With next to no load the coil idles, pulses are skipped, and the comparator meets its least on-time."""
    quick = dataclasses.replace(VOLTAGE, soft_start=10 * T_SW, least_on_time=4e-7)
    ours, theirs = agree(STAGE.change(r_load=2e3, capacitance=4.7e-6), quick, 120)
    late = ours.duty[60:]
    assert (late == 0).any() and (late > 0).any()
    assert any(system.state[:2] == ("open", "off") for _, _, system, *_ in theirs.segments[-50:])


def test_into_light_load_and_out_of_it():
    """The load nearly goes and comes back: continuous conduction, discontinuous, and continuous again."""
    ours, _ = agree(STAGE, CURRENT, 120, changes=((60.4 * T_SW, STAGE.change(r_load=1e3)), (90.2 * T_SW, STAGE)))
    assert ours.inductor_current.max > 0.5


@pytest.mark.parametrize("controller", [VOLTAGE, CURRENT], ids=["voltage", "current"])
def test_source_step(controller):
    """The source jumps from 6 V to 9 V and to 4.5 V."""
    changes = ((55.7 * T_SW, STAGE.change(v_in=9.0)), (70.05 * T_SW, STAGE.change(v_in=4.5)))
    agree(STAGE, controller, 90, changes=changes)


@pytest.mark.parametrize("network", [two_zeros(20, 1e3, 50e3), one_zero(100, 2e3), Linear(np.diag([-2e4, -5e3]), np.array([2e4, 1e3]),
                                     np.array([0.3, -0.2]))], ids=["integrator chain", "direct path", "lag"])  # fmt: skip
def test_the_clamp(network):
    """Without a soft start the amplifier runs onto its upper clamp, later onto the lower one, and leaves each; nothing winds up."""
    tight = dataclasses.replace(VOLTAGE, network=network, bias=0.3, low=0.48, high=0.7, soft_start=0.0, least_on_time=0.0)
    _, theirs = agree(STAGE, tight, 110, changes=((45.4 * T_SW, STAGE.change(r_load=200.0)), (80.3 * T_SW, STAGE.change(r_load=15.0))))
    met = clamped(theirs)
    assert met[1] >= 1 and met[-1] >= 1 and theirs.segments[-1][2].held != -1


def test_sampled_with_steps_and_delays():
    """Converter and clock with finite steps, and no, one and two periods of delay: every rounded duty is the same."""
    for delay in (0, 1, 2):
        ours, _ = agree(STAGE, dataclasses.replace(DIGITAL, delay=delay, adc_step=0.05, duty_step=1 / 256, least_on_time=2e-7), 80,
                        changes=((55.5 * T_SW, STAGE.change(r_load=15.0)),))
        on_grid = np.abs(ours.duty * 256 - np.round(ours.duty * 256)) < 1e-6
        assert on_grid.mean() > 0.5                                 # but for where the current limit opened the switch


@pytest.mark.parametrize("letters", [{"rectifier": "switch", "v_rectifier": None},
                                     {"rectifier": "switch", "v_rectifier": None, "dead_time": 1e-7}, {"r_load": None, "i_out": 0.6},
                                     {"r_source": 0.05, "c_input": 20e-6, "r_input_capacitor": 0.02, "l_source": 1e-6},
                                     {"r_capacitor": None, "v_rectifier": None, "r_rectifier": None, "r_inductor": None, "r_switch": None}],
                         ids=["second switch", "dead time", "constant current", "input filter", "no loss"])  # fmt: skip
def test_other_circuits(letters):
    """A second switch as rectifier, with dead time too, a constant-current load through its knee, an input filter, parts without loss."""
    agree(STAGE.change(**letters), VOLTAGE, 60)


def test_a_soft_start_ends_with_a_period():
    """Twenty periods and a bit take twenty-one; and a load step just at a clock counts from there on."""
    agree(STAGE, dataclasses.replace(VOLTAGE, soft_start=20.4 * T_SW), 45, changes=((30 * T_SW, STAGE.change(r_load=20.0)),))


def drawn(seed):
    """A converter and a controller at random: any drive, any network, limits that act now and then."""
    rng = np.random.default_rng(seed)
    v_in, gain, load = 10 ** rng.uniform(0.5, 1.5), rng.uniform(1.3, 4.0), 10 ** rng.uniform(0.5, 2.5)
    k_load = 10 ** rng.uniform(-1.5, 0.5)
    part = {name: load * 10 ** rng.uniform(-4, -2.2) * (rng.random() < 0.7 or name == "r_switch")
            for name in ("r_inductor", "r_switch", "r_capacitor")}
    stage = Converter.of(v_in=v_in, f_sw=F_SW, duty=0.5, inductance=k_load * load * T_SW / 2, capacitance=rng.uniform(4, 30) * T_SW / load,
                         r_load=load, **part, **({"rectifier": "switch", "r_rectifier": load * 1e-3} if rng.random() < 0.3 else
                                                {"v_rectifier": rng.uniform(0, 0.05) * v_in}))  # fmt: skip
    v_set, through = gain * v_in, gain**2 * v_in / load
    common = {"v_set": v_set, "least_on_time": rng.choice([0.0, 0.05]) * T_SW, "most_duty": rng.uniform(0.6, 0.9),
              "i_limit": rng.choice([None, 2.5]) and 2.5 * through + 0.3 * v_in * T_SW / stage.inductor.inductance,
              "soft_start": int(rng.integers(0, 25)) * T_SW}  # fmt: skip
    share = 10 ** rng.uniform(-0.5, 1.0) / v_set                              # volts of control for a volt of error
    network = [two_zeros(share * 800, 3e3, 60e3), one_zero(share * 3e3, 4e3),
               Linear(np.array([[-2e4, 3e4], [-3e4, -1e4]]), np.array([0.0, 3e4 * share]), np.array([1.0, 0.3]))][seed % 3]
    if seed % 4 == 3:
        return stage, Sampled(a=((1.0,),), b=(0.1 * share,), c=(1.0,), d=0.4 * share, delay=int(rng.integers(0, 3)), **common)
    if seed % 2:
        sense = 1.0 / (3 * through + v_in * T_SW / stage.inductor.inductance)
        return stage, Controller(network, drive="current", sense=sense, slope=rng.uniform(0, 1) * v_set / stage.inductor.inductance,
                                 high=1.5, **common)
    return stage, Controller(network, ramp=rng.uniform(0.7, 1.5), high=1.2, bias=rng.uniform(-0.1, 0.3), **common)


@pytest.mark.parametrize("seed", range(16))
def test_random_loops(seed):
    """Converters, networks, drives and limits at random, with a step of load and of source, well or badly regulated."""
    stage, controller = drawn(seed)
    light = stage.change(r_load=2.1 * stage.load.resistance)
    agree(stage, controller, 30, changes=((18.37 * T_SW, light), (23.81 * T_SW, light.change(v_in=1.2 * stage.source.voltage))))


def test_going_on_from_where_a_course_ended():
    """Forty periods at once, or fifteen and twenty-five more from their last: the same, soft start and network included."""
    whole = follow(STAGE, VOLTAGE, 40)
    first = regulated.follow(STAGE, VOLTAGE, 15)
    then = regulated.follow(STAGE, VOLTAGE, 25, begin=first.last)
    assert np.abs(np.concatenate([first.duty, then.duty]) - whole.duty).max() < CLOSE


def test_the_steady_state_comes_back():
    """The periodic solution of the closed loop, given to the independent integration, is where it was twenty periods later."""
    found = regulated.steady(STAGE, dataclasses.replace(VOLTAGE, soft_start=0.0))
    assert found.stable
    x, z = np.array(found.state), np.array(found.network)
    theirs = follow(STAGE, dataclasses.replace(VOLTAGE, soft_start=0.0), 20, begin=(x, z))
    assert np.abs(np.array(theirs.duty) - found.duty).max() < CLOSE
    assert theirs.x == pytest.approx(x, rel=CLOSE) and theirs.z == pytest.approx(z, rel=CLOSE, abs=CLOSE)


def test_the_check_can_fail():
    """One per mille more current limit is found."""
    overload = STAGE.change(r_load=4.0)
    theirs = follow(overload, VOLTAGE, 30)
    ours = regulated.follow(overload, dataclasses.replace(VOLTAGE, i_limit=6.006), 30)
    assert np.abs(ours.duty - theirs.duty).max() > 100 * CLOSE

"""Current mode and steps of the load: published values, straight slopes run from clock to clock, scipy, the exact circuit, and slips.

EM3: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 3rd ed., Springer, 2020, read in a copied-out text.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from test_derivations import tampered, value
from test_loop_derivations import at

from boostkit.circuit import Converter, switched
from boostkit.derivations import current_mode, held_current, load_step

# --- current mode ---


def test_disturbance_without_ramp():
    """EM3 eq. 18.40 to 18.47: 20 V to 50 V, D 0.6: the factors of three periods are -1.5, +2.25, -3.375."""
    growth = value(current_mode.growth_without_ramp, duty=1 - 20 / 50)
    assert [growth**n for n in (1, 2, 3)] == pytest.approx([-1.5, 2.25, -3.375])


@pytest.mark.parametrize(("duty", "share", "growth"), [(0.6, 0.5, -0.4286), (0.8, 0.5, -0.6667), (0.3, 1.0, 0.0), (0.9, 1.0, 0.0)])
def test_disturbance_with_ramp(duty, share, growth):
    """EM3 eq. 18.52 to 18.58: half the falling slope cures every duty, the whole leaves nothing."""
    assert value(current_mode.growth_with_ramp, duty=duty, ramp_share=share) == pytest.approx(growth, abs=5e-5)      # four digits


@pytest.mark.parametrize("duty", [0.3, 0.45, 0.55, 0.7])
def test_growth_is_a_multiplier_of_the_exact_circuit(duty):
    """The exact circuit with a peak current and a large capacitor: a multiplier of its period is -D/D', above half duty too."""
    v_in, inductance, f_sw, r_load = 6.0, 47e-6, 150e3, 8.0
    v_out = v_in / (1 - duty)
    peak = v_out / r_load / (1 - duty) + v_in * duty / (2 * inductance * f_sw)
    c = Converter.of(v_in=v_in, f_sw=f_sw, inductance=inductance, capacitance=0.1, r_load=r_load, peak_current=peak)
    multipliers = switched.steady_state(c).multipliers
    growth = value(current_mode.growth_without_ramp, duty=duty)
    assert min(abs(np.array(multipliers) - growth)) < 2e-3       # what a capacitor of 0.1 F leaves of ripple


def march(command, slope_rise, slope_fall, slope_ramp, t_sw):
    """Straight slopes from clock to clock, an independent run: the currents at the clocks."""
    i, found = command[0] - (slope_rise + slope_ramp) * 0.6 * t_sw, []
    for now in command:
        found.append(i)
        on = (now - i) / (slope_rise + slope_ramp)
        i = i + slope_rise * on + slope_fall * (t_sw - on)
    return np.array(found)


def test_least_ramp_leaves_what_is_allowed():
    """Straight slopes run from clock to clock: the share left after each period is the one that was allowed."""
    v_in, v_out, inductance, t_sw = 6.0, 18.0, 47e-6, 1 / 150e3
    up, down = value(current_mode.rising_slope, v_in=v_in, inductance=inductance), value(
        current_mode.falling_slope, v_in=v_in, v_out=v_out, inductance=inductance)
    for allowed in (1.0, 0.5, 0.1):
        ramp = value(current_mode.least_ramp, v_in=v_in, v_out=v_out, inductance=inductance, growth_allowed=allowed)
        level = march(np.full(3, 3.0), up, down, ramp, t_sw)
        assert (level[2] - level[1]) / (level[1] - level[0]) == pytest.approx(-allowed, rel=1e-9)
    dead = value(current_mode.dead_beat_ramp, v_in=v_in, v_out=v_out, inductance=inductance)
    level = march(np.full(3, 3.0), up, down, dead, t_sw)
    assert level[2] == pytest.approx(level[1], rel=1e-12)


def test_map_of_straight_slopes():
    """The same run: where the current lands, what a small change becomes, and the slopes of a steady state."""
    up, down, ramp, t_sw = 1.2e5, -2.4e5, 0.8e5, 7e-6
    level = march(np.full(2, 3.0), up, down, ramp, t_sw)
    given = {"slope_rise": up, "slope_fall": down, "slope_ramp": ramp}
    assert value(current_mode.next_valley, i_valley=level[0], i_command=3.0, t_sw=t_sw, **given) == pytest.approx(level[1], rel=1e-12)
    moved = march(np.full(3, 3.0), up, down, ramp, t_sw)
    assert moved[2] - moved[1] == pytest.approx(value(current_mode.growth_in_slopes, **given) * (moved[1] - moved[0]), rel=1e-9)
    assert value(current_mode.slopes, duty=0.6) == pytest.approx((50 - 20) / 20)        # 20 V to 50 V without loss


@pytest.mark.parametrize(("duty", "share", "quality"), [(0.5, 0.5, 1.273), (0.5, 1.0, 0.637)])
def test_inner_quality_values(duty, share, quality):
    """EM3 eq. 18.173: 1.273 and 0.637."""
    assert value(current_mode.inner_quality, duty=duty, ramp_share=share) == pytest.approx(quality, abs=5e-4)     # three digits


@pytest.mark.parametrize("share", [0.4, 0.8])
def test_inner_quality_fits_where_it_says(share):
    """The second-order form is the sampled one at half the switching frequency, and within a tenth of it below."""
    duty, t_sw = 0.6, 1.0
    growth = value(current_mode.growth_with_ramp, duty=duty, ramp_share=share)
    quality = value(current_mode.inner_quality, duty=duty, ramp_share=share)
    f = np.array([0.5, 0.1, 0.3])
    exact = at(current_mode.sampled_current, f, t_sw=t_sw, growth=growth)
    s = 2j * np.pi * f
    fit = 1 / (1 + s / (quality * np.pi) + (s / np.pi) ** 2)
    assert fit[0] == pytest.approx(exact[0], rel=1e-12)
    assert abs(fit / exact - 1).max() < 0.1


@pytest.mark.parametrize("periods", [4, 7, 25])
def test_sampled_current_against_a_run(periods):
    """A command with a small wave, straight slopes: the wave in the coil current, by its Fourier integral, over the wave sent in."""
    up, down, ramp, t_sw, eps = 1.2, -1.8, 0.6, 1.0, 1e-6
    on_steady = -down * t_sw / (up - down)

    def run(size):      # the command at each opening is found by iteration; corners of the current, over whole waves
        i, corners = 5.0 - (up + ramp) * on_steady, []
        for n in range(60 * periods):
            on = on_steady
            for _ in range(6):
                now = 5.0 + size * np.exp(2j * np.pi * (n * t_sw + on.real) / (periods * t_sw))
                on = (now - i) / (up + ramp)
            corners.append((n, i, on))
            i = i + up * on + down * (t_sw - on)
        return corners[-periods:]

    # to first order the change of the current is a staircase: it steps at the steady openings
    wave = [(n, (on - on_steady) * (up - down) + (i - (5.0 - (up + ramp) * on_steady))) for n, i, on in run(eps)]
    w = 2 * np.pi / (periods * t_sw)
    total = 0
    for n, change in wave:
        begin = n * t_sw + on_steady
        total += change / eps * (np.exp(-1j * w * (begin + t_sw)) - np.exp(-1j * w * begin)) / (-1j * w)
    growth = (down + ramp) / (up + ramp)
    expected = at(current_mode.sampled_current, 1 / periods, t_sw=t_sw, growth=growth)
    assert total / (periods * t_sw) == pytest.approx(expected, rel=1e-5)        # second order in eps; the wave at the opening is complex


def test_simple_current_mode_values():
    """EM3 sec. 18.1, eq. 18.28 and 18.29, tables 18.3 to 18.5: 10 ohm, 132.6 Hz, 10.61 kHz for D 0.6, 50 ohm, 120 uH, 48 uF."""
    assert value(held_current.current_mode_gain, duty=0.6, r_load=50.0) == 10.0
    assert value(held_current.current_mode_pole, r_load=50.0, capacitance=48e-6) == pytest.approx(132.6, abs=0.05)
    assert value(held_current.current_mode_zero, duty=0.6, r_load=50.0, inductance=120e-6) == pytest.approx(10.61e3, abs=5)


def test_current_mode_gain_of_the_exact_circuit():
    """Two steady states of the exact circuit without loss: change of the mean output over change of the mean coil current."""
    stage = {"v_in": 6.0, "f_sw": 150e3, "inductance": 200e-6, "capacitance": 1e-3, "r_load": 30.0}
    low, high = (switched.steady_state(Converter.of(duty=duty, **stage)) for duty in (0.599, 0.601))
    found = (high.output_voltage.mean - low.output_voltage.mean) / (high.inductor_current.mean - low.inductor_current.mean)
    assert value(held_current.current_mode_gain, duty=0.6, r_load=30.0) == pytest.approx(found, rel=1e-3)       # ripple bends the slopes
    fed = value(held_current.fed_current, v_in=6.0, i_inductor_mean=low.inductor_current.mean, v_out=low.output_voltage.mean)
    assert fed == pytest.approx(low.rectifier_current.mean, rel=1e-5)       # the output's ripple, squared


def test_current_mode_pole_against_scipy():
    """The power fed to capacitor and load, integrated by scipy: a small change dies out at that corner."""
    v_in, i, r_load, c = 6.0, 1.5, 30.0, 100e-6
    rest = np.sqrt(v_in * i * r_load)
    run = solve_ivp(lambda t, v: (v_in * i / v - v / r_load) / c, (0, 1e-3), [rest * 1.0001], rtol=1e-11, atol=1e-13)
    rate = np.log((run.y[0, 0] - rest) / (run.y[0, -1] - rest)) / 1e-3
    assert value(held_current.current_mode_pole, r_load=r_load, capacitance=c) == pytest.approx(
        rate / (2 * np.pi), rel=1e-3)      # the change is small, not endlessly so


def test_command_of_the_exact_circuit():
    """The exact circuit with a peak current: the mean coil current by the formula, and back."""
    stage = {"v_in": 6.0, "f_sw": 150e3, "inductance": 47e-6}
    s = switched.steady_state(Converter.of(capacitance=1e-3, r_load=15.0, peak_current=2.0, **stage))
    given = {"r_sense": 0.1, "slope_ramp": 0.0, "duty": s.duty, **stage}
    mean = value(held_current.peak_from_control, v_control=0.2, **given)
    assert mean == pytest.approx(s.inductor_current.mean, rel=2e-3)         # the output's ripple bends the fall
    assert value(held_current.control_from_mean, i_inductor_mean=mean, **given) == pytest.approx(0.2, rel=1e-12)


# --- steps of the load ---


def test_dip_against_scipy():
    """A capacitor, a step and a regulator in proportion, integrated by scipy; capacitance for the dip leads back."""
    c, f_crossover, step = 100e-6, 2e3, 0.5
    firm = value(load_step.firmness_for_crossover, f_crossover=f_crossover, capacitance=c)
    run = solve_ivp(lambda t, v: (step - firm * v) / c, (0, 2e-3), [0.0], rtol=1e-10, atol=1e-12, dense_output=True)
    dip = value(load_step.step_dip, i_step=step, f_crossover=f_crossover, capacitance=c)
    assert run.y[0, -1] == pytest.approx(dip, rel=1e-6)
    t = np.linspace(0, 5e-4, 50)
    assert value(load_step.dip_course, i_step=step, firmness=firm, capacitance=c, t=t) == pytest.approx(run.sol(t)[0], abs=1e-6)
    assert value(load_step.capacitance_for_step, i_step=step, f_crossover=f_crossover, dip=dip) == pytest.approx(c)
    assert value(load_step.step_dip_esr, i_step=step, r_capacitor=0.02) == pytest.approx(0.01)


def test_surplus_against_scipy():
    """Kirchhoff's laws integrated by scipy until the coil is empty: the output stands there."""
    v_in, v_out, i, inductance, c = 6.0, 18.0, 2.5, 220e-6, 22e-6
    empty = lambda t, x: x[0]       # noqa: E731  (scipy sets attributes on the function)
    empty.terminal, empty.direction = True, -1
    run = solve_ivp(lambda t, x: [(v_in - x[1]) / inductance, x[0] / c], (0, 1e-3), [i, v_out], events=empty, rtol=1e-10, atol=1e-12)
    risen = value(load_step.coil_surplus, v_in=v_in, v_out=v_out, i_start=i, inductance=inductance, capacitance=c)
    assert risen == pytest.approx(run.y[1, -1], rel=1e-8)


# --- slips ---


SLIPS = [
    (current_mode.growth_with_ramp, 8, "growth = -((1 + ramp_share)/(duty_off/duty + ramp_share))"),
    (current_mode.growth_without_ramp, 2, "growth = -(duty_off/duty)"),
    (current_mode.least_ramp, 4, "slope_ramp = -((slope_fall - growth_allowed*slope_rise)/(1 + growth_allowed))"),
    (current_mode.inner_quality, 11, "quality_inner = 2/pi/(1 - 2*duty + duty*ramp_share)"),
    (current_mode.sampled_current, 7, "hold_factor = (1 - exp(-(s*t_sw)))/s/t_sw/2"),
    (held_current.current_mode_gain, 11, "gain_current = duty_off*r_load"),
    (held_current.current_mode_pole, 12, "rate_held = 1/(r_load*capacitance)"),
    (load_step.step_dip, 5, "dip = i_step/(f_crossover*capacitance)"),
    (load_step.coil_surplus, 9, "v_surplus = v_in + sqrt((v_out + v_in)**2 + i_start**2*inductance/capacitance)"),
]


@pytest.mark.parametrize(("derivation", "number", "wrong"), SLIPS, ids=[f"{d.__name__}-{n}" for d, n, _ in SLIPS])
def test_slips_are_found(derivation, number, wrong):
    """Mistakes that one makes: each is found at its step."""
    with pytest.raises(ValueError, match=f"{derivation.__name__}, step {number} "):
        tampered(derivation(), number, wrong).verify()

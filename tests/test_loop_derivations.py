"""Loop, compensator and its parts: published values, python-control, scipy, nodal analysis, the exact circuit, and slips.

EM3: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 3rd ed., Springer, 2020, read in a copied-out text unless it
says otherwise. `control` is python-control, `scipy` scipy: general-purpose libraries. What a formula rests on is in its derivation.
"""

import control
import numpy as np
import pytest
import sympy as sp
from scipy.integrate import solve_ivp
from test_algebra import refuses, steps
from test_derivations import tampered, value

from boostkit.algebra import assumption, definition, solving
from boostkit.circuit import Converter, switched
from boostkit.derivations import (
    amplifiers,
    compensation,
    compensation_parts,
    injection,
    second_order,
    sized_network,
)


def at(derivation, f, **given):
    """A formula in s, at s = j 2 pi f: sympy and complex numbers, the kit's own numbers left aside."""
    expression = derivation().equation.rhs
    s = next(symbol for symbol in expression.free_symbols if symbol.name == "s")
    others = [symbol for symbol in expression.free_symbols if symbol != s]
    function = sp.lambdify([s, *others], expression, "numpy")
    return function(2j * np.pi * np.asarray(f), *(given[symbol.name] for symbol in others))


# --- the closed loop ---


@pytest.mark.parametrize(("quality", "degrees"), [(0.5, 76.35), (1.0, 51.83), (4.014, 14.2)])
def test_margin_and_quality(quality, degrees):
    """EM3 eq. 9.39 to 9.41 and 13.71: margin and quality belong together, both ways."""
    assert np.degrees(value(second_order.margin_from_quality, quality_closed=quality)) == pytest.approx(degrees, abs=0.01)
    found = value(second_order.quality_from_margin, phase_margin=np.radians(degrees))
    assert found == pytest.approx(quality, rel=1e-3)        # four digits of the angle


@pytest.mark.parametrize(("quality", "share"), [(1.0, 0.163), (2.0, 0.444)])
def test_overshoot_values(quality, share):
    """EM3 eq. 9.42 to 9.46: 16.3 % and 44.4 %."""
    assert value(second_order.overshoot, quality_closed=quality) == pytest.approx(share, abs=5e-4)      # three digits


@pytest.mark.parametrize("seed", range(12))
def test_loop_of_two_poles_against_control(seed):
    """python-control closes the loop: crossover and margin, quality and overshoot, and the course of the answer."""
    chance = np.random.default_rng(seed)
    unit, second = chance.uniform(2e4, 2e5), chance.uniform(5e3, 4e4)
    loop = control.tf([1], [1 / (unit * second), 1 / unit, 0])
    margin = np.radians(control.margin(loop)[1])
    quality = value(second_order.closed_quality, omega_unit=unit, omega_second=second)
    f = np.logspace(2, 5, 7)
    assert at(second_order.closed_loop, f, omega_unit=unit, omega_second=second) == pytest.approx(control.feedback(loop)(2j * np.pi * f))
    assert value(second_order.quality_from_margin, phase_margin=margin) == pytest.approx(quality, rel=1e-6)
    times = np.linspace(0, 30 / second, 6001)
    answer = control.step_response(control.feedback(loop), times).outputs
    assert value(second_order.overshoot, quality_closed=quality) == pytest.approx(answer.max() - 1, rel=2e-3)    # 6001 points
    rate = second / 2
    omega = np.sqrt(unit * second - rate**2)
    course = value(second_order.step_answer, rate_settle=rate, omega_settle=omega, t=times)
    assert course == pytest.approx(answer, abs=1e-7)        # control's own rounding


@pytest.mark.parametrize(("zeta", "peak"), [(0.1, 1.729), (0.2, 1.527), (0.5, 1.163), (0.7071, 1.043)])
def test_damped_peak_values(zeta, peak):
    """The textbook's step response, from memory: 1 + exp(-pi zeta/sqrt(1 - zeta^2)); twice the source without damping."""
    assert value(second_order.damped_peak, damping_lc=zeta) == pytest.approx(peak, abs=5e-4)     # four digits
    assert value(second_order.damped_peak, damping_lc=0.0) == 2.0


def test_capacitor_filling_against_scipy():
    """Kirchhoff's laws integrated by scipy: the course, and its peak by the damping."""
    v_in, inductance, capacitance, r_loop = 6.0, 47e-6, 100e-6, 0.2
    run = solve_ivp(lambda t, x: [(v_in - r_loop * x[0] - x[1]) / inductance, x[0] / capacitance], (0, 1e-3), [0, 0],
                    rtol=1e-10, atol=1e-12, dense_output=True)
    rate = r_loop / (2 * inductance)
    omega = np.sqrt(1 / (inductance * capacitance) - rate**2)
    t = np.linspace(0, 1e-3, 4001)
    course = value(second_order.capacitor_filling, v_in=v_in, rate_lifted=rate, omega_lifted=omega, t=t)
    assert course == pytest.approx(run.sol(t)[1], abs=1e-6)         # interpolation of the integrator
    zeta = r_loop / 2 * np.sqrt(capacitance / inductance)
    assert v_in * value(second_order.damped_peak, damping_lc=zeta) == pytest.approx(run.sol(t)[1].max(), rel=1e-5)


def test_injection_error_value():
    """EM3 sec. 9.6: 50 ohm into 500 ohm reads 0.83 dB high."""
    assert 20 * np.log10(value(injection.injection_error, z_back=50.0, z_ahead=500.0)) == pytest.approx(0.83, abs=0.005)


@pytest.mark.parametrize("loop_gain", [0.2, 3.0, 100.0])
def test_measured_loop_by_nodes(loop_gain):
    """The same from a solved set of equations: driving side, injected volt, driven side."""
    z_back, z_ahead = 120.0, 900.0
    gain = loop_gain * (z_back + z_ahead) / z_ahead
    # unknowns: v_y, v_x, i; the source gives -gain v_x behind z_back, one volt is injected between v_y and v_x
    rows = [[1, gain, z_back], [-1, 1, 0], [0, 1, -z_ahead]]
    v_y, v_x, _ = np.linalg.solve(rows, [0, 1, 0])
    found = value(injection.measured_loop, loop_gain=loop_gain, z_back=z_back, z_ahead=z_ahead)
    assert found == pytest.approx(-v_y / v_x, rel=1e-12)


# --- the compensator ---


def test_lead_values():
    """EM3 eq. 9.65 to 9.82: crossover 5 kHz, 52 degrees: zero 1.7 kHz, pole 14.5 kHz, and the gain at rest."""
    given = {"f_crossover": 5e3, "lead_angle": np.radians(52)}
    zero, pole = value(compensation.lead_zero, **given), value(compensation.lead_pole, **given)
    assert (zero, pole) == (pytest.approx(1.72e3, abs=5), pytest.approx(14.52e3, abs=5))        # recomputed to four digits
    lead = value(compensation.lead_gain, f_lead_zero=zero, f_lead_pole=pole)
    # EM3's plant far above its double pole at 1 kHz, with 2.33 at rest: the lead's gain at rest that makes the loop one there
    assert (5e3 / 1e3) ** 2 / 2.33 / lead == pytest.approx(3.7, abs=0.05)       # two digits printed


CORNERS = {"f_integrator": 230.0, "f_first_zero": 610.0, "f_first_pole": 31e3, "f_lead_zero": 900.0, "f_lead_pole": 44e3}


def control_of(**corners):
    """The same compensator made of python-control's transfer functions."""
    w = {name: 2 * np.pi * f for name, f in corners.items()}
    made = control.tf([w["f_integrator"]], [1, 0])
    for zero, pole in (("f_first_zero", "f_first_pole"), ("f_lead_zero", "f_lead_pole")):
        if zero in w:
            made *= control.tf([1 / w[zero], 1], [1 / w[pole], 1])
    return made


@pytest.mark.parametrize(("kind", "names"), [("one_zero", tuple(CORNERS)[:3]), ("two_zero", tuple(CORNERS))])
def test_size_and_angle_against_control(kind, names):
    """Size and angle of both kinds over five decades; of the integrator alone too."""
    corners = {name: CORNERS[name] for name in names}
    f = np.logspace(0, 5, 60)
    response = control_of(**corners)(2j * np.pi * f)
    size, angle = (getattr(compensation, f"{kind}_{what}")().formula for what in ("size", "angle"))
    assert size(f=f, **corners) == pytest.approx(abs(response), rel=1e-9)
    del corners["f_integrator"]
    assert np.exp(1j * angle(f=f, **corners)) == pytest.approx(response / abs(response), abs=1e-9)
    assert value(compensation.integrator_size, f=50.0, f_integrator=100.0) == 2.0


def test_delay_phase():
    """A wave of 10 kHz that comes a quarter of its period late is turned back by a quarter of a turn."""
    assert value(compensation.delay_phase, f=1e4, delay=25e-6) == pytest.approx(-np.pi / 2, rel=1e-12)


def test_resolution_is_one_step_of_the_exact_output():
    """The exact circuit without loss: that step of the duty moves the mean output by one step of the reading."""
    stage = {"v_in": 6.0, "f_sw": 150e3, "inductance": 47e-6, "capacitance": 1e-3, "r_load": 30.0}
    step = value(compensation.resolution, adc_step=0.02, duty=0.6, v_in=6.0)
    low, high = (switched.steady_state(Converter.of(duty=duty, **stage)).output_voltage.mean for duty in (0.6 - step / 2, 0.6 + step / 2))
    assert high - low == pytest.approx(0.02, rel=1e-3)      # ripple bends the slopes a little


# --- the parts ---


def parts(seed):
    """Parts of a compensator at random, over the usual ranges."""
    chance = np.random.default_rng(seed)
    def spread(low, high):
        return float(np.exp(chance.uniform(np.log(low), np.log(high))))
    return {"r_top": spread(1e4, 1e6), "r_bottom": spread(1e3, 1e5), "r_zero": spread(1e3, 1e6), "c_zero": spread(1e-10, 1e-7),
            "c_pole": spread(1e-11, 1e-8), "r_lead": spread(100, 1e4), "c_lead": spread(1e-11, 1e-8),
            "transconductance": spread(1e-5, 5e-3)}      # fmt: skip


def corners_of(p, pole):
    """All corners of an amplifier by the kit's formulas; `pole` and `integrator` are those of its kind."""
    def ask(derivation):
        formula = derivation().formula
        return formula(**{q.name: p[q.name] for q in formula.inputs})
    kind = "op_amp" if pole is amplifiers.op_amp_lead_pole else "transconductor"
    return {"f_integrator": ask(getattr(amplifiers, f"{kind}_integrator")), "f_first_zero": ask(compensation_parts.network_zero),
            "f_first_pole": ask(compensation_parts.network_pole), "f_lead_zero": ask(amplifiers.op_amp_lead_zero), "f_lead_pole": ask(pole)}


def by_nodes(p, f, kind):
    """Kirchhoff's current law at every node, in complex numbers: control voltage for an error of one volt.

    Nodes: lead's middle, amplifier's input, network's middle, control voltage. The output swings by -1 V.
    """
    s = 2j * np.pi * f
    g_top, g_bottom, g_zero, g_lead = (1 / p[name] for name in ("r_top", "r_bottom", "r_zero", "r_lead"))
    y_lead, y_zero, y_pole = s * p["c_lead"], s * p["c_zero"], s * p["c_pole"]
    a, b = np.zeros((4, 4), complex), np.zeros(4, complex)
    a[0] = [g_lead + y_lead, -y_lead, 0, 0]
    b[0] = -g_lead
    if kind == "op_amp":        # the network lies between input and control; the input does not move, and takes no current
        a[1] = [0, 1, 0, 0]
        a[2] = [0, -g_zero, g_zero + y_zero, -y_zero]
        a[3] = [-y_lead, g_top + g_bottom + y_lead + g_zero + y_pole, -g_zero, -y_pole]     # the sum at the input
        b[3] = -g_top
    else:                       # the network lies between control and ground; the amplifier gives g_m (v_ref - input)
        a[1] = [-y_lead, g_top + g_bottom + y_lead, 0, 0]
        b[1] = -g_top
        a[2] = [0, 0, g_zero + y_zero, -g_zero]
        a[3] = [0, p["transconductance"], -g_zero, g_zero + y_pole]
    return np.linalg.solve(a, b)[3]


@pytest.mark.parametrize("kind", ["op_amp", "transconductor"])
def test_amplifiers_by_nodes(kind):
    """A hundred sets of parts at random: the corners by formula give the response that the nodes give."""
    pole = amplifiers.op_amp_lead_pole if kind == "op_amp" else amplifiers.transconductor_lead_pole
    for seed in range(100):
        p = parts(seed)
        made = control_of(**corners_of(p, pole))
        for f in (30.0, 1e3, 7e3, 90e3):
            assert made(2j * np.pi * f) == pytest.approx(by_nodes(p, f, kind), rel=1e-9)


def test_networks_by_impedances():
    """Network, top resistor with lead, and divider as impedances in rows and beside each other, in complex numbers."""
    f = np.logspace(1, 6, 11)
    s = 2j * np.pi * f
    for seed in range(20):
        p = parts(seed)
        row, beside = p["r_zero"] + 1 / (s * p["c_zero"]), 1 / (s * p["c_pole"])
        corners = corners_of(p, amplifiers.op_amp_lead_pole)
        for derivation in (compensation_parts.network_impedance, compensation_parts.network_in_corners):
            assert at(derivation, f, **p, **corners) == pytest.approx(row * beside / (row + beside), rel=1e-9)
        top = 1 / p["r_top"] + 1 / (p["r_lead"] + 1 / (s * p["c_lead"]))
        assert at(amplifiers.top_admittance, f, **p) == pytest.approx(top, rel=1e-9)
        assert at(amplifiers.divider_share, f, **p) == pytest.approx(p["r_bottom"] / (p["r_bottom"] + 1 / top), rel=1e-9)
        for kind in ("op_amp", "transconductor"):
            by_formula = at(getattr(amplifiers, kind), 3e3, **p, **corners)
            assert by_formula == pytest.approx(by_nodes(p, 3e3, kind), rel=1e-9)


@pytest.mark.parametrize("kind", ["op_amp", "transconductor"])
def test_sized_network_puts_the_corners_there(kind):
    """From corners to parts and back: the same corners."""
    corners = {**CORNERS, "f_lead_pole": 8e3} if kind == "transconductor" else CORNERS
    p = {"r_top": 140e3, "r_bottom": 10e3, "transconductance": 5e-4, **corners}
    for name, derivation in (("c_sum", f"{kind}_capacitance"), ("c_pole", "pole_capacitor"), ("c_zero", "zero_capacitor"),
                             ("r_zero", "zero_resistor"), ("c_lead", f"{kind}_lead_capacitor"), ("r_lead", f"{kind}_lead_resistor")):
        formula = getattr(sized_network, derivation)().formula
        p[name] = formula(**{q.name: p[q.name] for q in formula.inputs})
        assert p[name] > 0
    pole = amplifiers.op_amp_lead_pole if kind == "op_amp" else amplifiers.transconductor_lead_pole
    assert corners_of(p, pole) == pytest.approx(corners, rel=1e-9)


def test_divider_and_its_spread():
    """Twice the reference with two equal resistors; and no combination of parts in tolerance lies above the spread."""
    assert value(compensation_parts.divider, v_ref=2.5, r_top=1e4, r_bottom=1e4) == 5.0
    assert value(compensation_parts.divider_top, v_ref=2.5, v_set=5.0, r_bottom=1e4) == 1e4
    v_set = value(compensation_parts.divider, v_ref=1.2, r_top=140e3, r_bottom=10e3)
    ends = [1.2 * (1 + a * 0.02) * (1 + 140e3 * (1 + b * 0.01) / (10e3 * (1 + c * 0.01))) / v_set - 1
            for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)]
    spread = value(compensation_parts.divider_spread, tolerance_ref=0.02, tolerance_parts=0.01, v_ref=1.2, v_set=v_set)
    assert spread == pytest.approx(max(ends), rel=1e-12) and spread >= -min(ends)


# --- slips ---


SLIPS = [
    (second_order.quality_from_margin, 6, "loop_angle = pi/2 - atan(omega_crossover/omega_second)"),
    (second_order.quality_from_margin, 12, "quality_closed = sqrt(sin(phase_margin))/cos(phase_margin)"),
    (second_order.margin_from_quality, 2, "phase_margin = atan(sqrt((1 + sqrt(1 + 2*quality_closed**4))/(2*quality_closed**4)))"),
    (second_order.overshoot, 6, "overshoot_share = exp(-(2*pi*rate_settle/omega_settle))"),
    (injection.measured_loop, 11, "loop_measured = loop_gain*(1 + z_back/z_ahead) - z_back/z_ahead"),
    (compensation.lead_zero, 8, "f_lead_zero = f_crossover*sqrt((1 + sin(lead_angle))/(1 - sin(lead_angle)))"),
    (compensation.delay_phase, 2, "late_angle = 2*pi*f*delay"),
    (compensation_parts.network_impedance, 14, "z_net = (1 + s*r_zero*c_zero)/(s*(c_zero + c_pole)*(1 + s*r_zero*c_pole))"),
    (amplifiers.transconductor_integrator, 4, "rate_rest = transconductance*(r_top/(r_top + r_bottom))/(c_zero + c_pole)"),
    (sized_network.pole_capacitor, 7, "c_pole = c_sum*f_first_pole/f_first_zero"),
]


@pytest.mark.parametrize(("derivation", "number", "wrong"), SLIPS, ids=[f"{d.__name__}-{n}" for d, n, _ in SLIPS])
def test_slips_are_found(derivation, number, wrong):
    """Mistakes that one makes: each is found at its step."""
    with pytest.raises(ValueError, match=f"{derivation.__name__}, step {number} "):
        tampered(derivation(), number, wrong).verify()


def test_solving_what_is_no_polynomial():
    """An equation that only grows with the letter has one solution; one that turns back has more, and is refused."""
    zero_alone = ("lead_angle = atan(f/f_lead_zero)", assumption("a zero alone"))
    steps(zero_alone, ("f = f_lead_zero*sin(lead_angle)/cos(lead_angle)", solving("f"))).verify()
    refuses("does not make the two sides equal", zero_alone, ("f = f_lead_zero*sin(lead_angle)", solving("f")))
    refuses("cannot be counted", ("late = sin(late_angle)", definition()),
            ("late_angle = atan(late/sqrt(1 - late**2))", solving("late_angle")))

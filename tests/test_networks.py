"""Compensators, their networks of preferred values, and their arithmetic once a period: against nodal analysis and python-control."""

from itertools import product
from math import inf, pi

import control
import eseries
import numpy as np
import pytest

from boostkit.circuit.linear import Linear
from boostkit.control import sampled
from boostkit.control.compensator import Compensator
from boostkit.control.networks import Divider, op_amp, transconductance

F = np.geomspace(1.0, 1e6, 61)


def _random(rng, kinds=("integrator", "one zero", "two zeros"), spread=200.0) -> Compensator:
    kind = kinds[rng.integers(len(kinds))]
    count = ("integrator", "one zero", "two zeros").index(kind)
    zeros = tuple((10 ** rng.uniform(1.5, 3.5, count)).tolist())
    poles = tuple(max(zeros) * rng.uniform(2, spread) for _ in zeros) if zeros else ()
    if kind == "one zero" and rng.random() < 0.3:
        poles = ()
    return Compensator(kind, 10 ** rng.uniform(0, 4), zeros, poles)


def _solved(currents: list, nodes: int, knowns: list) -> np.ndarray:
    """Nodal analysis: `currents` are (node, node, admittance), node 0 is ground; `knowns` are rows and right sides that replace the
    balance of a node."""
    matrix, right = np.zeros((nodes, nodes), complex), np.zeros(nodes, complex)
    for one, two, y in currents:
        for a, b in ((one, two), (two, one)):
            matrix[a, a] += y
            matrix[a, b] -= y
    for node, row, value in knowns:
        matrix[node], right[node] = row, value
    return np.linalg.solve(matrix, right)


OUT, TAP, LEAD, AMP, MID = 1, 2, 3, 4, 5  # nodes: converter's output, divider's tap, inside the lead, amplifier's output, inside the row


def _row(*pairs) -> np.ndarray:
    row = np.zeros(6, complex)
    for node, value in pairs:
        row[node] = value
    return row


def _parts_between(s, parts, divider, far: int) -> list:
    """All resistors and capacitors; the network lies between the amplifier's output and `far`."""
    fitted = [(OUT, TAP, 1 / divider.top), (TAP, 0, 1 / divider.bottom)]
    lead, row = ("r_lead" in parts, "r_zero" in parts)  # a node that no resistor makes is tied to ground out of the way
    fitted.append((LEAD, TAP, 1 / parts["r_lead"]) if lead else (LEAD, 0, 1.0))
    fitted.append((AMP, MID, 1 / parts["r_zero"]) if row else (MID, 0, 1.0))
    fitted.append((OUT, LEAD if lead else TAP, s * parts.get("c_lead", 0.0)))
    fitted.append((MID if row else AMP, far, s * parts["c_zero"]))
    return [*fitted, (AMP, far, s * parts.get("c_pole", 0.0))]


def _by_nodes(network, f: float) -> complex:
    """Control voltage over the output's error, from Kirchhoff's current law at every node."""
    s, parts, divider = 2j * pi * f, dict(network.parts), network.divider
    fixed = [(0, _row((0, 1)), 0), (OUT, _row((OUT, 1)), -1.0)]  # an error of one is an output of minus one
    if network.topology == "op-amp":  # the amplifier moves its output until the tap stands still
        matrix = [*_parts_between(s, parts, divider, TAP)]
        return _solved(matrix, 6, [*fixed, (AMP, _row((TAP, 1)), 0)])[AMP]
    matrix = _parts_between(s, parts, divider, 0)
    free = np.zeros((6, 6), complex)
    for one, two, y in matrix:
        for a, b in ((one, two), (two, one)):
            free[a, a] += y
            free[a, b] -= y
    free[AMP, TAP] += network.gm  # it draws gm times the tap's rise out of its output
    return _solved([], 6, [*fixed, *((n, free[n], 0) for n in (TAP, LEAD, AMP, MID))])[AMP]


@pytest.mark.parametrize("seed", range(60))
def test_a_network_around_an_op_amp_does_what_it_says(seed):
    """The compensator of the snapped parts is what nodal analysis finds, at every frequency."""
    rng = np.random.default_rng(seed)
    network = op_amp(_random(rng), Divider(10 ** rng.uniform(4, 6), 10 ** rng.uniform(3, 5), 1.25))
    expected = np.array([_by_nodes(network, f) for f in F])
    assert network.compensator()(F) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("seed", range(60))
def test_a_network_at_a_transconductance_amplifier_does_what_it_says(seed):
    """The same with a transconductance amplifier, whose divider makes the second zero and its pole."""
    rng = np.random.default_rng(seed)
    divider = Divider(10 ** rng.uniform(4.5, 6), 10 ** rng.uniform(3, 4.3), 1.25)
    network = transconductance(_random(rng, spread=1 / divider.share), divider, 10 ** rng.uniform(-4, -2))
    expected = np.array([_by_nodes(network, f) for f in F])
    assert network.compensator()(F) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_parts_are_preferred_and_do_what_was_wanted(seed):
    """Every part is of its series (eseries, IEC 60063), and corners and gain come out within what the series can miss."""
    rng = np.random.default_rng(seed)
    wanted = _random(rng)
    network = op_amp(wanted, Divider(221e3, 16.5e3, 1.25))
    for name, value in network.parts.items():
        series = eseries.E96 if name[0] == "r" else eseries.E12
        assert value == pytest.approx(eseries.find_nearest(series, value), rel=1e-9)
    made = network.compensator()
    # E12 misses by 10.6 % at most, E96 by 1.2 %; a pole and a zero each depend on two or three parts
    assert made.f_integrator == pytest.approx(wanted.f_integrator, rel=0.13)
    assert sorted(made.zeros) == pytest.approx(sorted(wanted.zeros), rel=0.14)
    assert sorted(made.poles) == pytest.approx(sorted(wanted.poles), rel=0.4)  # a pole close to its zero moves with the sum


def test_the_gain_in_the_middle_is_set_by_resistors():
    """Between zero and pole an op-amp with one zero has the gain of resistor over resistor (an inverting amplifier)."""
    network = op_amp(Compensator("one zero", 100.0, (200.0,), (2e6,)), Divider(100e3, 10e3, 1.25))
    assert abs(complex(network.compensator()(2e4))) == pytest.approx(network.parts["r_zero"] / 100e3, rel=2e-3)  # two decades inside


def test_a_divider_sets_its_output():
    """18 V from a reference of 1.25 V: preferred resistors within 0.1 %, about the current asked for; and its spread."""
    divider = Divider.for_output(18.0, 1.25, current=100e-6)
    assert divider.v_set == pytest.approx(18.0, rel=1e-3)
    assert 50e-6 <= 1.25 / divider.bottom <= 200e-6
    high = max(1.25 * r * (1 + t * divider.top / (b * divider.bottom)) for r, t, b in product((0.98, 1.02), (0.99, 1.01), (0.99, 1.01)))
    assert divider.spread(resistors=0.01, reference=0.02) == pytest.approx(high / divider.v_set - 1)


def test_every_part_at_an_end_of_its_tolerance():
    """All combinations, each of them what the parts then do; the integrator strays by the product of what it hangs on."""
    network = op_amp(Compensator("two zeros", 30.0, (600.0, 700.0), (4e4, 5e4)), Divider(221e3, 16.5e3, 1.25))
    corners = network.corners(resistors=0.01, capacitors=0.1)
    assert len(corners) == 2**6
    rates = [c.f_integrator for c in corners.values()]
    assert max(rates) / network.compensator().f_integrator == pytest.approx(1 / (0.9 * 0.99))
    assert min(rates) / network.compensator().f_integrator == pytest.approx(1 / (1.1 * 1.01))
    name = "r_top- r_zero+ c_zero- c_pole- r_lead+ c_lead+"
    expected = network.compensator(r_top=0.99, r_zero=1.01, c_zero=0.9, c_pole=0.9, r_lead=1.01, c_lead=1.1)
    assert corners[name] == expected
    wide = transconductance(Compensator("one zero", 300.0, (600.0,), (4e4,)), Divider(221e3, 16.5e3, 1.25), 1e-3).corners(gm=0.3)
    assert len(wide) == 2**6 and max(c.f_integrator for c in wide.values()) > 1.3 * 300


def test_what_no_network_can_do_is_refused():
    """A divider that cannot set zero and pole so far apart, a pole below its zero, a pole for a bare integrator, an unknown part."""
    divider = Divider(100e3, 50e3, 5.0)
    with pytest.raises(ValueError, match="at most 3 times"):
        transconductance(Compensator("two zeros", 30.0, (600.0, 600.0), (6e3, 6e3)), divider, 1e-3)
    with pytest.raises(ValueError, match="must lie above its zero"):
        op_amp(Compensator("one zero", 30.0, (600.0,), (500.0,)), divider)
    with pytest.raises(ValueError, match="no pole of its own"):
        op_amp(Compensator("integrator", 30.0, (), (500.0,)), divider)
    with pytest.raises(ValueError, match="must be one of"):
        op_amp(Compensator("integrator", 30.0), divider).compensator(r_middle=1.1)
    with pytest.raises(ValueError, match="v_out"):
        Divider.for_output(1.0, 1.25)


@pytest.mark.parametrize("seed", range(100))
def test_a_compensator_against_python_control(seed):
    """Gain and phase of random compensators, as called and as a system with states."""
    wanted = _random(np.random.default_rng(seed))
    s = control.tf("s")
    theirs = 2 * pi * wanted.f_integrator / s
    for zero in wanted.zeros:
        theirs = theirs * (1 + s / (2 * pi * zero))
    for pole in wanted.poles:
        theirs = theirs / (1 + s / (2 * pi * pole))
    expected = theirs(2j * pi * F)
    assert wanted(F) == pytest.approx(expected, rel=1e-9) and wanted.linear()(F) == pytest.approx(expected, rel=1e-9)
    assert wanted.linear().n == 1 + len(wanted.poles)


def test_a_compensator_is_checked():
    """The kind says how many zeros there are; corners are above 0; gain cannot grow for ever."""
    for bad in (("lead", 1.0), ("one zero", 1.0), ("integrator", 1.0, (5.0,)), ("one zero", 1.0, (-5.0,)), ("one zero", 0.0, (5.0,)),
                ("two zeros", 1.0, (5.0, 6.0)), ("integrator", 1.0, (), (5.0, 6.0)), ("integrator", inf)):  # fmt: skip
        with pytest.raises(ValueError, match=r"kind|zeros|zero|poles|f_integrator"):
            Compensator(*bad)


@pytest.mark.parametrize("seed", range(100))
def test_a_sampled_compensator_against_python_control(seed):
    """The trapezoidal rule, prewarped, as python-control does it; and exact at the frequency it is prewarped for."""
    rng = np.random.default_rng(seed)
    wanted, f_sw, ramp = _random(rng), 10 ** rng.uniform(4.5, 6), rng.uniform(0.5, 3)
    exact = float(rng.uniform(0.001, 0.3) * f_sw)
    digital = sampled.sampled(wanted, f_sw, 18.0, ramp=ramp, prewarp=exact)
    one = wanted.linear()
    theirs = control.sample_system(control.ss(one.a, one.b[:, None], one.c[None], one.d), 1 / f_sw, "bilinear",
                                   prewarp_frequency=2 * pi * exact)  # fmt: skip
    f = f_sw * np.array([1e-3, 0.03, 0.2, 0.45])
    answer = sampled.response(digital, f_sw, duty=0.4)(f) * np.exp(2j * pi * f / f_sw * (1 + 0.4))  # its delays taken out
    assert answer == pytest.approx(np.array([complex(theirs(np.exp(2j * pi * x / f_sw))) for x in f]) / ramp, rel=1e-6)
    at = complex(sampled.response(digital, f_sw, duty=0.0)(exact)) * np.exp(2j * pi * exact / f_sw)
    assert at == pytest.approx(complex(wanted(exact)) / ramp, rel=1e-8)


def test_the_response_of_a_sampled_regulator_is_its_recursion():
    """Reckoned period by period on a sampled wave, as the data sheet of `Sampled` says: z+ = a z + b e, duty = c z + d e."""
    digital = sampled.sampled(Compensator("two zeros", 30.0, (600.0, 800.0), (2e4, 3e4)), 1e5, 18.0, prewarp=2e3, delay=2)
    turn, n = 2 * pi * 3e3 / 1e5, 4000
    wave = np.exp(1j * turn * np.arange(n))
    z, duty = np.zeros(3, complex), np.zeros(n, complex)
    for k in range(n):
        duty[k] = np.array(digital.c) @ z + digital.d * wave[k]
        z = np.array(digital.a) @ z + np.array(digital.b) * wave[k]
    steady = np.diff(duty[-2:])[0] / np.diff(wave[-2:])[0]  # what the integrator keeps from the start drops out
    assert sampled.response(digital, 1e5, duty=0.0)(3e3) * np.exp(2j * turn) == pytest.approx(steady, rel=1e-6)


def test_the_delay_of_a_sampled_regulator():
    """One period of reckoning and the closed time: at a tenth of the switching frequency 36 degrees and 36 D more."""
    digital = sampled.sampled(Compensator("integrator", 30.0), 1e5, 18.0)
    assert sampled.delay(digital, 1e5, 0.6) == pytest.approx(16e-6)
    now = sampled.sampled(Compensator("integrator", 30.0), 1e5, 18.0, delay=0)
    turned = np.angle(complex(sampled.response(digital, 1e5, 0.6)(1e4) / sampled.response(now, 1e5, 0.0)(1e4)), deg=True)
    assert turned == pytest.approx(-36 - 36 * 0.6)


def test_one_duty_step_moves_the_output_less_than_one_reading():
    """The worst corner is the one with the steepest gain, V_in/D'^2: by hand, and by the gain formula on both sides of a step."""
    step, corner = sampled.duty_step(0.02, {"low": (5.5, 1 - 5.5 / 18), "high": (7.2, 1 - 7.2 / 18)})
    assert corner == "low"
    d = 1 - 5.5 / 18
    assert 5.5 / (1 - d - step) - 5.5 / (1 - d) == pytest.approx(0.02, rel=0.01)  # the gain curves a little within the step
    with pytest.raises(ValueError, match="adc_step"):
        sampled.duty_step(0.0, {"low": (5.5, 0.6)})


def test_a_plain_gain_is_no_compensator():
    """A compensator always has its integrator: its gain at rest is without limit."""
    assert Compensator("one zero", 10.0, (100.0,)).linear().dc == inf
    assert Linear.constant(2.0).dc == 2.0

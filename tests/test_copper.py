"""Copper: standards and handbook values, and the layers' losses against the diffusion equation solved by numbers.

EM3: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 3rd ed., Springer, 2020; equations and examples as quoted,
the printed page not seen.
"""

import numpy as np
import pytest
from scipy.integrate import dblquad, solve_ivp
from scipy.linalg import solve_banded
from scipy.optimize import minimize_scalar

from boostkit.algebra import known
from boostkit.derivations import copper, layers

RESISTIVITY = copper.resistivity_at().formula
DIAMETER = copper.wire_diameter().formula
DEPTH = copper.skin_depth().formula
FACTOR = layers.layer_factor().formula


# --- the metal ---


def test_copper_of_the_standard():
    """IEC 60028 (from memory): 1/58 ohm mm2/m at 20 °C, 0.00393 per kelvin; EM3 p. 426: 1.724e-6 ohm cm, and 2.3e-6 at 100 °C."""
    assert RESISTIVITY(temperature=20.0) == pytest.approx(1 / 58e6, rel=1e-12)
    assert RESISTIVITY(temperature=20.0) == pytest.approx(1.724e-8, abs=0.0005e-8)  # printed with four digits
    assert RESISTIVITY(temperature=100.0) == pytest.approx(2.3e-8, abs=0.05e-8)  # printed with two digits
    assert RESISTIVITY(temperature=45.0) / RESISTIVITY(temperature=20.0) == pytest.approx(1 + 25 * 0.00393, rel=1e-12)


@pytest.mark.parametrize(("gauge", "millimetres"), [(10, 2.588), (14, 1.628), (18, 1.0237), (24, 0.5106), (36, 0.1270)])
def test_wire_diameters(gauge, millimetres):
    """ASTM B258, as a table (read)."""
    assert DIAMETER(gauge=gauge) * 1e3 == pytest.approx(millimetres, abs=0.0005)  # printed to 1 µm or finer


@pytest.mark.parametrize(("gauge", "ohms"), [(10, 3.28), (18, 20.94), (20, 33.29), (24, 84.20), (30, 338.5), (40, 3440.0)])
def test_wire_resistances(gauge, ohms):
    """Ohm per km at 20 °C from the same table (read)."""
    area = np.pi / 4 * DIAMETER(gauge=gauge) ** 2
    assert 1e3 * RESISTIVITY(temperature=20.0) / area == pytest.approx(ohms, rel=1e-3)  # three or four digits printed


def test_wire_numbers():
    """Number 0000 is 0.46 inch, three numbers double the cross-section to within 0.3 %, and arrays broadcast."""
    assert DIAMETER(gauge=-3.0) == pytest.approx(0.46 * 25.4e-3, rel=5e-5)  # 92 times 0.005 inch, exactly
    assert (DIAMETER(gauge=np.array([17, 27])) / DIAMETER(gauge=np.array([20, 30]))) ** 2 == pytest.approx(2, rel=0.003)


def test_skin_depth_published():
    """8.5 mm at 60 Hz and room temperature (encyclopedia, read); 7.5/sqrt(f) cm at 100 °C (EM3 eq. 10.62); 0.209 mm at 100 kHz, 20 °C."""
    assert DEPTH(resistivity=1 / 58e6, f_sw=60.0) == pytest.approx(8.5e-3, abs=0.05e-3)  # two digits printed
    assert DEPTH(resistivity=2.3e-8, f_sw=1e4) == pytest.approx(7.5e-2 / 100, rel=0.02)  # the book's constant is low by 1 to 2 %
    assert DEPTH(resistivity=1 / 58e6, f_sw=1e5) == pytest.approx(0.2090e-3, abs=0.00005e-3)


# --- layers, against the diffusion equation ---


def sheet_loss(p, below, above):
    """Loss of a sheet of thickness p skin depths with these fields at its faces, by numbers: H'' = 2j H, J = H', mean |J|^2.

    In units of the skin depth; a direct current that makes a field step of one has the mean loss 1/p^2.
    """
    def slope(_, state):
        return [state[1], 2j * state[0], state[3], 2j * state[2]]

    nodes, weights = np.polynomial.legendre.leggauss(60)
    places = (nodes + 1) * p / 2
    found = solve_ivp(slope, (0, p), np.array([1, 0, 0, 1], complex), method="DOP853", t_eval=[*places, p], rtol=1e-11, atol=1e-13).y
    from_below = (above - below * found[0, -1]) / found[2, -1]          # the slope at the lower face that meets the upper field
    density = below * found[1, :-1] + from_below * found[3, :-1]
    return weights @ np.abs(density) ** 2 / 2


@pytest.mark.parametrize("p", [0.05, 0.5, 1.0, 2.0, 5.0])
def test_dowell_is_the_diffusion_equation(p):
    """Layer by layer, the losses of the diffusion equation add up to the formula."""
    for count in (1, 2, 3, 6):
        mean = np.mean([sheet_loss(p, m - 1, m) for m in range(1, count + 1)])
        assert FACTOR(penetration=p, layers=count) == pytest.approx(mean * p**2, rel=1e-7)  # the solver's own tolerance


@pytest.mark.parametrize("p", [0.1, 1.0, 4.0])
def test_the_two_parts_of_a_layers_loss(p):
    """Own field: opposite at the faces. Outer field: the same at both faces. Each alone is its formula, and they add."""
    own = sheet_loss(p, -0.5, 0.5) * p**2
    near = sheet_loss(p, 0.5, 0.5) * p**2
    assert layers.own_field().formula(penetration=p) == pytest.approx(own, rel=1e-7)
    assert layers.neighbour_field().formula(penetration=p) == pytest.approx(near, rel=1e-7)
    assert sheet_loss(p, 1, 2) * p**2 == pytest.approx(own + 9 * near, rel=1e-7)


def test_skin_depth_is_the_diffusion_equation():
    """In copper ten skin depths thick, the field of the diffusion equation has fallen to 1/e at one."""
    resistivity, frequency, mu = 2e-8, 1e5, 4e-7 * np.pi
    depth = DEPTH(resistivity=resistivity, f_sw=frequency)
    count = 4001
    x = np.linspace(0, 10 * depth, count)
    inner = -2 - 1j * 2 * np.pi * frequency * mu / resistivity * (x[1] - x[0]) ** 2
    matrix = np.zeros((3, count), complex)
    matrix[0, 2:], matrix[1], matrix[2, :-2] = 1, inner, 1
    matrix[1, 0] = matrix[1, -1] = 1
    field = np.abs(solve_banded((1, 1), matrix, np.eye(1, count)[0]))
    assert np.interp(depth, x, field) == pytest.approx(np.exp(-1), rel=1e-4)  # second order in steps of 1/400, far end at e^-10


def test_mean_of_odd_squares():
    """(4 n^2 - 1)/3 is the mean of the first n odd squares, as the derivation says."""
    step = next(s for s in layers.layer_factor().steps if s.equation.lhs.name == "odd_squares")
    for count in range(1, 20):
        claimed = float(step.equation.rhs.subs(known("layers").symbol, count))
        assert claimed == pytest.approx(np.mean([(2 * m - 1) ** 2 for m in range(1, count + 1)]), rel=1e-12)


# --- published values ---


def test_dowell_published():
    """EM3 eq. 10.84-10.88 evaluated at h = delta, and the same in its own form, p [G1 + (2/3)(M^2 - 1)(G1 - 2 G2)]."""
    for count, factor in ((1, 1.0856), (2, 1.4060), (3, 1.9399), (5, 3.6486), (10, 11.658)):
        assert FACTOR(penetration=1.0, layers=count) == pytest.approx(factor, rel=5e-5)  # five digits
    p, m = np.meshgrid([0.2, 1.0, 3.0], [1.0, 2.0, 7.0])
    bottom = np.cosh(2 * p) - np.cos(2 * p)
    g1 = (np.sinh(2 * p) + np.sin(2 * p)) / bottom
    g2 = (np.sinh(p) * np.cos(p) + np.cosh(p) * np.sin(p)) / bottom
    book = p * (g1 + 2 / 3 * (m**2 - 1) * (g1 - 2 * g2))
    assert FACTOR(penetration=p, layers=m) == pytest.approx(book, rel=1e-9)  # cancellation at 0.2


def test_thick_layers():
    """EM3 eq. 10.69: 5, 15, 31.67 at p = 5; within 1 % of the full expression there, within 10 % from p = 3 on."""
    thick = layers.thick_layers().formula
    for count, factor in ((1, 5.0), (2, 15.0), (3, 31.667)):
        assert thick(penetration=5.0, layers=count) == pytest.approx(factor, rel=2e-5)
        assert FACTOR(penetration=5.0, layers=count) == pytest.approx(factor, rel=0.01)  # as the data sheet says
    for p, allowed in ((3.0, 0.10), (3.5, 0.10), (4.0, 0.10), (5.0, 0.01), (7.0, 0.01), (20.0, 0.01)):
        for count in (1, 2, 10):
            assert abs(thick(penetration=p, layers=count) / FACTOR(penetration=p, layers=count) - 1) <= allowed
    assert not layers.thick_layers().formula.holds(penetration=2.9, layers=2)


def test_thin_layers():
    """W. G. Hurley et al. (2000), from memory: 1.00556, 1.06111, 1.69306 at p = 0.5; the data sheet's errors hold."""
    thin = layers.thin_layers().formula
    for count, factor in ((1, 1.00556), (3, 1.06111), (10, 1.69306)):
        assert thin(penetration=0.5, layers=count) == pytest.approx(factor, abs=5e-6)
    for p, allowed in ((0.5, 0.0035), (1.0, 0.045)):       # "0.3 %" and "4 %" rounded
        for count in (1, 3, 10):
            extra = [f(penetration=p, layers=count) - 1 for f in (thin, FACTOR)]
            assert 0 < extra[0] / extra[1] - 1 < allowed


def test_best_thickness():
    """EM3 sec. 10.4.6: one layer, pi/2, F_R/p = 0.9172. Several: F_R tends to 4/3; p 0.770 and 0.417 for 3 and 10 layers by numbers."""
    def least(count):
        return minimize_scalar(lambda p: FACTOR(penetration=p, layers=count) / p, bounds=(0.05, 3), method="bounded",
                               options={"xatol": 1e-9})

    assert least(1).x == pytest.approx(copper.best_single_layer().formula(), abs=1e-6)      # flat: half the digits
    assert least(1).fun == pytest.approx(0.9172, abs=5e-5)
    for count, p, factor in ((3, 0.770, 1.340), (10, 0.417, 1.334)):
        found = least(count)
        assert (found.x, found.x * found.fun) == pytest.approx((p, factor), abs=6e-4)
    assert copper.best_factor().formula() == pytest.approx(4 / 3, rel=1e-15)
    for count, allowed in ((2, 0.025), (3, 0.01), (4, 0.01), (10, 0.01)):
        assert 0 < 1 - copper.best_thickness().formula(layers=count) / least(count).x < allowed


# --- round and stranded wire ---


def test_one_strand_is_a_solid_wire():
    """With a single strand the formula for stranded wire is that of layers."""
    p = np.array([0.2, 1.0, 3.0])
    assert copper.stranded_factor().formula(penetration=p, turn_layers=3.0, strands=1.0) == pytest.approx(
        FACTOR(penetration=p, layers=3.0), rel=1e-12)


def test_thin_strands_against_a_cylinder_in_a_field():
    """Many thin strands: squares stand in for round wire, and lose pi/3 of what cylinders in an even field do (5 % more).

    A cylinder thin against the skin depth: the field B drives J = omega B x/rho across it, integrated here by numbers.
    """
    across = 4 * dblquad(lambda y, x: x**2, 0, 0.5, 0, lambda x: np.sqrt(0.25 - x**2))[0]       # integral of x^2 over a unit circle
    d, depth, filled, count = 1.0, 20.0, 0.7, 400.0
    pitch = np.sqrt(np.pi) / 2 * d / filled                 # width of the layer for each strand
    field = (2 * count / pitch / 2)                         # rms of (2m-1)/2 currents over the pitch; many layers: n/sqrt(3)
    outer = field / np.sqrt(3)
    extra = (2 / depth**2 * outer) ** 2 * across * d**4 * (np.pi / 4 * d**2)       # over that of unit direct current
    p = copper.round_penetration().formula(wire_diameter=d, skin_depth=depth, layer_fill=filled)
    found = copper.stranded_factor().formula(penetration=p, turn_layers=count / 20, strands=400.0) - 1
    assert found / extra == pytest.approx(np.pi / 3, rel=1e-3)  # terms of order p^2 and 1/n^2


def test_strands_help_only_when_thin():
    """The same copper in more strands: 100 strands of a tenth of the diameter lose less at 100 kHz, and more at 5 MHz."""
    def factor(frequency, strands):
        depth = DEPTH(resistivity=RESISTIVITY(temperature=20.0), f_sw=frequency)
        p = copper.round_penetration().formula(wire_diameter=1e-3 / np.sqrt(strands), skin_depth=depth, layer_fill=0.8)
        return copper.stranded_factor().formula(penetration=p, turn_layers=2.0, strands=strands)

    assert factor(1e5, 100.0) < 2 < factor(1e5, 1.0)
    assert factor(5e6, 100.0) > factor(5e6, 1.0)


def test_too_thick_is_refused():
    """Beyond 300 skin depths the hyperbolic functions would run over; the error points to the thick form."""
    with pytest.raises(ValueError, match="thick_layers"):
        FACTOR(penetration=301.0, layers=1.0)
    assert FACTOR(penetration=300.0, layers=2.0) == pytest.approx(900.0, rel=1e-9)

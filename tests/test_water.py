"""Water in a pipe: the travelling wave against handbook values, conservation laws and equations integrated a second time."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from boostkit.water import Closing, Pipe, linear_fall, linear_opening, rigid_column, sudden, surge
from boostkit.water.pipe import VAPOUR

FILE = Path(__file__).parent.parent / "workbooks" / "water.toml"
ROUNDING = 1e-11  # thousands of additions of doubles
HIGH = 1e8  # Pa, a tank high enough for no column to tear


def pipe(**changes) -> Pipe:
    """A steel pipe, 300 m long, without friction."""
    values = {"length": 300.0, "diameter": 0.1, "wall": 0.004, "modulus": 2e11, "density": 1000.0, "bulk_modulus": 2.2e9}
    return Pipe.from_dict(values | changes)


def rigid(speed: float, **changes) -> Pipe:
    """A rigid pipe with this wave speed."""
    return Pipe.from_dict({"length": 2500.0, "diameter": 0.2, "density": 1000.0, "bulk_modulus": 1000.0 * speed**2} | changes)


# --- handbook values ---


def test_joukowsky_of_a_handbook():
    """G7: 1000 kg/m³, 1200 m/s and 10 m/s make 12 MPa (handbook formula, inputs ours)."""
    assert surge(rigid(1200.0), HIGH, 10.0, sudden()).peak_rise == pytest.approx(12e6, rel=ROUNDING)


def test_sudden_stop_in_a_rigid_pipe():
    """G8: K = 19.62e8 Pa and 1.5 m/s make 210.1 N/cm² (Bansal, from memory); the book prints four digits."""
    found = surge(rigid(1.0, bulk_modulus=19.62e8), HIGH, 1.5, sudden()).peak_rise
    assert found / 1e4 == pytest.approx(210.1, abs=0.05)


def test_slow_closure_of_a_handbook():
    """G9: 2500 m, 1.5 m/s, 25 s make 15 N/cm² (Bansal, from memory). That is the rigid column; the wave's peak is twice that,
    and its mean a little off, because 25 s is no multiple of the return time of 3.42 s."""
    column = rigid_column(rigid(1460.0), HIGH, 1.5, linear_fall(25.0))
    assert column.pressure - column.initial_pressure == pytest.approx(15e4, rel=1e-9)  # HIGH is 700 times the rise
    wave = surge(rigid(1460.0), HIGH, 1.5, linear_fall(25.0))
    assert wave.peak_rise == pytest.approx(30e4, rel=1e-9)
    assert wave.mean_rise == pytest.approx(15e4 * mean_share(25.0 / rigid(1460.0).return_time), rel=1e-3)  # 25 s is off the grid


def test_wave_speed_of_an_elastic_pipe():
    """G11 and G12: Wylie & Streeter's form gives 1054.09 m/s and 2l/a = 6.641 s (recomputed; the book's own answer is not used)."""
    p = Pipe.from_dict({"length": 3500, "diameter": 0.8, "wall": 0.01, "modulus": 2e11, "density": 1000, "bulk_modulus": 2e9})
    assert p.wave_speed == pytest.approx(1054.09, abs=0.005)
    assert p.return_time == pytest.approx(6.641, abs=5e-4)
    assert 0.75 / p.area == pytest.approx(1.49208, abs=5e-6)
    assert surge(p, HIGH, 0.75 / p.area, sudden()).peak_rise == pytest.approx(1572.8e3, abs=50)


def test_sound_and_boiling_of_water():
    """G1 and G6: IAPWS gives water's sound speed from density and bulk modulus, and the pressure at which it boils at 20 °C."""
    iapws = pytest.importorskip("iapws")
    water = iapws.IAPWS95(T=293.15, P=0.101325)
    assert rigid(1.0, density=water.rho, bulk_modulus=2.1934e9).wave_speed == pytest.approx(1482.35, abs=0.05)  # K has 5 digits
    boiling = VAPOUR + 101325
    assert boiling == pytest.approx(iapws.IAPWS95(T=293.15, x=0).P * 1e6, abs=1)


def test_lumped_quantities_belong_to_the_wave():
    """Inertance and compliance: their root quotient is the wave's impedance, their root product its time along the pipe."""
    p = pipe()
    assert math.sqrt(p.inertance / p.compliance) == pytest.approx(p.impedance, rel=ROUNDING)
    assert math.sqrt(p.inertance * p.compliance) == pytest.approx(p.return_time / 2, rel=ROUNDING)
    volume = p.area * p.length  # squeezed water and stretched wall, thin-wall hoop strain p D/(2 E t) on the radius
    squeezed, stretched = volume / p.bulk_modulus, volume * p.diameter / (p.modulus * p.wall)
    assert p.compliance == pytest.approx(squeezed + stretched, rel=ROUNDING)


# --- without friction: exact ---


@pytest.mark.parametrize("cells", [2, 7, 100])
def test_a_sudden_valve_makes_a_square_wave(cells):
    """ρ a v up, one return time later as much down, for ever; anywhere on the pipe the front arrives on time."""
    p = pipe()
    s = surge(p, HIGH, 1.3, sudden(), 8 * p.return_time, cells)
    push = p.density * p.wave_speed * 1.3
    turn = (np.arange(s.times.size) // (2 * cells)) % 2
    assert s.at_valve - HIGH == pytest.approx(np.where(turn, -push, push), abs=ROUNDING * HIGH)
    for k, place in enumerate(s.places[1:], 1):
        first = s.times[np.nonzero(s.pressure[:, k] > HIGH + push / 2)[0][0]]
        assert first == pytest.approx((p.length - place) / p.wave_speed, abs=1e-9 * p.return_time)


@pytest.mark.parametrize("multiple", [1, 2, 3, 8, 25])
def test_mean_and_peak_of_an_even_fall(multiple):
    """A velocity that falls evenly over a multiple of the return time: the mean rise is ρ l v/T, the peak exactly twice that,
    reached first after one return time."""
    p = pipe()
    time = multiple * p.return_time
    s = surge(p, HIGH, 2.0, linear_fall(time), None, 40)
    column = p.density * p.length * 2.0 / time
    assert s.mean_rise == pytest.approx(column, rel=1e-9)  # HIGH is up to 4000 times the rise
    assert s.peak_rise == pytest.approx(2 * column, rel=1e-9)
    assert s.at_valve[80] - HIGH == pytest.approx(2 * column, rel=1e-9) and s.times[80] == pytest.approx(p.return_time)


def mean_share(x: float) -> float:
    """Mean rise over ρ l v/T for a fall over x return times: the mean of a triangle wave between 0 and 2 that begins at 0."""
    whole, part = divmod(x, 1)
    return (whole + (part**2 if whole % 2 == 0 else 2 * part - part**2)) / x


def test_off_the_multiples_the_mean_is_another():
    """Between the multiples the mean is off: by up to +17 % at √2 return times (4 - 2√2) and by -10 % at √6
    (2√6 - 4), ever less beyond; the peak stays twice the column's."""
    p = pipe()
    column = p.density * p.length * 2.0 / p.return_time
    for x in (1.1, math.sqrt(2), 1.9, 2.2, math.sqrt(6), 3.7, 10.5):
        s = surge(p, HIGH, 2.0, linear_fall(x * p.return_time), None, 500)
        assert s.mean_rise == pytest.approx(column / x * mean_share(x), rel=1e-5)  # the last step ends inside a cell of time
        assert s.peak_rise == pytest.approx(2 * column / x, rel=1e-9)
    assert mean_share(math.sqrt(2)) == pytest.approx(4 - 2 * math.sqrt(2))
    assert mean_share(math.sqrt(6)) == pytest.approx(2 * math.sqrt(6) - 4)
    shares = np.array([mean_share(x) for x in np.linspace(1, 40, 40001)])
    assert shares.max() == pytest.approx(mean_share(math.sqrt(2)), abs=1e-6)
    assert shares.min() == pytest.approx(mean_share(math.sqrt(6)), abs=1e-6)


@pytest.mark.parametrize("curve", [lambda x: 1 - x, lambda x: 1 - x**2, lambda x: np.cos(np.pi * x / 2), lambda x: (1 - x) ** 3],
                         ids=["even", "late", "cosine", "early"])  # fmt: skip
def test_a_rapid_closure_reaches_the_full_rise(curve):
    """Shut within the return time, however: the peak is ρ a v. A little slower, and it is less."""
    p = pipe()
    push = p.density * p.wave_speed * 1.5
    for share in (0.2, 0.7, 1.0):
        assert surge(p, HIGH, 1.5, Closing(share * p.return_time, curve)).peak_rise == pytest.approx(push, rel=1e-9)
    assert surge(p, HIGH, 1.5, Closing(2 * p.return_time, curve)).peak_rise < 0.99 * push


def test_energy_is_kept_without_friction():
    """Once the valve is shut, motion and squeezing exchange their energy and lose none."""
    p = pipe()
    s = surge(p, HIGH, 1.5, Closing(1.3 * p.return_time, lambda x: np.cos(np.pi * x / 2) ** 2), 20 * p.return_time, 50)
    density = p.density * s.velocity**2 / 2 + (s.pressure - HIGH) ** 2 / (2 * p.density * p.wave_speed**2)
    energy = p.area * np.trapezoid(density, s.places, axis=1)
    shut = energy[s.times > s.closing.time + 1e-9]
    assert shut == pytest.approx(np.full(shut.size, shut[0]), rel=1e-9)  # excess pressure is a hundredth of HIGH
    assert shut[0] > 0.1 * p.area * p.length * p.density * 1.5**2 / 2


@pytest.mark.parametrize("ratio", [2.0, 6.5, 20.0])
def test_an_orifice_follows_allievis_chain(ratio):
    """A valve whose opening falls evenly: heads one return time apart obey Allievi's interlocking equations,
    ζ_i² + ζ_(i-1)² - 2 = 2 r (τ_(i-1) ζ_(i-1) - τ_i ζ_i), r = ρ a v/(2 p) (Allievi 1913, from memory)."""
    p = pipe()
    tank, v, n = 5e5, 0.6, 30
    s = surge(p, tank, v, linear_opening(ratio * p.return_time), (ratio + 3) * p.return_time, n)
    r, zeta = p.density * p.wave_speed * v / (2 * tank), 1.0
    tau = linear_opening(ratio).left(np.arange(int(ratio) + 4))
    for i in range(1, int(ratio) + 3):
        b, c = r * tau[i], 2 * r * tau[i - 1] * zeta - zeta**2 + 2
        if c <= 0:
            break  # the orifice would draw air
        zeta = -b + math.sqrt(b * b + c)
        assert s.at_valve[i * 2 * n] == pytest.approx(tank * zeta**2, rel=1e-9)
    assert i > ratio


@pytest.mark.parametrize("friction", [0.0, 0.05])
@pytest.mark.parametrize("close", [linear_fall, linear_opening])
def test_a_slow_closure_approaches_the_rigid_column(friction, close):
    """The slower the closure, the nearer the wave's mean course to the rigid column's; without waves it is the column."""
    p, tank, v = pipe(friction=friction), 6e5, 1.0
    closing = close(200 * p.return_time)
    column, wave = rigid_column(p, tank, v, closing), surge(p, tank, v, closing, None, 10)
    smooth = np.convolve(wave.at_valve, np.ones(40) / 40, "same")[100:-200]  # over two return times: one swing of the wave
    times = wave.times[100:-200]
    there = np.interp(times, column.times, column.pressure)
    size = column.peak_rise
    assert np.abs(smooth - there)[times < closing.time - 3 * p.return_time].max() < 0.02 * size
    flow = np.interp(wave.times, column.times, column.velocity)
    assert np.abs(wave.velocity_at_valve - flow).max() < 0.02 * v


def test_the_rigid_column_behind_an_orifice_is_newtons():
    """ρ l dv/dt = tank - friction - valve, integrated a second time."""
    p, tank, v, time = pipe(friction=0.03), 4e5, 1.2, 10.0
    found = rigid_column(p, tank, v, linear_opening(time), 4000)
    loss = p.friction * p.length / p.diameter * p.density / 2
    start = tank - loss * v * v

    def rate(t, x):
        return [(tank - loss * x[0] ** 2 - start * (x[0] / (v * (1 - t / time))) ** 2) / (p.density * p.length)]

    run = solve_ivp(rate, (0, 0.98 * time), [v], "Radau", rtol=1e-10, atol=1e-12, dense_output=True)
    inside = found.times < 0.98 * time
    assert found.velocity[inside] == pytest.approx(run.sol(found.times[inside])[0], abs=2e-6 * v)  # second order, 4000 steps
    assert found.initial_pressure == pytest.approx(start)


@pytest.mark.parametrize("samples", [100, 4000])
@pytest.mark.parametrize(("time", "fall"), [(0.05, 2.0), (0.05, 3.3), (5.0, 1.37), (5.0, 1.0)])
def test_a_valve_that_is_shut_before_the_end(time, fall, samples):
    """At the instant of shutting start y² = tank + ρ l v y/T (Newton's law where the opening vanishes evenly); then rest."""
    p, tank = pipe(), 2e5
    found = rigid_column(p, tank, 1.0, Closing(time, lambda s: np.clip(1 - fall * s, 0, 1), "opening"), samples)
    push = p.density * p.length * fall / time
    y = (push + math.sqrt(push**2 + 4 * tank**2)) / (2 * tank)
    assert found.pressure.dtype == float
    assert found.pressure.max() == pytest.approx(tank * y * y, rel=1e-6)  # the instant is found to 1e-12 of the closing
    if fall > 1:
        after = found.times >= time / fall * (1 + 1e-9)
        assert after.any() and np.all(found.pressure[after] == tank) and np.all(found.velocity[after] == 0)
        assert np.all(found.pressure[-2:] == tank)


def test_a_valve_that_is_left_a_crack_open_does_not_make_a_zigzag():
    """Behind an opening of a millionth the flow follows at once: the pressure goes to the tank's and stays."""
    found = rigid_column(pipe(), 2e5, 1.0, Closing(5.0, lambda s: np.clip(1 - 2 * s, 1e-6, 1), "opening"))
    assert found.pressure[found.times > 2.6] == pytest.approx(2e5, rel=1e-6)


# --- with friction ---


def test_a_steady_flow_stays_steady():
    """A valve that is left alone keeps flow and pressure line, to rounding, whatever the grid."""
    p = pipe(friction=0.03)
    for cells in (3, 40):
        for by in ("velocity", "opening"):
            s = surge(p, 8e5, 1.1, Closing(p.return_time, lambda x: 1 + 0 * x, by), 6 * p.return_time, cells)
            assert s.velocity == pytest.approx(np.full(s.velocity.shape, 1.1), rel=ROUNDING)
            assert s.pressure == pytest.approx(np.tile(s.pressure[0], (s.times.size, 1)), rel=ROUNDING)
    assert s.initial_pressure == pytest.approx(8e5 - 0.03 * 3000 * 1000 * 1.1**2 / 2)


def test_friction_is_second_order():
    """With a smooth closure half the cell leaves a quarter of the error."""
    p = pipe(friction=0.04)
    closing = Closing(1.5 * p.return_time, lambda x: np.cos(np.pi * x / 2) ** 2)
    ends = [surge(p, HIGH, 2.0, closing, 3 * p.return_time, cells).at_valve for cells in (16, 32, 64, 128)]
    courses = [end[:: 2**k] for k, end in enumerate(ends)]
    errors = [np.abs(course - courses[-1]).max() for course in courses[:-1]]
    assert 3 < errors[0] / errors[1] < 6 and 3 < errors[1] / errors[2] < 6  # 4, and 5 for the last, its reference being finite


def test_friction_packs_the_line():
    """Behind the front the pressure goes on rising, to first order by half the friction of the stretch that the wave has run:
    over one return time by as much as friction took along the pipe before."""
    p = pipe(friction=0.002)
    s = surge(p, HIGH, 1.0, sudden(), 0.999 * p.return_time, 200)
    lost = p.friction_drop(1.0)
    packed = s.at_valve - s.at_valve[0]
    expected = lost * s.times / p.return_time
    assert packed[1:400] == pytest.approx(expected[1:400], abs=0.01 * lost)  # next order: lost over the full rise, 0.002
    assert np.all(np.diff(packed[:400]) > 0)
    assert s.at_valve[0] - s.initial_pressure == pytest.approx(p.density * p.wave_speed * 1.0, rel=1e-9)


def test_friction_takes_energy():
    """With friction the ringing dies down."""
    p = pipe(friction=0.05)
    s = surge(p, HIGH, 2.0, sudden(), 20 * p.return_time, 50)
    early, late = s.at_valve[: 200], s.at_valve[-400:]
    assert np.ptp(late) < 0.8 * 2 * (early.max() - HIGH)


def test_even_resistance_makes_the_same_heat():
    """Over an even rise of the flow the resistance turns as much work into heat as the square law."""
    p, top = pipe(friction=0.03), 0.004
    q = np.linspace(0, top, 20001)
    square = np.trapezoid([p.friction_drop(x / p.area) * x for x in q.tolist()], q)
    assert np.trapezoid(p.even_resistance(top) * q * q, q) == pytest.approx(square, rel=1e-8)  # trapezoidal rule
    assert pipe().even_resistance(top) == 0


# --- what it must not hide ---


def test_a_torn_column_is_said():
    """A sudden stop in a pipe with little pressure lets the water boil when the wave comes back: said, with the time."""
    p = pipe()
    low = surge(p, 2e5, 1.0, sudden(), 2 * p.return_time, 50)
    assert low.separates == pytest.approx(p.return_time)  # at the valve, when the wave has come back as a fall
    assert surge(p, HIGH, 1.0, sudden(), 2 * p.return_time, 50).separates is None
    edge = p.density * p.wave_speed + VAPOUR  # the fall just reaches boiling
    assert surge(p, edge * 1.0001, 1.0, sudden(), 2 * p.return_time, 50).separates is None
    assert surge(p, edge * 0.9999, 1.0, sudden(), 2 * p.return_time, 50).separates is not None


@pytest.mark.parametrize(("call", "text"), [
    (lambda: surge(pipe(), 1e5, -1, sudden()), "velocity = -1 m/s"),
    (lambda: surge(pipe(), 1e5, 500, sudden()), "velocity = 500 m/s .*far slower"),
    (lambda: surge(pipe(), 1e5, 1, linear_fall(2), 1.0), "duration = 1 s .*closure itself"),
    (lambda: surge(pipe(), 1e5, 1, linear_fall(2), cells=1), "cells = 1 must be a whole number"),
    (lambda: surge(pipe(), 1e5, 1, linear_fall(2), 1e5), "cells = 100 .*fewer cells"),
    (lambda: surge(pipe(friction=0.1), 1e5, 1, linear_opening(2)), "velocity = 1 m/s must leave pressure"),
    (lambda: surge(pipe(friction=0.1), 1e5, 2, linear_fall(2)), "velocity = 2 m/s must leave the water in one piece"),
    (lambda: surge(pipe(), -2e5, 1, sudden()), "pressure = -200 kPa"),
    (lambda: rigid_column(pipe(), 1e5, 1, sudden()), "time = 0 s .*stopped at once"),
    (lambda: rigid_column(pipe(), 1e5, 1, Closing(5.0, lambda s: np.where(s < 0.5, 1, 0), "opening")), "curve = 1 to 0 at 2.5 s .*at once"),
    (lambda: rigid_column(pipe(), 1e5, 1, Closing(5.0, lambda s: (1 - s) ** 0.5, "opening")), "at 5 s must not jump"),
    (lambda: rigid_column(pipe(), 1e5, 1, Closing(5.0, lambda s: np.where(s < 0.37, 1 - s, 0.3 * (1 - s)))), "to 0.189 at 1.85 s must not"),
    (lambda: rigid_column(pipe(), 1e5, 1, Closing(5.0, lambda s: abs(1 - 2 * s), "opening")), "curve = 0 at 2.5 s must stay there"),
    (lambda: rigid_column(pipe(), 1e5, 1, Closing(5.0, lambda s: 0.5 * (1 - s))), "curve = 0.5 at time 0 must be 1"),
    (lambda: rigid_column(pipe(), 1e5, 1, Closing(5.0, lambda s: 0.5, "opening")), "curve = 0.5 at time 0 must be 1"),
    (lambda: rigid_column(pipe(), 1e5, 1, linear_fall(1), 10.5), "samples = 10.5 must be a whole number"),
    (lambda: surge(pipe(), 1e5, 1, Closing(1.0, lambda s: "shut")), 'curve = "shut" must be a number'),
    (lambda: surge(pipe(), 1e5, 1, Closing(1.0, lambda s: np.ones(3))), "curve = .* must be a number for each"),
    (lambda: Closing(1.0, "even"), 'curve = "even" must be a function'),
    (lambda: surge(pipe(length=1e-3), 1e5, 1, linear_fall(0.05), cells=20), "duration = 50 ms .*at most 400000 steps"),
    (lambda: surge(pipe(), 1e5, 1, linear_fall(3), cells=20_000), "cells = 20000 .*at most 40000000 values"),
    (lambda: linear_fall(-1), "time = -1 s"),
    (lambda: Closing(1.0, by="force"), "by = 'force'"),
    (lambda: surge(pipe(), 1e5, 1, Closing(1.0, lambda x: 1 + x)), r"curve = 1 to 2 must stay in \[0, 1\]"),
    (lambda: pipe(friction=-1), "pipe: friction = -1"),
    (lambda: pipe(lenght=3), "pipe: lenght is not a known key.*length"),
    (lambda: pipe(length="3 kg"), "pipe: length"),
    (lambda: Pipe.from_dict({"wall": 0.001}), "pipe: modulus = missing"),
])  # fmt: skip
def test_errors_name_value_and_rule(call, text):
    """Each refusal is one line with name, value and rule."""
    with pytest.raises(ValueError, match=text) as caught:
        call()
    assert "\n" not in str(caught.value)


def test_a_pipe_from_a_file():
    """The example's pipe reads back, and a changed copy is checked."""
    p = Pipe.from_file(FILE)
    assert p.modulus == 2e11 and p.change(length=24.0) == replace(p, length=24.0)
    with pytest.raises(ValueError, match="wall"):
        p.change(diameter=0.005)

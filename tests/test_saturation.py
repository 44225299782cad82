"""An inductor that saturates: against an integrator whose state is the flux linkage, and against hand calculation."""

import numpy as np
import pytest
from kirchhoff import NAMES, Network, clock
from scipy.integrate import quad, solve_ivp
from stages import INPUT, LOSSLESS, SECOND, sizes, stage

from boostkit.circuit import switched
from boostkit.circuit.converter import Inductor

SOFT = [[1.6, 0.9], [1.8, 0.75], [2.0, 0.55], [2.2, 0.4], [2.5, 0.3], [3.0, 0.2]]
HARD = [[2.0, 0.05]]
EARLY = [[0.1, 0.6], [0.25, 0.2], [0.6, 0.1]]                           # bends already in a lightly loaded stage
CASES = {
    "soft": stage(saturation=SOFT, r_load=20.0), "hard": stage(saturation=HARD, r_load=20.0),
    "dry": stage(saturation=EARLY, r_load=300.0), "turning": stage(saturation=EARLY, r_load=300.0, **SECOND),
    "dead time": stage(saturation=EARLY, r_load=100.0, dead_time=2e-7, **SECOND),
    "constant current": stage(saturation=SOFT, r_load=None, i_out=0.7),
    "input capacitor": stage(saturation=HARD, r_load=20.0, **INPUT),
    "line": stage(saturation=SOFT, r_load=20.0, l_source=2e-7, **INPUT),
}


# ------------------------------------------------------------------------------ the reference: flux linkage as the state

def linkage(converter):
    """Currents and flux linkages of the corners of the curve, both ways from zero, summed up segment by segment here."""
    coil, currents, flux, slope = converter.inductor, [0.0], [0.0], converter.inductor.inductance
    for current, share in [*coil.saturation, (1e4, None)]:
        flux.append(flux[-1] + slope * (current - currents[-1]))
        currents.append(current)
        slope = coil.inductance * share if share else None
    return np.array([-i for i in currents[:0:-1]] + currents), np.array([-f for f in flux[:0:-1]] + flux)


def integrate(converter, x, periods=1, i_of=None, dense=False):
    """Kirchhoff's laws with the flux linkage in the place of the current, by scipy's DOP853, each clocked phase event by
    event; i_of gives the current of a flux linkage. Returns the state (current first) and (begin, end, solution)s."""
    network, (currents, flux) = Network(converter), linkage(converter)
    i_of = i_of or (lambda f: float(np.interp(f, flux, currents)))
    z, segments, t = np.array([np.interp(x[0], currents, flux), *x[1:]]), [], 0.0

    def state_of(z):
        return np.array([i_of(z[0]), *z[1:]])

    for gate, duration in clock(converter) * periods:
        conducting, left = network.conducting(gate, state_of(z)), duration
        while left > 1e-13 * duration:
            matrix, constant = network.solve(*conducting)

            def rate(_, z, matrix=matrix, constant=constant):
                x = state_of(z)
                rates = (matrix @ x + constant)[len(NAMES):]
                rates[0] = matrix[NAMES.index("v_inductor")] @ x + constant[NAMES.index("v_inductor")]  # d(flux)/dt = v
                return rates

            named = network.events(conducting)
            functions = [lambda t, z, f=f: f(t, state_of(z)) for f in named.values()]
            for function in functions:
                function.terminal, function.direction = True, -1
            found = solve_ivp(lambda s, z, rate=rate, d=duration: rate(s, z) * d, (0, left / duration), z, method="DOP853",
                              rtol=1e-11, atol=1e-14, events=functions, dense_output=dense, max_step=1 / 50)
            segments.append((conducting, t, t + found.t[-1] * duration, found))
            t, left, z = t + found.t[-1] * duration, left - found.t[-1] * duration, found.y[:, -1]
            if found.status == 0:
                break
            which = next(k for k, times in enumerate(found.t_events) if len(times))
            conducting, x = network.after(conducting, list(named)[which], state_of(z))
            z = np.array([np.interp(x[0], currents, flux) if x[0] == 0 else z[0], *x[1:]])
    return state_of(z), segments


@pytest.mark.parametrize("case", CASES)
def test_steady_state_returns_in_the_flux_integrator(case):
    """One period of the independent integrator brings the steady state back, for every kind of circuit."""
    s = switched.steady_state(CASES[case])
    assert any(piece.mode.kind.stretch for piece in s.pieces)               # it does saturate
    end, _ = integrate(CASES[case], s.pieces[0].state)
    scale = np.array([sizes(s)[0], *(sizes(s)[1],) * (len(end) - 1)])
    # 1e-8: the integrator steps over the corners of the curve, which costs it digits
    assert np.max(np.abs(end - s.pieces[0].state) / scale) < 1e-8


@pytest.mark.parametrize("case", ["soft", "hard", "dry", "turning"])
def test_waveform_equals_the_flux_integrator(case):
    """Peak, trough and the current at many instants of the period are those of the integrator."""
    converter = CASES[case]
    s = switched.steady_state(converter)
    currents, flux = linkage(converter)
    _, segments = integrate(converter, s.pieces[0].state, dense=True)
    dense = np.concatenate([np.interp(found.sol(np.linspace(0, found.t[-1], 4000))[0], flux, currents) for *_, found in segments])
    # 1e-6 of the peak: 4000 samples a phase miss a turning peak by as much
    assert (dense.max(), dense.min()) == pytest.approx((s.inductor_current.max, s.inductor_current.min), abs=1e-6 * dense.max())
    wave = s.waveforms(400)
    for _, begin, end, found in segments:
        inside = (wave.time > begin) & (wave.time < end)
        there = np.interp(found.sol((wave.time[inside] - begin) / (end - begin) * found.t[-1])[0], flux, currents)
        assert np.max(np.abs(there - wave.i_inductor[inside])) < 1e-7 * dense.max()


@pytest.mark.parametrize("case", ["soft", "hard", "turning", "input capacitor"])
def test_switch_on_equals_the_flux_integrator(case):
    """The state after 12 periods from rest, far into saturation, is that of the integrator."""
    t = switched.from_rest(CASES[case], 12)
    end, _ = integrate(CASES[case], (0.0,) * len(t.state), periods=12)
    assert t.inductor_current.max > 10                                      # A: the inrush that saturation lets through
    assert np.array(t.state) == pytest.approx(end, rel=1e-7)


def test_leaps_equal_single_periods():
    """Switch-on in leaps of many periods ends in the steady state, and so does a step of the load."""
    for case in ("soft", "hard"):
        s = switched.steady_state(CASES[case])
        t = switched.from_rest(CASES[case], 4000)
        assert len(t.kept) < 1000                                           # most of it was leapt over
        assert t.state == pytest.approx(s.pieces[0].state, rel=1e-10)
        moved = switched.after_step(CASES[case].change(r_load=60.0), CASES[case], 4000, at=0.3)
        assert moved.state == pytest.approx(s.pieces[0].state, rel=1e-10)


def test_many_points_approach_a_smooth_curve():
    """The flux linkage of a soft core, i = f/L + k f^5, followed by straight lines between ever more points, approaches
    the integrator on the smooth curve itself; the error falls with the square of the spacing."""
    def i_of(f):
        return f / 47e-6 + 1.5 * (f / 1e-4) ** 5

    errors = []
    for count in (10, 20, 40):
        flux = np.linspace(0, 1.6e-4, count + 1)[1:]
        coil = Inductor.through([i_of(f) for f in flux], flux)
        converter = stage(inductance=coil.inductance, saturation=coil.saturation, r_load=20.0)
        t = switched.from_rest(converter, 3)
        end, _ = integrate(converter, (0.0, 0.0), 3, i_of=i_of)
        errors.append(abs(t.state[1] / end[1] - 1))
    assert errors[2] < 2e-3 and errors[0] > 10 * errors[2]                   # 16 times less in theory


# ------------------------------------------------------------------------------------------------ hand calculation

def test_lossless_ramp_by_hand():
    """Without loss a steady voltage raises the flux linkage evenly: in discontinuous conduction V D T is the flux linkage
    of the peak current, worked out by hand for a coil of 10 µH of which 40 % is left beyond 1 A and 10 % beyond 2 A."""
    c = stage(saturation=[[1.0, 0.4], [2.0, 0.1]], inductance=10e-6, r_load=400.0, duty=0.4, f_sw=100e3, **LOSSLESS)
    s = switched.steady_state(c)
    assert s.mode == "discontinuous"
    # V D T = 6 V * 4 µs = 24 µWb = 10 (to 1 A) + 4 (to 2 A) + 10 (at 1 µH: 10 A more)
    assert s.inductor_current.max == pytest.approx(12.0, rel=1e-12)
    # field: 10/2 + 4 * 1.5 + 10 * 7 = 81 µJ, the areas left of the curve; all of it leaves in each period
    assert c.inductor.energy(s.inductor_current.max) == pytest.approx(81e-6, rel=1e-12)
    assert s.energy_by_way[0] == pytest.approx(81e-6, rel=1e-12)
    assert s.energy_in_coil()[1].max() == pytest.approx(81e-6, rel=1e-12)


def test_boundary_drive_by_hand():
    """Without clock and loss the switch is closed for flux linkage of the set current over source voltage."""
    c = stage(duty=None, f_sw=None, peak_current=3.0, saturation=[[1.0, 0.4], [2.0, 0.1]], **LOSSLESS)
    s = switched.steady_state(c)
    assert s.inductor_current.max == pytest.approx(3.0, rel=1e-13)
    assert s.duty * s.period == pytest.approx(47e-6 * 1.5 / 6.0, rel=1e-12)


def test_peak_current_drive_meets_its_limit():
    """Under a clock and a peak current, above as well as right at a point of the curve, the current turns at the limit."""
    for limit in (1.0, 1.4):
        s = switched.steady_state(stage(duty=None, peak_current=limit, saturation=[[1.0, 0.3]], r_load=60.0))
        assert s.inductor_current.max == pytest.approx(limit, rel=1e-12)


def test_energy_is_the_integral_of_current_over_flux():
    """The field's energy is the area beside the curve (scipy's quadrature of i over flux), whichever way the current goes."""
    c = CASES["soft"]
    currents, flux = linkage(c)
    for current in (0.5, 1.7, 2.4, 6.0):
        end = c.inductor.flux_linkage(current)
        inner = [f for f in flux if 0 < f < end]
        area = quad(lambda f: np.interp(f, flux, currents), 0, end, points=inner or None, epsrel=1e-12)[0]
        assert end == pytest.approx(np.interp(current, currents, flux), rel=1e-12)
        assert c.inductor.energy(current) == pytest.approx(area, rel=1e-10)
        assert c.inductor.energy(-current) == c.inductor.energy(current)
        assert c.inductor.flux_linkage(-current) == -end
        assert c.inductor.energy(current, since=1.0) == pytest.approx(area - c.inductor.energy(1.0), rel=1e-10)

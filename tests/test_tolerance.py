"""The spread of parts: draws against known distributions, units against the single path, shares against known chances."""

import itertools
from importlib.resources import files

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq

from boostkit.circuit import switched
from boostkit.design import Spec, design, judge, lot, tolerance
from boostkit.design.judge import SwitchData
from boostkit.design.lot import COPPER, Tolerance
from boostkit.files import to_json

EDGES = SwitchData(20e-9, 20e-9, 150e-12, 10e-9, 5.0)
NO_EDGES = SwitchData(0.0, 0.0, 0.0, 0.0, 5.0)
SPEC = Spec.from_file(files("boostkit") / "data" / "tide_gauge.toml")
FEW = (Tolerance("inductance", 0.2), Tolerance("capacitance", 0.2), Tolerance("r_capacitor", 0.4, -0.005),
       Tolerance("r_switch", 0.25, 0.005), Tolerance("rise_time", 0.3))  # fmt: skip


def small(limits=None, **choices):
    """A specification with one corner only."""
    return Spec.from_dict({"title": "Small", "source": {"voltage": 5.0}, "load": {"voltage": 12.0, "current": 0.5},
                           "limits": limits or {}, "choices": choices})  # fmt: skip


@pytest.fixture(scope="module")
def tide_gauge():
    """The nominal converter of the tide gauge."""
    return design(SPEC).converter


@pytest.fixture(scope="module")
def judged(tide_gauge):
    """A lot of it, small enough for a test."""
    return tolerance.monte_carlo(SPEC, tide_gauge, EDGES, units=1000, seed=3)


@pytest.fixture(scope="module")
def stage():
    """The nominal converter of the small specification."""
    return design(small()).converter


# what is drawn


def test_the_draws_follow_their_distributions(stage):
    """Kolmogorov and Smirnov's test against scipy's uniform and truncated normal distribution, three sigma at the limits."""
    made = lot.lot_of(small(), stage, EDGES, (Tolerance("inductance", 0.2), Tolerance("f_sw", 0.05, shape="bell")))
    positions = made.draw(20_000, 5)
    assert stats.kstest(positions["inductance"], stats.uniform(-1, 2).cdf).pvalue > 1e-3  # a chance of one in a thousand, seed fixed
    assert stats.kstest(positions["f_sw"], stats.truncnorm(-3, 3, 0, 1 / 3).cdf).pvalue > 1e-3
    assert abs(positions["f_sw"]).max() <= 1 and abs(np.corrcoef(positions["inductance"], positions["f_sw"])[0, 1]) < 0.03


def test_values_follow_position_and_temperature(stage):
    """At the limits by hand, and copper between 25 °C and 75 °C by the coefficient of IEC 60028."""
    made = lot.lot_of(small(limits={"ambient": {"min": -10, "max": 45}}), stage, EDGES, (Tolerance("r_inductor", 0.1, COPPER),))
    assert made.temperature == (-10, 75)
    found = made.values({"r_inductor": np.array([0.0, 1.0, -1.0]), "temperature": np.array([1.0, 1.0, -1.0])})["r_inductor"]
    nominal = stage.inductor.resistance
    assert found == pytest.approx(nominal * np.array([1.1965, 1.1 * 1.1965, 0.9 * (1 - 0.00393 * 35)]), rel=1e-12)  # rounding


def test_what_a_design_does_not_have_does_not_stray(stage):
    """A zero stays a zero, and a second switch has no forward voltage."""
    made = lot.lot_of(small(), stage.change(r_rectifier=0.0), NO_EDGES, lot.SPREADS)
    assert {"r_rectifier", "rise_time", "gate_charge"}.isdisjoint(made.names) and "v_rectifier" in made.names


# one unit


@pytest.mark.parametrize("i_out", [0.02, 0.6])
def test_every_unit_settles_where_a_search_one_by_one_finds_it(tide_gauge, i_out):
    """Thirty units, in discontinuous and in continuous conduction, against `duty_for`, which brackets its root."""
    made = lot.lot_of(SPEC, tide_gauge, EDGES, lot.SPREADS)
    letters, _ = made.split(made.values(made.draw(30, 7)))
    there = tide_gauge.change(v_in=5.5, i_out=i_out)
    found = lot.settle(there, 18.0, letters, 0.6)
    for k in range(30):
        alone = there.change(**{name: float(values[k]) for name, values in letters.items()})
        duty = switched.duty_for(alone, 18.0)
        state = switched.steady_state(alone.change(duty=duty))
        assert found["duty"][k] == pytest.approx(duty, rel=1e-8)  # 1e-9 of the output asked for, and the gain's slope
        assert found["ripple"][k] == pytest.approx(state.ripple_voltage, rel=1e-7)  # follows the duty a little more steeply


def test_units_that_cannot_reach_their_output_are_told_from_those_that_can(stage):
    """Winding resistances on both sides of the ceiling of the gain, each against `duty_for`."""
    resistance = np.linspace(0.3, 1.2, 12)
    found = lot.settle(stage, 12.0, {"r_inductor": resistance}, 0.6)
    for k, r in enumerate(resistance.tolist()):
        try:
            duty = switched.duty_for(stage.change(r_inductor=r), 12.0)
        except ValueError:
            duty = np.nan
        assert found["duty"][k] == pytest.approx(duty, rel=1e-6, nan_ok=True)  # near the ceiling the duty is ill-conditioned
    assert 0 < np.isfinite(found["duty"]).sum() < 12


# many units


def test_a_lot_without_spread_is_the_design_itself(tide_gauge):
    """With no tolerance every unit has the judge's own ripple, peak and efficiency."""
    nothing = tolerance.monte_carlo(SPEC, tide_gauge, EDGES, units=5, spreads=(Tolerance("inductance", 0.0),))
    corners = judge.corners(SPEC, tide_gauge, EDGES)
    usual = next(c for c in corners if (c.v_in, c.i_out) == (6.0, 0.6))
    for name, value in (("ripple", max(c.ripple_voltage for c in corners)), ("inductor peak", max(c.inductor_peak for c in corners)),
                        ("efficiency", usual.efficiency)):  # fmt: skip
        assert nothing.outcomes[name].values == pytest.approx(value, rel=1e-7)  # the output within 1e-9, as above


def test_the_same_seed_draws_the_same_lot(tide_gauge):
    """And another seed another one."""
    first, again, other = (tolerance.monte_carlo(SPEC, tide_gauge, EDGES, units=20, seed=s).outcomes["ripple"].values for s in (1, 1, 2))
    assert (first == again).all() and (first != other).all()


def test_the_lot_agrees_with_units_judged_singly_and_completely(judged, tide_gauge):
    """Six units through the judge, every corner with its own search for the duty: worst ripple, peak and efficiency."""
    made = lot.lot_of(SPEC, tide_gauge, EDGES, lot.SPREADS)
    values = made.values(made.draw(1000, 3))
    for k in range(6):
        letters, edges = made.split({name: float(array[k]) for name, array in values.items()})
        corners = judge.corners(SPEC, tide_gauge.change(**letters), edges)
        usual = next(c for c in corners if (c.v_in, c.i_out) == (6.0, 0.6))
        outcomes = judged.outcomes
        near = 20 * lot.ACCURACY  # the output within 1e-4; ripple and peak follow it at most some times as steeply
        assert outcomes["ripple"].values[k] == pytest.approx(max(c.ripple_voltage for c in corners), rel=near)
        assert outcomes["inductor peak"].values[k] == pytest.approx(max(c.inductor_peak for c in corners), rel=near)
        assert outcomes["efficiency"].values[k] == pytest.approx(usual.efficiency, rel=lot.ACCURACY)


def test_a_hundred_units_are_checked_by_the_single_path(judged):
    """The two paths agree to rounding, and the regulated output is what was asked for."""
    assert judged.checked["units"] == 100 and judged.not_reached == 0
    assert 0 < judged.checked["deviation"] < 1e-9  # both paths are exact; only rounding lies between
    assert 0 < judged.checked["output"] <= lot.ACCURACY


def test_the_check_finds_a_batch_that_went_wrong(tide_gauge, monkeypatch):
    """If the batch's ripple were off by a thousandth, `checked` would say so."""
    honest = lot._measured

    def off(*given):
        found = honest(*given)
        return found | {"ripple": found["ripple"] * 1.001}

    monkeypatch.setattr(lot, "_measured", off)
    wrong = tolerance.monte_carlo(SPEC, tide_gauge, EDGES, units=5)
    assert wrong.checked["deviation"] == pytest.approx(1e-3, rel=1e-3)  # 1.001 - 1


def test_the_share_is_the_chance_that_it_estimates(stage):
    """One part strays: the share that meets the limit follows from where a root finder on the single path puts the border."""
    alone = stage.change(capacitance=1e-2, r_capacitor=0.05)

    def ripple(position):
        c = alone.change(r_capacitor=0.05 * (1 + 0.5 * position))
        return switched.steady_state(c.change(duty=switched.duty_for(c, 12.0))).ripple_voltage

    limit = ripple(0.0) * 1.2
    chance = (brentq(lambda position: ripple(position) - limit, -1, 1, xtol=1e-6) + 1) / 2
    assert 0.6 < chance < 0.8
    found = tolerance.monte_carlo(small({"ripple": limit}), alone, NO_EDGES, units=4000, spreads=(Tolerance("r_capacitor", 0.5),))
    outcome = found.outcomes["ripple"]
    assert outcome.share == pytest.approx(chance, abs=4 * np.sqrt(chance * (1 - chance) / 4000))  # four standard deviations
    assert outcome.between[0] < chance < outcome.between[1]
    assert outcome.matters_most == "r_capacitor" and outcome.importance["r_capacitor"] > 0.9999  # it alone decides
    assert abs(outcome.importance["temperature"]) < 0.07  # four standard deviations of no correlation: 4 / sqrt(4000)


def test_importance_and_quantiles_are_what_scipy_and_numpy_make_of_the_units(judged, tide_gauge):
    """Spearman's correlation by scipy; and the signs that physics gives."""
    positions = lot.lot_of(SPEC, tide_gauge, EDGES, lot.SPREADS).draw(1000, 3)
    for outcome in judged.outcomes.values():
        assert set(outcome.importance) == set(positions)
        for name, value in outcome.importance.items():
            assert value == pytest.approx(stats.spearmanr(outcome.values, positions[name]).statistic, abs=1e-12)  # rounding
        assert outcome.quantiles[0.05] == pytest.approx(np.sort(outcome.values)[49:51].mean(), rel=5e-3)  # between two units
        sizes = [abs(value) for value in outcome.importance.values()]
        assert sizes == sorted(sizes, reverse=True)
    ripple, efficiency = judged.outcomes["ripple"].importance, judged.outcomes["efficiency"].importance
    assert ripple["r_capacitor"] > 0.4 and ripple["capacitance"] < -0.4 and judged.outcomes["inductor peak"].matters_most == "inductance"
    assert max(efficiency[name] for name in ("v_rectifier", "r_inductor", "r_switch", "rise_time", "fall_time")) < -0.2


@pytest.mark.parametrize("met, units", [(0, 50), (50, 50), (37, 50), (9950, 10_000)])
def test_the_confidence_of_a_share_is_clopper_and_pearsons(met, units):
    """Against scipy's exact binomial test."""
    exact = stats.binomtest(met, units).proportion_ci(0.95, method="exact")
    assert tolerance._between(met, units) == pytest.approx((exact.low, exact.high), abs=1e-9)  # scipy finds it as a root


def test_a_unit_that_does_not_reach_its_output_meets_no_demand(stage):
    """Some units lie above the ceiling of the gain: they are counted, and their share is lost to every demand."""
    weak = stage.change(r_inductor=0.6)
    found = tolerance.monte_carlo(small({"ripple": 5.0, "efficiency": 0.01}), weak, NO_EDGES, units=400,
                                  spreads=(Tolerance("r_inductor", 0.9),))  # fmt: skip
    most = brentq(lambda r: _within_reach(stage, r) - 0.5, 0.6, 1.14, xtol=1e-4)
    chance = (most / 0.6 - 1 + 0.9) / 1.8
    assert 0 < found.not_reached < 400
    assert found.not_reached / 400 == pytest.approx(1 - chance, abs=4 * np.sqrt(chance * (1 - chance) / 400))  # four standard deviations
    for name in ("ripple", "efficiency"):
        assert found.outcomes[name].share == 1 - found.not_reached / 400


def _within_reach(stage, r):
    try:
        switched.duty_for(stage.change(r_inductor=r), 12.0)
    except ValueError:
        return 0.0
    return 1.0


def test_a_second_switch_has_its_dead_time_counted(stage):
    """Left out of the waveform and counted by formula, beside the judge who has it in the waveform."""
    bridge = stage.change(rectifier="switch", v_rectifier=None, dead_time=50e-9, v_rectifier_body=0.8)
    spec = small({"efficiency": 0.5})
    outcome = tolerance.monte_carlo(spec, bridge, EDGES, units=5, spreads=(Tolerance("inductance", 0.0),)).outcomes["efficiency"]
    exact, without = (judge.corner(spec, c, EDGES, 5.0, 0.5).efficiency for c in (bridge, bridge.change(dead_time=None)))
    assert without - exact > 1e-3  # it is worth counting
    assert outcome.values == pytest.approx(exact, abs=0.1 * (without - exact))  # the channel's own share of that time counts twice


# the worst case


def test_the_worst_case_is_the_worst_of_all_combinations(stage):
    """Every combination of limits and temperature ends, each solved singly at the only corner there is."""
    spec = small({"ambient": {"min": -10, "max": 45}})
    found = tolerance.worst_case(spec, stage, EDGES, FEW)
    made = lot.lot_of(spec, stage, EDGES, FEW)
    singles = []
    for ends in itertools.product((-1.0, 1.0), repeat=len(made.names)):
        letters, edges = made.split(made.values(dict(zip(made.names, ends, strict=True))))
        singles.append(judge.corner(spec, stage.change(**letters), edges, 5.0, 0.5))
    assert found["ripple"].value == pytest.approx(max(c.ripple_voltage for c in singles), rel=1e-7)  # the output within 1e-9
    assert found["inductor peak"].value == pytest.approx(max(c.inductor_peak for c in singles), rel=1e-7)
    assert found["efficiency"].value == pytest.approx(min(c.efficiency for c in singles), rel=1e-7)
    assert found["ripple"].settings["capacitance"] == -1 and found["ripple"].worst_at["temperature"] == -10


def test_no_unit_drawn_is_worse_than_the_worst_case(judged, tide_gauge):
    """And the worst case is worse than the nominal design; each demand judged at its limit."""
    found = tolerance.worst_case(SPEC, tide_gauge, EDGES)
    near = 20 * lot.ACCURACY  # the units reach the output within 1e-4, see above
    for name, sign in (("ripple", 1), ("inductor peak", 1), ("efficiency", -1)):
        assert (sign * judged.outcomes[name].values).max() < sign * found[name].value * (1 + sign * near)
        assert sign * found[name].value > sign * found[name].nominal
    assert found["ripple"].met == (found["ripple"].value <= 0.06) and found["inductor peak"].met is None
    assert found["efficiency"].worst_at["v_in"] == 6.0 and found["efficiency"].worst_at["i_out"] == 0.6


def test_a_worst_case_out_of_reach_is_named(stage):
    """Where tolerances put the output out of reach there is no worst case, and the message says where."""
    with pytest.raises(ValueError, match="load.voltage = 12 V is out of reach for some units .* at a source of 5 V"):
        tolerance.worst_case(small(), stage.change(r_inductor=0.6), NO_EDGES, (Tolerance("r_inductor", 0.9),))


# around it


def test_progress_is_told_and_the_result_can_be_written(tide_gauge):
    """Each corner is announced, in rising order; the result is plain data without nan."""
    told = []
    found = tolerance.monte_carlo(SPEC, tide_gauge, EDGES, units=4, progress=lambda *words: told.append(words))
    assert [done for done, _, _ in told] == list(range(10)) and {total for _, total, _ in told} == {10}
    assert '"checked"' in to_json(found.to_dict()) and '"share": 1.0' in to_json(found.to_dict())


@pytest.mark.parametrize("spread, said", [
    (lambda: Tolerance("inductance", 1.0), r"tolerance of inductance = 1 must lie in \[0, 1\)"),
    (lambda: Tolerance("inductance", 0.1, shape="flat"), 'shape of inductance = "flat" must be one of even, bell'),
    (lambda: Tolerance("v_in", 0.1), 'tolerance of "v_in" must be of one of inductance'),
    (lambda: Tolerance("r_switch", 0.1, -0.05), "r_switch at 55 °C, as a share of its value at 25 °C = -0.5 must lie above 0"),
    (lambda: Tolerance("r_source", 0.1), "at least one Tolerance of a number that this design has"),
])  # fmt: skip
def test_a_tolerance_that_makes_no_sense_is_refused(stage, spread, said):
    """Share, shape, name, growth, and nothing that strays."""
    with pytest.raises(ValueError, match=said):
        tolerance.monte_carlo(small(), stage, EDGES, units=4, spreads=(spread(),))


def test_the_number_of_units_is_bounded(stage):
    """One unit has no spread, and no machine holds them all."""
    for units in (1, 10**7):
        with pytest.raises(ValueError, match=f"units = {units} must lie in"):
            tolerance.monte_carlo(small(), stage, EDGES, units=units)

"""How warm it gets: losses and temperatures together, thermal runaway, the map of efficiency, the life of a battery."""

from dataclasses import replace

import numpy as np
import pytest

from boostkit.derivations import crossing
from boostkit.parts import battery, kinds, losses, settling, warming
from boostkit.parts.kinds import Capacitor, Heat, Inductor, Parts, Rectifier, Switch

SWITCH = Switch("switch A", 30, 10, 0.02, 20e-9, 20e-9, on_slope=0.004, output_capacitance=200e-12, gate_charge=10e-9,
                heat=Heat(60, 150))  # fmt: skip
DIODE = Rectifier("diode A", 30, 5, 0.02, forward_voltage=0.4, forward_slope=-1e-3, recovery_charge=5e-9, recovery_time=5e-9,
                  heat=Heat(60, 125))  # fmt: skip
SECOND = Rectifier("switch B", 30, 5, 0.02, kind="switch", on_slope=0.004, dead_time=40e-9, recovery_charge=20e-9,
                   recovery_time=10e-9, gate_charge=8e-9, heat=Heat(60, 150))  # fmt: skip
COIL = Inductor("coil A", 47e-6, 0.04, 4, 3, ac_ratio=3.0, core_loss=0.05, core_ripple=0.5, heat=Heat(40, 125))
BANK = Capacitor("bank A", "electrolytic", 100e-6, 25, 0.01, 2, heat=Heat(20, 105))
PARTS = Parts(SWITCH, DIODE, COIL, BANK, Capacitor("input", "ceramic", 22e-6, 16, 0.005, 3), control_current=1e-3)
HERE = {"v_in": 6.0, "v_out": 18.0, "f_sw": 150e3}

# A coil so large that it has no ripple, and one warm part: what a line of algebra can follow.
ONE_WARM = Parts(Switch("hot", 30, 99, 1e-6, 0.0, 0.0, on_slope=0.01, heat=Heat(1.0)), Rectifier("r", 99, 99, 0.0),
                 Inductor("l", 1.0, 0.0, 99, 99), Capacitor("c", "film", 1.0, 99, 0.0, 99))  # fmt: skip


@pytest.mark.parametrize("i_out", [0.6, 0.02])
@pytest.mark.parametrize("rectifier", [DIODE, SECOND])
def test_power_in_is_power_out_and_losses(rectifier, i_out):
    """The exact circuit's input, with what gates, control and input capacitor take besides, is output plus all losses."""
    found = warming.settle(replace(PARTS, rectifier=rectifier), **HERE, i_out=i_out, ambient=45.0)
    besides = sum(found.losses.items[name] for name in ("switch gate", "rectifier gate", "control", "input capacitor ESR"))
    assert found.state.input_power + besides == pytest.approx(18.0 * i_out + found.losses.total, rel=1e-9)
    assert found.point.v_out == pytest.approx(18.0, rel=1e-9)


def test_temperatures_and_losses_agree():
    """Each part is warmer than the ambient by its thermal resistance times its loss, and its resistance is that of this temperature."""
    found = warming.settle(PARTS, **HERE, i_out=0.6, ambient=45.0)
    for name, rise in {name: t - 45.0 for name, t in found.temperatures.items()}.items():
        assert rise == pytest.approx(getattr(PARTS, name).heat.resistance * found.losses.of_part[name], abs=1e-7)
    t = found.temperatures["switch"]
    assert found.state.converter.switch.on_resistance == pytest.approx(0.02 * (1 + 0.004 * (t - 25)), rel=1e-9)


def _carries_off(gain):
    """The thermal resistance that gives ONE_WARM this loop gain at 0.6 A: gain over loss at 25 °C times slope."""
    loss = losses.at(warming.settle_many(ONE_WARM, **HERE, i_out=0.6).point, ONE_WARM).items["switch conduction"]
    return gain / (loss * 0.01)


@pytest.mark.parametrize("gain", [0.1, 0.5])
def test_one_warm_part_by_hand(gain):
    """A loss P (1 + s ΔT) through R settles at ΔT = R P/(1 - R P s), and R P s is the loop gain."""
    r = _carries_off(gain)
    parts = replace(ONE_WARM, switch=replace(ONE_WARM.switch, heat=Heat(r)))
    found = warming.settle_many(parts, **HERE, i_out=0.6)
    assert found.loop_gain == pytest.approx(gain, rel=0.005)  # the warmer switch asks for a little more current
    assert found.temperatures["switch"] - 25 == pytest.approx(gain / 0.01 / (1 - gain), rel=0.01)  # as above


@pytest.mark.parametrize(("gain", "away"), [(0.97, False), (1.03, True)])
def test_runaway_begins_where_the_loop_gain_passes_one(gain, away):
    """Just below one a temperature settles, just above none does."""
    parts = replace(ONE_WARM, switch=replace(ONE_WARM.switch, heat=Heat(_carries_off(gain))))
    assert warming.settle_many(parts, **HERE, i_out=0.6).runs_away == away


def test_runaway_against_plain_repetition():
    """The same ambients run away as when losses and temperatures are worked out in turn a thousand times."""
    hot = replace(PARTS, switch=replace(SWITCH, on_resistance=0.15, on_slope=0.008, heat=Heat(150)))
    ambient = np.sort(np.concatenate([np.linspace(-40, 200, 10), np.linspace(20, 28, 15)]))
    found = warming.settle_many(hot, **HERE, i_out=0.6, ambient=ambient)
    case = settling.Case(hot, i_out=0.6, ambient=ambient, **HERE)
    x, settled = case.start(), np.ones(25, bool)
    for _ in range(1000):
        x = case.answer(case.at(x)[1])
        settled &= np.isfinite(x[0]) & (np.nan_to_num(x[0]) < 2000)
        x = [np.where(settled, new, cold) for new, cold in zip(x, case.start(), strict=True)]  # what ran away starts anew, uncounted
    assert 5 < settled.sum() < 20
    assert (found.runs_away == ~settled).all()
    assert found.temperatures["switch"][settled] == pytest.approx(x[0][settled], rel=1e-3)  # the last one creeps
    assert np.isnan(found.losses.total[~settled]).all()
    assert 0.9 < found.loop_gain[settled].max() < 1 and (np.diff(found.loop_gain[settled]) > 0).all()


def test_runaway_is_named(monkeypatch):
    """The error names part, loop gain and temperature, and comes after a bounded number of rounds."""
    rounds = []
    slopes = settling.Case._slopes
    monkeypatch.setattr(settling.Case, "_slopes", lambda *a: rounds.append(1) or slopes(*a))
    hot = replace(PARTS, switch=replace(SWITCH, on_resistance=0.2, on_slope=0.008, heat=Heat(150)))
    with pytest.raises(warming.Runaway, match=r'switch "switch A" runs away at an ambient of 25 °C.*no temperature settles') as trouble:
        warming.settle(hot, **HERE, i_out=0.9)
    assert trouble.value.part == "switch" and trouble.value.loop_gain >= 1
    assert len(rounds) < 2 * settling.ROUNDS
    windy = replace(PARTS, inductor=replace(COIL, resistance=0.3, heat=Heat(400)))
    with pytest.raises(warming.Runaway, match='inductor "coil A"'):
        warming.settle(windy, **HERE, i_out=0.6)


def test_out_of_reach_is_not_runaway():
    """What the resistances do not let through even cold is out of reach, and says what is within it."""
    tight = replace(PARTS, inductor=replace(COIL, resistance=2.0))
    with pytest.raises(ValueError, match="out of reach") as trouble:
        warming.settle(tight, **HERE, i_out=0.6)
    assert not isinstance(trouble.value, warming.Runaway)
    many = warming.settle_many(tight, **HERE, i_out=np.array([0.01, 0.6]))
    assert many.out_of_reach.tolist() == [False, True] and not many.runs_away.any()


def test_a_little_short_of_out_of_reach_settles_or_is_nan():
    """Loads up to and beyond what held temperatures let through, close together, so that for some a little more current is out of
    reach: no error, losses that grow to the last one that has any, nan beyond, and nan together with the loop gain of inf."""
    cold = replace(PARTS, switch=replace(SWITCH, heat=Heat(0.0)), rectifier=replace(DIODE, heat=Heat(0.0)),
                   inductor=replace(COIL, heat=Heat(0.0)))  # fmt: skip
    loads = np.linspace(1.0, 20.0, 400)
    found = warming.settle_many(cold, **HERE, i_out=loads)
    total, last = found.losses.total, np.flatnonzero(np.isfinite(found.losses.total))[-1]
    assert 10 < last < 390 and np.isfinite(total[: last + 1]).all() and (np.diff(total[: last + 1]) > 0).all()
    assert found.out_of_reach[last + 5 :].all() and not found.out_of_reach[: last + 1].any()
    assert (np.isnan(total) == (found.out_of_reach | found.runs_away)).all()
    assert found.loop_gain[0] == 0 and np.isinf(found.loop_gain[-1])


def test_loop_gain_with_what_goes_through_the_current():
    """One part warms itself by 0.2 and, through 0.1 A/K and 3 K/A on a current that feeds itself by 0.4, by 0.3/(1 - 0.4) more; two
    parts that only warm each other have the root of the product; a negative slope steadies, whatever its size."""
    assert settling.thermal_gain(np.array([[0.2, 3.0], [0.1, 0.4]])) == pytest.approx(0.2 + 0.3 / 0.6)
    assert settling.loop_gain(np.array([[[0.0, 0.9], [0.4, 0.0]], [[-3.0, 0.0], [0.0, 0.1]]])) == pytest.approx([0.6, 0.1])
    assert np.isnan(settling.loop_gain(np.array([[np.nan, 0.9], [0.4, 0.0]])))


def test_many_agree_with_the_exact_circuit():
    """By formula and on the exact circuit: temperatures within half a kelvin, efficiency within a thousandth."""
    loads = np.array([0.02, 0.1, 0.35, 0.6])
    many = warming.settle_many(PARTS, **HERE, i_out=loads, ambient=45.0)
    for k, load in enumerate(loads):
        one = warming.settle(PARTS, **HERE, i_out=float(load), ambient=45.0)
        assert many.efficiency[k] == pytest.approx(one.losses.efficiency, abs=1e-3)  # formulas are first order in the ripple
        for name, t in one.temperatures.items():
            assert many.temperatures[name][k] == pytest.approx(t, abs=0.5)  # as above


def test_the_map():
    """Every source voltage with every load; each entry as alone; light load and heavy load both lose a larger share."""
    loads = np.geomspace(1e-3, 2.0, 12)
    found = warming.map(PARTS, [5.5, 7.2], 18.0, loads, 150e3, 25.0)
    assert found.efficiency.shape == (2, 12)
    alone = warming.settle_many(PARTS, 7.2, 18.0, float(loads[4]), 150e3, 25.0)
    assert found.efficiency[1, 4] == pytest.approx(float(alone.efficiency), rel=1e-6)
    best = np.nanargmax(found.efficiency, axis=1)
    assert ((best > 0) & (best < 11)).all()


def test_too_hot_is_said():
    """A part beyond its limit is named with both temperatures; one within it is not."""
    touchy = replace(PARTS, inductor=replace(COIL, heat=Heat(40, 50)))
    found = warming.settle(touchy, **HERE, i_out=0.6, ambient=45.0)
    assert list(found.too_hot(touchy)) == ["inductor"] and "it bears 50 °C" in found.too_hot(touchy)["inductor"]
    assert found.too_hot(PARTS) == {}
    many = warming.settle_many(touchy, **HERE, i_out=np.array([0.02, 0.6]), ambient=45.0)
    assert many.within_limits(touchy).tolist() == [True, False]


def test_where_switching_and_conduction_cross():
    """The load at which they are equal; without ripple, warming and recovery the same as in algebra."""
    load = warming.crossing_current(PARTS, 6.0, 18.0, 150e3)
    found = warming.settle_many(PARTS, **HERE, i_out=load).losses
    assert float(found.conduction) == pytest.approx(float(found.by_the_cycle), rel=1e-4)  # the search ends within 1e-5
    plain = Parts(replace(SWITCH, on_resistance=1e-4, on_slope=0.0, heat=Heat()), Rectifier("r", 99, 99, 0.0),
                  Inductor("l", 1.0, 1e-4, 99, 99), Capacitor("c", "film", 1.0, 99, 0.0, 99))  # fmt: skip
    share = 1 / 3  # D' without loss
    expected = crossing.critical_current().formula(
        r_losses=(1e-4 + 1e-4 * (1 - share)) / share**2, v_rectifier=0.0, v_edges=18 * 20e-9 * 150e3 / share,
        p_edges_idle=0.5 * 200e-12 * 18**2 * 150e3 + 10e-9 * 5 * 150e3)  # fmt: skip
    assert warming.crossing_current(plain, 6.0, 18.0, 150e3, between=(1.0, 1000.0)) == pytest.approx(expected, rel=0.02)  # D' sags
    assert warming.crossing_current(PARTS, 6.0, 18.0, 150e3, between=(0.5, 0.6)) is None


def test_a_battery_without_losses_lasts_by_charge():
    """Without any loss the battery gives V_out/V_in times the load: capacity over that. Half the time at rest, twice as long."""
    ideal = Parts(Switch("s", 99, 99, 0.0, 0.0, 0.0), Rectifier("r", 99, 99, 0.0), Inductor("l", 47e-6, 0.0, 9, 9),
                  Capacitor("c", "film", 1e-4, 99, 0.0, 9))  # fmt: skip
    full = battery.life(ideal, [(1.0, 0.1)], 6.0, 18.0, 150e3, 7.2 * 3600)
    assert full.days == pytest.approx(7.2 / 0.3 / 24, rel=1e-9) and full.share_lost == pytest.approx(0, abs=1e-12)
    half = battery.life(ideal, [(0.5, 0.1), (0.5, 0.0)], 6.0, 18.0, 150e3, 7.2 * 3600)
    assert half.days == pytest.approx(2 * full.days, rel=1e-4)  # a trace of current flows at rest
    assert battery.life(ideal, [(1.0, 0.1)], 6.0, 18.0, 150e3, 7.2 * 3600, usable=0.5).days == pytest.approx(full.days / 2, rel=1e-9)


def test_a_sleeping_load_is_ruled_by_light_load_loss():
    """The charge is that of the profile, by share; asleep, what the converter itself takes shows, and self-discharge counts."""
    profile = [(0.98, 0.02), (0.015, 0.35), (0.005, 0.6)]
    found = battery.life(PARTS, profile, 6.0, 18.0, 150e3, 12 * 3600.0, self_discharge=0.03)
    exact = [warming.settle(PARTS, **HERE, i_out=i, ambient=20.0).losses.input_power / 6.0 for _, i in profile]
    mean = sum(share * i for (share, _), i in zip(profile, exact, strict=True))
    assert found.i_source == pytest.approx(mean, rel=1e-3)  # by formula, against the exact circuit
    assert found.days == pytest.approx(12 * 3600 / (found.i_source + 0.03 * 12 * 3600 / (30 * 86400)) / 86400, rel=1e-9)
    assert sum(s.share_of_charge for s in found.stretches) == pytest.approx(1)
    asleep, _, awake = found.stretches
    assert asleep.share_of_charge > 0.5 and asleep.efficiency < awake.efficiency - 0.05
    assert battery.life(PARTS, [(1.0, 0.0)], 6.0, 18.0, 150e3, 12 * 3600.0).i_source > PARTS.control_current
    assert "hydrogen" in found.caution and "fuse" in found.caution


def test_a_profile_is_checked():
    """Shares that make up no whole, a negative load, a load out of reach: each said in words."""
    for profile, words in (([(0.5, 0.1)], "must make up 1"), ([(1.0, -0.1)], "load current"), ([(1.0, 500.0)], "cannot bring 18 V at 500")):
        with pytest.raises(ValueError, match=words):
            battery.life(PARTS, profile, 6.0, 18.0, 150e3, 3600.0)


def test_parts_at_reference_need_no_temperature():
    """Left out, every part is at the temperature at which parts state their numbers."""
    assert losses.resistances(PARTS) == losses.resistances(PARTS, dict.fromkeys(settling.FEED_BACK, kinds.REFERENCE))

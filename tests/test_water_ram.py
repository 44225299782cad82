"""The hydraulic ram against Newton's law integrated a second time, against its waves, and against the converter it resembles."""

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from water_reference import RamReference

from boostkit.circuit import Converter, switched
from boostkit.water import Ram
from boostkit.water.likeness import filling, slow_valve, swing, wave_share
from boostkit.water.ram import Delivery, WasteValve
from boostkit.water.waves import ram_by_waves

FILE = Path(__file__).parent.parent / "workbooks" / "water.toml"
ROUNDING = 1e-12  # a few hundred additions and products of doubles


def own(**changes) -> Ram:
    """The example's ram, driven by its own flow."""
    return replace(Ram.from_file(FILE), **changes)


def clocked(frequency, share, **changes) -> Ram:
    """The same with a clock."""
    ram = own(**changes)
    return replace(ram, waste_valve=replace(ram.waste_valve, shuts_at=None, frequency=frequency, share=share))


def ideal() -> Ram:
    """The same without any loss."""
    ram = own()
    return replace(ram, pipe=replace(ram.pipe, friction=0.0), waste_valve=replace(ram.waste_valve, resistance=0.0),
                   check_valve=replace(ram.check_valve, opening_pressure=0.0, resistance=0.0))  # fmt: skip


def with_neck(ram: Ram) -> Ram:
    return replace(ram, vessel=replace(ram.vessel, neck_resistance=3e6))


DRIVES = {
    "its own flow": own(), "its own flow, with a neck": with_neck(own()),
    "a clock, flow rests": clocked(0.6, 0.4), "a clock, flow never rests": clocked(4.0, 0.7),
    "a clock, with a neck": with_neck(clocked(4.0, 0.75)),
}  # fmt: skip


@pytest.mark.parametrize("ram", DRIVES.values(), ids=DRIVES.keys())
def test_a_settled_ram_is_newtons(ram):
    """Period, flows, powers and every course of a settled stroke agree with the equations of motion integrated step by step."""
    s, reference = ram.steady(), RamReference(ram)
    w = s.waveforms(400)
    parts, end, length = reference.settled(w.flow[0] / ram.pipe.area, w.vessel_pressure[0])
    near = {"rel": 1e-8}  # what the integrator holds at rtol 1e-12 over a stroke
    assert s.period == pytest.approx(length, **near)
    assert (s.supplied, s.delivered, s.wasted) == pytest.approx(tuple(end[2:5] / length), **near)
    assert (s.supply_power, s.delivery_power) == pytest.approx(tuple(end[5:] / length), **near)
    assert s.daubuisson == pytest.approx(end[6] / end[5], **near)
    peak = max(part.y[0].max() for _, _, part in parts) * ram.pipe.area
    assert s.flow.max == pytest.approx(peak, **near)
    checked = 0
    for start, mode, part in parts:
        inside = (w.time > start + 1e-7) & (w.time < start + part.t[-1] - 1e-7)
        x = part.sol(w.time[inside] - start)
        waste, check, foot, valve = np.array([reference.pressures(mode == "open", state) for state in x.T]).T
        for ours, theirs, size in (
            (w.flow, x[0] * ram.pipe.area, peak), (w.vessel_pressure, x[1], s.vessel_pressure.mean),
            (w.waste_flow, waste, peak), (w.check_flow, check, peak), (w.delivery_pressure, foot, s.vessel_pressure.mean),
        ):  # fmt: skip
            assert ours[inside] == pytest.approx(theirs, abs=1e-8 * size)
        if mode != "rest":
            assert w.valve_pressure[inside] == pytest.approx(valve, abs=1e-8 * s.vessel_pressure.mean)
        checked += inside.sum()
    assert checked > 380


@pytest.mark.parametrize("name", ["its own flow", "a clock, flow never rests"])
def test_the_first_strokes_are_newtons(name):
    """From an empty vessel, which takes water even past the open waste valve, the first strokes agree too."""
    ram, v, gas, now = DRIVES[name], 0.0, 0.0, 0.0
    reference, w = RamReference(ram), DRIVES[name].start(4, 2000)
    for _ in range(4):
        parts, end, length = reference.stroke(v, gas)
        for start, _, part in parts:
            inside = (w.time > now + start + 1e-7) & (w.time < now + start + part.t[-1] - 1e-7)
            x = part.sol(w.time[inside] - now - start)
            assert w.flow[inside] == pytest.approx(x[0] * ram.pipe.area, abs=1e-8 * ram.stroke_flow)
            assert w.vessel_pressure[inside] == pytest.approx(x[1], abs=1e-8 * reference.lift)
        v, gas, now = end[0], end[1], now + length
    assert w.time[-1] == pytest.approx(now, rel=1e-8)


@pytest.mark.parametrize("ram", DRIVES.values(), ids=DRIVES.keys())
def test_power_goes_somewhere(ram):
    """The supply's power is the delivery's and the losses', and its water is delivered or wasted."""
    s = ram.steady()
    assert s.supply_power == pytest.approx(s.delivery_power + sum(s.losses.values()), rel=ROUNDING)
    assert s.supplied == pytest.approx(s.delivered + s.wasted, rel=ROUNDING)
    assert s.supply_power == pytest.approx(s.supplied * ram.supply_pressure, rel=ROUNDING)


def test_a_ram_without_loss_delivers_all_of_it():
    """Without friction both efficiencies are 1, whatever the swing."""
    s = ideal().steady()
    assert (s.daubuisson, s.rankine) == pytest.approx((1.0, 1.0), rel=1e-9)  # Rankine's takes a difference of near numbers


@pytest.mark.parametrize(("supply", "delivery", "fall", "lift", "daubuisson", "rankine", "slack"), [
    (30, 3, 4, 18, 0.45, 0.389, 5e-4),  # CIV, read: 45 %; 38.9 %
    (7, 1, 1, 5, 0.714, 0.667, 5e-4),   # BTP, read: a seventh to five times the fall; Rankine recomputed
    (14, 1, 1, 10, 0.714, 0.692, 5e-4),  # BTP, read: a fourteenth to ten times
])  # fmt: skip
def test_both_efficiencies_as_printed(supply, delivery, fall, lift, daubuisson, rankine, slack):
    """Reference values G13 and G14 (flows in L/s, heights in m): three printed digits."""
    ram = own(fall=float(fall))
    weight = ram.pipe.pressure(1)
    s = replace(ram.steady(), ram=ram, delivered=delivery * 1e-3, supply_power=weight * fall * supply * 1e-3,
                delivery_power=weight * lift * delivery * 1e-3)  # fmt: skip
    assert (s.daubuisson, s.rankine) == pytest.approx((daubuisson, rankine), abs=slack)


def test_the_twin_is_the_mapping():
    """1 kPa is 1 V and 1 L/s is 1 A: inertance, compliance and resistances follow, part by part."""
    ram = own()
    c, pipe = ram.twin(), ram.pipe
    assert c.source.voltage == pytest.approx(pipe.density * 9.80665 * ram.fall / 1e3)
    assert c.inductor.inductance == pytest.approx(pipe.density * pipe.length / pipe.area / 1e6)
    assert c.inductor.resistance == pytest.approx(RamReference(ram).even / 1e6)
    assert c.switch.peak_current == pytest.approx(2.0) and c.switch.drive == "two thresholds"
    assert c.rectifier.forward_voltage == pytest.approx(0.5) and c.rectifier.resistance == pytest.approx(2.0)
    absolute = 101325 + 1e4 * 9.80665
    assert c.capacitor.capacitance == pytest.approx(3e-3 / (1.2 * absolute) / 1e-6)
    assert c.load.resistance == pytest.approx(98.0665 / 0.14)


CONVERTERS = {
    "a clock": Converter.of(v_in=6, duty=0.68, f_sw=150e3, inductance=47e-6, r_inductor=0.04, r_switch=0.02, v_rectifier=0.4,
                            r_rectifier=0.02, capacitance=100e-6, r_capacitor=0.01, r_load=30),
    "light load": Converter.of(v_in=6, duty=0.3, f_sw=150e3, inductance=4.7e-6, v_rectifier=0.4, capacitance=100e-6, r_load=300),
    "its own current": Converter.of(v_in=6, peak_current=2.5, inductance=47e-6, r_inductor=0.04, r_source=0.02, r_switch=0.02,
                                    capacitance=100e-6, r_load=30),
    "clock and current": Converter.of(v_in=6, f_sw=150e3, peak_current=1.4, inductance=47e-6, r_switch=0.02, capacitance=100e-6,
                                      r_load=60),
}  # fmt: skip


@pytest.mark.parametrize("converter", CONVERTERS.values(), ids=CONVERTERS.keys())
def test_a_ram_made_like_a_converter_keeps_step_with_it(converter):
    """Its waveforms are the converter's, scaled, to rounding: the two pictures may run side by side."""
    ram = Ram.like(converter, pressure_per_volt=2e3, flow_per_ampere=1.5e-3, seconds_per_second=1e5)
    electric, water = switched.steady_state(converter), ram.steady()
    a, b = electric.waveforms(300), water.waveforms(300)
    near = 1e-9  # Newton's method arrives at a relative step of 1e-13; light load and many periods of ringing magnify it
    assert water.period == pytest.approx(electric.period * 1e5, rel=near)
    assert b.time == pytest.approx(a.time * 1e5, rel=near, abs=near * water.period)
    for flow, current in (("flow", "i_inductor"), ("waste_flow", "i_switch"), ("check_flow", "i_rectifier"), ("delivery_flow", "i_load")):
        assert getattr(b, flow) == pytest.approx(getattr(a, current) * 1.5e-3, abs=near * water.flow.max)
    for pressure, voltage in (("valve_pressure", "v_switch"), ("vessel_pressure", "v_capacitor"), ("delivery_pressure", "v_out")):
        assert getattr(b, pressure) == pytest.approx(getattr(a, voltage) * 2e3, abs=near * water.vessel_pressure.max)
    assert (b.waste_open == a.closed).all() and (b.check_open == a.conducting).all()
    assert water.daubuisson == pytest.approx(electric.efficiency, rel=near)


@pytest.mark.parametrize(("change", "word"), [
    ({"i_out": 0.2}, "load.current"), ({"c_input": 1e-5, "r_input_capacitor": 0.1}, "input_capacitor"),
    ({"rectifier": "switch", "v_rectifier": None}, "rectifier.kind"),
])  # fmt: skip
def test_a_converter_without_a_likeness_is_refused(change, word):
    """A second switch, a current load and an input capacitor have no twin part in this ram."""
    with pytest.raises(ValueError, match=word):
        Ram.like(CONVERTERS["a clock"].change(**change), pressure_per_volt=1e3, flow_per_ampere=1e-3, seconds_per_second=1e4)


def test_throttled_meets_the_lift():
    """The delivery line can be set so that the vessel holds just the lift; then the flow given is the flow delivered."""
    s = own().throttled().steady()
    assert s.head == pytest.approx(10.0, rel=1e-10)
    assert s.delivered == pytest.approx(s.ram.delivery.flow, rel=1e-10)
    barely = own(delivery=Delivery(2.2, 1e-5)).throttled().steady()
    assert barely.head == pytest.approx(2.2, rel=1e-10)


def test_a_lift_out_of_reach_is_said():
    """Without loss a clock and its share set the pressure near fall/(1 - share), whatever the throttle does."""
    ram = replace(ideal(), waste_valve=WasteValve(frequency=40.0, share=0.75), delivery=Delivery(3.0, 1e-3))
    with pytest.raises(ValueError, match="delivery.lift = 3 m must be within reach of a throttle.*and 8 m only"):
        ram.throttled()


# --- the waves left in ---


def stiffer(ram: Ram, factor: float) -> Ram:
    """The same ram with water and wall so many times as stiff: the wave is faster, the inertance the same."""
    pipe = replace(ram.pipe, bulk_modulus=ram.pipe.bulk_modulus * factor, modulus=ram.pipe.modulus * factor)
    return replace(ram, pipe=pipe)


@pytest.mark.parametrize("ram", [own(), clocked(1.1, 0.7)], ids=["its own flow", "a clock"])
def test_waves_and_column_agree_as_the_wave_gets_short(ram):
    """Ram by waves and lumped ram differ by no more than about three times the share of a stroke that a wave takes, from a
    tenth of a stroke down to a five-hundredth."""
    s, found = ram.steady(), []
    for factor in (0.05, 0.3, 3, 100):
        changed = stiffer(ram, factor)
        share, w = wave_share(changed), ram_by_waves(changed, 6, 8)
        errors = np.abs([w.period / s.period - 1, w.delivered / s.delivered - 1, w.wasted / s.wasted - 1,
                         w.peak_flow / s.flow.max - 1])  # fmt: skip
        found.append((share, errors.max()))
    assert found[0][0] > 0.05 and found[-1][0] < 0.0025
    assert all(error <= 3.5 * share for share, error in found)  # the flow falls in stairs of height 2 share or so
    assert found[-1][1] < 0.008 < 0.05 < found[0][1]


def test_waves_with_square_law_and_gas_law():
    """With friction by the square and the vessel after p V^n the fast-wave ram agrees with those equations of motion, and not
    with the linear ones."""
    ram = stiffer(own(), 100)
    ram = replace(ram, vessel=replace(ram.vessel, gas_volume=2e-4), pipe=replace(ram.pipe, friction=0.08))
    w = ram_by_waves(ram, 4, 8, square_law=True, gas_law=True)
    gas = w.vessel_pressure[0]
    strokes = []
    for _ in range(4):
        _, end, length = RamReference(ram, square=True, gas_law=True).stroke(0.0, gas)
        gas = end[1]
        strokes.append((length, end[3], gas))
    times = np.diff(w.starts)
    share = wave_share(ram)
    assert times[0] == pytest.approx(strokes[0][0], rel=3.5 * share)
    k = int(np.searchsorted(w.times, w.starts[1]))
    assert w.vessel_pressure[k] == pytest.approx(strokes[0][2], rel=3.5 * share)
    plain = RamReference(ram).stroke(0.0, w.vessel_pressure[0])
    assert abs(plain[2] / strokes[0][0] - 1) > 3.5 * share


def test_a_ram_whose_rise_does_not_reach_the_vessel_delivers_nothing():
    """With a wave so slow that ρ a v stays below the vessel's pressure no water goes up, and it is said."""
    with pytest.raises(ValueError, match="reach the vessel"):
        ram_by_waves(stiffer(own(), 0.002), 3, 8)


# --- where the likeness ends ---


@pytest.mark.parametrize("friction", [0.0, 0.03, 0.12])
def test_filling_is_newtons(friction):
    """Time to the flow of a stroke: without friction, as a resistance, by the square, each against the equation integrated."""
    ram = own()
    ram = replace(ram, pipe=replace(ram.pipe, friction=friction))
    reference, f = RamReference(ram), filling(ram)
    for drag, expected in ((lambda v: 0.0, f.without), (lambda v: reference.even * v * reference.area, f.linear),
                           (reference._square, f.square)):  # fmt: skip
        def there(_, v):
            return v[0] * reference.area - ram.stroke_flow

        there.terminal = True
        run = solve_ivp(lambda _, v, drag=drag: [(reference.push - drag(v[0])) * reference.area / reference.mass], (0, 100), [0.0],
                        "DOP853", rtol=1e-12, atol=1e-14, events=there)  # fmt: skip
        assert run.t[-1] == pytest.approx(expected, rel=1e-10)


def test_filling_says_when_it_never_gets_there():
    """Beyond the speed at which friction eats the fall there is no filling time."""
    f = filling(own(), 0.02)
    assert f.square == math.inf and f.linear == math.inf and math.isfinite(f.without)


def test_the_gas_stiffens_as_it_is_squeezed():
    """Compliance falls over the swing, and the gas law's peak lies above the linear one by less than the square of the swing."""
    ram = own(vessel=replace(own().vessel, gas_volume=3e-4))
    s = swing(ram)
    assert s.compliance_low > s.compliance_lift > s.compliance_high
    at_low = 101325 + s.low
    n, volume = ram.vessel.exponent, ram.vessel.gas_volume * ((101325 + 98066.5) / at_low) ** (1 / ram.vessel.exponent)
    taken = s.compliance_lift * (s.high - s.low)
    assert s.high_by_gas_law + 101325 == pytest.approx(at_low * (volume / (volume - taken)) ** n, rel=1e-9)
    assert ram.vessel.volume_at(ram.vessel.pressure) == ram.vessel.gas_volume
    slope = (ram.vessel.volume_at(ram.vessel.pressure - 1) - ram.vessel.volume_at(ram.vessel.pressure + 1)) / 2
    assert ram.vessel.compliance() == pytest.approx(slope, rel=1e-8)  # a difference over 2 Pa


@pytest.mark.parametrize("times", [0.0, 0.7, 1.0, 3.0, 40.0])
def test_a_slow_waste_valve(times):
    """Up to one return time it makes the full rise ρ a v, then 2 ρ l v/T; beyond some slowness it no longer opens the check
    valve. Half the water that would have run by then is lost."""
    ram = own()
    ram = replace(ram, pipe=replace(ram.pipe, friction=0.0))
    pipe, flow = ram.pipe, ram.steady().flow.max
    found = slow_valve(ram, times * pipe.return_time)
    full = pipe.density * pipe.wave_speed * flow / pipe.area
    slow = 2 * pipe.density * pipe.length * flow / pipe.area / found.closing_time if times > 1 else full
    assert (found.rise, found.sudden_rise) == pytest.approx((slow, full), rel=1e-9)
    assert found.lost == pytest.approx(flow * found.closing_time / 2)
    assert found.reaches == (times < 10)


# --- what it refuses ---

BAD = {
    ("delivery", "lift", 1.5): r"water: delivery.lift = 1.5 m must lie in .2 m, 1 km.: a ram lifts above its supply",
    ("supply", "fall", -1): r"water: supply.fall = -1 m must",
    ("waste_valve", "shuts_at", "20 L/s"): r"water: waste_valve.shuts_at = 0.02 m³/s must lie below .*the valve would stay open",
    ("waste_valve", "share", 0.5): r"water: waste_valve.shuts_at = given twice",
    ("waste_valve", "shuts_at", None): r"water: waste_valve.shuts_at = missing",
    ("vessel", "gas_volume", "3 kg"): r"water: vessel.gas_volume",
    ("vessel", "gasvolume", 1): r"water: vessel.gasvolume is not a known key.*gas_volume",
    ("pipe", "wall", 0.04): r"water: pipe.wall = 40 mm must be at most half the diameter",
    ("pipe", "wall", None): r"water: pipe.wall = missing",
    ("pipe", "length", float("nan")): r"water: pipe.length",
    ("pipe", "length", 1e6): r"water: pipe.length = 1 Mm must leave the pipe's inertance in",
    ("vessel", "gas_volume", 1e4): r"water: vessel.gas_volume = 10000 m³ must leave the vessel's compliance in",
}  # fmt: skip


@pytest.mark.parametrize(("place", "text"), BAD.items(), ids=[" ".join(map(str, place)) for place in BAD])
def test_errors_name_value_and_rule(place, text):
    """Each refusal is one line with file, key, value and rule."""
    section, key, value = place
    data = tomllib.loads(FILE.read_text(encoding="utf-8"))
    data[section][key] = value
    if value is None:
        del data[section][key]
    with pytest.raises(ValueError, match=text) as caught:
        Ram.from_dict(data, "water")
    assert "\n" not in str(caught.value)


def test_a_ram_without_steady_state_says_so_in_the_words_of_its_twin():
    """What the circuit refuses is handed on with the scale of the twin."""
    ram = own()
    ram = replace(ram, waste_valve=replace(ram.waste_valve, resistance=1e9))
    with pytest.raises(ValueError, match="1 V for 1 kPa.*never reaches peak_current"):
        ram.steady()

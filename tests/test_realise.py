"""A design made of real parts: its numbers against the exact circuit taken by another way, and odd but legal specifications."""

import json
import math
from dataclasses import replace

import pytest

from boostkit.circuit import Converter, switched
from boostkit.design import Spec, choice, design, realise
from boostkit.design.choice import Needs
from boostkit.design.judge import SwitchData
from boostkit.design.procedure import illustrative
from boostkit.files import to_json
from boostkit.paper.blocks import Caution
from boostkit.paper.pages import design_page
from boostkit.parts import losses, tables
from boostkit.parts.kinds import Heat
from boostkit.parts.tables import Candidates
from boostkit.units import show

GAUGE = {
    "title": "Tide gauge",
    "source": {"voltage": {"min": 5.5, "usual": 6.0, "max": 7.2}},
    "load": {"voltage": 18.0, "current": {"min": 0.02, "usual": 0.35, "max": 0.6}},
    "limits": {"ripple": 0.06, "efficiency": 0.88, "ambient": {"min": -10, "max": 45}},
    "choices": {"rectifier": "diode"},
}
EDGES = SwitchData(**{k: illustrative()["switch"][k] for k in SwitchData.__dataclass_fields__})
SHIPPED = tables.illustrative()
KEYS = ("spec", "converter", "corners", "verdicts", "lines", "parts", "cautions", "losses", "thermal", "inductor_build", "capacitors",
        "snubber", "loop", "protections", "tolerance", "choice")  # fmt: skip


def changed(**sections):
    """The tide gauge with sections in place of its own; None takes one out."""
    return {key: value for key, value in (GAUGE | sections).items() if value is not None}


def made(spec=GAUGE, own=None, units=10):
    return realise(design(Spec.from_dict(spec, "gauge.toml")), own, units=units)


@pytest.fixture(scope="module")
def gauge():
    return made()


@pytest.fixture(scope="module", params=["diode", "switch"])
def either(request, gauge):
    """With a diode, and with a second switch in its place."""
    return gauge if request.param == "diode" else made(changed(choices={"rectifier": "switch"}))


# the numbers


def test_every_corner_keeps_its_energy(either):
    """What the source gives is what the load takes and what is lost: on the exact circuit, and with the losses it does not have."""
    for rest in either.operating:
        s = rest.state
        assert s.input_power == pytest.approx(s.output_power + sum(s.losses.values()), rel=1e-9)  # rounding of the closed form
        # what is lost on the way reaches the output of the circuit, and goes no further
        assert s.output_power == pytest.approx(rest.losses.output_power + rest.losses.on_the_way, rel=1e-9)
        beside = sum(rest.losses.items[name] for name in ("switch gate", "rectifier gate", "control", "input capacitor ESR"))
        assert rest.losses.input_power == pytest.approx(s.input_power + beside, rel=1e-9)  # not through the coil
        on_the_circuit = rest.losses.conduction - rest.losses.items["inductor winding, ripple"] - rest.losses.items["input capacitor ESR"]
        assert sum(s.losses.values()) == pytest.approx(on_the_circuit, rel=1e-9)
        assert rest.losses.efficiency == pytest.approx(rest.losses.output_power / (rest.losses.output_power + rest.losses.total), rel=1e-12)


def test_every_corner_stands_at_its_place_and_output(either):
    """As many as the design has, in its order, each at the output asked for; the sheet's corners say the same."""
    for drawn, rest, told in zip(either.design.corners, either.operating, either.corners, strict=True):
        assert (rest.state.converter.source.voltage, rest.point.i_out) == (drawn.v_in, drawn.i_out) == (told.v_in, told.i_out)
        assert rest.state.output_voltage.mean == pytest.approx(18.0, rel=1e-9)  # the search for the duty
        assert told.efficiency == rest.losses.efficiency and told.inductor_peak == rest.state.inductor_current.max


def test_temperatures_are_ambient_and_thermal_resistance_times_heat(either):
    """Of every part at every corner, resistances taken at those temperatures; and the verdicts name the hottest."""
    for rest in either.operating:
        again = losses.at(rest.point, either.fitted, rest.temperatures)
        for part, t in rest.temperatures.items():
            wanted = 45.0 + getattr(either.fitted, part).heat.resistance * again.of_part[part]
            assert t == pytest.approx(wanted, abs=1e-6)  # settled to 1e-8 K
    for part, words in (("switch", "the switch"), ("inductor", "the inductor"), ("input_capacitor", "the input capacitor")):
        verdict = next(v for v in either.verdicts if words + " in" in v.demand)
        assert verdict.value == max(rest.temperatures[part] for rest in either.operating)
        assert verdict.met is (verdict.value <= getattr(either.fitted, part).heat.limit)


def test_the_ripple_is_that_of_the_exact_circuit_with_the_worst_capacitor(either):
    """Built anew from the parts' numbers, with what cold, age and bias leave, at the corner the verdict names."""
    verdict, bank = either.verdicts[0], either.banks["output"]
    rest = next(r for r in either.operating if {"v_in": r.point.v_in, "i_out": r.point.i_out} == verdict.worst_at)
    warm = losses.resistances(either.fitted, rest.temperatures) | {"r_capacitor": bank.esr}
    if either.fitted.rectifier.kind == "switch":
        del warm["v_rectifier"]
    bare = Converter.of(v_in=rest.point.v_in, i_out=0.6 + rest.losses.on_the_way / 18.0, f_sw=150e3, duty=0.5,
                        inductance=either.fitted.inductor.inductance, capacitance=bank.effective,
                        rectifier=either.fitted.rectifier.kind, **warm)  # fmt: skip
    worst = switched.steady_state(bare.change(duty=switched.duty_for(bare, 18.0)))
    assert verdict.demand.startswith("output ripple") and verdict.worst_at == {"v_in": 5.5, "i_out": 0.6}
    assert verdict.value == pytest.approx(worst.ripple_voltage, rel=1e-7)  # the temperatures are settled to 1e-8 K
    assert bank.effective < bank.usual < bank.count * bank.capacitance  # and it is a worse capacitor than the one bought
    assert verdict.value > rest.state.ripple_voltage


def test_the_coil_does_what_the_warm_corners_ask(either):
    """No inductance lost, the core not saturated at the highest peak, and its part reckons as its winding does."""
    built, peak = either.inductor, max(c.inductor_peak for c in either.corners)
    assert built.inductance == pytest.approx(either.design.converter.inductor.inductance, rel=0.05)  # whole turns
    assert built.saturation_current > peak and built.part() == either.fitted.inductor
    assert either.saturating.output_voltage.mean == pytest.approx(18.0, rel=1e-9)
    assert either.saturating.inductor_current.max == pytest.approx(peak, rel=0.1)  # the core bends, and does not give in


@pytest.mark.parametrize("what", ["switch", "rectifier", "inductor"])
def test_the_parts_chosen_lose_least_of_what_fits(either, what):
    """Each other one of the table that was not refused, in its place, loses more; found again one at a time."""
    chosen = choice.choose(either.spec, either.design.corners, SHIPPED, EDGES)
    needs, picked = Needs.of(either.spec, either.design.corners), either.picked[what]
    names = {part.name for part in getattr(SHIPPED, choice.WHATS[what])}
    assert {fit.part.name for fit in picked.best} | set(picked.refused) == names
    assert {fit.part.name for fit in picked.best}.isdisjoint(picked.refused)
    best = choice.pick(what, [picked.best[0].part], needs, chosen.parts).best[0].loss
    for fit in picked.best[1:]:
        assert choice.pick(what, [fit.part], needs, chosen.parts).best[0].loss >= best - 1e-9  # W, to which it settles
    if what != "inductor":
        assert getattr(either.fitted, what).name == picked.best[0].part.name


def test_tables_are_settled_at_once_as_one_by_one(gauge):
    """A table as arrays gives each part the loss and temperature that it gets alone; those that fail beside it change nothing."""
    needs, drawn = Needs.of(gauge.spec, gauge.design.corners), choice.drawn(gauge.design.corners[0].state.converter, EDGES)
    hot = replace(SHIPPED.switches[2], name="hot", heat=Heat(3000.0, 150.0))
    far = replace(SHIPPED.switches[2], name="far", on_resistance=5.0, capacitance_voltage=0.0)
    together = choice.pick("switch", [*SHIPPED.switches, hot, far], needs, drawn)
    assert "without end" in together.refused["hot"] and "out of reach" in together.refused["far"]
    assert len(together.best) > 3
    for fit in together.best:
        alone = choice.pick("switch", [fit.part], needs, drawn).best[0]
        assert (fit.loss, fit.temperature) == (pytest.approx(alone.loss, abs=1e-8), pytest.approx(alone.temperature, abs=1e-6))


def test_a_guess_of_the_duty_changes_nothing(gauge):
    """The search from near by ends where the search from nowhere does, and a bad guess does no harm."""
    for rest in gauge.operating[::4]:
        wanted = switched.duty_for(rest.state.converter, 18.0)
        for near in (wanted, 0.99 * wanted, 0.2 * wanted, 0.97, 0.0):
            assert switched.duty_for(rest.state.converter, 18.0, near) == pytest.approx(wanted, rel=1e-11)  # its own tolerance


def test_the_json_says_it_all(gauge):
    """Every key; numbers that agree with the objects; no number that JSON does not have."""
    data = json.loads(to_json(gauge.to_dict()))
    assert set(data) == set(KEYS)
    assert sum(data["losses"].values()) == pytest.approx(gauge.usual.losses.total, rel=1e-12)
    assert data["thermal"]["temperatures"] == gauge.hardest.temperatures and 0 < data["thermal"]["loop_gain"] < 1
    assert len(data["corners"]) == 9 and len(data["verdicts"]) == len(gauge.verdicts)
    assert data["inductor_build"]["turns"] == gauge.inductor.turns
    assert data["capacitors"]["output"]["effective"] == gauge.banks["output"].effective
    assert data["choice"]["switch"]["best"][0] == gauge.fitted.switch.name
    assert data["tolerance"]["units"] == 10 and data["tolerance"]["checked"]["deviation"] < 1e-9
    assert data["cautions"][-1].startswith("Local codes") and data["snubber"]["met"] is True
    assert [guard["what"] for guard in data["protections"]] == [guard.what for guard in gauge.protections]
    assert all(guard["met"] and guard["against"] and guard["sized"] and guard["caution"] for guard in data["protections"])


def test_protections_are_sized_with_what_the_parts_tell(gauge):
    """Capacitors as marked, the wound coil's own curve, one number for limit and coil; cautions beside their lines, not on page one."""
    fuse, series = (next(g for g in gauge.protections if g.what.startswith(what)) for what in ("Fuse", "Series"))
    marked = gauge.banks["output"].part().capacitance
    assert f"with {show(marked, 'F')} at the output and the coil's own curve" in fuse.lines[1].say
    assert show(marked + gauge.banks["input"].part().capacitance, "F") in series.lines[0].text
    limit = show(gauge.loop.controller.i_limit, "A")
    coil = next(part for part in gauge.parts if part.what == "Inductor")
    assert f"still so at {limit}" in coil.look_for and any(g.value == limit for g in gauge.protections)
    assert not any(guard.caution in caution for caution in gauge.cautions for guard in gauge.protections)
    assert sum("battery is connected for the first time" in caution for caution in gauge.cautions) == 1
    assert sum(line.say == f"Caution: {guard.caution}" for line in gauge.lines for guard in gauge.protections) == len(gauge.protections)


def test_a_protection_that_does_not_protect_makes_the_design_fall_short(gauge):
    """The whole is met only if each protection is, and the first page says which is not."""
    weak = replace(gauge.protections[0], unmet="no fuse carries it")
    short = replace(gauge, protections=(weak, *gauge.protections[1:]))
    assert gauge.met and not short.met
    said = next(block for block in design_page(short).first if isinstance(block, Caution) and "falls short" in block.title)
    assert "Fuse at the source does not protect: no fuse carries it." in said.items
    assert not any(isinstance(block, Caution) and "falls short" in block.title for block in design_page(gauge).first)


def test_the_same_twice(gauge):
    """Nothing is drawn anew from one run to the next."""
    assert to_json(made().to_dict()) == to_json(gauge.to_dict())


# odd but legal specifications


def span(low, usual, high):
    return {"min": low, "usual": usual, "max": high}


def other(v_in, v_out, i_out, limits=None, **choices):
    return changed(source={"voltage": v_in}, load={"voltage": v_out, "current": i_out}, limits=limits, choices=choices or None)


LIMITS = GAUGE["limits"]
ODD = {
    "48 to 100 V": other(span(40, 48, 56), 100, span(0.1, 1, 2), {"ripple": 1, "ambient": {"min": 0, "max": 40}}),
    "3.3 to 5 V": other(span(3, 3.3, 3.6), 5, span(0.1, 0.5, 1), {"ripple": 0.05}),
    "1 V": other(span(0.9, 1, 1.2), 3, span(0.01, 0.05, 0.1), {"ripple": 0.05}),
    "to 400 V": other(span(180, 200, 250), 400, span(0.1, 0.5, 1), {"ripple": 4, "ambient": 40}),
    "5 mA": other(6, 18, 0.005, LIMITS),
    "no load": other(6, 18, span(0, 0.002, 0.005), LIMITS),
    "20 A": other(span(10, 12, 14), 24, span(1, 10, 20), LIMITS),
    "little ripple": changed(choices={"ripple_fraction": 0.05}),
    "much ripple": changed(choices={"ripple_fraction": 1.8}),
    "dry at full load": changed(choices={"ripple_fraction": 2}),
    "20 kHz": changed(choices={"frequency": "20 kHz"}),
    "2 MHz": changed(choices={"frequency": "2 MHz"}),
    "no limits": changed(limits=None),
    "wide ambient": changed(limits=LIMITS | {"ambient": {"min": -40, "max": 85}}),
    "one ambient": changed(limits=LIMITS | {"ambient": 45}),
    "fixed coil": changed(choices={"inductance": "100 µH"}),
    "fixed small coil": changed(choices={"inductance": "1 µH"}),
    "fixed capacitor": changed(choices={"capacitance": "1 µF"}),
    "hardly a step up": other(17.9, 18, 0.5, LIMITS),
    "thousands of volts": other(4000, 8000, 0.01),
    "fifteen times": other(6, 90, 0.05, LIMITS),
}


@pytest.mark.parametrize("name", ODD)
def test_an_odd_specification_is_judged_and_what_is_not_is_said(name):
    """It is worked through; each demand has a verdict that is met or not; nothing counts as a real part, or as judged, that is not."""
    real = made(ODD[name])
    data = json.loads(to_json(real.to_dict()))
    assert set(data) == set(KEYS)
    limits = ODD[name].get("limits") or {}
    assert sum("ripple" in v.demand for v in real.verdicts) == ("ripple" in limits)
    assert sum("efficiency" in v.demand for v in real.verdicts) == ("efficiency" in limits)
    judged = {v.demand.removeprefix("temperature of the ").split(" in the hottest")[0] for v in real.verdicts if "temperature" in v.demand}
    open_points = [caution for caution in real.cautions if "**not judged**" in caution]
    assert real.unjudged == open_points
    for part in ("switch", "rectifier", "inductor"):
        drawn = getattr(real.fitted, part).name == "as drawn"
        assert (part in judged) == ("ambient" in limits and not drawn)
        assert drawn == any(part in caution.lower() and "only drawn" in caution for caution in open_points)
    assert ("output" in real.banks) != any("bias, cold and age" in caution for caution in open_points)
    assert ("ambient" in limits) != any("No ambient is named" in caution for caution in open_points)
    assert (real.snubber is None) == any("ringing" in caution for caution in open_points)
    assert sum("Never run it without a load or a regulator" in caution for caution in real.cautions) == 1
    assert (real.spec.v_out > 60) == any("More than 60 V direct current can kill" in caution for caution in real.cautions)
    assert all(math.isfinite(t) and t >= real.usual.ambient for rest in real.operating for t in rest.temperatures.values())


def test_where_no_switch_of_the_table_will_do_each_says_why():
    """At 400 V all are refused for their voltage, none is taken, and the sheet says what to look for."""
    real = made(ODD["to 400 V"])
    assert real.picked["switch"].refused.keys() == {s.name for s in SHIPPED.switches} and real.fitted.switch.name == "as drawn"
    assert all("bears" in why and "are asked for" in why for why in real.picked["switch"].refused.values())
    assert any("Look for: bears at least 6" in line.say for line in real.lines)  # 1.5 times some 400 V
    assert next(part for part in real.parts if part.what == "Switch").why.startswith("as drawn")


def test_a_fixed_capacitance_is_kept_to():
    """The output bank then holds what was fixed, and where that is too little, the ripple is not met."""
    real = made(ODD["fixed capacitor"])
    assert real.banks["output"].effective >= 1e-6 and real.banks["output"].count == 1
    assert not real.verdicts[0].met and not real.met
    far = made(changed(choices={"capacitance": 1.0}))
    assert "output" not in far.banks and far.fitted.capacitor.capacitance == 1.0


# tables of one's own


def test_what_one_s_own_tables_do_not_hold_stays_as_drawn():
    """Only switches: one of them is taken, the diode is only drawn, and both are named for what is not known of them."""
    mine = replace(SHIPPED.switches[2], name="mine", heat=Heat(), invented=False)
    real = made(own=Candidates(switches=(mine,)))
    assert real.fitted.switch == mine and real.fitted.rectifier.name == "as drawn"
    made_of = {part.what: part.why for part in real.parts}
    assert made_of["Switch"] == "from your table" and made_of["Rectifier"].startswith("as drawn")
    assert any("Rectifier: there is no table of them. Look for" in line.say for line in real.lines)
    assert any(c.startswith("Switch") and "no thermal resistance" in c for c in real.unjudged)
    assert not any("temperature of the switch" in v.demand for v in real.verdicts)


def test_a_part_that_runs_away_is_refused_and_named():
    """The cooler one beside it is taken; alone, nothing of the table is."""
    fine, hot = SHIPPED.switches[2], replace(SHIPPED.switches[2], name="hot", on_resistance=0.4, heat=Heat(900.0, 150.0))
    real = made(own=Candidates(switches=(hot, fine)))
    assert real.fitted.switch == fine and "without end" in real.picked["switch"].refused["hot"]
    assert any(line.say.startswith("Not hot: it warms itself without end at a source of 5.5 V") for line in real.lines)
    alone = made(own=Candidates(switches=(hot,)))
    assert alone.fitted.switch.name == "as drawn" and any("Not hot: it warms" in line.say for line in alone.lines)


def test_a_poor_part_is_wound_for_and_falls_short():
    """A rectifier that drops as much as the load gets: twice the current, a coil for it, and the demands are not met."""
    poor = replace(SHIPPED.rectifiers[3], name="poor", forward_voltage=12.0, forward_slope=0.0, heat=Heat())
    real = made(own=Candidates(rectifiers=(poor,)))
    assert real.inductor.saturation_current > max(c.inductor_peak for c in real.corners) > 1.5 * 2.29  # A, what the design drew
    assert not real.met and [v.met for v in real.verdicts if "efficiency" in v.demand] == [False]


def test_parts_that_keep_the_output_from_its_voltage_are_refused():
    """Too much resistance in the one coil of a table: out of reach, and said of that coil."""
    coil = replace(SHIPPED.inductors[6], name="thin", resistance=2.0)
    real = made(own=Candidates(inductors=(coil,)))
    assert "out of reach" in real.picked["inductor"].refused["thin"] and real.inductor is None
    assert real.fitted.inductor.name == "as drawn" and any("inductor" in c and "only drawn" in c for c in real.unjudged)


@pytest.mark.parametrize("spec, said", [
    (changed(limits={"ambient": 200}), ["limits.ambient", "200 °C", "[-60 °C, 150 °C]"]),
    (changed(limits={"ambient": {"min": -200, "max": 20}}), ["limits.ambient", "-200 °C"]),
    (changed(choices={"frequency": "50 MHz"}), ["load.voltage = 18 V", "a source of 5.5 V", "out of reach"]),
    (other(0.1, 0.3, 0.001), ["load.voltage = 300 mV", "out of reach"]),
])  # fmt: skip
def test_what_no_real_parts_can_do_is_refused_with_its_place(spec, said):
    """One line: specification, key, value and rule."""
    with pytest.raises(ValueError, match=r"^gauge\.toml: ") as trouble:
        made(spec)
    assert all(words in str(trouble.value) for words in said) and "\n" not in str(trouble.value)

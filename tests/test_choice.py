"""Choosing from tables: losses against the exact circuit, the choice against every combination, and each refusal by its reason."""

import itertools
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest

from boostkit.design import Spec, choice, judge
from boostkit.design.choice import Needs, pick
from boostkit.design.judge import SwitchData
from boostkit.design.procedure import design
from boostkit.parts import capacitor_types, tables, warming
from boostkit.parts.kinds import Heat
from boostkit.parts.tables import Candidates

SPEC = Spec.from_file(files("boostkit") / "data" / "tide_gauge.toml")
EDGES = SwitchData(20e-9, 20e-9, 150e-12, 10e-9, 5.0)
SHIPPED = tables.illustrative()


@pytest.fixture(scope="module")
def corners():
    """The tide gauge as drawn, at every corner."""
    return judge.corners(SPEC, design(SPEC).converter, EDGES)


@pytest.fixture(scope="module")
def needs(corners):
    return Needs.of(SPEC, corners)


@pytest.fixture(scope="module")
def parts(corners):
    return choice.drawn(corners[0].state.converter, EDGES)


@pytest.fixture(scope="module")
def chosen(corners):
    return choice.choose(SPEC, corners, SHIPPED, EDGES)


def named(parts, name):
    return next(part for part in parts if part.name == name)


def refusal(what, part, needs, parts):
    """Why this part will not do."""
    found = pick(what, [part], needs, parts)
    assert found.best == () and list(found.refused) == [part.name]
    return found.refused[part.name]


# what is needed


def test_what_the_parts_must_bear_is_what_the_exact_circuit_measured(needs, corners):
    """The highest of any corner, each found again in the corners' own states."""
    assert needs.peak == max(c.inductor_peak for c in corners) and len(needs.v_in) == len(corners) == 9
    assert (needs.v_in[needs.usual], needs.i_out[needs.usual]) == (6.0, 0.6)
    ripple = max(c.ripple_voltage for c in corners)
    assert needs.voltage == pytest.approx(18.0 + ripple / 2 + 0.4 + 0.02 * needs.peak, abs=ripple / 2)  # as the switch opens, by hand
    assert (needs.inductance, needs.capacitance, needs.ambient, needs.f_sw) == (56e-6, 100e-6, (-10, 45), 150e3)


def test_the_parts_as_drawn_lose_what_the_judge_says(parts, corners, needs):
    """The loss model with the drawn numbers, beside conduction on the exact circuit and the judge's edges."""
    found = warming.settle_many(parts, needs.v_in, 18.0, needs.i_out, 150e3, 25.0)
    for k, corner in enumerate(corners):
        if corner.mode == "continuous":  # in discontinuous conduction edges are counted at another current
            assert found.losses.total[k] == pytest.approx(sum(corner.losses.values()), rel=0.02)  # edges draw current: second order


# what fits


def test_every_candidate_is_sorted_or_refused(chosen):
    """None is lost; what fits comes with least loss first, banks that lose alike by room."""
    for what, table in choice.WHATS.items():
        picked, names = chosen.picked[what], {part.name for part in getattr(SHIPPED, table)}
        fits = [fit.bank.piece.name if fit.bank else fit.part.name for fit in picked.best]
        assert sorted([*fits, *picked.refused]) == sorted(names) and all(picked.refused.values())
        losses = [fit.loss for fit in picked.best]
        if what == "capacitor":
            assert max(losses) < 1.01 * min(losses) and [f.bank.volume for f in picked.best] == sorted(f.bank.volume for f in picked.best)
        else:
            assert losses == sorted(losses) and len(losses) >= 3
        assert getattr(chosen.parts, what) == picked.best[0].part
    assert chosen.complete


def test_losses_and_temperatures_are_those_of_the_exact_circuit(chosen):
    """Each switch that fits, settled on the exact circuit: the same order, and losses within what the formulas leave out."""
    settled = []
    for fit in chosen.picked["switch"].best:
        exact = warming.settle(replace(chosen.parts, switch=fit.part), 6.0, 18.0, 0.6, 150e3, 45.0)
        settled.append(exact.losses.total)
        assert fit.loss == pytest.approx(exact.losses.total, rel=0.01)  # straight slopes, and no ripple on the output
        assert fit.own == pytest.approx(exact.losses.of_part["switch"], rel=0.02)
        hottest = warming.settle(replace(chosen.parts, switch=fit.part), 5.5, 18.0, 0.6, 150e3, 45.0).temperatures["switch"]
        assert fit.temperature == pytest.approx(hottest, abs=1.0)  # K: 2 % of the few tens of kelvin it warms
    assert settled == sorted(settled)


def test_the_choice_is_the_best_of_all_combinations(corners, needs):
    """Eighteen combinations, each settled: none loses less than the one chosen in turns."""
    few = Candidates(SHIPPED.switches[1:4], (SHIPPED.rectifiers[1], SHIPPED.rectifiers[2], SHIPPED.rectifiers[5]), SHIPPED.inductors[4:6])
    found = choice.choose(SPEC, corners, few, EDGES)
    losses = {}
    for combination in itertools.product(few.switches, few.rectifiers, few.inductors):
        parts = replace(found.parts, **dict(zip(("switch", "rectifier", "inductor"), combination, strict=True)))
        losses[combination] = warming.settle_many(parts, 6.0, 18.0, 0.6, 150e3, 45.0).losses.total
    best = min(losses, key=losses.get)
    assert best == (found.parts.switch, found.parts.rectifier, found.parts.inductor)
    assert len(set(losses.values())) == 18  # so that there is something to choose between


def test_a_second_switch_is_chosen_where_the_design_has_one():
    """And the diodes are refused then."""
    spec = replace(SPEC, rectifier="switch")
    found = choice.choose(spec, design(spec).corners, Candidates(rectifiers=SHIPPED.rectifiers), EDGES)
    assert [fit.part.name for fit in found.picked["rectifier"].best] == ["second switch 30 V", "second switch 60 V"]
    assert 'is of kind "diode", and the design asks for "switch"' in found.picked["rectifier"].refused["diode 60 V metal"]


# what does not


@pytest.mark.parametrize("what, name, changed, said", [
    ("switch", "switch 20 V 12 mΩ", {}, "bears 20 V, and 27.7 V are asked for: 1.5 times the 18.5 V across it"),
    ("switch", "switch 30 V 20 mΩ", {"current_limit": 2.0}, "bears 2 A peak, and 2.29 A flow"),
    ("switch", "switch 30 V 45 mΩ", {"heat": Heat(1500.0, 150.0)}, "warms itself without end at a source of 5.5 V and a load of 600 mA"),
    ("switch", "switch 30 V 45 mΩ", {"heat": Heat(500.0, 100.0)}, "in an ambient of 45 °C, and bears 100 °C"),
    ("switch", "switch 30 V 45 mΩ", {"on_resistance": 2.0}, "leaves the output out of reach at a source of 5.5 V"),
    ("rectifier", "second switch 30 V", {}, 'is of kind "switch", and the design asks for "diode"'),
    ("rectifier", "diode 20 V metal", {}, "bears 20 V, and 27.7 V are asked for"),
    ("inductor", "coil 47 µH 4 A", {}, "has 47 µH, and the ripple asks for 56 µH"),
    ("inductor", "coil 56 µH 4 A", {"saturation_current": 2.7}, "saturates at 2.7 A, and 2.74 A are asked for: 1.2 times the peak"),
    ("inductor", "coil 56 µH 4 A", {"rms_current": 2.0}, "bears 2 A rms, and 2.06 A flow"),
    ("capacitor", "electrolytic 100 µF 16 V", {}, "bears 16 V, of which its type should see 12.8 V, and the output has 18 V"),
    ("capacitor", "ceramic 10 µF 25 V", {"capacitance": 1e-6}, "in parallel would be needed for capacitance"),
    ("capacitor", "electrolytic 470 µF 35 V", {"series_resistance": 1.0}, "in parallel would be needed for series resistance in the cold"),
    ("capacitor", "electrolytic 470 µF 35 V", {"ripple_current": 0.01}, "in parallel would be needed for ripple current"),
])  # fmt: skip
def test_each_refusal_has_its_reason(what, name, changed, said, needs, parts):
    """A part that fails one rule is refused with that rule and its numbers."""
    part = replace(named(getattr(SHIPPED, choice.WHATS[what]), name), **changed)
    assert said in refusal(what, part, needs, parts)


def test_what_just_meets_a_rule_fits(needs, parts):
    """At the limit itself a part is taken: the rules say at least."""
    switch = replace(SHIPPED.switches[2], voltage_limit=choice.HEADROOM * needs.voltage, current_limit=needs.peak)
    coil = replace(SHIPPED.inductors[4], saturation_current=choice.ABOVE_PEAK * needs.peak, rms_current=needs.inductor_rms)
    assert pick("switch", [switch], needs, parts).best and pick("inductor", [coil], needs, parts).best


def test_a_bank_does_what_is_asked_and_one_piece_fewer_does_not(needs, parts):
    """Capacitance, series resistance and ripple current, from the type's curves and the part's own numbers."""
    for fit in pick("capacitor", SHIPPED.capacitors, needs, parts).best:
        bank, piece, a_type = fit.bank, fit.bank.piece, capacitor_types.of(fit.bank.kind)
        coldest = np.linspace(-10, 45, 111)
        left = (1 - a_type.tolerance) * min(a_type.capacitance_left(18.0 / piece.voltage_limit, t, 87_600) for t in coldest)
        cold = a_type.esr(150e3, -10, bank.capacitance, bank.voltage_limit) / a_type.esr(1e5, 20, bank.capacitance, bank.voltage_limit)

        def enough(n, left=left, cold=cold, piece=piece):
            return (n * piece.capacitance * left >= 100e-6 * (1 - 1e-9) and piece.series_resistance * cold / n <= needs.esr * (1 + 1e-9)
                    and n * piece.ripple_current >= needs.capacitor_rms)  # fmt: skip

        assert enough(bank.count) and not enough(bank.count - 1)
        assert bank.effective == pytest.approx(bank.count * piece.capacitance * left, rel=1e-9)  # the same numbers, multiplied
        assert fit.part.series_resistance == pytest.approx(piece.series_resistance / bank.count, rel=1e-9)
        assert fit.part.name == f"{bank.count} × {piece.name}"


# where there is no table


def test_without_tables_the_design_stays_as_drawn_and_says_what_to_look_for(corners, parts):
    """Nothing chosen, nothing refused, and the numbers to shop with."""
    found = choice.choose(SPEC, corners, Candidates(), EDGES)
    assert found.parts == parts and not found.complete
    words = {what: picked.look_for for what, picked in found.picked.items()}
    assert "27.7 V and 2.29 A peak" in words["switch"] and 'of kind "diode"' in words["rectifier"]
    assert "56 µH, still so at 2.74 A, and 2.06 A rms" in words["inductor"]
    assert "100 µF left at 18 V, -10 °C" in words["capacitor"] and "at most 10 mΩ" in words["capacitor"]


def test_another_word_is_refused(needs, parts):
    """There are four kinds of part."""
    with pytest.raises(ValueError, match="what = valve must be one of switch, rectifier, inductor, capacitor"):
        pick("valve", [], needs, parts)

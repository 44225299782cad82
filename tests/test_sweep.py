"""Complete designs over frequency: every one held to the exact circuit's sums, the unbeaten ones to a plain search, common practice to
the numbers, and the loss at a given coil to its own minimum."""

import re
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest

from boostkit.circuit import switched
from boostkit.derivations import coil_size, frequency
from boostkit.design import Spec
from boostkit.design.banks import step_reserve
from boostkit.design.complete import complete
from boostkit.design.given_coil import at_given_coil
from boostkit.design.stock import Stock
from boostkit.design.sweep import NEARLY, RESERVE, Sweep, sweep, unbeaten
from boostkit.parts import kinds, losses, tables, warming
from boostkit.parts.point import Point

GAUGE = Spec.from_file(files("boostkit") / "data" / "tide_gauge.toml")
FULL = (GAUGE.v_in.usual, GAUGE.v_out, GAUGE.i_out.max)


@pytest.fixture(scope="module")
def found():
    """The tide gauge from 10 kHz to 2 MHz."""
    return sweep(GAUGE)


@pytest.fixture(scope="module")
def coil():
    """The tide gauge's parts at its own frequency and ripple."""
    return complete(GAUGE, GAUGE.frequency, GAUGE.ripple_fraction, sizes=1)[0].parts


def test_unbeaten_is_what_a_plain_search_finds():
    """Random points, each compared with every other."""
    rng = np.random.default_rng(1)
    volume, loss = rng.integers(1, 30, 200).astype(float), rng.integers(1, 30, 200).astype(float)
    loss[::17] = np.nan

    def beaten(k):
        better = (volume <= volume[k]) & (loss <= loss[k]) & ((volume < volume[k]) | (loss < loss[k]))
        return better.any() or np.isnan(loss[k])

    plain = {(volume[k], loss[k]) for k in range(200) if not beaten(k)}
    kept = unbeaten(volume, loss)
    assert {(volume[k], loss[k]) for k in kept} == plain and len(kept) == len(plain)
    assert np.all(np.diff(volume[list(kept)]) > 0) and np.all(np.diff(loss[list(kept)]) < 0)


def test_every_pair_of_frequency_and_ripple_is_answered(found):
    """25 frequencies with 3 shares of ripple: a design, or why there is none."""
    assert len({(d.f_sw, d.ripple_fraction) for d in found.designs}) == 75
    for design in found.designs:
        assert design.refused or (design.loss > 0 and design.volume > 0)


def test_power_in_is_power_out_and_losses(found):
    """And the efficiency follows from the two."""
    for design in (d for d in found.designs if not d.refused):
        power = GAUGE.v_out * GAUGE.i_out.max
        assert sum(design.losses.items.values()) == pytest.approx(design.loss, rel=1e-12)
        assert design.efficiency == pytest.approx(power / (power + design.loss), rel=1e-9)


def test_nothing_runs_hotter_than_it_bears(found):
    """At any source voltage and the hottest ambient."""
    for design in (d for d in found.designs if not d.refused):
        for name, temperature in design.temperatures.items():
            assert GAUGE.ambient[1] < temperature <= getattr(design.parts, name).heat.limit


def test_no_design_beats_an_unbeaten_one(found):
    """Compared one by one."""
    for k in found.unbeaten:
        assert not np.any((found.volume < found.volume[k]) & (found.loss < found.loss[k]))
    assert found.least_loss().loss == np.nanmin(found.loss)


def test_least_size_at_a_given_loss(found):
    """The smallest of all that lose no more; more loss allowed never makes it larger."""
    sizes = []
    for loss in np.linspace(np.nanmin(found.loss), 1.0, 9):
        sizes.append(found.least_size(loss).volume)
        assert sizes[-1] == np.nanmin(found.volume[found.loss <= loss])
    assert np.all(np.diff(sizes) <= 0) and sizes[-1] < sizes[0]
    assert found.least_size(0.1) is None


@pytest.mark.parametrize("place", [0, -1, "suggested"])
def test_an_unbeaten_design_keeps_its_word_on_the_exact_circuit(found, place):
    """Losses, coil ripple, output ripple with the worst capacitor, and temperature, on the exact circuit."""
    design = found.suggested if place == "suggested" else found.designs[found.unbeaten[place]]
    exact = warming.settle(design.parts, *FULL, design.f_sw, GAUGE.ambient[1])
    assert exact.losses.total == pytest.approx(design.loss, rel=0.01)  # straight slopes and constant output, by formula
    share = exact.point.ripple_current / exact.point.i_inductor_mean
    # chosen without the winding's resistance and what edges draw besides: a twelfth of the power at 2 MHz, and it errs high
    assert 0.92 * design.ripple_fraction < share < 1.01 * design.ripple_fraction
    hard = losses.converter(design.parts, GAUGE.v_in.min, GAUGE.v_out, GAUGE.i_out.max, design.f_sw, design.temperatures)
    worst = switched.steady_state(hard.change(capacitance=design.output.effective, r_capacitor=design.output.esr))
    assert 0.3 * GAUGE.ripple < worst.ripple_voltage <= GAUGE.ripple


def test_the_exact_coil_never_passes_the_peak_it_was_wound_for(found):
    """At the lowest, usual and highest source voltage, 3 % allowed for what edges and winding draw besides."""
    design = found.suggested
    for v_in in (GAUGE.v_in.min, GAUGE.v_in.usual, GAUGE.v_in.max):
        peak = warming.settle(design.parts, v_in, GAUGE.v_out, GAUGE.i_out.max, design.f_sw, GAUGE.ambient[1]).point.i_inductor_max
        assert peak <= 1.03 * design.inductor.demand.i_peak
        assert peak < design.parts.inductor.saturation_current


def test_many_at_once_are_what_each_is_alone(found):
    """Losses of designs settled together against the same settled one by one."""
    for design in [d for d in found.designs if not d.refused][::40]:
        alone = warming.settle_many(design.parts, *FULL, design.f_sw, GAUGE.ambient[1])
        assert design.loss == pytest.approx(float(alone.losses.total), rel=1e-9)


def test_switch_and_rectifier_are_those_of_least_loss(found):
    """No other switch of the table that bears voltage and current loses less in the suggested design."""
    design = found.suggested
    for other in tables.illustrative().switches:
        if other.voltage_limit >= 1.5 * GAUGE.v_out and other.current_limit >= design.inductor.demand.i_peak:
            tried = warming.settle_many(replace(design.parts, switch=other), *FULL, design.f_sw, GAUGE.ambient[1])
            assert float(tried.losses.total) >= design.loss * (1 - 1e-3)  # compared at a guessed temperature, not at the settled one


def test_common_practice_size_falls_with_frequency(found):
    """Common practice, no source: it does, over three decades of size, until the smallest core there is has been reached."""
    said = found.practice
    at_decades = np.interp(np.log([1e4, 1e5, 1e6]), np.log(said.f_sw), said.volume)
    assert at_decades[0] > 3 * at_decades[1] > 9 * at_decades[2]
    beyond = said.volume[said.f_sw >= said.small_from]
    assert beyond.max() <= NEARLY * beyond.min()                                          # ... and there it ends


def test_common_practice_efficiency_falls_with_frequency_only_above_its_best(found):
    """Common practice, no source: true of the smallest designs above some 200 kHz; at the low end it is the other way round."""
    said = found.practice
    best = said.efficiency.max()
    assert said.f_sw[0] < said.best_at < 500e3
    assert said.efficiency[0] < best - 0.01 and said.efficiency[-1] < best - 0.01
    above = said.efficiency[said.f_sw >= said.best_at]
    assert np.all(np.diff(above) < 0.002)  # cores come in steps, which may win back a little
    assert any("Efficiency does not fall all the way" in line for line in said.lines)


def test_switch_heats_at_the_high_end(found):
    """The edges' share of all losses, from a few per cent to most of them."""
    share = {}
    for design in (d for d in found.designs if not d.refused):
        share.setdefault(design.f_sw, design.losses.by_the_cycle / design.loss)
    assert share[min(share)] < 0.05 and share[max(share)] > 0.5
    hot = [max(d.temperatures["switch"] for d in found.designs if not d.refused and d.f_sw == f) for f in (min(share), max(share))]
    assert hot[1] > hot[0] + 30


def test_coils_shrink_between_the_two_formulas(found):
    """The smallest coil at each frequency falls less than with flux and current density kept, more than with core loss in charge."""
    small = {}
    for design in (d for d in found.designs if not d.refused):
        small[design.f_sw] = min(small.get(design.f_sw, np.inf), design.volumes["inductor"])
    f_sw, volume = np.array(sorted(small.items())).T
    power = -np.polyfit(np.log(f_sw), np.log(volume), 1)[0]
    free = -np.log10(coil_size.volume_with_frequency().formula(size_reference=1.0, f_reference=1e5, f_sw=1e6))
    hot = -np.log10(coil_size.volume_where_core_heats().formula(
        size_reference=1.0, f_reference=1e5, f_sw=1e6, core_alpha=1.6, core_beta=2.5))  # fmt: skip
    assert hot < power < free


def test_suggestion_is_unbeaten_within_the_reserve_and_says_why(found):
    """Least size times loss among those that leave a fifth of the loss allowed."""
    assert found.suggested.loss <= RESERVE * found.allowed
    assert found.allowed == pytest.approx(GAUGE.v_out * GAUGE.i_out.max * (1 / 0.88 - 1))
    product = (found.volume + found.elsewhere) * found.loss
    fit = found.loss <= RESERVE * found.allowed
    assert found.suggested is found.designs[int(np.nanargmin(np.where(fit, product, np.nan)))]
    assert "kHz" in found.reason and "cm³" in found.reason


def test_suggestion_without_enough_efficiency_says_so(found):
    """Where nothing meets the demand, the one that loses least stands, and the words say why."""
    strict = Sweep(replace(GAUGE, efficiency=0.99), found.designs)
    assert strict.suggested.loss == np.nanmin(found.loss)
    assert "No design keeps" in strict.reason


def test_no_demand_on_efficiency_allows_any_loss(found):
    """Then the suggestion weighs size against loss alone."""
    free = Sweep(replace(GAUGE, efficiency=None), found.designs)
    assert free.allowed is None and free.suggested is found.suggested


def test_a_stock_of_ones_own_is_kept_to():
    """One switch, one core: every design uses them or says why not."""
    switch = tables.illustrative().switches[1]
    designs = sweep(GAUGE, [50e3, 200e3], [0.5], Stock(switches=(switch,), cores=("ring 20/10/7",), control_current=1e-3)).designs
    assert len(designs) == 2
    for design in designs:
        assert design.refused or (design.parts.switch, design.inductor.core.name) == (switch, "ring 20/10/7")
    assert designs[0].losses.items["control"] == pytest.approx(6e-3)


def test_what_cannot_be_wound_is_refused_with_its_reason():
    """A core far too small for 10 kHz."""
    design = sweep(GAUGE, [10e3], [0.25], Stock(cores=("ring 10/6/4",))).designs[0]
    assert "no core will do" in design.refused and np.isnan(design.volume) and np.isnan(design.loss)
    assert Sweep(GAUGE, (design,)).suggested is None


def test_ripple_below_the_load_current_is_refused_in_words():
    """Where the formula for the output capacitor ends."""
    design = sweep(GAUGE, [100e3], [1.9]).designs[0]
    assert "below the load current" in design.refused


def test_a_voltage_no_part_bears_is_refused():
    """180 V output: the table's best bears 200 V, and 270 V are asked for."""
    with pytest.raises(ValueError, match=r"load\.voltage = 180 V asks for a switch of at least 270 V"):
        sweep(replace(GAUGE, v_out=180.0), [100e3], [0.5])


@pytest.mark.parametrize(("frequencies", "ripples", "sizes", "named"), [
    ([10.0], [0.3], 1, "frequency"), ([1e5], [2.0], 1, "ripple_fraction"), ([1e5], [0.3], 0, "sizes")])
def test_numbers_out_of_range_are_refused(frequencies, ripples, sizes, named):
    """Name, value and rule."""
    with pytest.raises(ValueError, match=named):
        sweep(GAUGE, frequencies, ripples, sizes=sizes)


def test_progress_is_told_once_a_pair():
    """Numbers that rise to the total, and words."""
    told = []
    sweep(GAUGE, [100e3, 200e3], [0.5, 1.0], sizes=1, progress=lambda *words: told.append(words))
    assert [t[:2] for t in told] == [(k, 4) for k in range(4)] and "200 kHz" in told[-1][2]


def test_step_reserve_by_hand():
    """47 µH at 150 kHz: a fifth of the right-half-plane zero lies near 2 kHz, as reckoned for the example; the rest is one division."""
    point = Point.by_formula(GAUGE.v_in.min, GAUGE.v_out, GAUGE.i_out.max, 150e3, 47e-6)
    crossover = (GAUGE.step.high - GAUGE.step.low) / (2 * np.pi * GAUGE.step_deviation * step_reserve(GAUGE, point, 47e-6))
    assert crossover == pytest.approx(0.2 * 30 * (5.5 / 18) ** 2 / (2 * np.pi * 47e-6), rel=1e-9)
    assert 1.5e3 < crossover < 2.5e3
    assert step_reserve(replace(GAUGE, step_deviation=None), point, 47e-6) == 0


def test_terms_of_a_given_coil_add_up(coil):
    """Steady, ripple, core and edges are all there is."""
    given = at_given_coil(coil, *FULL)
    assert sum(given.terms.values()) == pytest.approx(given.total, rel=1e-12)
    assert given.efficiency == pytest.approx(10.8 / (10.8 + given.total), rel=1e-9)


def test_a_given_coil_has_a_frequency_of_least_loss(coil):
    """The search against a plain fine grid; losses rise to both sides."""
    given = at_given_coil(coil, *FULL)
    fine = np.geomspace(10e3, 2e6, 2001)
    plain = warming.settle_many(coil, *FULL, fine).losses.total
    assert given.inside
    assert given.least_at == pytest.approx(fine[np.argmin(plain)], rel=0.01)  # the grid's own step is 0.3 %, and a minimum is flat
    assert given.least <= plain.min() * (1 + 1e-7)
    assert given.total[0] > 1.2 * given.least and given.total[-1] > 1.2 * given.least


def test_least_loss_lies_where_the_formulas_put_it(coil):
    """Closed form and balance. They keep temperatures, and what ripple and edges draw besides, out: a tenth is allowed."""
    given = at_given_coil(coil, *FULL)
    assert given.by_formula == pytest.approx(given.least_at, rel=0.1)
    assert given.weighed == pytest.approx(given.edges, rel=0.1)


def test_least_loss_where_only_the_ripple_falls(coil):
    """A core without loss and a thin winding: one power of frequency, the square, and the edges cost twice the ripple's heat."""
    plain = replace(coil, inductor=replace(coil.inductor, core_loss=0.0, ac_ratio=1.0))
    given = at_given_coil(plain, *FULL, frequencies=np.geomspace(10e3, 1e6, 200))
    assert given.by_formula == pytest.approx(given.least_at, rel=0.05)  # temperatures and what is drawn besides kept out
    ripple = np.interp(given.least_at, given.f_sw, given.terms["ripple"])
    assert given.edges == pytest.approx(frequency.edges_at_least_loss().formula(falling=2.0, p_falling=ripple), rel=0.1)


def test_terms_go_with_their_powers_of_frequency(coil):
    """In continuous conduction, temperatures kept: core by alpha - beta, edges in proportion, ripple by the square where the
    winding's resistance stays."""
    cool = replace(coil, inductor=replace(coil.inductor, ac_ratio=1.0, heat=replace(coil.inductor.heat, resistance=0.0)),
                   switch=replace(coil.switch, heat=replace(coil.switch.heat, resistance=0.0)),
                   rectifier=replace(coil.rectifier, heat=replace(coil.rectifier.heat, resistance=0.0)))  # fmt: skip
    given = at_given_coil(cool, *FULL, frequencies=[150e3, 300e3])
    ratio = {name: term[1] / term[0] for name, term in given.terms.items()}
    powers = {"core_alpha": coil.inductor.core_alpha, "core_beta": coil.inductor.core_beta}
    by_law = frequency.core_at_given_turns().formula(p_core_reference=1.0, f_sw=2.0, f_reference=1.0, **powers)
    assert ratio["core"] == pytest.approx(by_law, rel=0.01)  # the duty shifts a little with the losses
    assert ratio["ripple"] == pytest.approx(1 / 4, rel=0.02)
    assert ratio["edges"] == pytest.approx(2, rel=0.01)  # closing and opening current shift with the ripple
    assert ratio["steady"] == pytest.approx(1, rel=0.01)


def test_without_ripple_and_core_loss_the_slowest_is_best(coil):
    """A coil so large that nothing falls: least loss at the end of the range, and said so."""
    still = replace(coil, inductor=replace(coil.inductor, inductance=1.0, core_loss=0.0))
    given = at_given_coil(still, *FULL)
    assert not given.inside and given.least_at == pytest.approx(given.f_sw[0])


def test_a_given_coil_at_low_frequency_runs_dry_and_saturates(coil):
    """Both are flagged where the ripple is large, and not at the design's own frequency."""
    given = at_given_coil(coil, *FULL)
    assert given.discontinuous[0] and given.saturates[0]
    own = np.argmin(abs(given.f_sw - GAUGE.frequency))
    assert not given.discontinuous[own] and not given.saturates[own]


def test_loss_at_a_given_coil_agrees_with_the_exact_circuit(coil):
    """At three frequencies, both modes among them."""
    given = at_given_coil(coil, *FULL, frequencies=[25e3, 80e3, 800e3])
    for f_sw, total in zip(given.f_sw, given.total, strict=True):
        assert total == pytest.approx(warming.settle(coil, *FULL, float(f_sw)).losses.total, rel=0.01)  # straight slopes, by formula


def test_a_runaway_at_both_ends_of_the_frequencies_is_nan_there(coil):
    """A switch that hardly gets rid of its heat: at the ends no temperature settles, and every term is nan there; in between all is
    as ever."""
    hot = replace(coil, switch=replace(coil.switch, heat=kinds.Heat(3000.0, 1e4)))
    given = at_given_coil(hot, *FULL, frequencies=np.geomspace(10e3, 2e6, 30), ambient=45.0)
    away = warming.settle_many(hot, *FULL, given.f_sw, 45.0).runs_away
    assert away[0] and away[-1] and not away.all()
    for numbers in (*given.terms.values(), given.total, given.efficiency, given.ripple_current):
        assert (np.isnan(numbers) == away).all()
    assert given.inside and not away[np.argmin(abs(np.log(given.f_sw / given.least_at)))]


def test_parts_that_never_reach_the_output_are_refused(coil):
    """At no frequency: one line that says so."""
    with pytest.raises(ValueError, match="at no frequency"):
        at_given_coil(replace(coil, inductor=replace(coil.inductor, resistance=50.0)), *FULL)


@pytest.mark.parametrize(("heat", "why"), [(kinds.Heat(65.0, 46.0), r"switch reaches .* °C, and it bears 46 °C"),
                                           (kinds.Heat(2e4, 150.0), "thermal runaway")])
def test_a_switch_that_gets_too_hot_is_refused(heat, why):
    """One that bears a kelvin above the ambient, and one that hardly gets rid of its heat."""
    switch = replace(tables.illustrative().switches[1], heat=heat)
    designs = sweep(GAUGE, [200e3], [0.5], Stock(switches=(switch,))).designs
    assert all(re.search(why, design.refused) for design in designs)

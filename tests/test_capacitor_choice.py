"""Capacitor types and banks: what service leaves of them, and that the smallest bank that does the job is found."""

from itertools import pairwise
from math import ceil, inf, isclose, pi

import numpy as np
import pytest

from boostkit.circuit import Converter, switched
from boostkit.derivations import sizing
from boostkit.parts import capacitor_choice, capacitor_types
from boostkit.parts.capacitor_choice import choose, weigh
from boostkit.parts.kinds import TYPES

NEEDED = {"role": "output", "needed": 22e-6, "voltage": 18.0, "ripple_rms": 0.9, "f_sw": 150e3}


def test_the_three_types_of_the_kit_ship():
    """The names in the file are the names in `kinds`."""
    assert tuple(capacitor_types.shipped()) == TYPES


def test_ceramic_stays_in_its_class_of_temperature():
    """Within 15 % from -55 °C to 125 °C: the commonest class of high permittivity in IEC 60384-9 and EIA-198 (from memory)."""
    left = capacitor_types.of("ceramic").capacitance_left(0.0, np.linspace(-55, 125, 181))
    assert np.all(np.abs(left - 1) <= 0.15 + 1e-12)


def test_ageing_counts_in_tenfolds_of_hours():
    """From 1000 h to 100 000 h are two tenfolds, so twice the share is lost; at 1000 h the marked capacitance holds."""
    ceramic = capacitor_types.of("ceramic")
    assert ceramic.capacitance_left(0.0, 25.0, 1e3) == pytest.approx(1, abs=1e-12)  # rounding only
    assert ceramic.capacitance_left(0.0, 25.0, 1e5) == pytest.approx(1 - 2 * ceramic.ageing, rel=1e-12)  # rounding only


def test_direct_voltage_takes_capacitance_from_ceramic_alone():
    """More voltage, less capacitance, for ceramic; film and electrolytic keep theirs."""
    shares = np.linspace(0, 1, 21)
    assert np.all(np.diff(capacitor_types.of("ceramic").capacitance_left(shares)) < 0)
    for kind in ("film", "electrolytic"):
        assert np.ptp(capacitor_types.of(kind).capacitance_left(shares)) == 0


def test_series_resistance_by_hand():
    """A film capacitor of 10 µF at 10 kHz: loss tangent over 2 pi f C, and its leads."""
    film = capacitor_types.of("film")
    assert film.esr(1e4, 20.0, 10e-6, 63.0) == pytest.approx(0.01 / (2 * pi * 1e4 * 10e-6) + 0.004, rel=1e-12)  # rounding only


def test_the_cold_hits_the_electrolytic():
    """At -10 °C its electrolyte resists three times as much as at 20 °C (invented figure); film and ceramic do not care."""
    at = {kind: [capacitor_types.of(kind).esr(1e9, t, 100e-6, 25.0) for t in (20.0, -10.0)] for kind in TYPES}
    leads = capacitor_types.of("electrolytic").lead_resistance
    assert (at["electrolytic"][1] - leads) / (at["electrolytic"][0] - leads) == pytest.approx(3, rel=1e-3)  # dielectric left over
    assert at["film"][0] == at["film"][1] and at["ceramic"][0] == at["ceramic"][1]


def test_ten_kelvins_halve_the_life():
    """Of an electrolytic, down from its hours at the limit (common practice, no source); the others do not wear out."""
    wet = capacitor_types.of("electrolytic")
    assert wet.life(105.0) == wet.hours and wet.life(75.0) == pytest.approx(8 * wet.hours, rel=1e-12)  # rounding only
    assert capacitor_types.of("film").life(85.0) == inf


def test_ripple_current_at_the_limit_heats_by_the_rise_allowed():
    """The rating of a piece and its heating are two readings of one law; twice the current, four times the heat."""
    for kind in TYPES:
        a_type = capacitor_types.of(kind)
        current = a_type.ripple_limit(10e-6, 25.0)
        assert a_type.ripple_rise(current, 1e5, 20.0, 10e-6, 25.0) == pytest.approx(a_type.rise, rel=1e-9)  # rounding only
        assert a_type.ripple_rise(2 * current, 1e5, 20.0, 10e-6, 25.0) == pytest.approx(4 * a_type.rise, rel=1e-9)


def test_no_data_no_answer():
    """Outside its curves a type refuses, with name, value and limit."""
    with pytest.raises(ValueError, match=r"temperature = -70 °C must lie in \[-55 °C, 125 °C\]"):
        capacitor_types.of("ceramic").capacitance_left(0.5, -70.0)
    with pytest.raises(ValueError, match="direct voltage over rated voltage = 1.2"):
        capacitor_types.of("film").capacitance_left(1.2)
    with pytest.raises(ValueError, match='kind = "paper" must be one of ceramic'):
        capacitor_types.of("paper")
    with pytest.raises(ValueError, match="temperature"):
        capacitor_types.of("film").capacitance_left(0.5, float("nan"))


def _own_type(tmp_path, **changes):
    """A file with one type of one's own: the kit's film under another name, with some keys changed."""
    film = vars(capacitor_types.of("film"))
    keys = {k: v for k, v in film.items() if isinstance(v, float)}
    keys |= {k: [list(pair) for pair in zip(v.where, v.factor, strict=True)] for k, v in film.items() if hasattr(v, "where")}
    path = tmp_path / "mine.toml"
    path.write_text("[mine]\n" + "\n".join(f"{k} = {v}" for k, v in (keys | changes).items() if v is not None))
    return path


def test_a_type_of_ones_own(tmp_path):
    """A reader's own type comes from a file and can be chosen."""
    mine = capacitor_types.from_file(_own_type(tmp_path, volume_per_energy=1e-6))["mine"]
    banks = choose(**NEEDED, kinds=(mine, "film"))
    assert [bank.kind for bank in banks] == ["mine", "film"] and banks[0].volume < banks[1].volume


def test_a_dip_between_cold_and_hot_is_found(tmp_path):
    """Where a type has least capacitance at a middling temperature, that counts, not the ends of the ambient range."""
    mine = capacitor_types.from_file(_own_type(tmp_path, temperature=[[-40, 1.0], [10, 0.5], [30, 0.6], [105, 1.0]]))["mine"]
    bank = choose(**NEEDED, kinds=(mine,))[0]
    assert bank.effective == pytest.approx(bank.count * bank.capacitance * 0.9 * 0.5, rel=1e-12)  # tolerance and dip; rounding only


@pytest.mark.parametrize(("changes", "complaint"), [
    ({"tolerance": 1.5}, r"mine.toml: mine.tolerance = 1.5 must lie in \[0, 1\)"),
    ({"bias": [[0.0, 1.0], [0.5, 0.9]]}, "mine.toml: mine.bias = .* must run from 0 to 1"),
    ({"temperature": [[20, 1.0], [-40, 0.9]]}, "mine.toml: mine.temperature = .* rising"),
    ({"bias": 3}, "mine.toml: mine.bias = 3 must be a list of pairs"),
    ({"ageeing": 0.1}, "mine.ageeing is not a known key.*ageing"),
    ({"rise": None}, "mine.toml: mine.rise is missing"),
])  # fmt: skip
def test_a_bad_file_is_refused_by_file_and_key(tmp_path, changes, complaint):
    """Each error names file, key, value and rule."""
    with pytest.raises(ValueError, match=complaint):
        capacitor_types.from_file(_own_type(tmp_path, **changes))


def _worst_left(a_type, share, cold, hot):
    """The least of the marked capacitance over a fine grid of temperatures, after ten years: found the slow way."""
    left = a_type.capacitance_left(share, np.linspace(cold, hot + a_type.rise, 2001), 87_600)
    return (1 - a_type.tolerance) * float(left.min())


def _smallest_by_trying(a_type, needed, voltage, ripple, f_sw, ambient, esr_limit):
    """The least volume of a bank, piece by piece and count by count."""
    least = inf
    sizes = [m * 10.0**k for k in range(-9, -1) for m in (1, 1.5, 2.2, 3.3, 4.7, 6.8)]  # E6, IEC 60063
    for v in (1, 1.6, 2.5, 4, 6.3, 10, 16, 25, 40, 63, 100, 160, 250, 400, 630):  # R5, ISO 3
        for c in sizes:
            if c < a_type.smallest * 0.999 or c * v**2 > a_type.largest_energy or voltage > a_type.largest_share * v:
                continue
            left = _worst_left(a_type, voltage / v, *ambient)
            cold, hot = (a_type.esr(f_sw, t, c, v) for t in ambient)
            for n in range(max(1, ceil(needed / (c * left) - 1e-9)), 41):
                if cold / n <= esr_limit and (ripple / n) ** 2 * hot * a_type.heat_resistance(c, v) <= a_type.rise:
                    least = min(least, n * a_type.volume(c, v))
                    break
    return least


@pytest.mark.parametrize("seed", range(6))
def test_the_smallest_bank_is_found(seed):
    """Random demands: no bank found by trying every piece and count is smaller, and none that is refused exists."""
    rng = np.random.default_rng(seed)
    needed, voltage, f_sw = 10.0 ** rng.uniform(-6.5, -3), float(rng.uniform(3, 150)), 10.0 ** rng.uniform(4, 6)
    ripple, esr = 10.0 ** rng.uniform(-2, 1), 10.0 ** rng.uniform(-2.5, 0.5)
    ambient = (float(rng.uniform(-35, 10)), float(rng.uniform(20, 80)))
    banks, refused = weigh("output", needed, voltage, ripple, f_sw, ambient, esr)
    assert {b.kind for b in banks} | set(refused) == set(TYPES)
    for kind in TYPES:
        least = _smallest_by_trying(capacitor_types.of(kind), needed, voltage, ripple, f_sw, ambient, esr)
        found = next((b.volume for b in banks if b.kind == kind), inf)
        assert isclose(found, least, rel_tol=1e-9), (kind, found, least, refused.get(kind))


@pytest.mark.parametrize("ambient", [(-10.0, 45.0), (-35.0, 70.0), (20.0, 25.0)])
def test_every_bank_keeps_its_word(ambient):
    """Capacitance at the worst, series resistance in the cold and heat by ripple, each reckoned again from the type."""
    for bank in choose(**NEEDED, ambient=ambient, esr_limit=0.2):
        a_type, n = capacitor_types.of(bank.kind), bank.count
        left = _worst_left(a_type, 18.0 / bank.voltage_limit, *ambient)
        assert bank.effective == pytest.approx(n * bank.capacitance * left, rel=1e-4)  # the grid misses corners by less
        assert bank.effective >= 22e-6 * (1 - 1e-9)
        assert bank.esr <= 0.2 and bank.temperature_rise <= a_type.rise and bank.life > 8760
        assert bank.usual >= bank.effective


def test_smallest_comes_first():
    """Sorted by volume; at this place ceramic is the smallest and an electrolytic held to 20 mΩ in the cold the largest."""
    banks = choose(**NEEDED, esr_limit=0.02)
    assert all(a.volume <= b.volume for a, b in pairwise(banks))
    assert (banks[0].kind, banks[-1].kind) == ("ceramic", "electrolytic")


def test_pieces_in_parallel_make_one_part():
    """n pieces: n times the capacitance and current, an n-th of resistance and heat resistance."""
    bank = choose(**NEEDED, kinds=("ceramic",))[0]
    whole, piece, n = bank.part(), bank.piece, bank.count
    assert n > 1 and whole.name.startswith(f"{n} × ceramic")
    for name, factor in (("capacitance", n), ("ripple_current", n), ("series_resistance", 1 / n), ("voltage_limit", 1)):
        assert getattr(whole, name) == pytest.approx(factor * getattr(piece, name), rel=1e-12)  # rounding only
    assert whole.heat.resistance == pytest.approx(piece.heat.resistance / n, rel=1e-12) and whole.invented


def test_polarity_is_cautioned_where_it_matters():
    """An electrolytic says so; at the input also what a reversed source does. Ceramic says nothing of the kind."""
    said = {(role, b.kind): " ".join(b.why) for role in ("output", "input") for b in choose(**NEEDED | {"role": role})}
    assert "polarity" in said["output", "electrolytic"] and "source connected" in said["input", "electrolytic"]
    assert "polarity" not in said["output", "ceramic"]


def test_refusals_say_why():
    """Too cold, too high a voltage, too much of it: in words, for each type."""
    assert "bears -40 °C" in weigh(**NEEDED, ambient=(-50.0, 45.0))[1]["film"]
    assert set(weigh(**NEEDED, ambient=(0.0, 100.0))[1]) == {"electrolytic", "film"}  # 100 °C and their own 10 K are more than 105 °C
    assert "none is made for" in weigh(**NEEDED | {"voltage": 600.0})[1]["ceramic"]
    with pytest.raises(ValueError, match=r"no type of capacitor will do: ceramic: more than 40 pieces, for capacitance; "):
        choose(**NEEDED | {"needed": 10.0})
    for name, wrong in (("role", "side"), ("needed", 0.0), ("ripple_rms", -1.0), ("f_sw", float("nan")), ("ambient", (40.0, 20.0))):
        with pytest.raises(ValueError, match=name):
            choose(**NEEDED | {name: wrong})


def _ripple(capacitance, esr):
    """The output ripple of the tide gauge's stage at lowest source voltage and full load, exactly."""
    stage = Converter.of(v_in=5.5, duty=1 - 5.5 / 18, f_sw=150e3, inductance=47e-6, capacitance=capacitance, r_capacitor=esr, i_out=0.6)
    return switched.steady_state(stage).ripple_voltage


def test_a_bank_chosen_for_a_ripple_limit_keeps_it():
    """On the exact circuit, with what is left at the worst; the ceramic chosen by its marked capacitance does not."""
    duty, limit = 1 - 5.5 / 18, 0.06
    peak = 0.6 / (1 - duty) + 5.5 * duty / (47e-6 * 150e3) / 2
    needed = sizing.capacitance_for_ripple().formula(i_out=0.6, duty=duty, ripple_voltage=limit, r_capacitor=0.01, i_inductor_max=peak,
                                                     f_sw=150e3)  # fmt: skip
    i_rms = switched.steady_state(
        Converter.of(v_in=5.5, duty=duty, f_sw=150e3, inductance=47e-6, capacitance=needed, i_out=0.6)).capacitor_current.rms
    banks = choose("output", needed, 18.0, i_rms, 150e3, esr_limit=0.01)
    assert {"ceramic", "film"} <= {bank.kind for bank in banks}
    for bank in banks:
        assert _ripple(bank.effective, bank.esr) <= limit
    ceramic = capacitor_types.of("ceramic")
    assert _ripple(needed * ceramic.capacitance_left(18 / 25), 0.0) > limit  # the whole limit, and not even its series resistance


def test_ratings_and_sizes_are_preferred_numbers():
    """Rated voltages are the R5 series of ISO 3, rounded tenfold fifths; sizes come from E6 of IEC 60063."""
    for k, rating in enumerate(capacitor_choice.RATINGS):
        assert rating == pytest.approx(10 ** (k / 5), rel=0.013)  # R5 is rounded by up to 1.24 %: 2.5 for 2.512, 1.6 for 1.585
    assert capacitor_choice.preferred_between(1e-6, 10e-6, "E6") == pytest.approx([1e-6, 1.5e-6, 2.2e-6, 3.3e-6, 4.7e-6, 6.8e-6, 1e-5])

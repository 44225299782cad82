"""Something to measure where there is no bench: it belongs to its specification, says that it is invented, and can be measured."""

from dataclasses import replace
from pathlib import Path

import pytest

from boostkit.bench import capture, example, features, meters, stand_in
from boostkit.circuit import switched
from boostkit.design import Spec

DATA = Path(stand_in.__file__).parent.parent / "data"
OWN = Spec.from_file(DATA / "tide_gauge.toml")


def test_the_tide_gauge_gets_what_ships():
    """The kit's own specification: the files of the data folder, and the converter that they were made of."""
    bench = stand_in.stand_in(OWN)
    assert bench.capture == DATA / "tide_gauge_capture.csv" and bench.built == example.BUILT
    assert bench.labels.inductor.inductance == pytest.approx(47e-6) and bench.labels.load == bench.built.load
    assert stand_in.stand_in(replace(OWN, ripple=0.1, title="Another name")).capture == bench.capture


@pytest.fixture(scope="module", params=["5 V by a diode", "30 V by a second switch"])
def other(request):
    """Another specification, its stand-in, capture and measurements."""
    if request.param.startswith("5"):
        spec = replace(OWN, title="A", v_in=replace(OWN.v_in, min=3.0, usual=3.3, max=3.6), v_out=5.0)
    else:
        spec = replace(OWN, title="B", v_in=replace(OWN.v_in, min=10.0, usual=12.0, max=14.0), v_out=30.0, rectifier="switch",
                       frequency=60e3)
    bench = stand_in.stand_in(spec)
    read = capture.read(bench.capture, bench.mapping)
    return spec, bench, read, features.measure(read)


def test_another_specification_gets_its_own(other):
    """Files of its own that say they are invented; a load at the usual current; parts that stray as the tide gauge's do."""
    spec, bench, read, _ = other
    for path in (bench.capture, bench.mapping, bench.readings):
        assert "Invented, no measurement" in path.read_text(encoding="utf-8").splitlines()[0]
    assert bench.labels.load.resistance == pytest.approx(spec.v_out / spec.i_out.usual, rel=0.05)  # two digits
    assert switched.steady_state(bench.labels).output_voltage.mean == pytest.approx(spec.v_out, rel=0.01)  # duty of three digits
    assert bench.built.inductor.inductance / bench.labels.inductor.inductance == pytest.approx(44.2 / 47, rel=1e-3)  # four digits
    assert not read.overflowed and len(read.gaps) == 2


def test_what_is_measured_is_what_was_built(other):
    """Frequency, duty, means and ripples lie within three standard uncertainties of the exact circuit behind the capture, but for a
    thousandth of a ripple that the grid of samples may miss."""
    _, bench, _, measured = other
    state = switched.steady_state(bench.built)
    truth = {"f_sw": 1 / state.period, "duty": state.duty, "v_out.mean": state.output_voltage.mean,
             "v_out.ripple": state.output_voltage.ripple, "i_inductor.mean": state.inductor_current.mean,
             "i_inductor.ripple": state.inductor_current.ripple}  # fmt: skip
    for name, value in truth.items():
        assert abs(measured[name].value.n - value) < 3 * measured[name].value.s + 1e-3 * abs(value), name
    assert measured.mode == state.mode


def test_the_meters_read_the_same_converter(other):
    """Each reading lies within its stated limits of the exact value."""
    _, bench, _, _ = other
    state, read = switched.steady_state(bench.built), meters.read_readings(bench.readings)
    truth = {"v_in": bench.built.source.voltage, "i_in": state.source_current.mean, "v_out": state.output_voltage.mean,
             "i_out": state.output_voltage.mean / bench.built.load.resistance}  # fmt: skip
    for name, value in truth.items():
        assert abs(read[name].n - value) < 3 * read[name].s, name


def test_a_range_is_a_round_step():
    """The next of 1, 2, 5, 10 above."""
    assert [stand_in.round_up(v) for v in (1.0, 1.01, 2.1e-3, 0.6, 5.0)] == [1.0, 2.0, 5e-3, 1.0, 5.0]

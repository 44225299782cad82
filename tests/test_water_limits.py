"""The ram at its limits: where its waves begin, what takes too long to follow, and the words in which that is refused."""

from dataclasses import replace

import pytest
from test_water_ram import clocked, own, stiffer

from boostkit.water.ram import WasteValve
from boostkit.water.waves import ram_by_waves


@pytest.mark.parametrize("volume", [1e-3, 1e-4, 1e-5])
@pytest.mark.parametrize("gas_law", [False, True])
def test_waves_begin_at_the_pressure_of_the_lumped_ram(volume, gas_law):
    """However small the vessel, and whichever law it follows."""
    ram = own()
    ram = replace(ram, vessel=replace(ram.vessel, gas_volume=volume))
    begin = ram.steady().waveforms(2).vessel_pressure[0]
    assert ram_by_waves(ram, 2, gas_law=gas_law).vessel_pressure[0] == pytest.approx(begin, rel=1e-9)  # rounding of V - ΔV


@pytest.mark.parametrize(("call", "text"), [
    (lambda: ram_by_waves(stiffer(own(), 1e4), 3), "strokes = 3 with cells = 16 must take at most 400000 steps"),
    (lambda: ram_by_waves(clocked(1e-3, 0.5), 3), "strokes = 3 with cells = 16 must take at most 400000 steps"),
    (lambda: ram_by_waves(own(), 2.5), "strokes = 2.5 must be a whole number"),
    (lambda: ram_by_waves(stiffer(own(), 0.002), 3, 8), "delivery.lift = 10 m must be where .* no water went up"),
    (lambda: own().start(2.5), "strokes = 2.5 must be a whole number"),
    (lambda: own().start(3, 10**9), "n = 1000000000 must be a whole number"),
    (lambda: own(waste_valve=WasteValve(1e9, 2e-3)).start(3), "the ram's twin .*inductor for drive pipe"),
])  # fmt: skip
def test_what_cannot_be_followed_is_refused(call, text):
    """In one line and in the words of the ram, before any long run."""
    with pytest.raises(ValueError, match=text) as caught:
        call()
    assert "\n" not in str(caught.value)

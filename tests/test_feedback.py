"""The regulator's feedback as drawn: every part there with its value, and wired so that it does what the network does."""

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest

from boostkit.control import networks
from boostkit.control.compensator import Compensator
from boostkit.show import feedback, sheet
from boostkit.units import show

DIVIDER = networks.Divider.for_output(18.0, v_ref=1.25)
LAWS = {
    "integrator": Compensator("integrator", 20.0),
    "one zero": Compensator("one zero", 459.0, (343.0,), (7920.0,)),
    "two zeros": Compensator("two zeros", 19.7, (574.0, 875.0), (3100.0, 69100.0)),
}
AT_LEAST = Compensator("two zeros", 19.7, (574.0, 875.0), (875.0 / DIVIDER.share, 69100.0))  # the divider alone makes the pole
NETWORKS = {f"{kind}, op-amp": networks.op_amp(law, DIVIDER) for kind, law in LAWS.items()}
NETWORKS |= {f"{kind}, transconductance": networks.transconductance(law, DIVIDER, gm=1e-3) for kind, law in LAWS.items()}
NETWORKS["no lead resistor"] = networks.transconductance(AT_LEAST, DIVIDER, gm=2e-3)
EVERY = pytest.mark.parametrize("network", NETWORKS.values(), ids=NETWORKS.keys())


def values(network):
    """Name to value of every part that the network has, the divider's two among them."""
    return {"r_top": network.divider.top, "r_bottom": network.divider.bottom, **network.parts}


def drawn_words(figure):
    """Every text of the picture, on one line each."""
    return [" ".join(text.get_text().split()) for text in figure.axes[0].texts]


def test_the_networks_differ():
    """The cases hold each set of parts that a network can have, so the tests below see every branch."""
    sets = Counter((each.topology, tuple(sorted(each.parts))) for each in NETWORKS.values())
    assert len(sets) == len(NETWORKS) == 7
    assert "r_lead" not in NETWORKS["no lead resistor"].parts and "c_lead" in NETWORKS["no lead resistor"].parts


@EVERY
def test_each_part_stands_there_with_its_value(network):
    """Each part of the network is drawn once, with its words and its value beside it and in the alternative text."""
    figure = feedback.circuit(network)
    words = drawn_words(figure)
    for name, value in values(network).items():
        named = f"{networks.WORDS[name]} {show(value, 'Ω' if name[0] == 'r' else 'F')}"
        assert words.count(named) == 1
        assert figure.says.count(named) == 1
    for said in (" ".join(words), figure.says):
        assert show(DIVIDER.v_ref, "V") in said and "comparator" in said
        assert (network.gm is None) == ("operational amplifier" in said)
        assert network.gm is None or show(network.gm, "S") in said


@EVERY
def test_nothing_stands_there_that_is_not_fitted(network):
    """A part that the network does not have is neither drawn nor named."""
    figure = feedback.circuit(network)
    fitted = Counter(part.name for part in feedback.laid_out(network).parts)
    assert fitted == Counter([*values(network), "v_ref"])
    for name in {"r_zero", "c_zero", "c_pole", "r_lead", "c_lead"} - set(network.parts):
        assert networks.WORDS[name] not in " ".join(drawn_words(figure))
        assert networks.WORDS[name] not in figure.says


def nodes(laid):
    """Spot to node: spots joined by a wire are one node, and so are all spots of ground."""
    group = {spot: spot for part in laid.parts for spot in (part.start, part.end)}
    group |= {spot: spot for wire in laid.wires for spot in wire}
    pairs = [pair for wire in laid.wires for pair in pairwise(wire)]
    feet = [spot for spot in group if spot[1] == feedback.GROUND]
    for one, two in [*pairs, *pairwise(feet)]:
        old, new = group[one], group[two]
        group = {spot: new if node == old else node for spot, node in group.items()}
    return group


def stamped(parts, row, output):
    """Kirchhoff's current law at each unknown node, by (start, end, admittance) of every part, with one volt at the output."""
    lines, right = np.zeros((len(row) + 1, len(row) + 1), complex), np.zeros(len(row) + 1, complex)
    for start, end, admittance in parts:
        for here, there in ((start, end), (end, start)):
            if here in row:
                lines[row[here], row[here]] += admittance
                if there in row:
                    lines[row[here], row[there]] -= admittance
                right[row[here]] += admittance * (there == output)
    return lines, right


def response(network, frequency):
    """Error to control voltage of the circuit as drawn, by nodal analysis; the reference carries no signal."""
    laid, s, value = feedback.laid_out(network), 2j * np.pi * frequency, values(network)
    node = nodes(laid)
    output, ground = (node[(feedback.DIVIDER, height)] for height in (feedback.TOP, feedback.GROUND))
    tap, control, steady = (node[at(laid.amplifier)] for at in (tuple, feedback.nose, feedback.other_input))
    (battery,) = (part for part in laid.parts if part.kind == "battery")
    assert (node[battery.start], node[battery.end], node[laid.comparator]) == (steady, ground, control)
    row = {name: n for n, name in enumerate(sorted(set(node.values()) - {output, ground, steady}))}
    parts = [(node[part.start], node[part.end], 1 / value[part.name] if part.kind == "resistor" else s * value[part.name])
             for part in laid.parts if part is not battery]  # fmt: skip
    lines, right = stamped(parts, row, output)
    lines[row[control], -1] = -1.0  # the last unknown is the current that the amplifier drives into its output
    lines[-1, row[tap]] = 1.0 if network.gm is None else network.gm  # an op-amp's inputs agree
    lines[-1, -1] = 0.0 if network.gm is None else 1.0  # the other kind drives less current the higher its inverting input
    return -np.linalg.solve(lines, right)[row[control]]  # the error is what is set less the output


@EVERY
def test_as_wired_it_does_what_the_network_does(network):
    """Kirchhoff's laws on the nodes of the drawing give the compensator that the network's formulas give."""
    law = network.compensator()
    for frequency in (3.0, 300.0, 3e3, 3e4, 3e5):
        # same arithmetic in another order, sums of up to six conductances that lie up to eight decades apart
        assert response(network, frequency) == pytest.approx(complex(law(frequency)), rel=1e-6)


@EVERY
def test_every_part_of_the_layout_is_drawn(network):
    """The picture has a line in the part's pen from or to each end of every part, and along every wire."""
    (ax,), laid = feedback.circuit(network).axes, feedback.laid_out(network)
    drawn = {(line.get_color(), *np.round(spot, 6)) for line in ax.lines for spot in line.get_xydata()}
    for part in laid.parts:
        color = feedback.COLORS.get(part.name, feedback.INK)
        assert {(color, *np.round(part.start, 6)), (color, *np.round(part.end, 6))} <= drawn
    paths = [line.get_xydata().tolist() for line in ax.lines]
    assert all([list(spot) for spot in wire] in paths for wire in laid.wires)


@EVERY
@pytest.mark.parametrize("control", ["voltage", "current"])
def test_labels_keep_apart(network, control):
    """No two words overlap, none covers a wire or a part, none leaves the picture."""
    figure = feedback.circuit(network, control)
    (ax,), renderer = figure.axes, figure.canvas.get_renderer()
    boxes = {text.get_text(): text.get_window_extent(renderer) for text in ax.texts}
    named = list(boxes.items())
    for n, (words, box) in enumerate(named):
        assert not [other for other, its in named[:n] if box.overlaps(its)], words
        assert box.x0 > 0 and box.x1 < figure.bbox.width and box.y0 > 0 and box.y1 < figure.bbox.height, words
        for line in ax.lines:
            path = line.get_path().transformed(line.get_transform())
            assert not path.intersects_bbox(box, filled=False), words


def test_another_way_of_control_is_refused():
    """The comparator holds the control voltage against a ramp or against the coil current's signal, nothing else."""
    network = NETWORKS["one zero, op-amp"]
    assert "the coil current" in feedback.circuit(network, "current").says
    assert "the coil current" not in feedback.circuit(network).says
    with pytest.raises(ValueError, match="digital"):
        feedback.circuit(network, "digital")


def test_the_sheet_of_a_design_shows_its_own_network():
    """A loop with real parts is drawn on the sheet with its own control; a digital one, or none, is not."""
    class Held:
        network, control = NETWORKS["one zero, op-amp"], "current"

    ((caption, figure),) = sheet._feedback(Held)
    assert "feedback" in caption and figure.says == feedback.circuit(Held.network, "current").says
    Held.network = None
    assert sheet._feedback(Held) == sheet._feedback(None) == []

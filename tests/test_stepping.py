"""Stepping through a derivation: the buttons walk, the line stays hidden until it is earned, and it prints without widgets."""

import re

import pytest

from boostkit.derivations import switching
from boostkit.paper import pages
from boostkit.show import stepping

GAIN = switching.ideal_gain()


def control(stepper, words):
    """A control of the panel by the words on it."""
    waiting = [stepper.box]
    while waiting:
        widget = waiting.pop()
        if getattr(widget, "description", None) == words:
            return widget
        waiting += getattr(widget, "children", ())
    raise AssertionError(f"no control '{words}'")


def status(stepper):
    """What the status line says, without its markup."""
    line = stepper.box.children[-1].value
    assert 'role="status"' in line
    return re.sub("<[^>]+>", "", line)


def seen(stepper):
    return stepper.box.children[0].value


def test_next_and_back_walk_and_stop_at_the_ends():
    """Fifteen steps, one at a time; at either end a sentence says so."""
    stepper = stepping.Stepper(GAIN)
    assert status(stepper) == "Step 1 of 15." and GAIN.steps[0].equation.latex in seen(stepper)
    control(stepper, "Back").click()
    assert stepper.number == 1 and status(stepper).startswith("This is the first step.")
    for _ in range(20):
        control(stepper, "Next").click()
    assert stepper.number == 15 and status(stepper).startswith("This is the last step.")
    assert "step 15 of 15" in seen(stepper) and "because: simplifying" in seen(stepper)
    control(stepper, "Back").click()
    assert status(stepper) == "Step 14 of 15."


@pytest.mark.parametrize("n", [True, 2.5, "a", None])
def test_going_to_what_is_no_step_changes_nothing(n):
    """One clear refusal, and the stepper stands where it stood."""
    stepper = stepping.Stepper(GAIN, at=3)
    with pytest.raises(ValueError, match="must be a step of ideal_gain: a whole number, 1 to 15"):
        stepper.go(n)
    assert stepper.number == 3 and stepper.stand.number == 3
    control(stepper, "Next").click()
    assert stepper.number == 4


def test_symbols_come_and_go():
    """Meaning, unit and usual range of the letters of the step that is shown, and nothing when not asked for."""
    stepper = stepping.Stepper(GAIN, at=14)
    table = stepper.box.children[1]
    assert table.value == ""
    control(stepper, "symbols").value = True
    assert "source voltage" in table.value and "3 V to 12 V" in table.value and "a pure number" in table.value
    stepper.go(10)
    assert "source voltage" not in table.value and "share of the period in which the switch is closed" in table.value
    control(stepper, "symbols").value = False
    assert table.value == ""


def test_the_reader_writes_the_line():
    """The line is hidden, a wrong one is named, a right one shows it."""
    stepper = stepping.Stepper(GAIN, at=14, asking=True)
    line = GAIN.steps[13].equation.latex
    assert line not in seen(stepper) and GAIN.steps[12].equation.latex in seen(stepper)
    control(stepper, "your line").value = "V_in/D"                    # as Enter does
    assert stepper.verdict.kind == "D for D'" and "Not yet. D stands where" in status(stepper) and line not in seen(stepper)
    control(stepper, "your line").value = "Vout = Vin/(1-D)"
    assert stepper.verdict.right and status(stepper).startswith("Right.") and line in seen(stepper)
    control(stepper, "Next").click()
    assert stepper.verdict is None and control(stepper, "your line").value == "" and "to be written" in seen(stepper)
    control(stepper, "Check").click()
    assert status(stepper).startswith("Type a line first.")


def test_hints_are_graded_and_show_gives_the_line():
    """Reason, letters, line; the third hint and Show reveal it."""
    line = GAIN.steps[13].equation.latex
    stepper = stepping.Stepper(GAIN, at=14, asking=True)
    told = []
    for _ in range(3):
        assert line not in seen(stepper)
        control(stepper, "Hint").click()
        told.append(status(stepper))
    assert "substituting" in told[0] and "source voltage" in told[1] and "V_out = V_in/D" in told[2] and line in seen(stepper)
    other = stepping.Stepper(GAIN, at=14, asking=True)
    control(other, "Show").click()
    assert line in seen(other)


def test_the_mode_can_be_left_and_entered():
    """The field appears with the mode, and each step is hidden anew."""
    stepper = stepping.Stepper(GAIN, at=14)
    field = stepper.box.children[-2]
    assert field.layout.display == "none" and not stepper.asking
    control(stepper, "write it yourself").value = True
    assert stepper.asking and field.layout.display != "none" and "to be written" in seen(stepper)
    control(stepper, "write it yourself").value = False
    assert "to be written" not in seen(stepper)


def test_typed_text_is_shown_as_text():
    """What was typed comes back escaped, if at all."""
    stepper = stepping.Stepper(GAIN, at=14, asking=True)
    control(stepper, "your line").value = "<img src=x onerror=alert(1)>"
    assert "<img" not in stepper.box.children[-1].value and stepper.verdict.kind in ("unreadable", "unknown letter")


def test_without_a_browser_it_is_the_step_in_words():
    """Plain text and Markdown hold the whole current step, and are the same for two steppers."""
    one, two = (stepping.Stepper(GAIN, at=15)._repr_mimebundle_() for _ in range(2))
    assert one["text/plain"] == two["text/plain"] == repr(stepping.step(GAIN, 15))
    assert GAIN.steps[14].equation.latex in one["text/markdown"] and "because: simplifying" in one["text/markdown"]
    asked = stepping.Stepper(GAIN, at=15, asking=True)._repr_mimebundle_()
    assert GAIN.steps[14].equation.plain not in asked["text/plain"] and "the line before" in asked["text/plain"]


def test_a_handout_prints_the_step():
    """Paper takes the Markdown of the output, since a widget cannot be printed."""
    import nbformat

    data = {mime: text for mime, text in stepping.Stepper(GAIN, at=15)._repr_mimebundle_().items() if mime.startswith("text/")}
    cell = nbformat.v4.new_code_cell("stepper", outputs=[nbformat.v4.new_output("display_data", data=data)])
    page = pages.notebook_page(nbformat.v4.new_notebook(cells=[cell]), "x.ipynb", code=False)
    assert any("step 15 of 15" in getattr(block, "text", "") for block in page.blocks)


def test_the_same_without_widgets():
    """A function call gives the step and the table of its letters."""
    assert repr(stepping.step(GAIN, 14)).startswith("The gain of the ideal boost converter, step 14 of 15\n")
    table = stepping.symbols_of(GAIN.steps[13])
    assert [row[1] for row in table.rows] == ["V_out", "V_in", "D'"]
    assert repr(table).splitlines()[1] == "V_in: source voltage, V, usually 3 V to 12 V"
    assert r"| $V_{\mathrm{in}}$ | source voltage | V | 3 V to 12 V |" in table._repr_markdown_()


@pytest.mark.parametrize("n", [0, 16, -1, True, 1.0, "1"])
def test_a_step_that_is_not_there(n):
    """Name, value and rule."""
    with pytest.raises(ValueError, match="must be a step of ideal_gain: 1 to 15"):
        stepping.step(GAIN, n)

"""A design and a workbook on paper: what is printed, that it stays on the page, and that it is the same each time."""

import base64
import io
import json
import re
import subprocess
import sys
from importlib.resources import files
from types import SimpleNamespace

import nbformat
import numpy as np
import pytest
from PIL import Image

from boostkit.paper import handout, pages, sieve, typeset
from boostkit.paper.blocks import Caution, Equation, Figure, Heading, Listing, Marked, Page, Prose, Table

V4 = nbformat.v4
SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="200" height="80">'
    b'<path d="M0 80 L100 0 L200 80" stroke="black"/></svg>'
)


def printed(*blocks, title="Test") -> Page:
    return Page(title, "", blocks)


def number_of_pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type */Page\b", pdf))


# how it looks


def extent(page: Page, folder) -> list[tuple[float, float, float]]:
    """Where ink begins and ends across each page and where it ends below, in mm, drawn by typst itself."""
    import typst

    source, data = typeset.source(page)
    typeset.fill(folder, source, typeset.pictures(page))
    drawn = typst.compile(
        str(folder / "page.typ"), format="png", ppi=72, root=str(folder), sys_inputs={"data": json.dumps(data)},
        font_paths=typst.Fonts(include_system_fonts=False),
    )  # fmt: skip
    drawn = [drawn] if isinstance(drawn, bytes) else drawn  # one page or several
    images = [np.asarray(Image.open(io.BytesIO(one)).convert("L")) for one in drawn]
    across, down = ([np.flatnonzero((image < 200).any(axis=axis)) * 25.4 / 72 for image in images] for axis in (0, 1))
    return [(inked[0], inked[-1], below[-1]) for inked, below in zip(across, down, strict=True)]


def drawn(width: int, height: int) -> bytes:
    box = f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}">'
    return f'{box}<rect width="{width}" height="{height}"/></svg>'.encode()


def terms(count: int) -> str:
    return "+".join(f"a_{{{n}}}" for n in range(count))


def grid(head: str, cell: str, columns: int) -> Prose:
    return Prose("|" + f"{head}|" * columns + "\n|" + "-|" * columns + "\n|" + f"{cell}|" * columns)


WIDE = {
    "sum": Equation(" + ".join(rf"\frac{{a_{{{n}}}}}{{b_{{{n}}}}}" for n in range(30))),
    "numbered sum": Equation(terms(80), numbered=True),
    "sum in braces": Equation(r"x = \begin{cases}" + terms(60) + r" & x \\ b & y\end{cases}"),
    "sum in a fraction": Equation(r"y = \frac{" + terms(60) + "}{2}"),
    "table": grid("head word", "12.34 kHz", 14),
    "table too wide": grid("head word", "1234.56789 kHz", 14),
    "table with a long word": grid("head", "8" * 33, 6),
    "table of formulas": grid("a", r"$\frac{V_{out}+V_F-V_{in}}{V_{out}+V_F}$", 12),
    "long cell": Table(("a", "b"), (("y" * 300, "z"),), "ll"),
    "code": Listing("x = " + "y" * 500, "code"),
    "code in a list": Prose("- a\n    - b\n\n        ```\n        " + "y " * 300 + "\n        ```\n"),
    "word": Prose("w" * 500 + " `" + "v" * 500 + "` https://example.org/" + "u" * 300),
    "picture": Figure(drawn(2000, 800), "alt", "caption " * 60 + "8" * 200),
    "tall picture": Figure(drawn(200, 4000), "alt", "caption"),
    "heading": Heading("8" * 200),
    "box": Caution("8" * 200, ("8" * 200,)),
}  # fmt: skip


@pytest.mark.parametrize("name", WIDE)
def test_nothing_runs_off_the_page(name, tmp_path):
    """However wide a block is, its ink stays between the margins of 25 mm on A4 (210 mm by 297 mm)."""
    for left, right, bottom in extent(printed(WIDE[name], title="8" * 200), tmp_path):
        assert left > 23.7 and right < 186.3  # 0.9 mm is half the thick side of a box, 0.35 mm a pixel
        assert bottom < 287  # the page number stands above this


def test_the_same_page_gives_the_same_bytes(monkeypatch):
    """Printed twice, no byte differs; another date set from outside changes them."""
    page = pages.design_page(stand_in(), [("caption", "alt", SVG)])
    first = typeset.pdf(page)
    assert typeset.pdf(page) == first
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    assert typeset.pdf(page) != first


def test_pages_are_counted():
    """One line takes one page, 200 paragraphs several, and the foot says how many."""
    assert number_of_pages(typeset.pdf(printed(Prose("one")))) == 1
    assert number_of_pages(typeset.pdf(printed(*(Prose(f"Paragraph {n}.") for n in range(200))))) == 5


def test_each_text_stands_in_its_place():
    """Texts in Markdown are read together; each comes back to the block, box item or cell that it belongs to."""
    table = Table(("h", Marked("*t*")), ((Marked("*b*"), "plain *x*"),), "ll")
    box = Caution("", (Marked("*m*"), "*raw*"))
    source, _ = typeset.source(printed(Prose("*z*"), box, table, Prose("*a*"), Prose("*z*")))
    assert re.findall(r"#emph\[(\w)\]", source) == ["z", "m", "t", "b", "a", "z"]
    assert "plain \\*x\\*" in source and "\\*raw\\*" in source


# a design


def stand_in(v_out=18.0, met=True) -> SimpleNamespace:
    """A design in shape only: the numbers mean nothing."""
    corner = {"v_in": 5.5, "i_out": 0.6, "duty": 0.7, "mode": "continuous", "ripple_voltage": 0.05,
              "inductor_peak": 2.3, "efficiency": 0.9, "efficiency_conduction": 0.95}  # fmt: skip
    verdict = {"demand": "output ripple", "limit": 0.06, "value": 0.05, "unit": "V", "met": met, "worst_at": "5.5 V"}
    part = {"what": "inductor", "value": 47e-6, "unit": "H", "why": "next preferred value", "look_for": "saturation"}
    latex = r"D = 1 - \frac{5.5}{18} = 0.694"
    line = SimpleNamespace(group="duty", say="Without loss, from $V_{in}$.", text="D = 0.694", latex=latex)
    return SimpleNamespace(
        spec=SimpleNamespace(title="Harbour #gauge", v_out=v_out),
        corners=[corner, {**corner, "v_in": 7.2}],
        verdicts=[verdict],
        lines=[line, SimpleNamespace(group="drive", say="Chosen.", text="f = 150 kHz", latex="")],
        parts=[part],
        cautions=["The capacitors stay charged."],
    )


def boxes(page: Page) -> list[str]:
    return [block.title for block in page.first]


def test_above_60_v_the_first_page_says_so():
    """60 V is the limit itself (IEC 60364-4-41, read in BS 7671 716.414); above it the first box on page one warns."""
    assert boxes(pages.design_page(stand_in(v_out=60.0))) == ["Before you build or touch it"]
    assert boxes(pages.design_page(stand_in(v_out=61.0)))[0] == "Output 61 V: above the 60 V DC touch limit"
    source, _ = typeset.source(pages.design_page(stand_in(v_out=61.0)))
    assert source.index("#caution(0)") < source.index("#contents")


def test_an_unmet_demand_stands_on_the_first_page():
    """A design that falls short says so before anything else, and in its table."""
    page = pages.design_page(stand_in(met=False))
    assert page.first[0].items == ("Not met: output ripple 60 mV: it comes to 50 mV.",)
    assert "**not met**" in next(block for block in page.blocks if isinstance(block, Table)).rows[0]
    assert boxes(pages.design_page(stand_in())) == ["Before you build or touch it"]


def test_a_design_prints_its_numbers_with_units():
    """Limits, values, parts and corners are printed through `units.show`; worked lines become numbered formulas."""
    blocks = pages.design_page(stand_in(), [("caption", "alt", SVG)]).blocks
    verdicts, parts, corners = (block.rows for block in blocks if isinstance(block, Table))
    assert verdicts[0][:4] == ("Output ripple", "60 mV", "50 mV", "met")
    assert pages._place({"v_in": 5.5, "i_out": 0.6}) == "$V_{in}$ 5.5 V, $I_{out}$ 600 mA"
    assert parts[0] == ("Inductor", "47 µH", "Next preferred value. Saturation.")
    assert corners[1] == ("7.2 V", "600 mA", "0.7", "continuous", "50 mV", "2.3 A", "90 %", "95 %")
    formula = next(block for block in blocks if isinstance(block, Equation))
    assert formula == Equation(r"D = 1 - \frac{5.5}{18} = 0.694", alt="D = 0.694", numbered=True)
    assert Prose("Without loss, from $V_{in}$.", leads=True) in blocks
    assert Figure(SVG, "alt", "caption") in blocks and Listing("f = 150 kHz") in blocks


def test_a_design_is_written_whole_and_not_over_other_work(tmp_path):
    """The PDF appears, is renewed from the same design, and never replaces a stranger's file."""
    path = handout.write(stand_in(), tmp_path / "gauge.pdf", figures=())
    first = path.read_bytes()
    assert handout.write(stand_in(), path, figures=()).read_bytes() == first
    (tmp_path / "mine.pdf").write_text("mine")
    with pytest.raises(ValueError, match="was not written by this kit"):
        handout.write(stand_in(), tmp_path / "mine.pdf", figures=())
    broken = stand_in()
    broken.lines[0].latex = r"\unknown{x}"
    with pytest.raises(ValueError, match="formula"):
        handout.write(broken, tmp_path / "none.pdf", figures=())
    assert sorted(p.name for p in tmp_path.iterdir() if p.suffix == ".pdf") == ["gauge.pdf", "mine.pdf"]


# a workbook on paper


def shown(data) -> list:
    return pages._output(V4.new_output("display_data", data), 3)


def test_the_best_form_of_an_output_is_printed():
    """Vectors before pixels, sentences and formulas before plain text, HTML last; plain text describes a picture."""
    png = base64.b64encode(b"\x89PNG").decode()
    assert shown({"image/svg+xml": SVG.decode(), "image/png": png, "text/plain": "a  line"}) == [Figure(SVG, "a line")]
    assert shown({"image/png": png, "text/plain": "x", "text/latex": "$y$"}) == [Figure(b"\x89PNG", "x")]
    assert shown({"text/latex": r"$\displaystyle x^2$", "text/plain": "x**2"}) == [Equation("x^2")]
    assert shown({"text/latex": "gain $x$ and $y$"}) == [Prose("gain $x$ and $y$")]
    assert shown({"text/markdown": "say $x$", "text/latex": "$x$", "text/plain": "x"}) == [Prose("say $x$", lift=1)]
    assert shown({"text/html": "<b>x</b>", "text/plain": "x"}) == [Listing("x")]
    assert "only a screen" in shown({"text/html": "<b>x</b>"})[0].text


def test_a_workbook_becomes_a_page():
    """The first heading is the title, code can be left out, streams and errors are printed, long outputs are cut."""
    cells = [V4.new_markdown_cell("# 03 · Two slopes\n\nText."), V4.new_code_cell("print(1)"), V4.new_code_cell("1/0")]
    cells[1].outputs = [V4.new_output("stream", text="\x1b[31mline\x1b[0m\n" * 300)]
    cells[2].outputs = [V4.new_output("error", ename="ZeroDivisionError", evalue="division by zero")]
    page = pages.notebook_page(V4.new_notebook(cells=cells), "03.ipynb", code=False)
    prose, listing, error = page.blocks
    assert page.title == "03 · Two slopes" and prose == Prose("\nText.", lift=1)
    assert listing.text.splitlines()[-1] == "… and 100 more lines" and "\x1b" not in listing.text
    assert error.items == ("ZeroDivisionError: division by zero",)
    assert Listing("1/0", "code") in pages.notebook_page(V4.new_notebook(cells=cells), "03.ipynb").blocks


def test_the_longest_line_of_a_listing_fits_in_the_smallest_letters():
    """What the template sets no smaller than 6.2 pt, at 0.602 em a letter of the fixed-width face, stays inside the page and its frame."""
    assert sieve.LISTING_WIDTH * 0.602 * 6.2 <= sieve.TEXT_WIDTH - 14 < (sieve.LISTING_WIDTH + 4) * 0.602 * 6.2
    assert "calc.max(6.2pt," in (files("boostkit") / "data" / "handout.typ").read_text(encoding="utf-8")


def test_long_lines_of_code_are_wrapped_and_marked():
    """No line is longer than the page; those that go on begin with an arrow and keep their indent."""
    lines = sieve.wrapped("    call(" + "argument, " * 30 + ")\nshort").splitlines()
    assert max(map(len, lines)) <= sieve.CODE_WIDTH and lines[-1] == "short"
    assert all(line.startswith("    ↪ ") for line in lines[1:-1])


def test_printing_a_design_loads_no_notebook_library():
    """nbformat and nbclient cost a second: a design is printed without them."""
    code = (
        "import sys; from boostkit.paper import handout, typeset, pages; from boostkit.paper.blocks import Page, Prose;"
        "typeset.pdf(Page('t', '', (Prose('x'),)));"
        "print([name for name in ('nbformat', 'nbclient', 'sympy', 'matplotlib', 'typst') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

"""Workbooks re-run to the byte, and designs and workbooks on paper, hostile text included."""

import base64
import io
import json
import re
import shutil
import subprocess
from types import SimpleNamespace

import nbformat
import numpy as np
import pytest
from PIL import Image

from boostkit.paper import handout, pages, sieve, typeset, workbook
from boostkit.paper.blocks import Caution, Equation, Figure, Heading, Listing, Marked, Page, Prose, Table

V4 = nbformat.v4
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" width="200" height="80"><path d="M0 80 L100 0 L200 80" stroke="black"/></svg>'
# What the typst source of a text may call: the template's functions and those that pandoc writes for plain text.
KNOWN_CALLS = {
    "title-block", "contents", "note", "lead", "formula", "picture", "listing", "caution", "emph", "strong", "strike",
    "super", "sub", "link", "footnote", "figure", "quote", "horizontalrule", "block",
}  # fmt: skip
SECRET = "a-secret-that-no-handout-may-hold"


def printed(*blocks, title="Test") -> Page:
    return Page(title, "", blocks)


def calls(source: str) -> set[str]:
    """The functions that a typst source calls outside strings, raw text and escapes."""
    text = re.sub(r'#link\("(?:[^"\\]|\\.)*"\)', "#link", source)
    text = re.sub(r"\\.|(`{3,}).*?\1|`[^`]*`", "", text, flags=re.S)
    text = re.sub(r'\$(?:"(?:\\.|[^"\\])*"|[^$"])*\$', lambda m: re.sub(r'"[^"]*"', "", m[0]), text)
    return set(re.findall(r"#([^\s(\[]*)", text))


def visible(source: str) -> str:
    return re.sub(r"\\(.)", r"\1", source).replace("\u200b", "")


def number_of_pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type */Page\b", pdf))


# hostile text

HOSTILE = {  # a snippet, and the plain text that must stay to be read (None: dropped)
    "import": ('#import "/etc/passwd": *', '#import "/etc/passwd": *'),
    "eval": ('#eval("panic()")', '#eval("panic()")'),
    "read": ('Text #read("SECRET_FILE") more', "#read("),
    "panic": ('#panic("ran")', '#panic("ran")'),
    "let": ("#let x = 1; #x", "#let x"),
    "set": ("#set page(width: 1cm)", "#set page"),
    "show": ("#show: it => panic()", "#show:"),
    "package": ('#import "@preview/cetz:0.3.0"', "@preview/cetz"),
    "plugin": ('#plugin("x.wasm")', "#plugin"),
    "reference": ("see @name and <name>", "@name and <name>"),
    "escaped hash": (r"\#panic(1) \\#panic(2)", "#panic(2)"),
    "bracket": ("] #panic() [ ] ] ]", "] #panic() ["),
    "comment": ("/* not a comment // here", "/* not a comment // here"),
    "equals": ("= no heading\n\n/ no: term", "= no heading"),
    "raw block": ("```{=typst}\n#panic()\n```", "#panic()"),
    "raw inline": ("`#panic()`{=typst}", "{=typst}"),
    "fence": ("```python\n``` #panic()\n````\n#panic()\n```", "#panic()"),
    "typst attribute on a div": ('::: {typst:fill="panic()"}\ninside\n:::', "inside"),
    "typst attribute on a span": ('[inside]{typst:text:fill="panic()"}', "[inside]{"),
    "typst attribute on a heading": ('## Head {typst:fill="panic()" #label}', "Head {typst:fill"),
    "typst attribute on a table": ('|a|b|\n|-|-|\n|1|2|\n\n: cap {typst:fill="panic()"}', "{typst:fill"),
    "html": ("<script>alert(1)</script>", "<script>alert(1)</script>"),
    "html image": ('<img src="SECRET_FILE">', "<img src="),
    "image": ("![a picture](SECRET_FILE)", "[picture: a picture]"),
    "image by url": ("![](http://127.0.0.1:9/x.png)", "[picture: ]"),
    "script link": ("[click](javascript:alert(1))", "click"),
    "file link": ("[click](file:///etc/passwd)", "click"),
    "dangling link": ("[click](#nowhere) [x][y]", "click"),
    "link out of its string": (r'[l](<http://a.b/"\)#panic()[>)', "l"),
    "bare address": (r'https://a.b/"#panic()', "https://a.b/"),
    "metadata": ("---\ntitle: '#panic()'\nheader-includes: '#panic()'\n---\n\nafter", "after"),
    "title block": ("% #panic()\n% me\n\nafter", "after"),
    "citation": ("[@panic; see #panic()]", "@panic"),
    "example list": ("(@panic) first\n(@) second", "(@panic) first"),
    "tex outside": (r"\input{SECRET_FILE} \def\x{y}", r"\input{SECRET_FILE}"),
    "tex file": (r"$\input{SECRET_FILE}$", r"\input{SECRET_FILE}"),
    "tex definition": (r"$\def\x{\panic}\x$", r"\def\x"),
    "tex macro": (r"\newcommand{\x}{y} $\x$ is $1$".replace(r"$\x$ ", ""), r"\newcommand"),
    "tex link": (r"$\href{javascript:alert(1)}{x}$", r"\href{javascript:alert(1)}"),
    "hash in a formula": (r"$#panic()$", "#panic()"),
    "string in a formula": (r"$\text{\#panic()}$", '"#panic()"'),
    "comment in a formula": (r"$a // b /* c$", "a / / b / * c"),
    "footnote": ("a[^n]\n\n[^n]: #panic() ![x](SECRET_FILE)", "#panic()"),
    "null byte": ("before\x00after", "before⟨U+0000⟩after"),
    "entity": ("a&#x202e;b", "a⟨U+202E⟩b"),
    "right to left": ("abc\u202edef\u2066", "abc⟨U+202E⟩def⟨U+2066⟩"),
    "lone surrogate": ("a\ud800b", "a⟨U+D800⟩b"),
    "deep quotation": ("> " * 60 + "deep", "deep"),
    "deep list": ("\n".join("  " * n + "- x" for n in range(60)) + "\n\nend", "end"),
    "wide table": ("|" + "a|" * 60 + "\n|" + "-|" * 60 + "\n|" + "#panic()|" * 60, "#panic()"),
    "long word": ("x" * 3000, "x" * 3000),
}


@pytest.fixture(scope="module")
def secret(tmp_path_factory):
    """A file whose contents must never reach paper."""
    path = tmp_path_factory.mktemp("private") / "secret.txt"
    path.write_text(SECRET)
    return str(path)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_text_is_plain_text_or_gone(name, secret):
    """The source of the page calls nothing but known functions, and what can be read is still there."""
    snippet, stays = (text.replace("SECRET_FILE", secret) for text in HOSTILE[name])
    source, data = typeset.source(printed(Prose(snippet)))
    assert calls(source) <= KNOWN_CALLS
    assert re.sub(r"\s+", " ", stays) in re.sub(r"\s+", " ", visible(source))
    assert SECRET not in source + json.dumps(data)
    assert not re.search(r"image\(|javascript:|file:", "".join(re.findall(r"#link\([^)]*\)|image\(", source)))


def test_the_search_for_calls_finds_them():
    """The check above sees a call in text, in a formula and behind a string, and none in raw text or after a backslash."""
    assert calls('a #panic("x") `#raw` \\#no') == {"panic"}
    assert calls('$a "text" + #eval("1")$') == {"eval"}
    assert calls('#link("http://a/#b")[x] #read("y")') == {"link", "read"}


def test_all_hostile_text_at_once_becomes_a_pdf(secret):
    """Had any `panic()` run, or any file been read, typst would have stopped: the whole corpus prints."""
    texts = [text.replace("SECRET_FILE", secret) for text, _ in HOSTILE.values()]
    pdf = typeset.pdf(printed(*map(Prose, texts)))
    assert pdf.startswith(b"%PDF") and number_of_pages(pdf) > 2


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler; the tests of the source do not")
def test_hostile_text_can_be_read_in_the_pdf(secret, tmp_path):
    """The words of the snippets stand in the PDF as text; the secret does not."""
    texts = [text.replace("SECRET_FILE", secret) for text, _ in HOSTILE.values()]
    (tmp_path / "a.pdf").write_bytes(typeset.pdf(printed(*map(Prose, texts))))
    found = subprocess.run(["pdftotext", "-layout", tmp_path / "a.pdf", "-"], capture_output=True, check=True).stdout.decode()
    for word in ("#import", "#panic(2)", "@preview/cetz", "<script>alert(1)</script>", "before⟨U+0000⟩after"):
        assert word in found
    assert SECRET not in found


@pytest.mark.parametrize("slot", ["title", "subtitle", "note", "heading", "caption", "alt", "listing", "cell", "box", "item"])
def test_data_never_becomes_source(slot):
    """Hostile text in any field of a page travels as data or is escaped, and the page prints."""
    evil = '"] #panic("ran") $x$ `y` @preview \\ \u202e'
    text = {name: "text" for name in ("title", "subtitle", "note", "heading", "caption", "alt", "listing", "cell", "box", "item")}
    text[slot] = evil
    blocks = (
        Heading(text["heading"]), Figure(SVG, text["alt"], text["caption"]), Listing(text["listing"], "code"),
        Table(("Head",), ((text["cell"],),), "l"), Caution(text["box"], (text["item"],)), Equation("a", alt=text["alt"]),
    )  # fmt: skip
    page = Page(text["title"], text["subtitle"], blocks, note=text["note"])
    source, data = typeset.source(page)
    assert calls(source) <= KNOWN_CALLS
    assert '#panic("ran") $x$' in visible(source) + " ".join(map(str, _strings(data)))
    assert typeset.pdf(page).startswith(b"%PDF")


def _strings(value):
    if isinstance(value, dict):
        value = list(value.values())
    return [text for item in value for text in _strings(item)] if isinstance(value, list) else [value]


def test_the_sieve_drops_raw_nodes_and_every_attribute():
    """Whatever a reader might let through, no raw code and no attribute leaves the sieve."""
    bad = ["id", ["class"], [["typst:fill", "panic()"]]]
    tree = [
        {"t": "RawBlock", "c": ["typst", "#panic()"]},
        {"t": "Header", "c": [1, bad, [{"t": "RawInline", "c": ["typst", "#panic()"]}, {"t": "Str", "c": "kept"}]]},
        {"t": "Div", "c": [bad, [{"t": "Para", "c": [{"t": "Str", "c": "inside"}]}]]},
        {"t": "CodeBlock", "c": [bad, "code"]},
        {"t": "Para", "c": [{"t": "Code", "c": [bad, "x"]}, {"t": "Span", "c": [bad, [{"t": "Str", "c": "span"}]]},
                            {"t": "Link", "c": [bad, [{"t": "Str", "c": "l"}], ["https://a.b/c", "t"]]}]},
        {"t": "Unheard", "c": [bad, [{"t": "Str", "c": "odd"}]]},
    ]  # fmt: skip
    kept = json.dumps(sieve.blocks(tree))
    assert "panic" not in kept and "class" not in kept and "Raw" not in kept
    assert all(word in kept for word in ("kept", "inside", "code", "span", "https://a.b/c", "odd"))


@pytest.mark.parametrize("target", ["javascript:x", "file:///etc/passwd", "/etc/passwd", "#a", "http://a b", 'http://a"b', "data:x", ""])
def test_only_web_and_mail_links_pass(target):
    """A link of another kind becomes its text."""
    link = {"t": "Link", "c": [sieve.NO_ATTRIBUTES, [{"t": "Str", "c": "text"}], [target, ""]]}
    assert [node["t"] for node in sieve.inlines([link])] == ["Str"]
    link["c"][2][0] = "mailto:a@b.org"
    assert [node["t"] for node in sieve.inlines([link])] == ["Link"]


@pytest.mark.parametrize("latex", [r"\unknown{x}", r"a & b", r"\frac{", 'a_{"x"}', r"\char`\#"])
def test_a_formula_that_cannot_be_set_is_refused_by_name(latex):
    """Such a formula would stand on paper as source; the error quotes it in one line."""
    with pytest.raises(ValueError, match="formula cannot be printed") as caught:
        typeset.pdf(printed(Equation(latex)))
    assert latex in str(caught.value) and "\n" not in str(caught.value)


def test_a_determinant_with_bars_is_refused_with_its_source():
    """Pandoc writes it so that typst refuses it; the error says where."""
    with pytest.raises(ValueError, match=r"cannot be set: .*, at .*mat\("):
        typeset.pdf(printed(Equation(r"\begin{vmatrix}a&b\\c&d\end{vmatrix}")))


def test_endless_work_is_stopped():
    """A text made to keep the reader busy ends in an error once the time is up."""
    with pytest.raises(ValueError, match="longer than 1 s"):
        typeset.pdf(printed(Prose("*a_" * 3000 + "\n\n" + "[" * 4000)), time_limit=1)


@pytest.mark.parametrize("picture", [
    b"%PDF-1.7", b"not a picture", b"\x89PNG broken", b"<svg broken",
    SVG.replace(b"<path", b'<image href="/etc/hostname" width="9" height="9"/><path'),
    SVG.replace(b"<path", b'<image href="http://127.0.0.1:9/x.png" width="9" height="9"/><path'),
    b'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>' + SVG.replace(b"<path", b"<text>&x;</text><path"),
])  # fmt: skip
def test_pictures_that_are_none_or_reach_out_are_refused(picture):
    """A figure is a whole SVG or PNG that fetches nothing; anything else is an error in one line."""
    with pytest.raises(ValueError, match=r"^[^\n]*$"):
        typeset.pdf(printed(Figure(picture, "alt")))


def test_characters_without_a_letter_are_shown_by_number():
    """A missing letter would be an empty box: it is shown as its code point, in text, data and formulas."""
    page = Page("Title 中", "", (Prose("Text 文 and $\\text{字}$"), Listing("code 😀")))
    pdf = typeset.pdf(page)
    assert pdf == typeset.pdf(Page("Title ⟨U+4E2D⟩", "", (Prose("Text ⟨U+6587⟩ and $\\text{⟨U+5B57⟩}$"), Listing("code ⟨U+1F600⟩"))))


# how it looks


def margins(page: Page, folder) -> list[tuple[float, float]]:
    """Where ink begins and ends across each page, in mm, drawn by typst itself."""
    import typst

    source, data = typeset.source(page)
    typeset.fill(folder, source, typeset.pictures(page))
    drawn = typst.compile(
        str(folder / "page.typ"), format="png", ppi=72, root=str(folder), sys_inputs={"data": json.dumps(data)},
        font_paths=typst.Fonts(include_system_fonts=False),
    )  # fmt: skip
    images = [np.asarray(Image.open(io.BytesIO(one)).convert("L")) for one in ([drawn] if isinstance(drawn, bytes) else drawn)]
    columns = [np.flatnonzero((image < 200).any(axis=0)) * 25.4 / 72 for image in images]
    return [(inked[0], inked[-1]) for inked in columns]


WIDE = {
    "sum": Equation(" + ".join(rf"\frac{{a_{{{n}}}}}{{b_{{{n}}}}}" for n in range(30))),
    "numbered sum": Equation("+".join(f"a_{{{n}}}" for n in range(80)), numbered=True),
    "sum in braces": Equation(r"x = \begin{cases}" + "+".join(f"a_{{{n}}}" for n in range(60)) + r" & x \\ b & y\end{cases}"),
    "sum in a fraction": Equation(r"y = \frac{" + "+".join(f"a_{{{n}}}" for n in range(60)) + "}{2}"),
    "table": Prose("|" + "head word|" * 14 + "\n|" + "-|" * 14 + "\n|" + "1234.56789 kHz|" * 14),
    "table of formulas": Prose("|" + "a|" * 12 + "\n|" + "-|" * 12 + "\n|" + r"$\frac{V_{out}+V_F-V_{in}}{V_{out}+V_F}$|" * 12),
    "long cell": Table(("a", "b"), (("y" * 300, "z"),), "ll"),
    "code": Listing("x = " + "y" * 500, "code"),
    "code in a list": Prose("- a\n    - b\n\n        ```\n        " + "y " * 300 + "\n        ```\n"),
    "word": Prose("w" * 500 + " `" + "v" * 500 + "` https://example.org/" + "u" * 300),
    "picture": Figure(SVG.replace(b'"200"', b'"2000"'), "alt", "caption " * 60),
    "heading": Heading("h" * 200),
    "box": Caution("c" * 200, ("d" * 200,)),
}  # fmt: skip


@pytest.mark.parametrize("name", WIDE)
def test_nothing_runs_off_the_page(name, tmp_path):
    """However wide a block is, its ink stays between the margins of 25 mm on A4 (210 mm)."""
    for left, right in margins(printed(WIDE[name]), tmp_path):
        assert left > 24 and right < 186  # a millimetre for the frame of a box and for rounding to pixels


def test_the_same_page_gives_the_same_bytes():
    """Printed twice, no byte differs; another date set from outside changes them."""
    page = pages.design_page(stand_in(), [("caption", "alt", SVG)])
    assert typeset.pdf(page) == typeset.pdf(page)


def test_pages_are_counted(tmp_path):
    """One line takes one page, 200 paragraphs several, and the foot says how many."""
    assert number_of_pages(typeset.pdf(printed(Prose("one")))) == 1
    assert number_of_pages(typeset.pdf(printed(*(Prose(f"Paragraph {n}.") for n in range(200))))) == 5


# a design


def stand_in(v_out=18.0, met=True) -> SimpleNamespace:
    """A design in shape only: the numbers mean nothing."""
    corner = dict(v_in=5.5, i_out=0.6, duty=0.7, mode="continuous", ripple_voltage=0.05, inductor_peak=2.3,
                  efficiency=0.9, efficiency_conduction=0.95)  # fmt: skip
    line = SimpleNamespace(group="duty", say="Without loss, from $V_{in}$.", text="D = 0.694", latex=r"D = 1 - \frac{5.5}{18} = 0.694")
    return SimpleNamespace(
        spec=SimpleNamespace(title="Harbour #gauge", v_out=v_out),
        corners=[corner, {**corner, "v_in": 7.2}],
        verdicts=[dict(demand="output ripple", limit=0.06, value=0.05, unit="V", met=met, worst_at="5.5 V, 0.6 A")],
        lines=[line, SimpleNamespace(group="drive", say="Chosen.", text="f = 150 kHz", latex="")],
        parts=[dict(what="inductor", value=47e-6, unit="H", why="next preferred value", look_for="saturation above 3 A")],
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
    assert page.first[0].items == ("Not met: output ripple.",)
    assert "**not met**" in next(block for block in page.blocks if isinstance(block, Table)).rows[0]
    assert boxes(pages.design_page(stand_in())) == ["Before you build or touch it"]


def test_a_design_prints_its_numbers_with_units():
    """Limits, values, parts and corners are printed through `units.show`; worked lines become numbered formulas."""
    blocks = pages.design_page(stand_in(), [("caption", "alt", SVG)]).blocks
    verdicts, parts, corners = (block.rows for block in blocks if isinstance(block, Table))
    assert verdicts[0][:4] == ("Output ripple", "60 mV", "50 mV", "met")
    assert parts[0] == ("Inductor", "47 µH", "Next preferred value. Saturation above 3 A.")
    assert corners[1] == ("7.2 V", "600 mA", "0.7", "continuous", "50 mV", "2.3 A", "90 %", "95 %")
    formula = next(block for block in blocks if isinstance(block, Equation))
    assert formula == Equation(r"D = 1 - \frac{5.5}{18} = 0.694", alt="D = 0.694", numbered=True)
    assert Figure(SVG, "alt", "caption") in blocks and Listing("f = 150 kHz") in blocks


def test_a_design_is_written_whole_and_not_over_other_work(tmp_path):
    """The PDF appears, is renewed from the same design, and never replaces a stranger's file."""
    path = handout.write(stand_in(), tmp_path / "gauge.pdf")
    first = path.read_bytes()
    assert handout.write(stand_in(), path).read_bytes() == first
    (tmp_path / "mine.pdf").write_text("mine")
    with pytest.raises(ValueError, match="was not written by this kit"):
        handout.write(stand_in(), tmp_path / "mine.pdf")
    with pytest.raises(ValueError):
        handout.write(SimpleNamespace(**{**vars(stand_in()), "lines": [
            SimpleNamespace(group="g", say="s", text="t", latex=r"\unknown{x}")]}), tmp_path / "none.pdf")  # fmt: skip
    assert sorted(p.name for p in tmp_path.iterdir() if p.suffix == ".pdf") == ["gauge.pdf", "mine.pdf"]


# a workbook on paper


def shown(data) -> list:
    return pages._output(V4.new_output("display_data", data), 3)


def test_the_best_form_of_an_output_is_printed():
    """Vectors before pixels, formulas before text, text before HTML; the line of text describes the picture."""
    png = base64.b64encode(b"\x89PNG").decode()
    assert shown({"image/svg+xml": SVG.decode(), "image/png": png, "text/plain": "a  line"}) == [Figure(SVG, "a line")]
    assert shown({"image/png": png, "text/plain": "x", "text/latex": "$y$"}) == [Figure(b"\x89PNG", "x")]
    assert shown({"text/latex": r"$\displaystyle x^2$", "text/plain": "x**2"}) == [Equation("x^2")]
    assert shown({"text/latex": "gain $x$ and $y$"}) == [Prose("gain $x$ and $y$")]
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
    assert [b.text for b in pages.notebook_page(V4.new_notebook(cells=cells), "x").blocks if b == Listing("1/0", "code")] == ["1/0"]


def test_long_lines_of_code_are_wrapped_and_marked():
    """No line is longer than the page; those that go on begin with an arrow and keep their indent."""
    lines = sieve.wrapped("    call(" + "argument, " * 30 + ")\nshort").splitlines()
    assert max(map(len, lines)) <= sieve.CODE_WIDTH and lines[-1] == "short"
    assert all(line.startswith("    ↪ ") for line in lines[1:-1])


# running workbooks

FIGURE = """class Drawn:
    def _repr_mimebundle_(self, **_):
        import os
        if os.environ["BOOSTKIT_VECTORS"] == "1":
            return {"text/plain": "figure: a peak", "image/svg+xml": SVG}
        return {"text/plain": "figure: a peak"}"""


@pytest.fixture()
def book(tmp_path):
    """A workbook that shows an address, a figure, a slider, a warning's absence and its folder."""
    sources = ["import ipywidgets, pathlib\nprint('12.3 V', object())", f"SVG = {SVG.decode()!r}\n{FIGURE}", "Drawn()",
               "ipywidgets.IntSlider()", "pathlib.Path('beside.txt').read_text()"]  # fmt: skip
    notebook = V4.new_notebook(cells=[V4.new_markdown_cell("# Title"), *map(V4.new_code_cell, sources)])
    notebook.metadata["widgets"] = {"state": {}}
    (tmp_path / "beside.txt").write_text("beside")
    nbformat.write(notebook, tmp_path / "book.ipynb")
    return tmp_path / "book.ipynb"


def test_a_workbook_run_twice_changes_no_byte(book):
    """The first run stores outputs, the second leaves file and clock alone; nothing stored depends on the run."""
    seen = []
    assert workbook.rewrite([book], progress=lambda *step: seen.append(step)) == [book]
    first = book.read_bytes()
    assert workbook.rewrite([book]) == [] and book.read_bytes() == first
    assert workbook.check(book) == []
    text = first.decode()
    assert "at 0x…" in text and "12.3 V" in text and "beside" in text and "image/svg" not in text
    assert not re.search(r"widget-view|model_id|\"widgets\"|0x[0-9a-f]{4}|\d\.\d+\.\d+\"", text)
    assert seen[0] == (0, 6, "book.ipynb") and seen[-1] == (6, 6, "book.ipynb")
    assert [p.name for p in sorted(book.parent.iterdir())] == ["beside.txt", "book.ipynb"]


def test_a_handout_of_a_workbook_has_vectors_and_leaves_the_file_alone(book):
    """Printing runs the workbook with vectors on, a failed cell is named and printed, and the workbook is not touched."""
    notebook = nbformat.read(book, 4)
    notebook.cells += [V4.new_code_cell("1/0"), V4.new_code_cell("print('after')")]
    nbformat.write(notebook, book)
    before = book.read_bytes()
    failed = handout.write_workbook(book, book.with_suffix(".pdf"))
    assert failed == ["cell 7: ZeroDivisionError: division by zero"]
    assert book.read_bytes() == before and book.with_suffix(".pdf").read_bytes().startswith(b"%PDF")
    run = workbook.run(book, vectors=True, keep_going=True)
    page = pages.notebook_page(run, "book.ipynb")
    assert Figure(SVG, "figure: a peak") in page.blocks and Listing("after") in page.blocks
    assert typeset.pdf(page) == book.with_suffix(".pdf").read_bytes()


def test_a_failing_or_endless_cell_stores_nothing(tmp_path):
    """The error names file and cell in one line; the file is as it was."""
    path = tmp_path / "bad.ipynb"
    nbformat.write(V4.new_notebook(cells=[V4.new_code_cell("1/0")]), path)
    before = path.read_bytes()
    with pytest.raises(ValueError, match=r"^bad.ipynb, cell 1 failed: ZeroDivisionError: division by zero$"):
        workbook.rewrite([path])
    assert path.read_bytes() == before
    nbformat.write(V4.new_notebook(cells=[V4.new_code_cell("while True: pass")]), path)
    with pytest.raises(ValueError, match="longer than 1 s"):
        workbook.run(path, timeout=1)


@pytest.mark.parametrize("content", ["", "{}", "[1]", '{"nbformat": 4}', "\x00"])
def test_what_is_not_a_notebook_is_refused_in_one_line(tmp_path, content):
    """Files of another kind, and missing ones, give one line with the name."""
    (tmp_path / "no.ipynb").write_text(content)
    with pytest.raises(ValueError, match=r"no\.ipynb: [^\n]*$"):
        workbook.check(tmp_path / "no.ipynb")
    with pytest.raises(ValueError, match=r"gone\.ipynb: cannot be read"):
        workbook.read(tmp_path / "gone.ipynb")


def good_notebook():
    cells = [V4.new_markdown_cell("# Title"), V4.new_code_cell("1", execution_count=1), V4.new_code_cell("2", execution_count=2)]
    notebook = V4.new_notebook(cells=cells)
    workbook.settle(notebook)
    return notebook


FAULTS = {
    "never run": (lambda nb: nb.cells[1].update(execution_count=None), "execution count is None"),
    "run out of order": (lambda nb: nb.cells[2].update(execution_count=5), "is 5, not 2"),
    "a stored error": (lambda nb: nb.cells[1].outputs.append(V4.new_output("error", ename="E", evalue="e")), "error is stored"),
    "a stored warning": (lambda nb: nb.cells[1].outputs.append(V4.new_output("stream", name="stderr", text="w")), "warning"),
    "another kernel": (lambda nb: nb.metadata.kernelspec.update(name="julia"), "kernelspec"),
    "widget state": (lambda nb: nb.metadata.update(widgets={}), "widget state"),
    "a widget view": (lambda nb: nb.cells[1].outputs.append(V4.new_output("display_data", {workbook.WIDGET: {}})), "widget view"),
    "a cell's own id": (lambda nb: nb.cells[0].update(id="abc"), "cell 1: its id is not cell-001"),
    "too large": (lambda nb: nb.cells[0].update(source="x" * 600_001), "601 kB is more than 600 kB"),
    "no code": (lambda nb: nb.update(cells=nb.cells[:1]), "no code cell"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_the_guard_finds_each_fault(tmp_path, name):
    """A good workbook has no fault; with one fault put in, exactly that one is named."""
    notebook, path = good_notebook(), tmp_path / "book.ipynb"
    nbformat.write(notebook, path)
    assert workbook.check(path) == []
    spoil, words = FAULTS[name]
    spoil(notebook)
    nbformat.write(notebook, path)
    (fault,) = workbook.check(path)
    assert words in fault


def test_a_workbook_is_counted(tmp_path):
    """Lines, runs, words and functions of a small workbook, counted by hand."""
    code = V4.new_code_cell
    cells = [V4.new_markdown_cell("one two three four five six"), code("a = 1\n\nb = 2"), code("c = 3"), V4.new_markdown_cell("seven eight"),
             code("%time 1\ndef f():\n    x = 1\n\n    return x\nf()")]  # fmt: skip
    nbformat.write(V4.new_notebook(cells=cells), tmp_path / "book.ipynb")
    assert workbook.counts(tmp_path / "book.ipynb") == workbook.Counts(
        median_lines=2, longest_cell=5, longest_run=2, words_per_line=8 / 8, longest_function=3,
    )  # fmt: skip


def test_printing_a_design_loads_no_notebook_library():
    """nbformat and nbclient cost a second: a design is printed without them."""
    import sys

    code = (
        "import sys; from boostkit.paper import handout, typeset, pages; from boostkit.paper.blocks import *;"
        "typeset.pdf(Page('t', '', (Prose('x'),))); print([m for m in ('nbformat', 'nbclient', 'sympy', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_marked_text_is_text():
    """`Marked` is a string like any other, so a page can be compared and searched."""
    assert Marked("a") == "a"

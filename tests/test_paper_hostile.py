"""Hostile text on paper: printed as plain text, or dropped, or refused in one line; it never runs or reads a file."""

import json
import re
import shutil
import subprocess

import pytest

from boostkit.paper import sieve, typeset
from boostkit.paper.blocks import Caution, Equation, Figure, Heading, Listing, Page, Prose, Table

SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="200" height="80">'
    b'<path d="M0 80 L100 0 L200 80" stroke="black"/></svg>'
)
# What the typst source of a text may call: the template's functions and those that pandoc writes for plain text.
KNOWN_CALLS = {
    "title-block", "contents", "note", "lead", "formula", "picture", "listing", "caution", "emph", "strong", "strike",
    "super", "sub", "link", "footnote", "figure", "table", "quote", "horizontalrule", "block",
}  # fmt: skip
SECRET = "a-secret-that-no-handout-may-hold"


def printed(*blocks) -> Page:
    return Page("Test", "", blocks)


def calls(source: str) -> set[str]:
    """The functions that a typst source calls outside strings, raw text and escapes."""
    text = re.sub(r'#link\("(?:[^"\\]|\\.)*"\)', "#link", source)
    text = re.sub(r"\\.|(`{3,}).*?\1|`[^`]*`", "", text, flags=re.S)
    text = re.sub(r'\$(?:"(?:\\.|[^"\\])*"|[^$"])*\$', lambda m: re.sub(r'"[^"]*"', "", m[0]), text)
    return set(re.findall(r"#([^\s(\[]*)", text))


def visible(source: str) -> str:
    """A typst source as it will be read: escapes undone, except in raw text, which has none."""
    return re.sub(r"(`+[^`]*`+)|\\(.)", lambda m: m[1] or m[2], source).replace("\u200b", "")


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
    "tex macro": (r"\newcommand{\x}{y} and $1$", r"\newcommand"),
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
    """The check above sees a call in text, in a formula and behind a string; none in raw text or after a backslash."""
    assert calls('a #panic("x") `#raw` \\#no') == {"panic"}
    assert calls('$a "text" + #eval("1")$') == {"eval"}
    assert calls('#link("http://a/#b")[x] #read("y")') == {"link", "read"}


def test_all_hostile_text_at_once_becomes_a_pdf(secret):
    """Had any `panic()` run, or any file been read, typst would have stopped: the whole corpus prints."""
    texts = [text.replace("SECRET_FILE", secret) for text, _ in HOSTILE.values()]
    pdf = typeset.pdf(printed(*map(Prose, texts)))
    assert pdf.startswith(b"%PDF")


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler; the tests of the source do not")
def test_hostile_text_can_be_read_in_the_pdf(secret, tmp_path):
    """The words of the snippets stand in the PDF as text; the secret does not."""
    texts = [text.replace("SECRET_FILE", secret) for text, _ in HOSTILE.values()]
    (tmp_path / "a.pdf").write_bytes(typeset.pdf(printed(*map(Prose, texts))))
    done = subprocess.run(["pdftotext", "-layout", tmp_path / "a.pdf", "-"], capture_output=True, check=True)
    found = done.stdout.decode()
    for word in ("#import", "#panic(2)", "@preview/cetz", "<script>alert(1)</script>", "before⟨U+0000⟩after"):
        assert word in found
    assert SECRET not in found


SLOTS = ("title", "subtitle", "note", "heading", "caption", "alt", "listing", "cell", "box", "item")


@pytest.mark.parametrize("slot", SLOTS)
def test_data_never_becomes_source(slot):
    """Hostile text in any field of a page travels as data or is escaped, and the page prints."""
    evil = '"] #panic("ran") $x$ `y` @preview \\ \u202e'
    text = dict.fromkeys(SLOTS, "text") | {slot: evil}
    blocks = (
        Heading(text["heading"]), Figure(SVG, text["alt"], text["caption"]), Listing(text["listing"], "code"),
        Table(("Head",), ((text["cell"],),), "l"), Caution(text["box"], (text["item"],)),
        Equation("a", alt=text["alt"]),
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


def test_text_nested_too_deeply_keeps_its_words():
    """Emphasis in emphasis, 500 levels: the words stay, the levels end."""
    nodes = [{"t": "Str", "c": "deep"}]
    for _ in range(500):
        nodes = [{"t": "Emph", "c": nodes}]
    kept = json.dumps(sieve.inlines(nodes))
    assert "deep" in kept and kept.count("Emph") <= sieve.DEPTH + 1


@pytest.mark.parametrize(
    "target", ["javascript:x", "file:///etc/passwd", "/etc/passwd", "#a", "http://a b", 'http://a"b', "data:x", ""]
)
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
    same = Page("Title ⟨U+4E2D⟩", "", (Prose("Text ⟨U+6587⟩ and $\\text{⟨U+5B57⟩}$"), Listing("code ⟨U+1F600⟩")))
    assert typeset.pdf(page) == typeset.pdf(same)

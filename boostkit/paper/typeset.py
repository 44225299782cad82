"""From a `Page` to the bytes of a PDF; the one home of pandoc (Markdown and TeX formulas) and typst (type and layout).

A workbook may come from anyone, so nothing in it is trusted: pandoc reads it in its sandbox, `sieve` lets only known
nodes pass, titles, captions and listings travel as data, and typst works in a fresh folder that holds only our files,
in a process of its own with a time limit.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import subprocess
import sys
import tempfile
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path

from . import sieve
from .blocks import Block, Caution, Equation, Figure, Heading, Listing, Marked, Page, Prose, Table

TIME_LIMIT = 60  # s, for each of the three programs
MADE = 1_767_225_600  # 1 January 2026: a fixed date keeps the bytes the same; SOURCE_DATE_EPOCH replaces it

# A workbook's Markdown: what a notebook shows, without anything that reaches past the text.
READER = (
    "markdown-raw_html-raw_attribute-raw_tex-native_divs-native_spans-bracketed_spans-fenced_divs-header_attributes"
    "-fenced_code_attributes-inline_code_attributes-link_attributes-table_attributes-citations-latex_macros"
    "-yaml_metadata_block-pandoc_title_block-task_lists-example_lists-fancy_lists-definition_lists-line_blocks"
    "-grid_tables-multiline_tables-simple_tables-table_captions-implicit_figures-subscript-superscript-inline_notes"
    "+smart-blank_before_header-blank_before_blockquote+lists_without_preceding_blankline+autolink_bare_uris"
    "+tex_math_dollars+footnotes"
)

HEAD = '#import "handout.typ": *\n#show: paper\n\n'
COMPILE = """
import json, sys, typst
job = json.load(sys.stdin)
try:
    pdf, warnings = typst.compile_with_warnings(
        "page.typ", format="pdf", root=".", font_paths=typst.Fonts(include_system_fonts=False),
        sys_inputs={"data": job["data"]}, package_path="packages", package_cache_path="packages",
        pdf_standards=["a-2b"], timestamp=job["made"])
except typst.TypstError as error:
    sys.exit(error.diagnostic or error.message)
sys.stderr.write("".join(warning.diagnostic or warning.message for warning in warnings))
sys.stdout.buffer.write(pdf)
"""
NO_GLYPH = re.compile(r'PDF/A-2b error: the text `"(.*?)"` could not be displayed', re.DOTALL)
ALIGN = {"l": "AlignLeft", "c": "AlignCenter", "r": "AlignRight"}


def pdf(page: Page, time_limit: float = TIME_LIMIT) -> bytes:
    """The page as a PDF/A-2b file; the same page gives the same bytes.

    Raises ValueError where a formula cannot be set (it is quoted), or the text takes longer than `time_limit` (s).
    """
    tree, data = _assemble(page, time_limit)
    for _ in range(2):  # the first attempt finds the characters that no font has; the second shows their numbers
        body = _pandoc(["-f", "json", "-t", "typst", "--wrap=preserve"], json.dumps(tree), time_limit)
        done = _typst(body, data, pictures(page), time_limit)
        missing = set("".join(json.loads(f'"{found}"') for found in NO_GLYPH.findall(done.stderr)))
        if not missing:
            return _checked(done)
        tree, data = (_replaced(part, missing) for part in (tree, data))
    return _checked(done)


def source(page: Page, time_limit: float = TIME_LIMIT) -> tuple[str, dict]:
    """The typst source of a page's text, and the data beside it: what the tests look into."""
    tree, data = _assemble(page, time_limit)
    return _pandoc(["-f", "json", "-t", "typst", "--wrap=preserve"], json.dumps(tree), time_limit), data


# from blocks to pandoc's tree, with the data that the template asks for by number


def _assemble(page: Page, time_limit: float) -> tuple[dict, dict]:
    everything = [*page.first, *page.blocks]
    read = _read({text for block in everything for text in _marked(block)}, time_limit)
    data = {
        **{name: getattr(page, name) for name in ("title", "subtitle", "note", "contents", "maker")},
        "equations": [], "figures": [], "listings": [], "cautions": [],
    }  # fmt: skip
    first, rest = ([node for block in part for node in _nodes(block, read, data)] for part in (page.first, page.blocks))
    nodes = [_call("#title-block"), *first, _call("#contents"), *rest, _call("#note")]
    return {"pandoc-api-version": [1, 23, 1], "meta": {}, "blocks": nodes}, _cleaned(data)


def _marked(block: Block) -> list[str]:
    """The texts of a block that are Markdown."""
    if isinstance(block, Prose):
        return [block.text]
    if isinstance(block, Caution):
        return [text for text in block.items if isinstance(text, Marked)]
    if isinstance(block, Table):
        return [text for row in (block.head, *block.rows) for text in row if isinstance(text, Marked)]
    return []


def _nodes(block: Block, read: dict, data: dict) -> list[dict]:
    if isinstance(block, Prose):
        kept = sieve.blocks(read[block.text], block.lift)
        return [_call("#lead["), *kept, _call("]")] if block.leads else kept
    if isinstance(block, Heading):
        return [{"t": "Header", "c": [block.level, sieve.NO_ATTRIBUTES, sieve.words(block.text)]}]
    if isinstance(block, Table):
        return [_table(block, read)]
    if isinstance(block, Equation):
        formula = {"t": "Para", "c": [sieve.mathematics(block.latex, display=True)]}
        entry = {"alt": block.alt or block.latex, "numbered": block.numbered}
        return _filed(data["equations"], entry, "formula", [formula])
    if isinstance(block, Figure):
        entry = {"file": _file_name(len(data["figures"]), block), "alt": block.alt, "caption": block.caption}
        return _filed(data["figures"], entry, "picture")
    if isinstance(block, Listing):
        text = sieve.wrapped(sieve.clean(block.text), sieve.LISTING_WIDTH)
        return _filed(data["listings"], {"text": text, "kind": block.kind}, "listing")
    items = [_cell(text, read) for text in block.items]
    inside = items[0] if len(items) == 1 else [{"t": "BulletList", "c": items}]
    return _filed(data["cautions"], {"title": block.title, "strong": block.strong, "leads": block.leads}, "caution", inside)


def _filed(drawer: list, entry: dict, function: str, inside: list | None = None) -> list[dict]:
    """Put an entry among the data and call the template's function with its number."""
    drawer.append(entry)
    call = f"#{function}({len(drawer) - 1})"
    return [_call(call)] if inside is None else [_call(call + "["), *inside, _call("]")]


def _call(code: str) -> dict:
    return {"t": "RawBlock", "c": ["typst", code]}


def _table(block: Table, read: dict) -> dict:
    head, *rows = [[_cell(text, read) for text in row] for row in (block.head, *block.rows)]
    return sieve.table([head], rows, [ALIGN[letter] for letter in block.align], block.widths)


def _cell(text: str, read: dict) -> list[dict]:
    if isinstance(text, Marked):
        return sieve.blocks(read[text])
    return [{"t": "Plain", "c": sieve.words(text)}]


def _cleaned(value):
    if isinstance(value, str):
        return sieve.clean(value)
    if isinstance(value, dict):
        return {key: _cleaned(item) for key, item in value.items()}
    return [_cleaned(item) for item in value] if isinstance(value, list) else value


def _replaced(value, characters: set[str]):
    """The same tree or data, each of these characters shown by its number."""
    text = json.dumps(value, ensure_ascii=False)
    return json.loads(text.translate({ord(c): sieve.code_point(ord(c)) for c in characters}))


# pictures


def _file_name(number: int, figure: Figure) -> str:
    return f"figure{number}.{_kind(figure.picture)}"


def _kind(picture: bytes) -> str:
    if picture.startswith(b"\x89PNG"):
        return "png"
    if b"<svg" in picture[:2000]:
        return "svg"
    raise ValueError("a figure must be SVG or PNG: nothing else can be kept in a PDF for archives (PDF/A-2b)")


def pictures(page: Page) -> dict[str, bytes]:
    """The pictures of a page under the file names that its data gives them."""
    figures = [block for block in (*page.first, *page.blocks) if isinstance(block, Figure)]
    return {_file_name(number, figure): figure.picture for number, figure in enumerate(figures)}


# pandoc


def _read(texts: set[str], time_limit: float) -> dict[str, list]:
    """Each Markdown text with the blocks that pandoc finds in it, all in one run of the program."""
    if not texts:
        return {}
    texts = sorted(texts)
    mark = "end" + secrets.token_hex(16)  # a text cannot guess it, so none can pretend to end
    with tempfile.TemporaryDirectory() as folder:
        for number, text in enumerate(texts):
            Path(folder, f"{number}.md").write_text(sieve.clean(text), encoding="utf-8")
        Path(folder, "mark.md").write_text(mark + "\n", encoding="utf-8")
        names = [name for number in range(len(texts)) for name in (f"{number}.md", "mark.md")]
        found = _pandoc(["--file-scope", "-f", READER, "-t", "json", *names], "", time_limit, folder)
    try:
        nodes = json.loads(found)["blocks"]
    except RecursionError:
        raise ValueError("the text is nested too deeply to be printed") from None
    parts: list[list] = [[]]
    for node in nodes:
        if node == {"t": "Para", "c": [{"t": "Str", "c": mark}]}:
            parts.append([])
        else:
            parts[-1].append(node)
    return dict(zip(texts, parts, strict=False))


def _pandoc(arguments: list[str], text: str, time_limit: float, folder: str | None = None) -> str:
    home = Path(find_spec("pypandoc").origin).parent / "files"  # importing it would search the whole path for others
    program = shutil.which("pandoc", path=str(home))
    if program is None:
        raise RuntimeError("pandoc is missing: install the package pypandoc_binary")
    done = _started([program, "--sandbox", "+RTS", "-M1G", "-RTS", *arguments], text, time_limit, folder)
    if done.returncode:
        raise ValueError(f"the text cannot be read for printing: {done.stderr.strip()[:300]}")
    if done.stderr.strip():  # a formula that pandoc cannot turn into type would stand there as source
        raise ValueError(f"a formula cannot be printed: {_formula_in(done.stderr)}")
    return done.stdout


def _formula_in(warning: str) -> str:
    found = re.search(r"Could not convert TeX math (.*?), rendering as TeX", warning, re.DOTALL)
    return found[1].strip() if found else warning.strip()[:300]


# typst


def fill(folder: str | Path, body: str, pictures: dict[str, bytes]) -> None:
    """Put into a folder all that typst may read: the template, the page and its pictures."""
    template = files("boostkit").joinpath("data/handout.typ").read_bytes()
    for name, content in {"handout.typ": template, "page.typ": (HEAD + body).encode(), **pictures}.items():
        Path(folder, name).write_bytes(content)


def _typst(body: str, data: dict, pictures: dict[str, bytes], time_limit: float) -> subprocess.CompletedProcess:
    with tempfile.TemporaryDirectory() as folder:
        fill(folder, body, pictures)
        job = {"data": json.dumps(data, ensure_ascii=False), "made": int(os.environ.get("SOURCE_DATE_EPOCH", MADE))}
        return _started([sys.executable, "-P", "-c", COMPILE], json.dumps(job), time_limit, folder, text_out=False)


def _started(command: list[str], text: str, time_limit: float, folder: str | None, text_out: bool = True):
    try:
        done = subprocess.run(command, input=text.encode(), capture_output=True, timeout=time_limit, cwd=folder)
    except subprocess.TimeoutExpired:
        raise ValueError(f"the text took longer than {time_limit:g} s to be turned into type") from None
    done.stderr = done.stderr.decode(errors="replace")
    if text_out:
        done.stdout = done.stdout.decode()
    return done


def _checked(done: subprocess.CompletedProcess) -> bytes:
    if done.returncode or done.stderr.strip():
        raise ValueError(f"the page cannot be set: {_complaint(done.stderr)}")
    return done.stdout


def _complaint(text: str) -> str:
    """What typst says and the line it says it of, in one line."""
    what = re.search(r"(?:error|warning): (.*)", text)
    where = re.search(r"^ *\d+ │ (.*)$", text, re.MULTILINE)
    if not what:
        return text.strip()[-300:] or "the typesetter stopped"
    return what[1].strip() + (f", at {where[1].strip()[:120]}" if where else "")

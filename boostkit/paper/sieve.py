"""An allow-list over what a Markdown reader found: text, formulas, lists, tables and web links pass; nothing else does.

The tree is pandoc's JSON: nodes `{"t": kind, "c": content}`. A node that is not named here is dropped or shown as the
plain text in it. Identifiers, classes and attributes never pass: a later writer would copy some of them into source.
"""

from __future__ import annotations

import re
import textwrap
import unicodedata

NO_ATTRIBUTES = ["", [], []]
DEPTH = 24  # levels of nesting; beyond it only the plain text is kept
# What fits across a page, as the template sets it: text width; for a table, size of type and space beside cells (pt).
TEXT_WIDTH = 453
FEW_COLUMNS = 8
TYPE = {"few": (9.5, 10), "many": (7.5, 5)}
LETTER = 0.52  # em, a letter of the text face on the wide side of the average
CODE_WIDTH = 88  # characters of the fixed-width letters that fit the page
LISTING_WIDTH = 114  # the same of code and printed lines, which the template sets smaller where it must
LONG_WORD = 36  # characters; a longer word may be broken, so that it cannot run off the page
LINK = re.compile(r"(https?://|mailto:)[A-Za-z0-9@:/?#\[\]!$&'()*+,;=._~%-]+")
# TeX that fetches, defines, colours or labels: not mathematics, so it is shown as the source it is.
NOT_MATHEMATICS = re.compile(
    r"\\(input|include\w*|def|[egx]def|let|newcommand|renewcommand|providecommand|newenvironment|catcode|csname|write\w*|read|open\w+|"
    r"special|immediate|tag\*?|label|ref|eqref|cite|href|url|color|textcolor|require|usepackage|begingroup|expandafter)(?![A-Za-z])|(?<!\\)#"
)

KEPT_INLINES = {"Emph", "Strong", "Strikeout", "Superscript", "Subscript"}
PLAIN_INLINES = {"Space", "SoftBreak", "LineBreak"}


def clean(text: str) -> str:
    """Text without characters that print nothing or that turn the line round; each is shown by its number instead."""
    return "".join(_shown(c) for c in text.replace("\r\n", "\n").replace("\r", "\n"))


def _shown(character: str) -> str:
    kind = unicodedata.category(character)
    if kind in ("Cf", "Co", "Cs") or (kind == "Cc" and character not in "\n\t"):
        return code_point(ord(character))
    return character


def code_point(number: int) -> str:
    """How a character that cannot be printed is shown: ⟨U+4E2D⟩."""
    return f"⟨U+{number:04X}⟩"


def wrapped(text: str, width: int = CODE_WIDTH) -> str:
    """Fixed-width text with long lines broken; a line that goes on begins with an arrow."""
    lines = (part for line in text.expandtabs(4).split("\n") for part in _broken(line.rstrip(), width))
    return "\n".join(lines)


def _broken(line: str, width: int) -> list[str]:
    if len(line) <= width:
        return [line]
    indent = min(len(line) - len(line.lstrip()), width // 2)
    goes_on = " " * indent + "↪ "
    return textwrap.wrap(line, width, subsequent_indent=goes_on, break_on_hyphens=False)


def words(text: str) -> list[dict]:
    """Plain text as inline nodes."""
    return [{"t": "Str", "c": breakable(clean(text))}] if text else []


def breakable(text: str) -> str:
    """Text with places to break (zero-width spaces) inside words too long for a line."""
    return re.sub(rf"\S{{{LONG_WORD},}}", lambda m: "\u200b".join(textwrap.wrap(m.group(), LONG_WORD // 2)), text)


def plain(node) -> str:
    """All the text in a node or a list of nodes."""
    found, todo = [], [node]
    while todo:
        item = todo.pop()
        if isinstance(item, list):
            todo += reversed(item)
        elif isinstance(item, dict):
            kind, content = item.get("t"), item.get("c")
            if kind in ("Space", "SoftBreak", "LineBreak"):
                found.append(" ")
            elif kind == "Str":
                found.append(content)
            elif kind in ("Code", "Math", "CodeBlock"):
                found.append(content[1])
            elif content is not None:
                todo.append(content)
    return "".join(found)


def blocks(nodes: list, lift: int = 0, depth: int = 0) -> list[dict]:
    """The blocks that may be printed. `lift`: by how many levels headings move up."""
    if depth > DEPTH:
        return [{"t": "Para", "c": words(plain(nodes))}]
    return [kept for node in nodes for kept in _block(node, lift, depth)]


def _block(node: dict, lift: int, depth: int) -> list[dict]:
    kind, content = node["t"], node.get("c")
    inside = lambda nodes: blocks(nodes, lift, depth + 1)  # noqa: E731
    if kind in ("Plain", "Para"):
        return [{"t": kind, "c": inlines(content, depth + 1)}]
    if kind == "Header":
        level = min(6, max(1, content[0] - lift))
        return [{"t": "Header", "c": [level, NO_ATTRIBUTES, inlines(content[2], depth + 1)]}]
    if kind == "CodeBlock":
        return [{"t": "CodeBlock", "c": [NO_ATTRIBUTES, wrapped(clean(content[1]), max(30, CODE_WIDTH - 4 * depth))]}]
    if kind == "HorizontalRule":
        return [{"t": kind}]
    if kind == "BlockQuote":
        return [{"t": kind, "c": inside(content)}]
    if kind == "BulletList":
        return [{"t": kind, "c": [inside(item) for item in content]}]
    if kind == "OrderedList":
        numbers = [content[0][0], {"t": "Decimal"}, {"t": "Period"}]
        return [{"t": kind, "c": [numbers, [inside(item) for item in content[1]]]}]
    if kind == "Table":
        return _table(content, depth)
    if kind == "LineBlock":
        return [{"t": "LineBlock", "c": [inlines(line, depth + 1) for line in content]}]
    if kind == "RawBlock":
        return []
    text = plain(content)
    return [{"t": "Para", "c": words(text)}] if text else []


def _table(content: list, depth: int) -> list[dict]:
    _, _, columns, head, bodies, foot = content
    rows = [*head[1], *(row for body in bodies for row in body[2] + body[3]), *foot[1]]
    cells = [[blocks(cell[4], depth=depth + 1) for cell in row[1]] for row in rows]
    align = ["AlignLeft" if column[0]["t"] == "AlignDefault" else column[0]["t"] for column in columns]
    above = len(head[1])
    no_head = not any(plain(cell) for row in cells[:above] for cell in row)  # the empty head that Markdown asks for
    return [table([] if no_head else cells[:above], cells[above:], align)]


def table(head: list, rows: list, align: list[str], widths: tuple[float, ...] = ()) -> dict:
    """A table node from rows of cells, each cell a list of blocks; lines of text where it cannot fit the page."""
    if not _fits([*head, *rows]):
        text = "\n".join(" | ".join(plain(cell) for cell in row) for row in (*head, *rows)).replace("\u200b", "")
        return {"t": "CodeBlock", "c": [NO_ATTRIBUTES, wrapped(text)]}
    widths = [{"t": "ColWidth", "c": w} for w in widths] or [{"t": "ColWidthDefault"}] * len(align)
    columns = [[{"t": name}, width] for name, width in zip(align, widths, strict=True)]
    drawn = lambda row: [NO_ATTRIBUTES, [[NO_ATTRIBUTES, {"t": "AlignDefault"}, 1, 1, cell] for cell in row]]  # noqa: E731
    head = [NO_ATTRIBUTES, [drawn([_bold(cell) for cell in row]) for row in head]]
    body = [NO_ATTRIBUTES, 0, [], [drawn(row) for row in rows]]
    return {"t": "Table", "c": [NO_ATTRIBUTES, [None, []], columns, head, [body], [NO_ATTRIBUTES, []]]}


def _fits(rows: list) -> bool:
    """Whether the longest words of all columns stand side by side on a page."""
    columns = list(zip(*rows, strict=True))
    size, beside = TYPE["few" if len(columns) <= FEW_COLUMNS else "many"]
    longest = (max(len(word) for cell in column for word in re.split(r"[\s\u200b]", plain(cell))) for column in columns)
    return sum(longest) * LETTER * size + beside * len(columns) <= TEXT_WIDTH


def _bold(cell: list[dict]) -> list[dict]:
    strong = lambda content: [{"t": "Strong", "c": content}] if content else []  # noqa: E731
    return [{"t": b["t"], "c": strong(b["c"])} if b["t"] in ("Plain", "Para") else b for b in cell]


def inlines(nodes: list, depth: int = 0) -> list[dict]:
    """The inline nodes that may be printed."""
    if depth > DEPTH:
        return words(plain(nodes))
    return [kept for node in nodes for kept in _inline(node, depth)]


def _inline(node: dict, depth: int) -> list[dict]:
    kind, content = node["t"], node.get("c")
    inside = lambda nodes: inlines(nodes, depth + 1)  # noqa: E731
    if kind == "Str":
        return words(content)
    if kind in PLAIN_INLINES:
        return [{"t": kind}]
    if kind in KEPT_INLINES:
        return [{"t": kind, "c": inside(content)}]
    if kind == "Quoted":
        return [{"t": kind, "c": [{"t": content[0]["t"]}, inside(content[1])]}]
    if kind == "Code":
        return [code(content[1])]
    if kind == "Math":
        return [mathematics(content[1], content[0]["t"] == "DisplayMath")]
    if kind == "Link":
        return _link(inside(content[1]), content[2][0])
    if kind == "Image":
        return [*words("[picture: "), *inside(content[1]), *words("]")]
    if kind == "Note":
        return [{"t": kind, "c": blocks(content, depth=depth + 1)}]
    if kind in ("Span", "SmallCaps", "Underline", "Cite"):
        return inside(content if kind in ("SmallCaps", "Underline") else content[1])
    return []


def _link(text: list, target: str) -> list[dict]:
    if not LINK.fullmatch(target):
        return text
    return [{"t": "Link", "c": [NO_ATTRIBUTES, text or words(target), [target, ""]]}]


def code(text: str) -> dict:
    """Text in fixed-width letters, in a line."""
    return {"t": "Code", "c": [NO_ATTRIBUTES, breakable(clean(text))]}


def mathematics(latex: str, display: bool = False) -> dict:
    """A formula; where the TeX is more than mathematics, its source in fixed-width letters."""
    if NOT_MATHEMATICS.search(latex):
        return code(latex)
    return {"t": "Math", "c": [{"t": "DisplayMath" if display else "InlineMath"}, clean(latex)]}

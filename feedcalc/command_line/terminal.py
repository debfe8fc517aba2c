"""Set the Markdown of a sheet in the width of a terminal, with colour on a screen and as plain Markdown in a pipe.

Nothing is cut off: lines are folded between words, and a table that is too wide becomes a list, a row to each item.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
import unicodedata
from collections.abc import Sequence
from itertools import zip_longest

USUAL_WIDTH, LEAST_WIDTH, MOST_WIDTH = 80, 24, 100
_BOLD, _RED, _END = "\x1b[1m", "\x1b[1;31m", "\x1b[0m"
_ITEM = re.compile(r"( *)(- !\u00a0|!\u00a0|- |\d+\. |)(.*)")


def print_width() -> int:
    """Return how many columns a line may take: those of the terminal or ``COLUMNS``, else 80."""
    columns = shutil.get_terminal_size((USUAL_WIDTH, 24)).columns
    is_told = sys.stdout.isatty() or os.environ.get("COLUMNS", "").isdigit()
    return max(min(columns, MOST_WIDTH) if is_told else USUAL_WIDTH, LEAST_WIDTH)


def set_markdown(text: str, width: int, is_screen: bool) -> str:
    """Return Markdown folded to ``width`` columns; on a screen marks of Markdown become bold type and red.

    >>> print(set_markdown("1. **Stir** for about five minutes.", 24, False))
    1. **Stir** for about
       five minutes.
    """
    text = text.replace("**!** ", "!\u00a0")
    lines: list[str] = []
    table: list[list[str]] = []
    for line in [*text.splitlines(), ""]:
        if line.startswith("|"):
            table.append(_cells(line))
            continue
        if table:
            lines += _set_table(table, width)
            table = []
        lines += _folded(line, width)
    found = "\n".join(lines).rstrip() + "\n"
    return _on_screen(found) if is_screen else found


def text_width(text: str) -> int:
    """Return the columns that a text takes: marks above and below letters take none, wide letters two."""
    return len(text) if text.isascii() else sum(map(_columns, text))


def _columns(letter: str) -> int:
    if unicodedata.category(letter) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(letter) in "WF" else 1


def _folded(line: str, width: int) -> list[str]:
    """Return a paragraph or an item of a list in lines, the later ones below the words of the first."""
    if re.match(r" {6}\S", line) or line.startswith("#") or not line.strip():
        return [line.rstrip()]
    found = _ITEM.fullmatch(line)
    assert found is not None
    mark = found[2].removeprefix("- ") if "!" in found[2] else found[2]
    indent = found[1] + " " * len(mark)
    lines, row = [], found[1] + mark
    is_first = True
    for word in found[3].split(" "):
        if not word:
            continue
        joined = row + word if is_first else f"{row} {word}"
        if is_first or text_width(joined) <= width:
            row, is_first = joined, False
        else:
            lines.append(row)
            row = indent + word
    return [*lines, row]


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in re.split(r"(?<!\\)\|", line.strip())[1:-1]]


def _set_table(rows: Sequence[Sequence[str]], width: int) -> list[str]:
    """Return a table with even columns, folded within its cells where it is too wide, else as a list of its rows."""
    head, *body = [row for row in rows if not all(re.fullmatch(r"-+", cell) for cell in row)]
    columns = list(zip(head, *body, strict=True))
    widths = [max(map(text_width, column)) for column in columns]
    least = [max(text_width(word) for cell in column for word in ("", *cell.split(" "))) for column in columns]
    room = width - 3 * len(widths) - 1
    if sum(widths) <= room:
        rule = ["-" * column for column in widths]
        return [_table_line(row, widths) for row in (head, rule, *body)]
    if sum(least) > room or len(widths) > 2 * len(body) + 2:
        return [line for row in body for line in _folded(f"- {_card(head, row)}", width)]
    while sum(widths) > room:  # the column with the most to spare gives way
        place = max(range(len(widths)), key=lambda at: widths[at] - least[at])
        widths[place] -= 1
    rule = ["-" * column for column in widths]
    return [line for row in (head, rule, *body) for line in _folded_row(row, widths)]


def _folded_row(row: Sequence[str], widths: Sequence[int]) -> list[str]:
    cells = [_folded(cell, width) if cell else [""] for cell, width in zip(row, widths, strict=True)]
    cells = [[" ".join(lines)] if lines[0].startswith("-") else lines for lines in cells]
    return [_table_line(line, widths) for line in zip_longest(*cells, fillvalue="")]


def _table_line(row: Sequence[str], widths: Sequence[int]) -> str:
    padded = (cell + " " * (width - text_width(cell)) for cell, width in zip(row, widths, strict=True))
    return f"| {' | '.join(padded)} |"


def _card(head: Sequence[str], row: Sequence[str]) -> str:
    title, *cells = row
    told = (f"{name} {cell}" for name, cell in zip(head[1:], cells, strict=True) if cell)
    name = f"{head[0]} {title}".strip()
    return f"**{name}**: {'; '.join(told)}"


def _on_screen(text: str) -> str:
    text = text.replace("!\u00a0", f"{_RED}!{_END} ")
    text = re.sub(r"^#+ (.*)$", rf"{_BOLD}\1{_END}", text, flags=re.MULTILINE)
    text = re.sub(r"\*\*(.+?)\*\*", rf"{_BOLD}\1{_END}", text, flags=re.DOTALL)
    return re.sub(r"\\([\\`*_{}\[\]<>#|])", r"\1", text.replace("`", ""))

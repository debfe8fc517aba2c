"""Parts of the text of a Python function without loops over its numbers: names, sums, and the function around them."""

from __future__ import annotations

from collections.abc import Iterable


def weighted_sum(terms: Iterable[tuple[float, str]]) -> str:
    """Return a weighted sum.

    >>> weighted_sum([(-1.0, "a"), (2.0, "b"), (1.0, "c")])
    '-a + 2.0 * b + c'
    """
    text = " ".join(term(weight, name) for weight, name in terms)
    return text[2:] if text.startswith("+") else text.replace("- ", "-", 1) or "0.0"


def term(weight: float, name: str) -> str:
    """Return a term of a sum behind its sign; nothing if its weight is zero.

    >>> term(2.0, "a"), term(-1.0, "a"), term(0.0, "a")
    ('+ 2.0 * a', '- a', '')
    """
    sign = "+" if weight > 0.0 else "-"
    return f"{sign} {name}" if abs(weight) == 1.0 else f"{sign} {abs(weight)!r} * {name}" if weight else ""


def unpacked(letter: str, count: int, given: str) -> list[str]:
    """Return the line that names the members of a sequence, if it has any."""
    return [f"{numbered(letter, count)} = {given}"] if count else []


def extreme(function: str, letter: str, count: int) -> str:
    """Return the call of max or min for some names; of a single one, the name."""
    return f"{function}({numbered(letter, count)})" if count > 1 else f"{letter}0"


def numbered(letter: str, count: int) -> str:
    """Return some names in a row.

    >>> numbered("x", 2)
    'x0, x1, '
    """
    return "".join(f"{letter}{k}, " for k in range(count))  # a comma after a single name too


def function_text(arguments: str, *lines: str) -> str:
    """Return the text of the function with these lines; `feedcalc.chemistry.machine_code` makes a function of it."""
    return "\n    ".join([f"def written_out({arguments}):", *lines]) + "\n"

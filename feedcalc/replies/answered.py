"""An answered request before it is written, and what the replies to several asks share."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Protocol

from feedcalc import published
from feedcalc.contract.cautions import Caution
from feedcalc.contract.fields import REQUEST_FIELDS
from feedcalc.contract.reply import Reply
from feedcalc.contract.request import Request
from feedcalc.frozen import frozen
from feedcalc.words.messages import said, said_in

# What each field of a request is, in words.
MEANINGS = {field.path: field.meaning for field in REQUEST_FIELDS} | {
    "cans": said_in("what is accepted", "the cans"),
    "dilution": said("liquor to water"),
    "customs": said("what a cup is"),
    "dose": said("to a plant"),
    "rate": said("on the ground"),
    "settled": said("how it is poured"),
}


def _no_html(language: str, names: Sequence[str]) -> Mapping[str, str]:
    return {}


def _no_markdown(language: str, part: str) -> str:
    return ""


@frozen
class Answered:
    """A reply without its HTML, and functions that write its sheet.

    ``html`` takes a language and the names of parts that are wanted, and returns the HTML of each part by its name;
    ``markdown`` takes a language and the name of one part.
    """

    reply: Reply
    html: Callable[[str, Sequence[str]], Mapping[str, str]] = _no_html
    markdown: Callable[[str, str], str] = _no_markdown


# Is told an earlier answer on the way, and whether it has ranges.
Tell = Callable[[Answered, bool], None]


def read_as(request: Request) -> dict[str, str]:
    """Return how what was typed was read, by path, where that could be read in another way."""
    amounts = {path: quantity.echo for path, quantity in request.readings.items() if quantity.echo}
    return {**amounts, **request.echoes}


class GroundAnswer(Protocol):
    """What the answers about ground have in common."""

    @property
    def values(self) -> Mapping[str, Any]: ...
    @property
    def assumed(self) -> Mapping[str, str]: ...
    @property
    def cautions(self) -> Sequence[Caution]: ...


def ground_reply(answer: GroundAnswer, read: Mapping[str, str], tables: Sequence[str]) -> Reply:
    """Return the reply to an ask about ground, with the sources behind the ``tables``."""
    return Reply(
        values=answer.values,
        assumed=answer.assumed,
        read_as=read,
        cautions=[asdict(caution) for caution in answer.cautions],
        sources=published.sources_behind(tables),
    )

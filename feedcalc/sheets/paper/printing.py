"""From a request to what is printed of it: labels for bottles, the sheet for the wall.

Rules of this room:

* The page and the command line get the same drawings from here and lay nothing out of their own.
* Every word is spoken in the request's language before it is set, because what is set has been measured.
* A request for print is a batch's request with ``"ask": "label"`` or ``"wall"``; ``label`` and ``wall`` hold what is
  wished of the paper. A file of batches may stand in the place of one batch, under ``batches``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from feedcalc.contract.quantities import write_quantity
from feedcalc.sheets.batch import Sheet
from feedcalc.sheets.paper.label import NamedRequest, batch_link, batches_in, label_of, printable
from feedcalc.sheets.paper.layout import OPTIONAL, Paper
from feedcalc.sheets.paper.pages import pages_of, wish_of
from feedcalc.sheets.paper.wall import wall_paper_of, wall_sheet_of
from feedcalc.sheets.render import label_page_svg, label_text, pages_html, wall_svg, wall_text
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import LANGUAGES, USUAL_LOCALE, language
from feedcalc.words.messages import said

PRINTS = ("label", "wall")
WALL_FIELDS = ("size", "name")
SheetOf = Callable[[str], Sheet]


@dataclass(frozen=True, slots=True)
class Printed:
    """Something set on paper: every page's width and height in mm with its SVG, the same as plain text.

    ``told`` are sentences about it, such as what found no room; ``text_size`` is the smallest text in mm.
    """

    title: str
    language: str
    locale: str
    pages: tuple[tuple[float, float, str], ...]
    text: str
    text_size: float
    told: tuple[str, ...]

    @property
    def html(self) -> str:
        """Every page, each printed on paper of its own size."""
        sizes = [(width, height) for width, height, _ in self.pages]
        return pages_html([svg for _, _, svg in self.pages], sizes, self.title, self.language)

    @property
    def values(self) -> dict[str, Any]:
        """Its measures as figures of the contract."""
        width, height, _ = self.pages[0]
        return {
            "pages": _figure(len(self.pages), "1"),
            "width": _figure(width, "mm"),
            "height": _figure(height, "mm"),
            "text_size": _figure(self.text_size, "mm"),
        }


def printed(document: Mapping[str, Any], sheet_of_request: SheetOf) -> Printed:
    """What ``document`` asks to be printed. ``sheet_of_request`` works out the sheet of one batch's request.

    Raises `InputErrors`.
    """
    asked = document.get("ask")
    batch_fields = {name: value for name, value in document.items() if name not in ("ask", "batches", *PRINTS)}
    held = document.get("batches")
    batches = batches_in(held if held is not None else batch_fields)
    tongue = str(document.get("language") or "en").strip().casefold()
    if tongue not in LANGUAGES:
        refused = InputError("language", tongue, said("This is not one of the choices."), ", ".join(LANGUAGES))
        raise InputErrors([refused])
    locale = str(document.get("locale") or USUAL_LOCALE[tongue])
    try:
        if asked not in PRINTS:
            raise InputError("ask", asked, said("This is not something that is printed."), ", ".join(PRINTS))
        make = {"label": _labels, "wall": _walls}[asked]
        return make(batches, document.get(asked) or {}, tongue, locale, sheet_of_request)
    except InputError as error:
        raise InputErrors([error]) from None


def _labels(
    batches: tuple[NamedRequest, ...], wished: object, tongue: str, locale: str, sheet_of_request: SheetOf
) -> Printed:
    wish = wish_of(wished, locale)
    speak = language(tongue).speak
    labels = []
    texts = []
    for batch in batches:
        label = label_of(sheet_of_request(batch.request), wish.name or batch.name, tongue)
        link = batch_link(wish.address, _without_language(batch.request)) if wish.address.strip() else ""
        labels.append((label, link))
        texts.append(label_text(label, link, tongue))
    pages = pages_of(labels, wish, speak)
    papers = [paper for page in pages for _, _, paper in page.placed]
    left_out = {name for paper in papers for name in paper.left_out}
    return Printed(
        papers[0].title,
        tongue,
        locale,
        tuple((page.width, page.height, label_page_svg(page, tongue)) for page in pages),
        "\n\n\n".join(texts),
        min(paper.text_size for paper in papers),
        tuple(
            speak(sentence) for sentence in (*_suits(papers, locale), *(OPTIONAL[n] for n in OPTIONAL if n in left_out))
        ),
    )


def _without_language(request: str) -> str:
    """A request as it goes into a link: whoever opens it reads their own language, but numbers as they were typed."""
    fields = json.loads(request)
    tongue = fields.pop("language", None)
    if isinstance(tongue, str) and tongue in USUAL_LOCALE:
        fields.setdefault("locale", USUAL_LOCALE[tongue])
    return json.dumps(fields)


def _walls(
    batches: tuple[NamedRequest, ...], wished: object, tongue: str, locale: str, sheet_of_request: SheetOf
) -> Printed:
    speak = language(tongue).speak
    wish = _wall_wish(wished)
    walls = [wall_sheet_of(sheet_of_request(batch.request), wish["name"] or batch.name, tongue) for batch in batches]
    papers = [wall_paper_of(wall, wish["size"] or "A4", speak) for wall in walls]
    told = (
        said("Cautions that need not stand there were left out for want of room: {count}.", count=n)
        for n in [max(len(paper.left_out) for paper in papers)]
        if n
    )
    return Printed(
        papers[0].title,
        tongue,
        locale,
        tuple((paper.width, paper.height, wall_svg(paper, tongue)) for paper in papers),
        "\n\n\n".join(wall_text(wall, tongue) for wall in walls),
        min(paper.text_size for paper in papers),
        tuple(map(speak, told)),
    )


def _wall_wish(wished: object) -> dict[str, str]:
    """The group ``wall`` of a request: size of the paper and name of the batch. Raises `InputErrors`."""
    if not isinstance(wished, Mapping):
        raise InputErrors([InputError("wall", wished, said("This is not a group of fields."), '{"size": "A4"}')])
    errors = [
        InputError(f"wall.{printable(str(name))[:40]}", printable(str(value))[:60], problem, accepted)
        for name, value in wished.items()
        for problem, accepted in (
            [(said("There is no such field."), ", ".join(WALL_FIELDS))]
            if name not in WALL_FIELDS
            else [(said("This is not text."), said("text in quotation marks"))]
            if not isinstance(value, str)
            else []
        )
    ]
    if errors:
        raise InputErrors(errors)
    return {name: wished.get(name, "") for name in WALL_FIELDS}


def _suits(papers: list[Paper], locale: str) -> tuple[str, ...]:
    litres = min(paper.suits_litres for paper in papers)
    if not litres:
        return ()
    volume = write_quantity(litres, "L", 3, locale, trim=True)
    return (said("Letters and symbol are large enough for bottles up to {volume}.", volume=volume),)


def _figure(value: float, unit: str) -> dict[str, Any]:
    return {"value": value, "unit": unit, "low": value, "high": value}

"""Print what a request asks for: labels for bottles or the wall sheet.

* A request for print is that of a batch with ``"ask": "label"`` or ``"wall"``. The group of the same name holds the
  options (see `options`). A file of batches may take the place of the one batch, under ``batches``.
* Page and command line both get their drawings here.
* Each text is translated into the request's language before it is laid out, because the layout measures it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import markupsafe

from feedcalc.contract.asks import ASKS
from feedcalc.contract.quantities import write_quantity
from feedcalc.frozen import frozen
from feedcalc.sheets.batch import Sheet
from feedcalc.sheets.paper.label import (
    LONGEST_BATCH_NAME,
    NOT_FOR_FOOD,
    Label,
    NamedRequest,
    batch_link,
    batches_in,
    label_of,
    printable,
)
from feedcalc.sheets.paper.layout import OPTIONAL, Paper
from feedcalc.sheets.paper.options import label_options, wall_options
from feedcalc.sheets.paper.pages import PrintedPage, pages_of
from feedcalc.sheets.paper.wall import WallSheet, wall_sheet_of
from feedcalc.sheets.paper.wall_layout import WallPaper, wall_pages_of
from feedcalc.sheets.render import render, render_text
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import LANGUAGES, USUAL_LOCALE, language
from feedcalc.words.messages import any_of, said

PRINTS = tuple(ask.name for ask in ASKS.values() if ask.is_printed)
_SHORTENED = said("A name was longer than {most} characters and was shortened.", most=LONGEST_BATCH_NAME)
SheetOf = Callable[[str], Sheet]


@frozen
class Printed:
    """Printed pages, each with width and height in mm and its SVG, and the same as plain text.

    ``told`` are sentences about the print, such as what was left out; ``text_size`` is the smallest text in mm.
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
        """Return an HTML document with every page on paper of its own size."""
        sizes = [(width, height) for width, height, _ in self.pages]
        return pages_html([svg for _, _, svg in self.pages], sizes, self.title, self.language)

    @property
    def values(self) -> dict[str, Any]:
        """Return the measures of the print as figures of the contract."""
        width, height, _ = self.pages[0]
        return {
            "pages": _figure(len(self.pages), "1"),
            "width": _figure(width, "mm"),
            "height": _figure(height, "mm"),
            "text_size": _figure(self.text_size, "mm"),
        }


def printed(document: Mapping[str, Any], sheet_of_request: SheetOf) -> Printed:
    """Return what ``document`` asks for; ``sheet_of_request`` calculates the sheet of a batch from its request.

    Raises `InputErrors`.
    """
    asked = document.get("ask")
    batch_fields = {name: value for name, value in document.items() if name not in ("ask", "batches", *PRINTS)}
    held = document.get("batches")
    batches = batches_in(held if held is not None else batch_fields)
    tag = str(document.get("language") or "en").strip().casefold()
    if tag not in LANGUAGES:
        refused = InputError("language", tag, said("This is not one of the choices."), any_of(LANGUAGES))
        raise InputErrors([refused])
    locale = str(document.get("locale") or USUAL_LOCALE[tag])
    try:
        if asked not in PRINTS:
            raise InputError("ask", asked, said("This is not something that is printed."), any_of(PRINTS))
        make = {"label": _labels, "wall": _walls}[asked]
        return make(
            batches=batches, group=document.get(asked) or {}, tag=tag, locale=locale, sheet_of_request=sheet_of_request
        )
    except InputError as error:
        raise InputErrors([error]) from None


def _labels(
    batches: tuple[NamedRequest, ...], group: object, tag: str, locale: str, sheet_of_request: SheetOf
) -> Printed:
    options = label_options(group, locale)
    speak = language(tag).speak
    labels = []
    for batch in batches:
        label = label_of(sheet_of_request(batch.request), options.name or batch.name, tag, is_of_can=options.is_of_can)
        has_address = bool(options.address.strip())
        labels.append((label, batch_link(options.address, _without_language(batch.request)) if has_address else ""))
    pages = pages_of(labels, options, speak)
    papers = [paper for page in pages for _, _, paper in page.placed]
    left_out = {name for paper in papers for name in paper.left_out}
    omitted = [OPTIONAL[name] for name in OPTIONAL if name in left_out]
    names = [options.name] if options.name else [batch.name for batch in batches]
    shortened = (_SHORTENED,) if any(len(printable(name)) > LONGEST_BATCH_NAME for name in names) else ()
    return Printed(
        title=papers[0].title,
        language=tag,
        locale=locale,
        pages=tuple((page.width, page.height, label_page_svg(page, tag)) for page in pages),
        text="\n\n\n".join(label_text(label, link, tag) for label, link in labels),
        text_size=min(paper.text_size for paper in papers),
        told=tuple(map(speak, (*_suits(papers, locale), *shortened, *omitted))),
    )


def _without_language(request: str) -> str:
    """Return a request for a link: without a language, so that each reader sees their own, but with its locale.

    The locale decides how the numbers in it are read.
    """
    fields = json.loads(request)
    tag = fields.pop("language", None)
    if isinstance(tag, str) and tag in USUAL_LOCALE:
        fields.setdefault("locale", USUAL_LOCALE[tag])
    return json.dumps(fields)


def _walls(
    batches: tuple[NamedRequest, ...], group: object, tag: str, locale: str, sheet_of_request: SheetOf
) -> Printed:
    options = wall_options(group)
    speak = language(tag).speak
    walls = [wall_sheet_of(sheet_of_request(batch.request), options.name or batch.name, tag) for batch in batches]
    papers = [paper for wall in walls for paper in wall_pages_of(wall, options.size, speak)]
    cautions, steps = max(len(paper.left_out) for paper in papers), max(paper.steps_left for paper in papers)
    told = []
    if steps:
        told.append(said("There was too little room, so these steps are on a second page: {count}.", count=steps))
    if cautions:
        told.append(said("There was too little room, so these cautions are on a second page: {count}.", count=cautions))
    return Printed(
        title=papers[0].title,
        language=tag,
        locale=locale,
        pages=tuple((paper.width, paper.height, wall_svg(paper, tag)) for paper in papers),
        text="\n\n\n".join(wall_text(wall, tag) for wall in walls),
        text_size=min(paper.text_size for paper in papers),
        told=tuple(map(speak, told)),
    )


def _suits(papers: Sequence[Paper], locale: str) -> tuple[str, ...]:
    """Return a sentence about the largest bottle for which the print is large enough, if there is one."""
    litres = min(paper.suits_litres for paper in papers)
    if not litres:
        return ()
    volume = write_quantity(litres, "L", 3, locale, trim=True)
    return (said("Letters and symbol are large enough for bottles up to {volume}.", volume=volume),)


def _figure(value: float, unit: str) -> dict[str, Any]:
    return {"value": value, "unit": unit, "low": value, "high": value}


def label_page_svg(page: PrintedPage, language: str = "en") -> str:
    """Return a page of labels as an SVG image in its true size."""
    return render("label_page.svg.j2", language, page=page)


def pages_html(drawings: Sequence[str], sizes: Sequence[tuple[float, float]], title: str, tag: str) -> str:
    """Return an HTML document that prints each drawing on paper of its own size (width and height in mm)."""
    return render(
        "label_pages.html.j2",
        tag,
        pages=[{"width": width, "height": height} for width, height in sizes],
        drawings=[markupsafe.Markup(drawing) for drawing in drawings],
        title=title,
        language=tag,
        direction=language(tag).direction,
        same_size=len(set(sizes)) == 1,
    )


def label_text(label: Label, link: str, language: str = "en") -> str:
    """Return a label as plain text, to copy by hand; ``link`` opens the batch in the page."""
    return render_text("label.txt.j2", language, label=label, link=link, not_for_food=NOT_FOR_FOOD)


def wall_svg(paper: WallPaper, language: str = "en") -> str:
    """Return a wall sheet as an SVG image in its true size."""
    return render("wall.svg.j2", language, paper=paper)


def wall_text(wall: WallSheet, language: str = "en") -> str:
    """Return a wall sheet as plain text."""
    return render_text("wall.txt.j2", language, wall=wall, not_for_food=NOT_FOR_FOOD)

"""Sheets put into templates: Markdown for terminals, parts of a page for browsers. The same words at build time,
in the browser and on the command line, because it is the same templates.

Words are said in the language asked for: templates hold whole sentences as ``_('Use by {day}.', day=...)`` or in
``{% trans %}`` blocks, and every `Said` value that a template puts out is spoken on its way.

Text from people is only ever text: HTML templates escape everything, Markdown templates get it fenced by `plain`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from importlib import resources
from typing import Any

import jinja2
import markupsafe

from feedcalc import published
from feedcalc.contract.cautions import hazard_in
from feedcalc.contract.numbers import write_number
from feedcalc.garden.plants import Plant, names_of
from feedcalc.liquor.figures import TABLES_BEHIND_A_BATCH, sources_behind
from feedcalc.liquor.kept_ash import KeptAsh
from feedcalc.sheets.bars import best_remedy, doubts, range_bars, share_bar
from feedcalc.sheets.batch import Sheet, status_words
from feedcalc.sheets.drawing import (
    bucket_drawing,
    ladder_drawing,
    letter_of,
    ph_curve,
    settling_drawing,
    timeline_drawing,
)
from feedcalc.sheets.paper.label import NOT_FOR_FOOD, Label, label_of
from feedcalc.sheets.paper.pages import PrintedPage
from feedcalc.sheets.paper.wall import WallPaper, WallSheet
from feedcalc.sheets.season import SeasonSheet, timeline_words
from feedcalc.sheets.spread import SpreadSheet
from feedcalc.words.languages import MACHINE_WORDS, USUAL_LOCALE
from feedcalc.words.languages import language as language_of
from feedcalc.words.messages import Said

# The parts of a page by their name in the reply's ``html``, in reading order; `bar` is the answer in one line.
PAGE_PARTS = ("sheet", "ladder", "delivery", "label", "reactions", "trust", "bar")
MARKDOWN_PARTS = ("sheet", "settle", "ladder", "delivery", "air", "acid", "mix")


def page_parts(sheet: Sheet, language: str = "en") -> dict[str, str]:
    """The HTML of every part of the page, by name."""
    context = _context(sheet, language)
    return {name: _templates(language).get_template(f"{name}.html.j2").render(context) for name in PAGE_PARTS}


def markdown(part: str, sheet: Sheet, language: str = "en") -> str:
    """One part (see `MARKDOWN_PARTS`) as Markdown that also reads well as plain text."""
    text = _templates(language).get_template(f"{part}.md.j2").render(**_context(sheet, language))
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def spread_html(sheet: SpreadSheet, language: str = "en") -> str:
    """The spreading of dry ash as one part of a page."""
    return _templates(language).get_template("spread.html.j2").render(sheet=sheet, w=sheet.words)


def spread_markdown(sheet: SpreadSheet, language: str = "en") -> str:
    """The spreading of dry ash as Markdown that also reads well as plain text."""
    text = _templates(language).get_template("spread.md.j2").render(sheet=sheet, w=sheet.words)
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def kept_ash_html(kept: KeptAsh, language: str = "en") -> str:
    """What is known of a kept ash as one part of a page."""
    return _templates(language).get_template("kept_ash.html.j2").render(kept=kept)


def season_html(sheet: SeasonSheet, language: str = "en") -> dict[str, str]:
    """A season book as parts of a page: every bed, one bed, and what a planned entry would come to."""
    context = _season_context(sheet)
    parts = {"season": _templates(language).get_template("season.html.j2").render(context)}
    place = next((at for at, bed in enumerate(sheet.values["season"]["beds"]) if bed["id"] == sheet.bed), None)
    if place is not None:
        bed = sheet.values["season"]["beds"][place]
        own = {"bed": bed, "at": f"season.beds.{place}.", "picture": _season_picture(sheet, bed, place, language)}
        parts["season_bed"] = _templates(language).get_template("season_bed.html.j2").render(context | own)
    if sheet.values["season"]["what_if"]:
        parts["what_if"] = _templates(language).get_template("season_what_if.html.j2").render(context)
    return parts


def season_markdown(sheet: SeasonSheet, language: str = "en") -> str:
    """A season book as Markdown that also reads well as plain text: the chosen bed, or all of them."""
    text = _templates(language).get_template("season.md.j2").render(_season_context(sheet))
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def _season_context(sheet: SeasonSheet) -> dict[str, Any]:
    return {
        "sheet": sheet,
        "w": sheet.words,
        "letter": letter_of,
        "places": {bed["id"]: f"season.beds.{at}." for at, bed in enumerate(sheet.values["season"]["beds"])},
        "number": lambda value: write_number(value, 2, sheet.locale, trim=True),
    }


def _season_picture(sheet: SeasonSheet, bed: Mapping[str, Any], place: int, language: str) -> str:
    """The running totals of a bed drawn against days, empty where its area is not known."""
    steps = sheet.steps[sheet.bed]
    drawn = timeline_drawing(steps, bed["entries"], 40.0, 348.0, 20.0, 184.0)
    if drawn is None:
        return ""
    words = timeline_words(bed, sheet.words, f"season.beds.{place}.")
    picture = (
        _templates(language)
        .get_template("season_timeline.svg.j2")
        .render(_season_context(sheet) | {"t": drawn, "place": place, **words}, first=steps[0].day, last=steps[-1].day)
    )
    return markupsafe.Markup(picture)


def label_page_svg(page: PrintedPage, language: str = "en") -> str:
    """A page of labels as an SVG image of its true size."""
    return _templates(language).get_template("label_page.svg.j2").render(page=page)


def pages_html(drawings: Sequence[str], sizes: Sequence[tuple[float, float]], title: str, language: str) -> str:
    """Drawings as a page that prints each of them on paper of its own size, given in mm."""
    pages = [{"width": width, "height": height} for width, height in sizes]
    drawn = [markupsafe.Markup(drawing) for drawing in drawings]
    return (
        _templates(language)
        .get_template("label_pages.html.j2")
        .render(pages=pages, drawings=drawn, title=title, language=language, same_size=len(set(sizes)) == 1)
    )


def label_text(label: Label, link: str, language: str = "en") -> str:
    """A label as plain text, for whoever writes it by hand; ``link`` opens the batch."""
    text = _templates(language).get_template("label.txt.j2").render(label=label, link=link, not_for_food=NOT_FOR_FOOD)
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def wall_svg(paper: WallPaper, language: str = "en") -> str:
    """A sheet for the wall as an SVG image of its true size."""
    return _templates(language).get_template("wall.svg.j2").render(paper=paper)


def wall_text(wall: WallSheet, language: str = "en") -> str:
    """A sheet for the wall as plain text."""
    text = _templates(language).get_template("wall.txt.j2").render(wall=wall, not_for_food=NOT_FOR_FOOD)
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def plant_list_markdown(found: Sequence[Plant], asked: str, near: Sequence[str], language: str = "en") -> str:
    """Plants with what each list says of their soil; ``near`` are names to offer where nothing was found."""
    named = [(plant, names_of(plant, language)) for plant in found]
    text = (
        _templates(language)
        .get_template("plants.md.j2")
        .render(plants=named, asked=asked, near=near, number=lambda ph: write_number(ph, 2, USUAL_LOCALE[language]))
    )
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def plain(text: str) -> str:
    """Text of a person's made harmless in Markdown: signs that would format or draw are escaped.

    >>> plain("a *b* | c")
    'a \\\\*b\\\\* \\\\| c'
    """
    return re.sub(r"([\\`*_{}\[\]<>#|])", r"\\\1", text)


def _context(sheet: Sheet, language: str) -> dict[str, Any]:
    """What every template sees: the sheet, its figures, and numbers written as the grower's country writes them."""
    # Statements of hazard are the regulation's own in each language, not a translator's.
    sheet = replace(sheet, hazard=hazard_in(sheet.hazard, language), feed_hazard=hazard_in(sheet.feed_hazard, language))
    return {
        "sheet": sheet,
        "f": sheet.figures,
        "label": label_of(sheet, language=language),
        "not_for_food": NOT_FOR_FOOD,
        "number": lambda value: write_number(value, 2, sheet.locale, trim=True),
        "centimetres": lambda metres: f"{write_number(metres * 100, 2, sheet.locale, trim=True)}\u00a0cm",
        "bars": lambda: range_bars(sheet),
        "doubts": doubts(sheet.helps),
        "best_remedy": best_remedy(sheet.helps),
        "share_bar": share_bar,
        "bucket": lambda: bucket_drawing(sheet),
        "settling": lambda *edges: settling_drawing(sheet, *edges),
        "ladder": lambda *edges: ladder_drawing(sheet, *edges),
        "curve": lambda name: ph_curve(sheet, name, 40, 340, 20, 168),
        "sources": _sources,
        "percent": lambda share: f"{write_number(share * 100, 2, sheet.locale, trim=True)}\u00a0%",
    }


@cache
def _sources() -> list[dict[str, str]]:
    return sources_behind(TABLES_BEHIND_A_BATCH)


def _cited(reasons: Iterable[Any]) -> list[tuple[str, str]]:
    """Id and citation of each source that reasons name, in their order; not of those that are told in words."""
    named = (reason["source"] if isinstance(reason, Mapping) else reason.source for reason in reasons)
    return [
        (source, published.sources()[source].citation)
        for source in dict.fromkeys(named)
        if source not in ("common_practice", "our_judgement")
    ]


@cache
def _templates(language: str = "en") -> jinja2.Environment:
    folder = resources.files("feedcalc.sheets") / "templates"
    tongue = language_of(language)

    def spoken(value: Any) -> Any:
        return tongue.speak(value) if isinstance(value, Said) else value

    def load(name: str) -> str | None:
        file = folder / name
        return file.read_text(encoding="utf-8") if file.is_file() else None

    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(load),
        autoescape=lambda name: bool(name and name.endswith((".html.j2", ".svg.j2"))),
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
        finalize=spoken,
    )
    environment.newstyle_gettext = True  # type: ignore[attr-defined]

    @jinja2.pass_eval_context
    def say(context: Any, message: str, /, **parts: Any) -> str:
        return tongue.fill(message, parts, context.autoescape)

    @jinja2.pass_eval_context
    def say_of(context: Any, one: str, many: str, count: int, /, **parts: Any) -> str:
        return tongue.fill_of(one, many, count, {"count": count, "num": count, **parts}, context.autoescape)

    environment.globals.update(_=say, gettext=say, ngettext=say_of)
    for name in ("capitalize", "lower", "replace", "upper"):
        environment.filters[name] = _of_spoken(environment.filters[name], spoken)
    if tongue.tag == "de":
        environment.filters["lower"] = spoken  # nouns keep their capital within a sentence
    joined = environment.filters["join"]

    @jinja2.pass_eval_context
    def join(context: Any, parts: Iterable[Any], between: str = "", attribute: str | int | None = None) -> str:
        if attribute is not None:
            parts = [getattr(part, str(attribute)) for part in parts]
        text: str = joined(context, [spoken(part) for part in parts], spoken(between))
        return text

    environment.filters["join"] = join
    environment.filters["spoken"] = spoken
    environment.filters["word"] = lambda word: spoken(MACHINE_WORDS.get(word, word))
    environment.filters["plain"] = lambda text: plain(spoken(text))
    environment.filters["status_words"] = status_words
    environment.filters["cited"] = _cited
    return environment


def _of_spoken(change: Callable[..., Any], spoken: Callable[[Any], Any]) -> Callable[..., Any]:
    """A filter of letters that is given text as it will be read, not as it was made."""
    takes_context = getattr(change, "jinja_pass_arg", None) is not None

    def changed(*given: Any) -> Any:
        return change(*(spoken(part) for part in given))

    return jinja2.pass_eval_context(changed) if takes_context else changed

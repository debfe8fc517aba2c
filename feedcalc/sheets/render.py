"""Render sheets with the Jinja templates: Markdown for terminals, HTML parts for the page, SVG for printing.

* Page and command line use the same templates, so they cannot differ.
* A template holds whole sentences, as ``_('Use by {day}.', day=...)`` or in ``{% trans %}`` blocks. Every `Said` value
  that a template outputs is translated into the language of the page.
* Text that people typed is never markup: HTML templates escape everything, Markdown templates escape it with `plain`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import jinja2
import markupsafe

from feedcalc import published
from feedcalc.contract.asks import PAGE_PARTS
from feedcalc.contract.cautions import has_official_statements, hazard_in
from feedcalc.contract.numbers import write_number
from feedcalc.contract.own_measures import roughly
from feedcalc.garden.plants import Plant, names_of
from feedcalc.liquor.figures import TABLES_BEHIND_A_BATCH, sources_behind
from feedcalc.liquor.kept_ash import KeptAsh
from feedcalc.sheets.advice import AdviceSheet
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
from feedcalc.sheets.paper.wall import WallSheet
from feedcalc.sheets.paper.wall_layout import WallPaper
from feedcalc.sheets.season import SeasonSheet, timeline_words
from feedcalc.sheets.share import ShareSheet
from feedcalc.sheets.spread import SpreadSheet
from feedcalc.words.languages import MACHINE_WORDS, USUAL_LOCALE, Language, as_html, date_words
from feedcalc.words.languages import language as language_of
from feedcalc.words.messages import Said, all_of, any_of, begun_with_capital

COMPILED = "compiled"
MARKDOWN_PARTS = ("short", "sheet", "settle", "ladder", "delivery", "air", "acid", "mix")


def page_parts(sheet: Sheet, language: str = "en", names: Sequence[str] = PAGE_PARTS) -> dict[str, str]:
    """Return the HTML of some of `PAGE_PARTS`, by name."""
    context = _context(sheet, language)
    if "label" in names:
        context |= {"label": label_of(sheet, language=language), "not_for_food": NOT_FOR_FOOD}
    return {name: _render(f"{name}.html.j2", language, **context) for name in names}


def markdown(part: str, sheet: Sheet, language: str = "en") -> str:
    """Return one of `MARKDOWN_PARTS` as Markdown that also reads well as plain text."""
    text = _render_text(f"{part}.md.j2", language, **_context(sheet, language))
    # The short sheet has no blank lines within its list.
    return re.sub(r"\n\n(?= +- |\d+\. )", "\n", text) if part == "short" else text


def spread_html(sheet: SpreadSheet, language: str = "en") -> str:
    """Return the advice on dry ash as HTML."""
    return _render("spread.html.j2", language, sheet=sheet, w=sheet.words)


def spread_markdown(sheet: SpreadSheet, language: str = "en") -> str:
    """Return the advice on dry ash as Markdown that also reads well as plain text."""
    return _render_text("spread.md.j2", language, sheet=sheet, w=sheet.words)


def share_html(sheet: ShareSheet, language: str = "en") -> str:
    """Return a winter's ash shared out over the beds as HTML."""
    return _render("share.html.j2", language, sheet=sheet, w=sheet.words)


def share_markdown(sheet: ShareSheet, language: str = "en") -> str:
    """Return a winter's ash shared out over the beds as Markdown that also reads well as plain text."""
    return _render_text("share.md.j2", language, sheet=sheet, w=sheet.words)


def advice_html(sheet: AdviceSheet, language: str = "en") -> str:
    """Return a judged recipe or a mishap as HTML."""
    return _render(f"{sheet.name}.html.j2", language, sheet=sheet, v=sheet.values, w=sheet.words)


def advice_markdown(sheet: AdviceSheet, language: str = "en") -> str:
    """Return a judged recipe or a mishap as Markdown that also reads well as plain text."""
    return _render_text(f"{sheet.name}.md.j2", language, sheet=sheet, v=sheet.values, w=sheet.words)


def kept_ash_html(kept: KeptAsh, language: str = "en") -> str:
    """Return what is known of a kept ash as HTML."""
    return _render("kept_ash.html.j2", language, kept=kept)


def season_html(sheet: SeasonSheet, language: str = "en") -> dict[str, str]:
    """Return the HTML parts of a season book: all beds, the chosen bed, and the effect of a planned entry."""
    context = _season_context(sheet)
    parts = {"season": _render("season.html.j2", language, **context)}
    for place, bed in enumerate(sheet.values["season"]["beds"]):
        if bed["id"] == sheet.bed:
            own = {"bed": bed, "at": f"season.beds.{place}.", "picture": _timeline(sheet, bed, place, language)}
            parts["season_bed"] = _render("season_bed.html.j2", language, **context, **own)
    if sheet.values["season"]["what_if"]:
        parts["what_if"] = _render("season_what_if.html.j2", language, **context)
    return parts


def season_markdown(sheet: SeasonSheet, language: str = "en") -> str:
    """Return the chosen bed of a season book, or all beds, as Markdown that also reads well as plain text."""
    return _render_text("season.md.j2", language, **_season_context(sheet))


def _season_context(sheet: SeasonSheet) -> dict[str, Any]:
    return {
        "sheet": sheet,
        "w": sheet.words,
        "letter": letter_of,
        "places": {bed["id"]: f"season.beds.{at}." for at, bed in enumerate(sheet.values["season"]["beds"])},
        "number": lambda value: write_number(value, 2, sheet.locale, trim=True),
    }


def _timeline(sheet: SeasonSheet, bed: Mapping[str, Any], place: int, language: str) -> str:
    """Return the timeline of a bed as SVG; empty if the bed's area is unknown."""
    steps = sheet.steps[sheet.bed]
    drawing = timeline_drawing(steps, bed["entries"], left=40.0, right=348.0, top=20.0, bottom=184.0)
    if drawing is None:
        return ""
    own = {"t": drawing, "place": place, "first": steps[0].day, "last": steps[-1].day}
    words = timeline_words(bed, sheet.words, f"season.beds.{place}.")
    return markupsafe.Markup(_render("season_timeline.svg.j2", language, **_season_context(sheet), **own, **words))


def label_page_svg(page: PrintedPage, language: str = "en") -> str:
    """Return a page of labels as an SVG image in its true size."""
    return _render("label_page.svg.j2", language, page=page)


def pages_html(drawings: Sequence[str], sizes: Sequence[tuple[float, float]], title: str, language: str) -> str:
    """Return an HTML document that prints each drawing on paper of its own size (width and height in mm)."""
    return _render(
        "label_pages.html.j2",
        language,
        pages=[{"width": width, "height": height} for width, height in sizes],
        drawings=[markupsafe.Markup(drawing) for drawing in drawings],
        title=title,
        language=language,
        direction=language_of(language).direction,
        same_size=len(set(sizes)) == 1,
    )


def label_text(label: Label, link: str, language: str = "en") -> str:
    """Return a label as plain text, to copy by hand; ``link`` opens the batch in the page."""
    return _render_text("label.txt.j2", language, label=label, link=link, not_for_food=NOT_FOR_FOOD)


def wall_svg(paper: WallPaper, language: str = "en") -> str:
    """Return a wall sheet as an SVG image in its true size."""
    return _render("wall.svg.j2", language, paper=paper)


def wall_text(wall: WallSheet, language: str = "en") -> str:
    """Return a wall sheet as plain text."""
    return _render_text("wall.txt.j2", language, wall=wall, not_for_food=NOT_FOR_FOOD)


def plant_list_markdown(found: Sequence[Plant], asked: str, near: Sequence[str], language: str = "en") -> str:
    """Return plants with what each source says of their soil; ``near`` are similar names if none was found."""
    return _render_text(
        "plants.md.j2",
        language,
        plants=[(plant, names_of(plant, language)) for plant in found],
        asked=asked,
        near=near,
        number=lambda ph: write_number(ph, 2, USUAL_LOCALE[language]),
    )


def plain(text: str) -> str:
    """Return ``text`` with the characters escaped that have a meaning in Markdown.

    >>> plain("a *b* | c")
    'a \\\\*b\\\\* \\\\| c'
    """
    return re.sub(r"([\\`*_{}\[\]<>#|])", r"\\\1", text)


def _context(sheet: Sheet, language: str) -> dict[str, Any]:
    """Return what the batch templates use: the sheet, its figures, the drawings, and functions that write numbers."""
    # The regulation prints its hazard statements in each language; they are not translated through the catalogues.
    sheet = replace(sheet, hazard=hazard_in(sheet.hazard, language), feed_hazard=hazard_in(sheet.feed_hazard, language))
    return {
        "sheet": sheet,
        "f": sheet.figures,
        "number": lambda value: write_number(value, 2, sheet.locale, trim=True),
        "centimetres": lambda metres: roughly(metres * 100, "cm", sheet.own, sheet.locale, trim=True)[0],
        "bars": lambda: range_bars(sheet),
        "doubts": doubts(sheet.helps),
        "best_remedy": best_remedy(sheet.helps),
        "share_bar": share_bar,
        "bucket": lambda: bucket_drawing(sheet),
        "settling": lambda *edges: settling_drawing(sheet, *edges),
        "ladder": lambda *edges: ladder_drawing(sheet, *edges),
        "curve": lambda name: ph_curve(sheet, name, left=40, right=340, top=20, bottom=168),
        "sources": _sources,
        "percent": lambda share: f"{write_number(share * 100, 2, sheet.locale, trim=True)}\u00a0%",
    }


# What stands in a source column where no text is the source.
_NO_TEXT = frozenset({"common_practice", "our_judgement"})


@cache
def _sources() -> list[dict[str, str]]:
    cited = sources_behind(TABLES_BEHIND_A_BATCH)
    return [source for source in cited if source["id"] not in _NO_TEXT]


def _cited(reasons: Iterable[Any]) -> list[tuple[str, str]]:
    """Return id and citation of each source of the reasons, in order; a judgement or common practice has none."""
    named = (reason["source"] if isinstance(reason, Mapping) else reason.source for reason in reasons)
    return [(source, published.sources()[source].citation) for source in dict.fromkeys(named) if source not in _NO_TEXT]


def _render(template: str, language: str, /, **context: Any) -> str:
    return _templates(language).get_template(template).render(context)


def _render_text(template: str, language: str, /, **context: Any) -> str:
    """Return a text template rendered, with at most one blank line in a row and one line break at the end."""
    return re.sub(r"\n{3,}", "\n\n", _render(template, language, **context)).strip() + "\n"


def compile_templates(folder: Path) -> None:
    """Write the templates of the page as Python modules into a folder, which replaces the sources as `COMPILED`.

    They are the same for every language. Where they are, Jinja's own compiler is not needed. The page has no Markdown.
    """
    _templates().compile_templates(folder, zip=None, filter_func=lambda name: not name.endswith(".md.j2"))


@cache
def _templates(language: str = "en") -> jinja2.Environment:
    """Return the template environment of a language."""
    speaker = language_of(language)
    compiled = resources.files("feedcalc.sheets") / COMPILED
    is_compiled = compiled.is_dir()

    def spoken(value: Any) -> Any:
        return speaker.speak(value) if isinstance(value, Said) else value

    environment = jinja2.Environment(
        loader=jinja2.ModuleLoader(str(compiled)) if is_compiled else jinja2.PackageLoader("feedcalc.sheets"),
        auto_reload=False,
        autoescape=lambda name: bool(name and name.endswith((".html.j2", ".svg.j2"))),
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=[] if is_compiled else ["jinja2.ext.i18n"],
        finalize=spoken,
    )
    if not is_compiled:
        from feedcalc.sheets.html_code import HtmlCodeGenerator

        environment.code_generator_class = HtmlCodeGenerator
    environment.as_html = lambda value: as_html(spoken(value))  # type: ignore[attr-defined]
    environment.globals["is_rtl"] = speaker.direction == "rtl"
    environment.globals["has_official_statements"] = has_official_statements(language)
    environment.globals["citation"] = lambda source: published.sources()[source].citation
    _add_messages(environment, speaker)
    _add_filters(environment, spoken)
    if speaker.tag == "de":
        environment.filters["lower"] = spoken  # German nouns keep their capital within a sentence.
    return environment


def _add_messages(environment: jinja2.Environment, speaker: Language) -> None:
    """Let templates look up messages with ``_``, ``ngettext`` and, in a context, ``pgettext``."""
    environment.newstyle_gettext = True  # type: ignore[attr-defined]

    @jinja2.pass_eval_context
    def gettext(context: Any, message: str, /, **parts: Any) -> str:
        return speaker.fill(message, parts, context.autoescape)

    @jinja2.pass_eval_context
    def pgettext(context: Any, meaning: str, message: str, /, **parts: Any) -> str:
        return speaker.fill(message, parts, context.autoescape, meaning)

    @jinja2.pass_eval_context
    def ngettext(context: Any, one: str, many: str, count: int, /, **parts: Any) -> str:
        return speaker.fill_of(one, many, count, {"count": count, "num": count, **parts}, context.autoescape)

    environment.globals.update(_=gettext, gettext=gettext, ngettext=ngettext, pgettext=pgettext)


def _add_filters(environment: jinja2.Environment, spoken: Callable[[Any], Any]) -> None:
    """Add the filters of the templates. Those that change text translate it first."""
    filters = environment.filters
    plain_join = filters["join"]

    @jinja2.pass_eval_context
    def join(context: Any, parts: Iterable[Any], between: str = "", attribute: str | int | None = None) -> str:
        if attribute is not None:
            parts = [getattr(part, str(attribute)) for part in parts]
        text: str = plain_join(context, [spoken(part) for part in parts], spoken(between))
        return text

    filters.update({name: _of_spoken(filters[name], spoken) for name in ("lower", "replace", "upper")})
    filters.update(
        join=join,
        capitalize=lambda text: begun_with_capital(spoken(text)),
        all_of=all_of,
        any_of=any_of,
        day=lambda text: date_words(date.fromisoformat(text)),
        spoken=spoken,
        word=lambda word: spoken(MACHINE_WORDS.get(word, word)),
        plain=lambda text: plain(spoken(text)),
        status_words=status_words,
        cited=_cited,
        first_sentence=lambda text: re.split(r"(?<=[.!?।])\s", spoken(text))[0],
    )


def _of_spoken(change: Callable[..., Any], spoken: Callable[[Any], Any]) -> Callable[..., Any]:
    """Return the filter ``change`` so that it gets its arguments translated."""

    def changed(*arguments: Any) -> Any:
        return change(*(spoken(argument) for argument in arguments))

    takes_context = getattr(change, "jinja_pass_arg", None) is not None
    return jinja2.pass_eval_context(changed) if takes_context else changed

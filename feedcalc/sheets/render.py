"""Render sheets with the Jinja templates: Markdown for terminals, HTML parts for the page, SVG for printing.

* Page and command line use the same templates, so they cannot differ.
* A template holds whole sentences, as ``_('Use by {day}.', day=...)`` or in ``{% trans %}`` blocks. Every `Said` value
  that a template outputs is translated into the language of the page.
* Text that people typed is never markup: HTML templates escape everything, Markdown templates escape it with `plain`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
from jinja2.bccache import bc_version

from feedcalc import published
from feedcalc.contract.cautions import has_official_statements
from feedcalc.words.languages import MACHINE_WORDS, Language, as_html, date_words
from feedcalc.words.languages import language as language_of
from feedcalc.words.messages import Said, all_of, any_of, begun_with_capital

# The folder of compiled templates. Another release of Jinja that compiles in another way leaves it aside.
COMPILED = f"compiled_{bc_version}"


def plain(text: str) -> str:
    """Return ``text`` with the characters escaped that have a meaning in Markdown.

    >>> plain("a *b* | c")
    'a \\\\*b\\\\* \\\\| c'
    """
    return re.sub(r"([\\`*_{}\[\]<>#|])", r"\\\1", text)


# What stands in a source column where no text is the source.
NO_TEXT = frozenset({"common_practice", "our_judgement"})


def _cited(reasons: Iterable[Any]) -> list[tuple[str, str]]:
    """Return id and citation of each source of the reasons, in order; a judgement or common practice has none."""
    named = (reason["source"] if isinstance(reason, Mapping) else reason.source for reason in reasons)
    return [(source, published.sources()[source].citation) for source in dict.fromkeys(named) if source not in NO_TEXT]


def render(template: str, language: str, /, **context: Any) -> str:
    """Return a template rendered in a language."""
    return _templates(language).get_template(template).render(context)


def render_text(template: str, language: str, /, **context: Any) -> str:
    """Return a text template rendered, with at most one blank line in a row and one line break at the end."""
    return re.sub(r"\n{3,}", "\n\n", render(template, language, **context)).strip() + "\n"


def compile_templates(folder: Path, has_markdown: bool = True) -> None:
    """Write the templates as Python modules into a folder, which is used in place of the sources as `COMPILED`.

    They are the same for every language. Where they are, Jinja's own compiler is not needed. The page has no Markdown.
    """
    _templates().compile_templates(
        folder, zip=None, filter_func=lambda name: has_markdown or not name.endswith(".md.j2")
    )


@cache
def _templates(language: str = "en") -> jinja2.Environment:
    """Return the template environment of a language."""
    speaker = language_of(language)
    compiled = Path(__file__).with_name(COMPILED)
    is_compiled = compiled.is_dir()

    def spoken(value: Any) -> Any:
        return speaker.speak(value) if isinstance(value, Said) else value

    @jinja2.pass_context  # so that Jinja works out nothing while it compiles, in another language than it is read in
    def finalize(_context: Any, value: Any) -> Any:
        return spoken(value)

    environment = jinja2.Environment(
        loader=jinja2.ModuleLoader(str(compiled)) if is_compiled else jinja2.PackageLoader("feedcalc.sheets"),
        auto_reload=False,
        autoescape=lambda name: bool(name and name.endswith((".html.j2", ".svg.j2"))),
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=[] if is_compiled else ["jinja2.ext.i18n"],
        finalize=finalize,
        optimized=False,  # for the same reason
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
        status_words=published.status_words,
        cited=_cited,
        first_sentence=lambda text: re.split(r"(?<=[.!?।])\s", spoken(text))[0],
    )


def _of_spoken(change: Callable[..., Any], spoken: Callable[[Any], Any]) -> Callable[..., Any]:
    """Return the filter ``change`` so that it gets its arguments translated."""

    def changed(*arguments: Any) -> Any:
        return change(*(spoken(argument) for argument in arguments))

    takes_context = getattr(change, "jinja_pass_arg", None) is not None
    return jinja2.pass_eval_context(changed) if takes_context else changed

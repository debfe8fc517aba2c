"""Two deliveries from one source: dist/feedcalc.html, one file, and dist/site/, installable.

Rules: page.html.j2 is the only template of the page. It is given

* ``policy``, ``head``, ``end``: markup for the head (policy first) and the end of the body. ``head`` holds the styles,
  the worker's program, the address of a payload that is fetched, and the script that begins to wake Python; ``end`` the
  words, the script of all the rest, and the payload of the one file: that script runs while the payload is still being
  read, so it finds all of the page but that;
* ``made``: what the engine of this page is known by;
* ``installable``: True for the site (``<html data-installable>``, link to the manifest);
* ``request``, ``reply``: the demo, as sent to and returned by `feedcalc.engine.calculate`;
* ``choices``: for each field of a request that is chosen from a list, the choices; ``usual``: what is assumed;
  ``labels``: what each kind of ash, of water and of other things in a can is called; ``plants``: names known;
* ``languages``: tags and own names of the languages to choose from; their words are data for common/words.js;
* ``book``: limes and countries to choose from in the season book, and an example book;
* ``licences``: names and licence texts of what the page carries; ``version``: of feedcalc.

Script and styles are inline and named by hash in the policy, so no other inline script, style element or
attribute works. Names of the site's files carry their own hash, but for those that must keep their name.
"""

from __future__ import annotations

import base64
import codecs
import gzip
import hashlib
import json
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from babel import Locale
from babel.numbers import format_decimal
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from building.ingredients import SITE, licences
from building.payload import as_text
from building.words import page_words
from feedcalc import engine, published
from feedcalc.contract.asks import PAGE_PARTS
from feedcalc.contract.choice_words import CHOICE_LABELS
from feedcalc.contract.fields import REQUEST_FIELDS
from feedcalc.contract.units import CUSTOMS
from feedcalc.garden.plants import plants
from feedcalc.sheets.paper.wall import wall_sizes
from feedcalc.words.languages import LANGUAGES, LOCALES

STYLES = ("styles/page.css", "styles/label_choice.css", "styles/book.css")
ICONS = ("icon.svg", "icon-192.png", "icon-512.png")


PART_OF_PAYLOAD = 1 << 19  # bytes in one element of the page
_PAYLOAD = "@@PAYLOAD@@"  # stands for it in the rendered page


@dataclass(frozen=True, slots=True)
class Parts:
    """What both deliveries are made of: the page's scripts, the worker's program, its payload, the demo."""

    scripts: tuple[str, str]
    program: str
    payload: bytes
    request: dict[str, Any]
    reply: dict[str, Any]


def assemble(parts: Parts, target: Path) -> None:
    """Write both deliveries into the folder ``target``."""
    target.mkdir(parents=True, exist_ok=True)
    page = _page(parts, _element("engine-payload", parts.payload, text=_PAYLOAD), installable=False)
    # UTF-16 holds two bytes of the payload in a character; the mark at its beginning is how a browser knows it.
    whole = codecs.BOM_UTF16_LE + page.replace(_PAYLOAD, _in_elements(parts.payload)).encode("utf-16-le")
    (target / "feedcalc.html").write_bytes(whole)
    site = target / "site"
    shutil.rmtree(site, ignore_errors=True)
    site.mkdir()
    for name, content in _files_of_site(parts).items():
        (site / name).write_bytes(content)


def _in_elements(payload: bytes) -> str:
    """Return the payload as the text of several elements, without the first start tag and the last end tag.

    A browser adds to the text of a long element piece by piece as it reads, and WebKit copies all of it each time.
    """
    parts = (as_text(payload[start : start + PART_OF_PAYLOAD]) for start in range(0, len(payload), PART_OF_PAYLOAD))
    return '</script>\n<script type="text/plain" data-payload>'.join(parts)


def _files_of_site(parts: Parts) -> dict[str, bytes]:
    payload_name = f"payload.{_digest(parts.payload)[:16]}.bin"
    page = _page(parts, _element("engine-payload", parts.payload, address=payload_name), installable=True)
    kept = {name: (SITE / name).read_bytes() for name in ("manifest.webmanifest", *ICONS)}
    kept |= {"index.html": page.encode(), payload_name: parts.payload}
    digests = {name: _digest(content) for name, content in sorted(kept.items())}
    version = _digest(json.dumps(digests).encode())[:16]
    service_worker = (
        f'"use strict";\n\nconst VERSION = "{version}";\nconst FILES = {json.dumps(digests, indent=2)};\n\n'
        + (SITE / "offline" / "service_worker.js").read_text(encoding="utf-8")
    )
    return {
        **kept,
        "service_worker.js": service_worker.encode(),
        **{name: (SITE / "offline" / name).read_bytes() for name in ("retire.html", "retire.js")},
    }


def _element(identity: str, content: bytes, text: str = "", address: str = "") -> Markup:
    """A data element of the page: with its content as text, or with the address and size of a file that has it.

    Either way with the SHA-256 of the content, by which engine/client.js knows a copy that was cut or changed.
    """
    where = Markup(' data-address="{}" data-bytes="{}"').format(address, len(content)) if address else ""
    return Markup('<script type="text/plain" data-sha256="{}"{} id="{}">{}</script>\n').format(
        _digest(content), where, identity, Markup(text)
    )


def page_without_engine() -> str:
    """The page as people read it before anything is worked out, without scripts: for gathering its words."""
    reply = {"html": dict.fromkeys(PAGE_PARTS, "")}
    parts = Parts(scripts=("", ""), program="", payload=b"", request=json.loads(engine.demo_request()), reply=reply)
    return _rendered(parts, Markup(), Markup(), Markup(), "", installable=False)


def _page(parts: Parts, payload: Markup, *, installable: bool) -> str:
    styles = [(SITE / name).read_text(encoding="utf-8") for name in STYLES]
    packed = base64.b64encode(gzip.compress(parts.program.encode(), 9, mtime=0)).decode()
    program = _element("engine-program", parts.program.encode(), text=packed)
    policy = _policy(parts.scripts, styles, installable=installable)
    early, main = (Markup(f"<script>{text}</script>\n") for text in parts.scripts)
    looks = Markup("").join(Markup(f"<style>{text}</style>\n") for text in styles)
    first, last = (payload, Markup()) if installable else (Markup(), payload)
    head, end = looks + program + first + early, _page_words() + main + last
    return _rendered(parts, policy, head, end, licences(), installable=installable)


def _rendered(parts: Parts, policy: Markup, head: Markup, end: Markup, licence_texts: str, *, installable: bool) -> str:
    template = Environment(
        loader=FileSystemLoader(SITE), undefined=StrictUndefined, autoescape=True, trim_blocks=True, lstrip_blocks=True
    ).get_template("page.html.j2")
    return template.render(
        policy=policy,
        made=_digest(parts.payload)[:16],
        head=head,
        end=end,
        installable=installable,
        languages=LANGUAGES,
        request=parts.request,
        reply=_with_markup(parts.reply),
        choices={field.path: field.choices for field in REQUEST_FIELDS}
        | {"locale": LOCALES, "customs": tuple(CUSTOMS)},
        usual={field.path: field.default or "" for field in REQUEST_FIELDS} | {"locale": "en-GB", "customs": ""},
        choice_labels=CHOICE_LABELS,
        labels={row["kind"]: row["label"] for name in ("ash_kinds", "water_kinds") for row in published.table(name)}
        | {row["id"]: row["words"] for row in published.table("second_things")}
        | {locale: _number_and_name(locale) for locale in LOCALES},
        label_sizes=[(row["size"], _size_words(row)) for row in published.table("label_sizes")],
        label_papers=[(row["paper"], row["paper"]) for row in published.table("label_papers")],
        wall_papers=[(name, name) for name in wall_sizes()],
        plants=sorted(plant.names[0] for plant in plants()),
        book=_for_the_book(),
        licences=licence_texts,
        version=metadata.version("feedcalc"),
    )


def _page_words() -> Markup:
    """The catalogues of the page's own words, as data for common/words.js: only the one in use is read."""
    words = page_words()
    plants, forms = words.pop("plants"), words.pop("forms")
    data = {"page-words": {name: words.pop(name) for name in ("messages", "static", "locales", "rtl")}}
    data |= {f"words-{tag}": {"words": held, "plants": plants[tag], "forms": forms[tag]} for tag, held in words.items()}
    element = Markup('<script type="application/json" id="{}">{}</script>\n')
    return Markup("").join(element.format(name, _json(each)) for name, each in data.items())


def _json(data: Any) -> Markup:
    """Return data as JSON in ASCII that ends no element."""
    return Markup(json.dumps(data, separators=(",", ":")).replace("<", "\\u003c"))


def _number_and_name(tag: str) -> str:
    """A number as a locale writes it, and the locale's name in its own language."""
    locale = Locale.parse(tag, sep="-")
    number = format_decimal(123456.7, locale=locale, numbering_system="latn")
    return f"{number} ({locale.get_display_name()})"


def _size_words(row: Mapping[str, str]) -> str:
    """What a size of label is called: its name and, where it has both, its measures."""
    if not row["height_mm"]:
        return f"{row['size']}, {row['note']}"
    return f"{row['size']}, {row['width_mm']} × {row['height_mm']} mm"


def _for_the_book() -> dict[str, Any]:
    """What the season book offers: limes and countries as value and words, an example book as JSON for a script."""
    example = json.loads((SITE.parent / "feedcalc" / "book" / "demo_book.json").read_text(encoding="utf-8"))
    return {
        "limes": [(row["id"], row["label"]) for row in published.table("limes")],
        "countries": [(row["country"], row["name"]) for row in published.table("metal_countries")],
        "example": _json(example),
    }


def _with_markup(reply: dict[str, Any]) -> dict[str, Any]:
    """The reply with what the package's own templates rendered marked as markup."""
    return reply | {"html": {name: Markup(text) for name, text in reply.get("html", {}).items()}}


def _policy(scripts: Sequence[str], styles: Sequence[str], *, installable: bool) -> Markup:
    rules = [
        "default-src 'none'",
        f"script-src {' '.join(map(_source, scripts))} 'wasm-unsafe-eval'",
        f"style-src {' '.join(map(_source, styles))}",
        f"worker-src blob:{' ' + _SELF if installable else ''}",
        f"img-src data: blob:{' ' + _SELF if installable else ''}",
        *((f"connect-src {_SELF}", f"manifest-src {_SELF}") if installable else ()),
        "base-uri 'none'",
        "form-action 'none'",
        "require-trusted-types-for 'script'",
        "trusted-types feedcalc",
    ]
    return Markup('<meta http-equiv="Content-Security-Policy" content="{}">').format(Markup("; ".join(rules)))


_SELF = "'self'"


def _source(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()

"""Compile the translations (``.po``) into what the package reads (``.mo``), and list the languages there are.

A language is added by one file: its ``.po``. What it is called, how it runs and how it writes numbers comes from CLDR.

It is a build hook of hatchling as well, so that every wheel, source archive and editable install has all catalogues.
Nothing of the package is imported here, because a build has none of its dependencies.
"""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from babel import Locale
from babel.core import get_global
from babel.messages.catalog import Catalog, Message
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from hatchling.builders.hooks.plugin.interface import BuildHookInterface

# Dates and names of programs and people, in the head of a catalogue: the same words give the same files.
DATED = re.compile(
    r'^"?(?:POT-Creation-Date|PO-Revision-Date|Generated-By|Last-Translator|Language-Team|Report-Msgid-Bugs-To'
    r"|Project-Id-Version):.*\n",
    re.MULTILINE,
)


# The file that lists the languages, and the country of a catalogue where CLDR's likeliest is another.
LISTED = "languages.json"
COUNTRIES = {"pt": "PT"}


def about(tag: str) -> dict[str, str]:
    """The name of a language in itself, its locale for numbers, its direction and its decimal mark, by CLDR."""
    locale = Locale.parse(tag)
    country = COUNTRIES.get(tag) or get_global("likely_subtags")[tag].split("_")[-1]
    name = locale.get_display_name() or tag
    mark = locale.number_symbols["latn"]["decimal"]
    return {
        "name": name[:1].upper() + name[1:],
        "locale": f"{tag}-{country}",
        "direction": locale.text_direction,
        "decimal": mark,
    }


def compile_catalogues(folder: Path) -> None:
    """Write the ``.mo`` of every ``.po`` in a folder where it is missing or out of date; raises `FileNotFoundError`."""
    sources = sorted(folder.glob("*.po"))
    if not sources:
        raise FileNotFoundError(f"there are no translations in {folder}")
    for source in sources:
        stream = io.BytesIO()
        with source.open("rb") as text:
            undated = _Undated(read_po(text, locale=source.stem))
        write_mo(stream, undated)  # type: ignore[arg-type]  # all that is asked of it is here
        compiled = source.with_suffix(".mo")
        if not compiled.is_file() or compiled.read_bytes() != stream.getvalue():
            compiled.write_bytes(stream.getvalue())
    languages = {source.stem: about(source.stem) for source in sources}
    listed = json.dumps(languages, ensure_ascii=False, indent=1) + "\n"
    if not (folder / LISTED).is_file() or (folder / LISTED).read_text(encoding="utf-8") != listed:
        (folder / LISTED).write_text(listed, encoding="utf-8")


def are_compiled(folder: Path) -> bool:
    """Whether each ``.po`` in a folder has a ``.mo`` that is not older, and the languages are listed."""
    pairs = [(po, po.with_suffix(".mo")) for po in folder.glob("*.po")]
    return (folder / LISTED).is_file() and all(
        mo.is_file() and mo.stat().st_mtime >= po.stat().st_mtime for po, mo in pairs
    )


class _Undated:
    """The messages of a catalogue, with a head that carries no dates."""

    charset = "utf-8"

    def __init__(self, held: Catalog) -> None:
        self._messages = list(held)
        self._messages[0].string = DATED.sub("", str(self._messages[0].string))

    def __iter__(self) -> Iterator[Message]:
        return iter(self._messages)


class PackageHook(BuildHookInterface[Any]):
    """Compiles the catalogues before hatchling collects the package's files, and adds to a wheel what was built."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Called by hatchling before each target is built."""
        compile_catalogues(Path(self.root, "feedcalc", "words", "catalogues"))
        if self.target_name != "wheel" or version == "editable":
            return
        page = Path(self.root, "dist", "feedcalc.html")
        # An installed wheel opens the page as well; a wheel made before the page was built says where to get it.
        if page.is_file():
            build_data["force_include"][str(page)] = "feedcalc/command_line/feedcalc.html"
        self._made = tempfile.TemporaryDirectory()
        script = Path(self.root, "site", "building", "wheel_parts.py")
        subprocess.run([sys.executable, script, self.root, self._made.name], check=True)
        build_data["force_include"][str(Path(self._made.name, "feedcalc"))] = "feedcalc"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Called by hatchling after each target was built."""
        if self.target_name == "wheel" and version != "editable":
            self._made.cleanup()

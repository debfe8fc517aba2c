"""Compile the translations (``.po``) into what the package reads (``.mo``).

It is a build hook of hatchling as well, so that every wheel, source archive and editable install has all catalogues.
Nothing of the package is imported here, because a build has none of its dependencies.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from hatchling.builders.hooks.plugin.interface import BuildHookInterface


def compile_catalogues(folder: Path) -> None:
    """Write the ``.mo`` of every ``.po`` in a folder where it is missing or out of date; raises `FileNotFoundError`."""
    sources = sorted(folder.glob("*.po"))
    if not sources:
        raise FileNotFoundError(f"there are no translations in {folder}")
    for source in sources:
        stream = io.BytesIO()
        with source.open("rb") as text:
            write_mo(stream, read_po(text, locale=source.stem))
        compiled = source.with_suffix(".mo")
        if not compiled.is_file() or compiled.read_bytes() != stream.getvalue():
            compiled.write_bytes(stream.getvalue())


class CataloguesHook(BuildHookInterface[Any]):
    """Compiles the catalogues before hatchling collects the files of the package."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Called by hatchling before each target is built."""
        compile_catalogues(Path(self.root, "feedcalc", "words", "catalogues"))

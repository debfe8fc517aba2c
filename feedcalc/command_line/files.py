"""Read the files that a person names on the command line, and write files whole.

A file is written under another name and then renamed, so its own name always leads to the old content or to the new.
"""

from __future__ import annotations

from pathlib import Path
from typing import TextIO

import click

from feedcalc.words.errors import InputError
from feedcalc.words.messages import said


def read_stream(source: TextIO) -> str:
    """Return the text of an opened file; raises `click.UsageError` where it is not UTF-8."""
    try:
        return source.read()
    except UnicodeDecodeError:
        raise click.UsageError(f"{source.name} is not a text file in UTF-8.") from None


def read_text(file: Path) -> str:
    """Return the text of a file without its byte order mark; raises `InputError`."""
    try:
        return file.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("file", file.name, said("This is not text in UTF-8."), said("a file saved as UTF-8")) from None
    except OSError as error:
        raise InputError("file", file.name, said("This can't be read: {reason}.", reason=error.strerror), "") from None


def replace_file(file: Path, content: bytes) -> None:
    """Write a file whole or leave what was there, also where it is stopped; raises `OSError`."""
    half = file.with_name(f"{file.name}.half")
    try:
        half.write_bytes(content)
        half.replace(file)
    except BaseException:
        half.unlink(missing_ok=True)
        raise


def write_file(file: Path, content: bytes) -> None:
    """Write a file as `replace_file` does; raises `InputError`."""
    try:
        replace_file(file, content)
    except OSError as error:
        raise InputError(
            "file", file.name, said("This can't be written: {reason}.", reason=error.strerror), ""
        ) from None

"""Read the files that a person names on the command line, and write files whole.

A file is written under another name and then renamed, so its own name always leads to the old content or to the new.
"""

from __future__ import annotations

import sys
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
    """Return the text of a file, of standard input for ``-``, without its byte order mark; raises `InputError`."""
    try:
        content = sys.stdin.buffer.read() if str(file) == "-" else file.read_bytes()
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("file", file.name, said("This is not text in UTF-8."), said("a file saved as UTF-8")) from None
    except OSError as error:
        raise InputError("file", file.name, said("This can't be read: {reason}.", reason=error.strerror), "") from None


def is_stream(file: Path) -> bool:
    """Return whether a name leads to a device or a pipe, which is written to and never replaced."""
    return file.exists() and not file.is_file()


def replace_file(file: Path, content: bytes) -> None:
    """Write a file whole or leave what was there, also where it is stopped; raises `OSError`."""
    if is_stream(file):
        file.write_bytes(content)
        return
    half = file.with_name(f"{file.name}.half")
    try:
        half.write_bytes(content)
        half.replace(file)
    except BaseException:
        half.unlink(missing_ok=True)
        raise


def write_file(file: Path, content: bytes, field: str = "file") -> None:
    """Write a file as `replace_file` does; raises `InputError` for ``field``."""
    try:
        replace_file(file, content)
    except OSError as error:
        raise InputError(
            field, str(file), said("This can't be written: {reason}.", reason=error.strerror), ""
        ) from None

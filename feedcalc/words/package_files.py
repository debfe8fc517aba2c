"""Files that lie in the package, also where it is in a zip archive."""

from __future__ import annotations

import pkgutil


def package_file(package: str, path: str) -> bytes:
    """Return a file by its path below a package; raises `OSError` where it is not there.

    `importlib.resources` does the same, and takes 5 ms of a start for what it imports.

    >>> package_file("feedcalc", "contract/demo.json")[:1]
    b'{'
    """
    content = pkgutil.get_data(package, path)
    if content is None:
        raise FileNotFoundError(path)
    return content

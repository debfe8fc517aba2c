"""A child process that holds one door against a coverage-guided fuzzer: ``one_door.py DOOR [options of libFuzzer]``.

The fuzzer watches which lines of the readers a text reaches and keeps what reaches new ones.
"""

from __future__ import annotations

import sys

import atheris

with atheris.instrument_imports(include=["feedcalc"], enable_loader_override=False):
    from tests.trust.doors import DOORS


def main() -> None:
    check = DOORS[sys.argv[1]]

    def held(data: bytes) -> None:
        check(data.decode("utf-8", "replace"))

    atheris.Setup([sys.argv[0], *sys.argv[2:]], held)
    atheris.Fuzz()


main()

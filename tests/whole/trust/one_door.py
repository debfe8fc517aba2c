"""A child process that holds one door against a coverage-guided fuzzer.

``one_door.py DOOR GROWN CORPUS [options of libFuzzer]``, the second and third being folders of texts.

The fuzzer watches which branches of the readers a text reaches and keeps what reaches new ones. The chemistry behind
them runs unwatched, at its own speed, so that the time an answer takes means something; what is loaded once and kept
is loaded by the texts of the corpus before any time is taken.
"""

from __future__ import annotations

import importlib
import sys
import time
from pathlib import Path

READERS = (
    *("contract.numbers", "contract.quantities", "contract.request", "words.json_text", "words.messages"),
    *("book.records", "book.book_file", "book.book_table", "book.reader", "book.entry_amounts"),
    "command_line.plots.plan",
    *("garden.suitability", "garden.plants", "garden.ash", "garden.water"),
)
LONGEST_ANSWER = 2.0  # seconds of this processor's time; longer is a hang


def main() -> None:
    import atheris  # its watch must stand before the readers are loaded, and in this process only

    with atheris.instrument_imports(include=[f"feedcalc.{name}" for name in READERS], enable_loader_override=False):
        for reader in READERS:
            importlib.import_module(f"feedcalc.{reader}")
        from tests.whole.trust.doors import DOORS
    check = DOORS[sys.argv[1]]
    for known in sorted(Path(sys.argv[3]).iterdir()):
        check(known.read_text("utf-8", "replace"))

    def held(data: bytes) -> None:
        started = time.process_time()
        check(data.decode("utf-8", "replace"))
        took = time.process_time() - started
        assert took <= LONGEST_ANSWER, f"no answer in {took:.1f} s"

    atheris.Setup([sys.argv[0], *sys.argv[2:]], held)
    atheris.Fuzz()


if __name__ == "__main__":
    main()

"""Builds a part of the page in the checkout it stands in, with a clock a day ahead.

``build_a_day_later.py runtime WORK`` leaves the pruned runtime in WORK, ``code WORK`` adds what it compiles, and ``page
WORK PAYLOAD`` adds what goes into the payload and, in WORK/dist, both deliveries around the finished PAYLOAD:
packing takes longest and depends on nothing else.
"""

from __future__ import annotations

import datetime
import json
import os
import sys
import time
from pathlib import Path
from typing import Any

DAY = 86_400
AHEAD_IN_NODE = """const Now = Date;
globalThis.Date = class extends Now {
  constructor(...given) { if (given.length) super(...given); else super(Now.now() + 864e5); }
  static now() { return Now.now() + 864e5; }
};
"""


def set_clocks_ahead(folder: Path) -> None:
    """This process, every Node.js it starts, and the times of the files of the checkout."""
    real, broken_down = time.time, time.gmtime

    class Tomorrow(datetime.datetime):
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return datetime.datetime.fromtimestamp(time.time(), tz)

    time.time = lambda: real() + DAY
    time.gmtime = time.localtime = lambda seconds=None: broken_down(time.time() if seconds is None else seconds)
    datetime.datetime = Tomorrow  # type: ignore[misc]
    script = folder / "ahead.cjs"
    script.write_text(AHEAD_IN_NODE)
    os.environ["NODE_OPTIONS"] = f"--require={json.dumps(str(script))}"


def make_runtime(work: Path) -> None:
    from building.ingredients import provide_node
    from building.prune import prune

    prune(provide_node(), work / "runtime")


def make_code(work: Path) -> None:
    from building.ingredients import provide_node
    from building.payload import compile_code
    from building.words import compile_catalogues

    compile_catalogues()
    compile_code(provide_node(), work)


def make_page(work: Path, packed: Path) -> None:
    from building import __main__ as building
    from building import ingredients, words
    from building.assemble import Parts, assemble
    from building.bundle import page_scripts
    from building.payload import program, take_snapshot

    words.compile_catalogues()
    request = building.demo_request()
    replies = take_snapshot(ingredients.provide_node(), work, [request, *building.other_warm_up_requests()])
    parts = Parts(
        scripts=page_scripts(),
        program=program(work / "runtime"),
        payload=packed.read_bytes(),
        request=request,
        reply=json.loads(replies[0]),
    )
    assemble(parts, work / "dist")


if __name__ == "__main__":
    part, work, *others = sys.argv[1:]
    set_clocks_ahead(Path(work))
    {"runtime": make_runtime, "code": make_code, "page": make_page}[part](Path(work), *map(Path, others))

"""Bring the interpreter to the state the snapshot keeps; runs in Pyodide at build time.

Everything an answer needs is imported, since the page carries no module beside the snapshot, and used once, so that
tables are read and templates loaded. Then what is no longer needed is let go and free memory is cleared, since it would
be stored too.
"""

from __future__ import annotations

import gc
import importlib
import json
import pkgutil
import random
import sys
import types

# What a QR code is written to files with, and what that imports, down to HTTP: the page draws it from its squares.
LEFT_OUT = "segno.writers"
# What other modules import only where they come to it.
IMPORTED_LATE = ("_ast_unparse", "_pylong", "_strptime", "html", "jinja2.debug", "segno")


def answer_once(requests: list[str]) -> list[str]:
    """Replies of the one door to each request."""
    from feedcalc.engine import calculate

    return [calculate(request) for request in requests]


def modules_of_replies() -> list[str]:
    """Names of the modules that answer the asks: the door imports each when it is asked for."""
    from feedcalc import replies

    return [found.name for found in pkgutil.iter_modules(replies.__path__, f"{replies.__name__}.")]


def free_memory() -> None:
    """Forget what the first answer soon makes anew, collect garbage, overwrite freed small blocks with zeros."""
    from feedcalc.chemistry.machine_code import compiled
    from feedcalc.liquor.times import drawn

    compiled.cache_clear()
    drawn.cache_clear()
    sys.path_importer_cache.clear()
    for _ in range(3):
        gc.collect()
    # CPython hands out small blocks in classes of 16 bytes; a bytes object has 17 bytes of its own here.
    for size in range(32, 513, 16):
        blocks = [bytes(size - 17) for _ in range(2000)]
        del blocks
    # Larger ones come from the C library, which gives freed memory out again: largest first, or it would be cut up.
    for size in (2**16, 2**14, 2**12, 2**10):
        blocks = [bytes(size - 17) for _ in range(2**21 // size)]
        del blocks
    gc.collect()
    gc.freeze()


def warm_up(requests_json: str) -> str:
    """Answer the JSON array of requests, tidy up; the replies as a JSON array."""
    sys.modules[LEFT_OUT] = types.ModuleType(LEFT_OUT)
    for name in (*IMPORTED_LATE, *modules_of_replies()):
        importlib.import_module(name)
    random.seed(0)  # known bytes in the snapshot; the worker seeds it anew when it starts
    replies = answer_once([json.dumps(request) for request in json.loads(requests_json)])
    free_memory()
    return json.dumps(replies)

"""What the worker starts from: the runtime's program as one classic script, and the compressed payload.

Rules: Node runs bake.mjs, which makes the image; here it is only packed. Every replacement in the runtime's
program must hit exactly once, so that another release of it can't slip through half adapted.
"""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Sequence
from pathlib import Path

import zstandard

from building import machine_code
from building.bundle import worker_script
from building.ingredients import SITE, IngredientMissing, copy_packages

LEVEL = 18  # 22 makes the image 0.05 MB smaller, of 5.3 MB, and takes 60 % longer


def compile_code(node: Path, work: Path) -> None:
    """Compile the library and the packages into ``work``, with the pruned runtime in ``work/runtime``."""
    copy_packages(work / "packages")
    machine_code.write(node, work / "packages" / "feedcalc" / "chemistry")
    _bake(node, work, "compile")


def take_snapshot(node: Path, work: Path, requests: list[dict[str, object]]) -> list[str]:
    """Make ``work/image``, files and snapshot, of what `compile_code` left there.

    Return the replies to ``requests``.
    """
    _bake(node, work, "snapshot", requests)
    replies: list[str] = json.loads((work / "replies.json").read_text(encoding="utf-8"))
    return replies


def _bake(node: Path, work: Path, step: str, requests: Sequence[dict[str, object]] = ()) -> None:
    job = work / f"{step}.json"
    places = {
        "runtime": f"{work / 'runtime'}/",
        "site": str(SITE),
        "packages": str(work / "packages"),
        "work": str(work),
    }
    job.write_text(json.dumps({**places, "step": step, "requests": requests}), encoding="utf-8")
    done = subprocess.run([node, SITE / "building" / "bake.mjs", job], capture_output=True, text=True, check=False)
    if done.returncode:
        raise IngredientMissing(f"Python could not be prepared for the page.\n{done.stdout}{done.stderr}"[-3000:])


def payload(module: bytes, work: Path) -> bytes:
    """The WebAssembly module, compressed, and the image in ``work`` as two zstd frames.

    Before them the lengths of both, and that of the memory in the image, for which Python's machine is made beforehand.
    """
    image = (work / "image").read_bytes()
    memory = json.loads(image[4 : 4 + int.from_bytes(image[:4], "little")])["snapshot"]["length"]
    frames = (module, compressed(image))
    return b"".join((*(length.to_bytes(4, "little") for length in (*map(len, frames), memory)), *frames))


# Units of UTF-16 that can't stand in a page as they are: a page loses noughts and carriage returns, "<" might end the
# element, and surrogates count only in pairs. "=" and the unit `FURTHER_ON` stand for them; and for "=", which does so.
_ESCAPED = re.compile("[=\0\r<\ud800-\udfff]")
FURTHER_ON = 0x2000


def as_text(content: bytes) -> str:
    """Return bytes as text for a page in UTF-16, two in a character; an odd last one is followed by a nought.

    >>> as_text(b"ab=\\0<").encode("utf-16-le") == b"ab=\\0=\\x20=\\0<\\x20"
    True
    """
    units = memoryview(content + bytes(len(content) % 2)).cast("H")
    return _ESCAPED.sub(lambda unit: "=" + chr((ord(unit[0]) + FURTHER_ON) % 0x10000), "".join(map(chr, units)))


def compressed(content: bytes) -> bytes:
    """The content as a zstd frame with a checksum."""
    # A window over all of the content: the heap repeats what stands megabytes before.
    parameters = zstandard.ZstdCompressionParameters.from_level(
        LEVEL, window_log=26, enable_ldm=True, write_checksum=True
    )
    return zstandard.ZstdCompressor(compression_params=parameters).compress(content)


def program(runtime: Path) -> str:
    """The worker's whole program; ``runtime`` is the folder of the pruned runtime."""
    start = _replaced(
        (runtime / "pyodide.mjs").read_text(encoding="utf-8"),
        ("export{dt as loadPyodide,U as version};", "globalThis.loadPyodide=dt;"),
        ("//# sourceMappingURL=pyodide.mjs.map", ""),
    )
    machine = (runtime / "pyodide.asm.mjs").read_text(encoding="utf-8")
    machine = machine.replace("import.meta.url", '"https://runtime.invalid/pyodide.asm.mjs"')
    machine = _replaced(machine, ("export default _createPyodideModule;", ""))
    information = json.loads((runtime / "pyodide-lock.json").read_text(encoding="utf-8"))["info"]
    return "\n".join(
        (
            'self.importScripts = () => { throw new Error("not here"); };',
            f"(() => {{{start}}})();",
            machine,
            f"const RUNTIME_INFO = {json.dumps(information)};",
            worker_script(),
        )
    )


def _replaced(text: str, *changes: tuple[str, str]) -> str:
    for old, new in changes:
        if text.count(old) != 1:
            raise IngredientMissing(f"this release of the runtime is not the one we know: {old!r}")
        text = text.replace(old, new)
    return text

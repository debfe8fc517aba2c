"""The page's own reader of files and links (site/store/batch_files.js), held in Node against broken texts."""

from __future__ import annotations

import json
import random
import subprocess
from collections.abc import Iterator
from pathlib import Path

from feedcalc.engine import demo_request
from tests.whole.trust.fuzzing import CORPUS, ROOT, Tried

PIECES = (
    *(
        '{"format": "feedcalc batches"',
        '"version": 1',
        '"version": 1e9',
        '"batches": [',
        '"request": {',
        '"__proto__": {',
    ),
    *(
        '"name": "<img src=x onerror=alert(1)>"',
        '"id": "../x"',
        '"done": [1, null]',
        "null",
        "[[[[",
        "]",
        "}",
        '"',
        "\\ud800",
    ),
    *('{"schema": 1, "ash": ' + '{"a": ' * 400 + "1" + "}" * 401, "[" * 6000 + "]" * 6000),
    *("#batch=", "-_", "====", "\x00", "\u202e", "😀", "1e400", ",", "\ufeff"),
)


def page_files(cases: int, seed: int = 1) -> Tried:
    """Hold the reader against about ``cases`` readings, a third of each way in: file, link, file inside a link."""
    lines = "".join(json.dumps(text) + "\n" for text in _texts(cases // 3, seed))
    ended = subprocess.run(
        ["node", str(Path(__file__).with_name("keeping_in_node.mjs")), str(ROOT / "site" / "store" / "batch_files.js")],
        input=lines,
        capture_output=True,
        text=True,
        check=False,
    )
    if ended.returncode:
        return Tried("page files", 0, 0, ended.stderr.strip()[-300:])
    found = json.loads(ended.stdout)
    first = found["broken"][0] if found["broken"] else {"way": "", "fault": "", "text": ""}
    return Tried("page files", found["tried"], 0, f"{first['way']}: {first['fault']}".strip(": "), first["text"])


def _texts(count: int, seed: int) -> Iterator[str]:
    chance = random.Random(seed)
    whole = {"id": "a-1", "name": "Oak, May", "request": json.loads(demo_request()), "done": ["sift"], "changed": "x"}
    roots = [
        json.dumps({"format": "feedcalc batches", "version": 1, "batches": [whole, whole]}),
        demo_request(),
        *(file.read_text(encoding="utf-8") for file in sorted((CORPUS / "page_files").glob("*.txt"))),
    ]
    for _ in range(count):
        text = chance.choice(roots)
        for _ in range(chance.choice((0, 1, 1, 2, 3, 8))):
            at, to = sorted(chance.randrange(len(text) + 1) for _ in range(2))
            match chance.randrange(5):
                case 0:
                    text = text[:at] + text[to:]
                case 1:
                    text = text[:at] + chance.choice(PIECES) + text[at:]
                case 2:
                    text = text[:at] + chance.choice(PIECES) + text[to:]
                case 3:
                    text = text[:to] + text[at:to] + text[to:]
                case _:
                    text = (
                        text[:at]
                        + chr(chance.choice((chance.randrange(128), chance.randrange(0xD7FF))))
                        + text[at + 1 :]
                    )
        yield text[:20_000]

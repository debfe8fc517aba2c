"""How time grows with the work: more ashes behind the ranges, earlier batches, entries in a book, rows of plots.

Processor milliseconds of one question each, in this process; for tables of plots rows a second and the most memory of a
process, each from a run of the command itself. A million rows take some minutes.
"""

from __future__ import annotations

import json
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from feedcalc.engine import calculate
from tests.bench.plots import county, timed

ASHES = (10, 40, 160, 400)
EARLIER = (1, 5, 20)
ENTRIES = (100, 1_000, 10_000)
ROWS = (10_000, 100_000, 1_000_000)
BATCH = {"ash": {"kind": "hardwood", "state": "fresh", "amount": "100 g"}, "water": {"amount": "5 L"}}


def curves() -> dict[str, float]:
    """Return the figures of each curve by name and size."""
    answered(BATCH)  # what is read once
    figures = {f"ashes_{count}_ms": answered({**BATCH, "samples": str(count)}) for count in ASHES}
    for count in EARLIER:
        read = [{**BATCH, "measured": {"ec": f"{11 + place / 100} mS/cm", "ph": "12.8"}} for place in range(count)]
        figures[f"earlier_{count}_ms"] = answered({**BATCH, "ash": {**BATCH["ash"], "earlier": read}})
    for count in ENTRIES:
        figures[f"entries_{count}_ms"] = answered({"ask": "season", "book": book(count), "now": "2026-05-01"})
    with tempfile.TemporaryDirectory() as folder:
        source, out = Path(folder, "plots.csv"), Path(folder, "plans.csv")
        for rows in ROWS:
            source.write_text(county(rows), encoding="utf-8")
            took, _, memory = timed(source, out, 1)
            figures |= {f"rows_{rows}_per_second": rows / took, f"rows_{rows}_peak_mb": memory}
        source.write_text(county(ROWS[1]), encoding="utf-8")
        for name, more in (("two_processes", ()), ("cluster", ("--cluster", "local"))):
            figures[f"{name}_per_second"] = ROWS[1] / timed(source, out, 2, *more)[0]
    return figures


def answered(request: dict[str, Any]) -> float:
    """Return the processor milliseconds of an answer; raises `RuntimeError` for a refusal."""
    text = json.dumps({"schema": 1, **request})
    start = time.process_time()
    reply = json.loads(calculate(text))
    took = 1000 * (time.process_time() - start)
    if not reply["ok"]:
        raise RuntimeError(str(reply["errors"])[:500])
    return took


def book(entries: int) -> dict[str, Any]:
    """Return a season book of twenty beds, an entry on each in turn, back through the years."""
    beds = [record(f"bed{number}", "bed", name=f"Bed {number}", area="6 m2", plant="leek") for number in range(20)]
    days = ((date(2026, 4, 30) - timedelta(days=number % 3650)).isoformat() for number in range(entries))
    fed = [
        record(f"e{number}", "entry", bed=f"bed{number % 20}", date=day, what="dry ash", amount="50 g")
        for number, day in enumerate(days)
    ]
    return {"format": "feedcalc season book", "version": 1, "records": beds + fed}


def record(identity: str, kind: str, **texts: str) -> dict[str, Any]:
    fields = {name: {"text": text, "at": "2026-04-30T10:00:00.000Z", "by": "shed"} for name, text in texts.items()}
    return {"id": identity, "kind": kind, "fields": fields, "history": []}

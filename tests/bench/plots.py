"""Plots planned a second by ``feedcalc season``, with one process and with two, start-up and files included.

Every run is the command itself in processes of its own, on the same table, in turn; the plans must be the same bytes.
"""

from __future__ import annotations

import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROWS = 20_000
ROUNDS = 3
PLANTS = ("tomato", "cabbage", "potato", "blueberry", "apple", "beetroot", "onion", "lettuce", "leek", "broccolli")


USED = """
import json, resource, subprocess, sys
code = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(json.dumps([used.ru_utime + used.ru_stime, used.ru_maxrss / 1024]))
sys.exit(code)
"""


def county(rows: int) -> str:
    """A table of plots of every ash, on all sorts of ground; one in a hundred can't be read."""
    chance = random.Random(7)

    def row(number: int) -> str:
        cells = (
            f"P{number}",
            f"{chance.randint(2, 400)} m2",
            "sour" if number % 100 == 99 else f"{chance.uniform(4.6, 7.4):.1f}",
            chance.choice(("laboratory", "meter", "kit", "")),
            chance.choice(("sand", "loam", "clay", "")),
            chance.choice(PLANTS),
            chance.choice(("young", "established")),
            chance.choice(("", "dry ash", "drench")),
            chance.choice(("mixed", "hardwood", "softwood", "bark")),
            chance.choice(("fresh", "aged")),
            chance.choice(("", "40 g/m2")),
        )
        return ",".join(cells) + "\n"

    header = "plot,area,soil_ph,tested_with,texture,plant,stage,use,ash_kind,ash_state,ash_this_year\n"
    return header + "".join(map(row, range(rows)))


def timed(source: Path, out: Path, processes: int, *more: str) -> tuple[float, float, float]:
    """Seconds of one run, seconds of processor it took, and the most memory any process of it held, in MB."""
    start = time.perf_counter()
    asked = ["season", str(source), "--out", str(out), "--processes", str(processes), "--today", "2026-05-01", *more]
    # Started by a small process of its own: a child's peak counts what its parent held when it was started.
    ended = subprocess.run(
        [sys.executable, "-c", USED, sys.executable, "-m", "feedcalc", *asked],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        cwd=Path(__file__).resolve().parents[2],
        check=False,
    )
    if ended.returncode:
        raise RuntimeError(f"the command ended with {ended.returncode}")
    processor, memory = json.loads(ended.stdout)
    return time.perf_counter() - start, processor, memory


def plots() -> dict[str, float]:
    """Rows a second with one process and two (medians of some runs in turn), their ratio, and peak memory.

    On a machine busy with other things the processor time tells more than the ratio.
    """
    runs: dict[int, list[tuple[float, float, float]]] = {1: [], 2: []}
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder, "plots.csv")
        source.write_text(county(ROWS), encoding="utf-8")
        for _ in range(ROUNDS):
            for processes in (1, 2):
                runs[processes].append(timed(source, Path(folder, f"plans{processes}.csv"), processes))
        if Path(folder, "plans1.csv").read_bytes() != Path(folder, "plans2.csv").read_bytes():
            raise RuntimeError("two processes wrote other plans than one")
    figures = {"rows": float(ROWS), "cores": float(os.cpu_count() or 1)}
    for processes, name in ((1, "one_process"), (2, "two_processes")):
        took, processor, memory = zip(*runs[processes], strict=True)
        figures[f"{name}_rows_per_second"] = ROWS / statistics.median(took)
        figures[f"{name}_processor_ms_per_row"] = 1000 * statistics.median(processor) / ROWS
        figures[f"{name}_largest_peak_mb"] = max(memory)
    figures["ratio"] = figures["two_processes_rows_per_second"] / figures["one_process_rows_per_second"]
    return figures

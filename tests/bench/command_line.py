"""Processor time of the command line: help, the demo's sheet with and without ranges, and a bare interpreter.

Each figure is the median over some runs in processes of their own, taken in turn, after one that compiles the modules.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

ROUNDS = 7
QUICK = '{"schema": 1, "ranges": "off"}'
COMMANDS: dict[str, tuple[list[str], str]] = {
    "python_ms": (["-c", "pass"], ""),
    "help_ms": (["-m", "feedcalc", "--help"], ""),
    "quick_sheet_ms": (["-m", "feedcalc", "sheet", "--from", "-"], QUICK),
    "sheet_ms": (["-m", "feedcalc", "sheet"], ""),
}


def processor_milliseconds(arguments: list[str], typed: str, compiled: str) -> float:
    """Return the processor time of one run, in ms; raises `RuntimeError` where it fails."""
    running = subprocess.Popen(
        [sys.executable, "-X", f"pycache_prefix={compiled}", *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        cwd=Path(__file__).resolve().parents[2],
        env={name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"},
    )
    assert running.stdin is not None
    running.stdin.write(typed.encode())
    running.stdin.close()
    _, status, used = os.wait4(running.pid, 0)
    running.returncode = os.waitstatus_to_exitcode(status)
    if running.returncode:
        raise RuntimeError(f"{arguments} ended with {running.returncode}")
    return 1000 * (used.ru_utime + used.ru_stime)


def command_line() -> dict[str, float]:
    """Return the median processor time of each command, in ms."""
    took: dict[str, list[float]] = {name: [] for name in COMMANDS}
    with tempfile.TemporaryDirectory() as compiled:
        for _ in range(1 + ROUNDS):
            for name, command in COMMANDS.items():
                took[name].append(processor_milliseconds(*command, compiled))
    return {name: statistics.median(times[1:]) for name, times in took.items()}

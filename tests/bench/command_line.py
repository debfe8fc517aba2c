"""Processor time of the command line: help, the demo's sheet with and without ranges, and a bare interpreter.

The command line is that of a wheel made for this, since a wheel brings compiled what the sources compile at each start;
the sheets of the sources stand beside it. Each figure is the median over some runs in processes of their own, taken in
turn, after one that compiles the modules.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

ROUNDS = 7
QUICK = '{"schema": 1, "ranges": "off"}'
SOURCES = Path(__file__).resolve().parents[2]
COMMANDS: dict[str, tuple[list[str], str]] = {
    "python_ms": (["-c", "pass"], ""),
    "help_ms": (["-m", "feedcalc", "--help"], ""),
    "quick_sheet_ms": (["-m", "feedcalc", "sheet", "--from", "-"], QUICK),
    "sheet_ms": (["-m", "feedcalc", "sheet"], ""),
}
OF_SOURCES = ("quick_sheet_ms", "sheet_ms")


def processor_milliseconds(arguments: list[str], typed: str, compiled: str, package: Path) -> float:
    """Return the processor time of a run with the package in a folder, in ms; raises `RuntimeError` where it fails."""
    running = subprocess.Popen(
        [sys.executable, "-X", f"pycache_prefix={compiled}", *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        cwd=package,
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


def unpacked_wheel(folder: Path) -> Path:
    """Return the folder into which a wheel of the sources was unpacked."""
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(command, cwd=SOURCES, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder)
    return folder


def command_line() -> dict[str, float]:
    """Return the median processor time of each command, in ms."""
    took: dict[str, list[float]] = {}
    with tempfile.TemporaryDirectory() as compiled, tempfile.TemporaryDirectory() as folder:
        wheel = unpacked_wheel(Path(folder))
        for _ in range(1 + ROUNDS):
            for name, command in COMMANDS.items():
                took.setdefault(name, []).append(processor_milliseconds(*command, compiled, wheel))
            for name in OF_SOURCES:
                of_sources = processor_milliseconds(*COMMANDS[name], compiled, SOURCES)
                took.setdefault(f"sources_{name}", []).append(of_sources)
    return {name: statistics.median(times[1:]) for name, times in took.items()}

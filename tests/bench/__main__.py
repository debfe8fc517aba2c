"""How fast things are: ``python -m tests.bench NAME [--json]``.

Every module beside this one is a bench; its function of the same name returns the figures by name.
"""

from __future__ import annotations

import argparse
import importlib
import json
import pkgutil
from pathlib import Path


def bench_names() -> list[str]:
    """The benches there are."""
    here = str(Path(__file__).parent)
    return sorted(module.name for module in pkgutil.iter_modules([here]) if not module.name.startswith("_"))


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description="Time one part of the project.")
    parser.add_argument("name", choices=bench_names())
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    arguments = parser.parse_args()
    figures = getattr(importlib.import_module(f"tests.bench.{arguments.name}"), arguments.name)()
    if arguments.json:
        print(json.dumps(figures))
        return
    width = max(map(len, figures))
    for key, value in figures.items():
        print(f"{key:<{width}}  {value:.4g}" if isinstance(value, float) else f"{key:<{width}}  {value}")


if __name__ == "__main__":
    main()

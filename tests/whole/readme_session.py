"""Write the README's sessions anew from the tool itself: ``python -m tests.whole.readme_session``."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

README = Path(__file__).resolve().parents[2] / "README.md"
SESSIONS = {
    "session": [["delivery", "--can", "2 x 9 L", "--kind", "hardwood", "--state", "aged", "--customs", "metric"]],
    "refusal": [["sheet", "--ash", "5 bags", "--kind", "painted pine", "--dilution", "10"]],
}


def typed_and_printed(arguments: list[str]) -> str:
    """What a terminal shows of one command, as an indented block."""
    done = subprocess.run(
        [sys.executable, "-m", "feedcalc", *arguments], capture_output=True, text=True, check=False, cwd=README.parent
    )
    typed = " ".join(f'"{word}"' if re.search(r"[ ,]", word) else word for word in arguments)
    lines = [f"$ feedcalc {typed}", *(done.stdout + done.stderr).strip().splitlines()]
    return "\n".join(f"    {line}".rstrip() for line in lines)


def with_sessions(text: str) -> str:
    """The README with every session written anew."""
    for name, commands in SESSIONS.items():
        body = "\n\n".join(typed_and_printed(arguments) for arguments in commands)
        pattern = rf"(<!-- {name}:start -->\n).*?(<!-- {name}:end -->)"
        text = re.sub(pattern, lambda found, body=body: f"{found[1]}\n{body}\n\n{found[2]}", text, flags=re.DOTALL)
    return text


if __name__ == "__main__":
    README.write_text(with_sessions(README.read_text(encoding="utf-8")), encoding="utf-8")

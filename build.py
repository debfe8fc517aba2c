#!/usr/bin/env python3
"""Set up and build feedcalc with nothing but Python's standard library.

    python3 build.py         the private environment, the page in dist/, the demo batch sheet
    python3 build.py test    the same, then what the tests need, then every check

Rules of this file: it runs before anything is installed; whatever goes wrong is said in one line; what is
already done is not done again. Building the page itself is the work of site/building.
"""

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import time

if sys.version_info < (3, 11):  # noqa: UP036 (an old Python must get this far, and no further)
    sys.exit("feedcalc needs Python 3.11 or newer; this is {}.{}.".format(*sys.version_info[:2]))

from pathlib import Path

ROOT = Path(__file__).resolve().parent
ENVIRONMENT = ROOT / ".venv"
PROGRAMS = ENVIRONMENT / ("Scripts" if os.name == "nt" else "bin")
PYTHON = PROGRAMS / ("python.exe" if os.name == "nt" else "python")

WRONG_HASH = "a downloaded package is not the one in the lock file (wrong hash); nothing of it was used."
NO_NETWORK = "the package index can't be reached. Connect to a network once and run this again."
NOT_TO_BE_HAD = "the package index can't be reached, or has no such release for this machine."
NO_ENVIRONMENTS = "this Python can't make environments; install the package python3-venv."
# What an installer prints when it fails -> what to tell the person. First match wins.
KNOWN_FAILURES = (
    ("DO NOT MATCH THE HASHES", WRONG_HASH),
    ("EINTEGRITY", WRONG_HASH),
    ("No space left on device", "the disk is full."),
    ("Failed to establish a new connection", NO_NETWORK),
    ("name resolution", NO_NETWORK),
    ("ConnectionError", NO_NETWORK),
    ("ENOTFOUND", NO_NETWORK),
    ("EAI_AGAIN", NO_NETWORK),
    ("ECONNREFUSED", NO_NETWORK),
    ("ensurepip is not available", NO_ENVIRONMENTS),
    ("No module named venv", NO_ENVIRONMENTS),
    ("No module named 'venv'", NO_ENVIRONMENTS),
    ("Could not find a version", NOT_TO_BE_HAD),
)

# Program of a browser engine that tests drive beside Chromium, or that those need -> Debian's package of it.
OTHER_ENGINES = {"firefox-esr": "firefox-esr", "WebKitWebDriver": "webkit2gtk-driver", "Xvfb": "xvfb"}

TESTS_APART = ("tests/page",)


class BuildFailed(Exception):
    """A step could not be done; the message is the one line a person reads."""


def run_step(title: str, command: list[str | Path], cwd: Path = ROOT) -> None:
    """Run ``command``, showing that it goes on; its output is shown only where nobody foresaw the failure."""
    started = time.monotonic()
    on_screen = sys.stdout.isatty()
    print(f"* {title} ...", end="" if on_screen else "\n", flush=True)
    lines: list[str] = []
    with subprocess.Popen(
        command, cwd=cwd, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace"
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            lines.append(line)
            if on_screen and line.strip():
                print(f"\r\033[K* {title}: {line.strip()[:90]}", end="", flush=True)
    took = f"done in {time.monotonic() - started:.0f} s"
    print(f"\r\033[K* {title}: {took}" if on_screen else f"  {took}", flush=True)
    if process.returncode:
        raise BuildFailed(f"{title}: {reason_of_failure(''.join(lines))}")


def reason_of_failure(output: str) -> str:
    """One line that says what to do, else the end of what the failing program printed."""
    known = next((reason for sign, reason in KNOWN_FAILURES if sign in output), None)
    return known or "failed.\n" + "".join(f"    {line}\n" for line in output.strip().splitlines()[-25:])


def digest_of(*parts: str | Path) -> str:
    """SHA-256 over texts and the bytes of files."""
    digest = hashlib.sha256()
    for part in parts:
        content = part.read_bytes() if isinstance(part, Path) else part.encode()
        digest.update(len(content).to_bytes(8, "big") + content)
    return digest.hexdigest()


def make_environment() -> None:
    """A private .venv of this Python; one left by another Python, or half made, is made anew."""
    stamp = ENVIRONMENT / "feedcalc-python"
    if stamp.is_file() and stamp.read_text() == sys.version and PYTHON.exists():
        return
    try:
        run_step("private environment (.venv)", [sys.executable, "-m", "venv", "--clear", ENVIRONMENT])
    except BuildFailed:
        # Debian keeps this part of Python in a package of its own.
        if not install_system_packages("python3-venv"):
            raise
        run_step("private environment (.venv)", [sys.executable, "-m", "venv", "--clear", ENVIRONMENT])
    stamp.write_text(sys.version)


def pip_install(title: str, options: list[str | Path], *reasons_to_redo: Path) -> None:
    """Run pip in the environment, unless it was run with these options and these files before."""
    stamp = ENVIRONMENT / f"feedcalc-{title.replace(' ', '-')}"
    wanted = digest_of(*map(str, options), *reasons_to_redo)
    if stamp.is_file() and stamp.read_text() == wanted:
        return
    run_step(title, [PYTHON, "-m", "pip", "install", "--disable-pip-version-check", "--no-deps", *options])
    stamp.write_text(wanted)


def install_locked(title: str, lock: Path) -> None:
    """Install exactly what ``lock`` names, each file checked against its hash."""
    pip_install(title, ["--require-hashes", "--only-binary", ":all:", "--requirement", lock], lock)


def install_system_packages(*names: str) -> bool:
    """True if Debian's package manager is here, may be used, and brought ``names``."""
    if not shutil.which("apt-get") or not hasattr(os, "geteuid") or os.geteuid() != 0:
        return False
    try:
        run_step("list of system packages", ["apt-get", "update", "-qq"])
        run_step(f"system packages {', '.join(names)}", ["apt-get", "install", "-y", "--no-install-recommends", *names])
    except BuildFailed as failure:
        print(f"  {failure}")
        return False
    return True


def provide_node() -> None:
    """Node.js and its npm client, to build the page: the machine's, else those a PyPI package carries."""
    try:
        version = subprocess.run(["node", "--version"], capture_output=True, text=True).stdout
        enough = int(version.removeprefix("v").split(".")[0]) >= 18
    except (OSError, ValueError):
        enough = False
    if not enough or not shutil.which("npm"):
        install_locked("Node.js, to build the page", ROOT / "requirements-node.lock")


def provide_browser() -> None:
    """A Chromium for the tests: one that is here, else the system's, else the test tool's own."""
    finder: list[str | Path] = [PYTHON, ROOT / "tests" / "page" / "installed_browser.py"]
    found = subprocess.run(finder, stdout=subprocess.DEVNULL).returncode == 0
    if found or install_system_packages("chromium", "fonts-liberation"):
        return
    try:
        run_step("browser for the tests", [PYTHON, "-m", "playwright", "install", "chromium"])
    except BuildFailed as failure:
        raise BuildFailed(
            "the tests need a browser: install Chromium or Chrome, or name one in FEEDCALC_BROWSER."
        ) from failure


def provide_other_engines() -> None:
    """Firefox and WebKit for the journey in three engines, from Debian where they may be added."""
    missing = [package for program, package in OTHER_ENGINES.items() if not shutil.which(program)]
    if missing and not install_system_packages(*missing):
        print(f"  not here and not to be had: {', '.join(missing)}. The tests of those engines will say so and fail.")


def provide_font_for_hindi() -> None:
    """Letters for Hindi on paper, where this machine's fonts have none and Debian's may be added."""
    if not shutil.which("fc-list"):
        return
    held = subprocess.run(["fc-list", ":lang=hi"], capture_output=True, text=True).stdout
    if not held.strip() and not install_system_packages("fonts-lohit-deva"):
        print("  no font for Hindi here: its labels print as empty boxes until one is installed.")


def check_everything() -> None:
    """Style, types, direction of imports, then the whole test suite; all are run, whichever of them fail."""
    checks: tuple[tuple[str, list[str | Path]], ...] = (
        ("style", [PROGRAMS / "ruff", "check", "."]),
        ("types", [PROGRAMS / "mypy"]),
        ("direction of imports", [PROGRAMS / "lint-imports"]),
        ("tests", [PYTHON, "-m", "pytest", *(f"--ignore={folder}" for folder in TESTS_APART)]),
    )
    failed = []
    # What drives browsers mostly waits, so it runs beside the rest and is shown after it.
    with tempfile.TemporaryFile() as told:
        apart = subprocess.Popen(
            [PYTHON, "-m", "pytest", "-p", "no:cacheprovider", *TESTS_APART], cwd=ROOT, stdout=told, stderr=told
        )
        for title, command in checks:
            print(f"* checking {title}", flush=True)
            if subprocess.run(command, cwd=ROOT).returncode:
                failed.append(title)
        print(f"* checking tests of {', '.join(TESTS_APART)}", flush=True)
        if apart.wait():
            failed.append("tests of browsers")
        told.seek(0)
        shutil.copyfileobj(told, sys.stdout.buffer)
        sys.stdout.flush()
    if failed:
        raise BuildFailed(f"not passed: {', '.join(failed)}.")


def main(arguments: list[str]) -> None:
    """Carry out ``build.py`` with the words that follow it."""
    if arguments not in ([], ["test"]):
        raise BuildFailed("say `python3 build.py` to build, `python3 build.py test` to check everything too.")
    make_environment()
    install_locked("packages", ROOT / "requirements.lock")
    pip_install("feedcalc itself", ["--no-build-isolation", "--editable", ROOT], ROOT / "pyproject.toml")
    provide_node()
    run_step("the page (dist/feedcalc.html, dist/site)", [PYTHON, "-m", "building"], cwd=ROOT / "site")
    if subprocess.run([PROGRAMS / "feedcalc", "sheet"], cwd=ROOT).returncode:
        raise BuildFailed("the demo batch sheet could not be worked out.")
    if arguments == ["test"]:
        install_locked("packages for the tests", ROOT / "requirements-test.lock")
        second = ROOT / "requirements-bench.lock"
        from_source = ["--require-hashes", "--no-build-isolation", "--requirement"]
        pip_install("a second library for the benchmark", [*from_source, second], second)
        provide_browser()
        provide_other_engines()
        provide_font_for_hindi()
        check_everything()


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except BuildFailed as failure:
        sys.exit(f"feedcalc: {failure}")
    except BrokenPipeError:
        os._exit(1)  # whoever read our output has gone; Python would complain once more while ending
    except KeyboardInterrupt:
        sys.exit("feedcalc: stopped.")

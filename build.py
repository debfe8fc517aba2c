#!/usr/bin/env python3
"""Set up and build feedcalc with nothing but Python's standard library.

    python3 build.py          the private environment, the page and the package in dist/, the demo batch sheet
    python3 build.py check    style, types, imports, and the tests that need no browser and no long statistics
    python3 build.py test     the same as the first, then what the tests need, then every check

Rules of this file: it runs before anything is installed; whatever goes wrong is said in one line; what is
already done is not done again. Building the page itself is the work of site/building.
"""

import collections
import concurrent.futures
import contextlib
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
# Draws no windows: a page starts in it for less than half of what it takes in the whole one. Not every Debian has it.
LIGHT_BROWSER = "chromium-headless-shell"

# Options of pytest for each lane. Tests that drive a browser mostly wait, so with them two cores feed three processes.
LANES = {"check": ["-n2", "-mnot slow", "--hypothesis-profile=check", "--ignore=tests/page"], "test": ["-n3"]}


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
    clear = "\r\033[K" if on_screen else ""
    print(f"{clear}* {title}: done in {time.monotonic() - started:.0f} s", flush=True)
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
    # What is imported gets compiled then; all of it would take as long as all the rest of the work.
    pip: list[str | Path] = [PYTHON, "-m", "pip", "install", "--disable-pip-version-check", "--no-deps", "--no-compile"]
    run_step(title, [*pip, *options])
    stamp.write_text(wanted)


def install_locked(title: str, lock: Path) -> None:
    """Install exactly what ``lock`` names, each file checked against its hash."""
    pip_install(title, ["--require-hashes", "--only-binary", ":all:", "--requirement", lock], lock)


def install_system_packages(*names: str) -> bool:
    """True if Debian's package manager is here, may be used, and brought ``names``."""
    if not shutil.which("apt-get") or not hasattr(os, "geteuid") or os.geteuid() != 0:
        return False
    apt: list[str | Path] = ["env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-o", "DPkg::Lock::Timeout=120"]
    try:
        run_step("list of system packages", [*apt, "update", "-qq"])
        run_step(f"system packages {', '.join(names)}", [*apt, "install", "-y", "--no-install-recommends", *names])
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


def browser_is_here() -> bool:
    """Whether a Chromium or Chrome is found on this machine."""
    finder: list[str | Path] = [PYTHON, ROOT / "tests" / "page" / "installed_browser.py"]
    return subprocess.run(finder, stdout=subprocess.DEVNULL).returncode == 0


def provide_system_packages() -> None:
    """Bring what the tests need of the system in one go: Chromium, two other engines, letters for Hindi on paper."""
    missing = [package for program, package in OTHER_ENGINES.items() if not shutil.which(program)]
    if not browser_is_here():
        missing += ["chromium", "fonts-liberation"]
    if shutil.which("fc-list"):
        fonts_with_hindi = subprocess.run(["fc-list", ":lang=hi"], capture_output=True, text=True).stdout
        missing += [] if fonts_with_hindi.strip() else ["fonts-lohit-deva"]
    light = [] if shutil.which(LIGHT_BROWSER) else [LIGHT_BROWSER]
    if light and install_system_packages(*missing, *light):
        return
    if missing and not install_system_packages(*missing):
        print(f"  not here and not to be had: {', '.join(missing)}. The tests that need them will say so and fail.")


def provide_browser() -> None:
    """Bring the test tool's own Chromium where neither the machine nor its packages have one."""
    if browser_is_here():
        return
    try:
        run_step("browser for the tests", [PYTHON, "-m", "playwright", "install", "chromium"])
    except BuildFailed as failure:
        raise BuildFailed(
            "the tests need a browser: install Chromium or Chrome, or name one in FEEDCALC_BROWSER."
        ) from failure


def install_for_tests() -> None:
    """Install what the tests import."""
    install_locked("packages for the tests", ROOT / "requirements-test.lock")
    second = ROOT / "requirements-bench.lock"
    from_source = ["--require-hashes", "--no-build-isolation", "--requirement"]
    pip_install("a second library for the benchmark", [*from_source, second], second)


def build_page() -> None:
    """Build the page and work out the demo batch sheet."""
    provide_node()
    run_step("the page (dist/feedcalc.html, dist/site)", [PYTHON, "-m", "building"], cwd=ROOT / "site")
    if subprocess.run([PROGRAMS / "feedcalc", "sheet"], cwd=ROOT).returncode:
        raise BuildFailed("the demo batch sheet could not be worked out.")
    make_package()


def make_package() -> None:
    """Make wheel and source archive in dist/, and try both in fresh environments."""
    for old in packages_made():
        old.unlink()
    run_step("the package (dist/*.whl, dist/*.tar.gz)", [PYTHON, "-m", "hatchling", "build", "-d", ROOT / "dist"])
    with tempfile.TemporaryDirectory() as folder, concurrent.futures.ThreadPoolExecutor() as beside:
        tried = [beside.submit(try_package, made, Path(folder, made.suffix)) for made in packages_made()]
        for each in tried:
            each.result()


def packages_made() -> list[Path]:
    """Return the wheel and the source archive in dist/."""
    return [*(ROOT / "dist").glob("feedcalc-*.whl"), *(ROOT / "dist").glob("feedcalc-*.tar.gz")]


def packages_of(environment: Path) -> Path:
    """Return the folder that an environment installs packages into."""
    return environment / "Lib/site-packages" if os.name == "nt" else next(environment.glob("lib/python*/site-packages"))


def try_package(made: Path, folder: Path) -> None:
    """Install a wheel or source archive in a fresh environment and ask it for a sheet in German.

    Its dependencies are those of the private environment, whose own feedcalc does not reach this one.
    """
    run_step(f"an environment for {made.name}", [PYTHON, "-m", "venv", "--without-pip", folder])
    programs = folder / PROGRAMS.name
    (packages_of(folder) / "dependencies.pth").write_text(f"{packages_of(ENVIRONMENT)}\n", encoding="utf-8")
    # By the private environment's pip: to put one into each fresh environment would take longer than all the rest.
    pip: list[str | Path] = [PYTHON, "-m", "pip", "--python", folder]
    options = ["--quiet", "--no-deps", "--no-index", "--no-build-isolation", "--ignore-installed"]
    run_step(f"{made.name} in it", [*pip, "install", *options, made])
    asked: list[str | Path] = [programs / "feedcalc", "sheet", "--language", "de"]
    told = subprocess.run(asked, cwd=folder, capture_output=True, text=True, encoding="utf-8", errors="replace")
    if told.returncode or "Ansatzblatt" not in told.stdout:
        raise BuildFailed(f"{made.name}: the sheet in German could not be worked out. {told.stderr.strip()[:200]}")
    if (
        made.suffix == ".whl"
        and subprocess.run([programs / "feedcalc", "page", "--where"], cwd=folder, stdout=subprocess.DEVNULL).returncode
    ):
        raise BuildFailed(f"{made.name} lacks the page.")


class Times:
    """How long each part took, for the table at the end; some go on at the same time."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._begun = time.monotonic()

    @contextlib.contextmanager
    def of(self, part: str) -> collections.abc.Iterator[None]:
        """Time what is done inside."""
        started = time.monotonic()
        yield
        self.seconds[part] = time.monotonic() - started

    def show(self) -> None:
        print("* time in seconds")
        for part, seconds in (*self.seconds.items(), ("in all", time.monotonic() - self._begun)):
            print(f"  {part:<22}{seconds:>6.0f}", flush=True)


# What quick checks need of the page: its runtime in site/node_modules, and the catalogues.
PARTS_OF_PAGE = """
from building import ingredients, words
ingredients.provide_runtime(ingredients.provide_node())
words.check()
words.compile_catalogues()
"""


def set_up(lane: str, times: Times) -> list[str]:
    """Install and build what ``lane`` needs and check the sources, partly at once; return the failed checks."""
    make_environment()
    install_locked("packages", ROOT / "requirements.lock")
    pip_install("feedcalc itself", ["--no-build-isolation", "--editable", ROOT], ROOT / "pyproject.toml")
    if lane == "check":
        install_for_tests()
        provide_node()
        run_step("parts of the page", [PYTHON, "-c", PARTS_OF_PAGE], cwd=ROOT / "site")
        return check_sources(times)
    if not lane:
        build_page()
        return []
    provide_node()  # by pip, which is asked for one thing at a time
    with concurrent.futures.ThreadPoolExecutor() as beside:
        system, page = beside.submit(provide_system_packages), beside.submit(build_page)
        install_for_tests()
        failed = check_sources(times)
        # What is compiled now, while the page is built, each process of the tests has at hand.
        run_step("the tests, read once", [PYTHON, "-m", "pytest", "--collect-only", "-qq"])
        page.result()
        system.result()
    provide_browser()
    return failed


def check_sources(times: Times) -> list[str]:
    """Check style, types and direction of imports; return which failed."""
    return failures(
        times,
        ("style", [PROGRAMS / "ruff", "check", "."], ROOT),
        ("types", [PROGRAMS / "mypy"], ROOT),
        ("direction of imports", [PROGRAMS / "lint-imports"], ROOT),
    )


def failures(times: Times, *checks: tuple[str, list[str | Path], Path]) -> list[str]:
    """Run the command of each check in its folder, whichever of them fail; return the titles of those."""
    failed = []
    for title, command, folder in checks:
        print(f"* checking {title}", flush=True)
        with times.of(title):
            if subprocess.run(command, cwd=folder).returncode:
                failed.append(title)
    return failed


def run_tests(lane: str, times: Times) -> list[str]:
    """Check the page's scripts and run the tests of ``lane``, then tell the times; return which failed."""
    failed = failures(times, ("the page's scripts", [PYTHON, "-m", "building.check_scripts"], ROOT / "site"))
    print("* checking tests", flush=True)
    with times.of("tests"):
        # The last line is how many tests passed; the table comes before it.
        code, last_line = run_holding_last_line([PYTHON, "-m", "pytest", "--durations=10", *LANES[lane]])
    times.show()
    print(last_line, flush=True)
    if code:
        failed.append("tests" if code > 0 else f"tests (ended by signal {-code})")
    return failed


def run_holding_last_line(command: list[str | Path]) -> tuple[int, str]:
    """Run ``command`` and print all it says but its last line; return its exit code, and that line."""
    held = ""
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, errors="replace") as process:
        assert process.stdout is not None
        for line in process.stdout:
            print(held, end="", flush=True)
            held = line
    return process.returncode, held.rstrip("\n")


def main(arguments: list[str]) -> None:
    """Carry out ``build.py`` with the words that follow it."""
    lane = arguments[0] if len(arguments) == 1 else ""
    if arguments and lane not in LANES:
        raise BuildFailed(
            "say `python3 build.py` to build, `python3 build.py check` for the quick checks, "
            "`python3 build.py test` to check everything too."
        )
    # What is started below keeps what Python compiles for the next start, which then takes half as long.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = str(ENVIRONMENT / "compiled")
    times = Times()
    with times.of("set-up"):
        failed = set_up(lane, times)
    if lane:
        failed += run_tests(lane, times)
    if failed:
        raise BuildFailed(f"not passed: {', '.join(failed)}.")


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except BuildFailed as failure:
        sys.exit(f"feedcalc: {failure}")
    except BrokenPipeError:
        os._exit(1)  # whoever read our output has gone; Python would complain once more while ending
    except KeyboardInterrupt:
        sys.exit("feedcalc: stopped.")

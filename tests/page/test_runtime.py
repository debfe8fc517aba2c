"""Python in the browser: how it starts, what it answers, what happens when it breaks."""

from __future__ import annotations

import datetime
import http.server
import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from urllib.request import url2pathname

import pytest
from playwright.sync_api import Browser, Page

from feedcalc.engine import calculate
from tests.page.conftest import NO_HASHES, PATIENCE, SPY, WITHOUT_RANGES, ask, one_page, wait_for_engine, wait_until

REQUESTS: list[dict[str, Any]] = [
    {"schema": 1, "samples": "40"},
    {"schema": 1, "samples": "40", "cans": [{"size": "9 L", "count": 2}], "dilution": "1:10"},
    {"schema": 1, "ash": {"amount": "2,5 kg"}, "water": {"amount": "½ bucket"}, "unknown": 1},
]
NO_START = ["async function start({", 'async function start() { throw new Error("refused"); }\nasync function unused({']


def opened(page: Page, address: str, *edits: list[str], state: str = "ready") -> Page:
    page.add_init_script(f"window.programEdits = {json.dumps(edits)};{SPY}{WITHOUT_RANGES}")
    page.goto(address)
    wait_for_engine(page, state)
    return page


def close(one: Any, other: Any) -> bool:
    """Equal, numbers to the last digit told: each build of CPython has its own mathematical functions."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(close(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(close, one, other))
    if isinstance(one, float) or isinstance(other, float):
        return bool(one == pytest.approx(other, rel=1.1e-5, abs=1e-12))
    return bool(one == other)


def without_markup(reply: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in reply.items() if key != "html"}


def here_and_now(request: dict[str, Any]) -> dict[str, Any]:
    """The reply of this Python, which the command line prints."""
    return dict(json.loads(calculate(json.dumps(request))))


@pytest.fixture(scope="module")
def awake(browser: Browser, one_file: str) -> Iterator[Page]:
    """One page with Python awake, for tests that only ask it."""
    with one_page(browser, one_file) as page:
        wait_for_engine(page)
        yield page


def test_opens_by_double_click_with_no_network(ready_page: Page) -> None:
    assert ask(ready_page, {"schema": 1})["ok"] is True


@pytest.mark.parametrize("request_", REQUESTS, ids=["demo", "cans", "faults"])
def test_page_and_command_line_agree(awake: Page, request_: dict[str, Any]) -> None:
    assert close(without_markup(ask(awake, request_)), without_markup(here_and_now(request_)))


def test_chance_is_chance_after_a_restore(watched_page: Page, one_file: str) -> None:
    draw = "import os, random, uuid\nf'{random.random()} {os.urandom(8).hex()} {uuid.uuid4()}'"
    page = opened(watched_page, one_file)
    first = page.evaluate("code => runPython(code)", draw).split()
    page.reload()
    wait_for_engine(page)
    second = page.evaluate("code => runPython(code)", draw).split()
    assert all(one != other for one, other in zip(first, second, strict=True))
    assert int(first[1], 16) != 0


def test_clock_is_right_after_a_restore(watched_page: Page, one_file: str) -> None:
    page = opened(watched_page, one_file)
    read = "import datetime\ndatetime.datetime.now(datetime.UTC).isoformat()"
    there = datetime.datetime.fromisoformat(page.evaluate("code => runPython(code)", read))
    assert abs(there - datetime.datetime.now(datetime.UTC)) < datetime.timedelta(seconds=30)


@pytest.mark.browser_context_args(timezone_id="Asia/Kolkata")
def test_time_zone_is_that_of_the_browser_after_a_restore(watched_page: Page, one_file: str) -> None:
    page = opened(watched_page, one_file)
    read = "import datetime\nstr(datetime.datetime.now().astimezone().utcoffset())"
    assert page.evaluate("code => runPython(code)", read) == "5:30:00"


def test_hashing_works_on_what_was_made_before_and_after_a_restore(watched_page: Page, one_file: str) -> None:
    page = opened(watched_page, one_file)
    read = (
        "import sys\n"
        "name = ''.join(['feed', 'calc.', 'engine'])\n"  # a string made now, looked up in a table made then
        "str([name in sys.modules, hash(name) == hash('feedcalc.engine'), len({name, 'feedcalc.engine'})])"
    )
    assert page.evaluate("code => runPython(code)", read) == "[True, True, 1]"


def test_of_several_questions_only_the_newest_is_answered(awake: Page) -> None:
    outcomes = awake.evaluate(
        """() => Promise.all([1, 2, 3, 4].map((count) =>
             feedcalc.engine.ask({ schema: 1, cans: [{ size: "9 L", count }] }, { line: "test" })
               .then((reply) => reply.ok, (error) => error.name)))"""
    )
    assert outcomes == ["Superseded", "Superseded", "Superseded", True]


def test_a_long_answer_rests_while_something_newer_is_worked_out_and_then_goes_on(awake: Page) -> None:
    told = awake.evaluate(
        """async () => {
          const far = [];
          const answered = [];
          const ask = (line, more) => feedcalc.engine.ask({ schema: 1, ...more }, {
            line, onProgress: ({ done, total }) => { if (line === "long") far.push(done / total); },
          }).then(({ ok }) => answered.push([line, ok]));
          const long = ask("long", { samples: "400" });
          while (!far.length) await new Promise((resolve) => setTimeout(resolve, 5));
          const before = far.length;
          await ask("short", { samples: "40" });
          const meanwhile = far.length - before;
          await long;
          return { far, answered, meanwhile };
        }"""
    )
    assert told["answered"] == [["short", True], ["long", True]]
    assert told["meanwhile"] <= 2, "the newer one was worked out beside the older"
    assert told["far"] == [slices / 100 for slices in range(1, 101)], "no slice of it was worked out twice"


HANG = [
    "steps = answerInSteps(request, tell);",
    'steps = request.includes("hang") ? hang() : answerInSteps(request, tell);',
]
HANGING = ["var python = null;", "var python = null; const hang = () => { for (;;); };"]


def test_a_hang_is_ended_and_python_started_again(watched_page: Page, one_file: str) -> None:
    page = opened(watched_page, one_file, HANG, HANGING)
    page.evaluate("() => { feedcalc.engine.startEngine({ patience: 3000 }); }")
    wait_for_engine(page)
    outcome = page.evaluate("feedcalc.engine.ask({ hang: 1 }, { line: 'test' }).catch((error) => error.name)")
    assert outcome == "TimedOut"
    wait_for_engine(page)
    assert ask(page, {"schema": 1})["ok"] is True


def test_of_two_questions_the_one_that_hangs_is_told_so_and_the_other_is_answered(
    watched_page: Page, one_file: str
) -> None:
    page = opened(watched_page, one_file, HANG, HANGING)
    page.evaluate("() => { feedcalc.engine.startEngine({ patience: 3000 }); }")
    wait_for_engine(page)
    outcomes = page.evaluate(
        """async () => {
          const hanging = feedcalc.engine.ask({ hang: 1 }, { line: "hanging" }).catch((error) => error.name);
          await new Promise((resolve) => setTimeout(resolve, 200));
          const other = feedcalc.engine.ask({ schema: 1, ranges: "off" }, { line: "other" }).then(({ ok }) => ok);
          return [await hanging, await other];
        }"""
    )
    assert outcomes == ["TimedOut", True]


def test_a_worker_ended_mid_answer_is_replaced_and_the_newest_question_answered(
    watched_page: Page, one_file: str
) -> None:
    page = opened(watched_page, one_file, HANG, HANGING)
    page.evaluate(
        """() => {
          window.first = feedcalc.engine.ask({ hang: 1 }, { line: "test" }).catch((error) => error.name);
          setTimeout(() => {
            window.second = feedcalc.engine.ask({ schema: 1 }, { line: "test" });
            feedcalc.engine.restart();
          }, 100);
        }"""
    )
    wait_until(lambda: page.evaluate("window.second !== undefined"))
    assert page.evaluate("first") == "Superseded"
    assert page.evaluate("second")["ok"] is True


def test_says_failed_where_python_cannot_start_and_keeps_the_sheet(page: Page, one_file: str) -> None:
    opened(page, one_file, NO_START, state="failed")
    assert page.evaluate("feedcalc.engine.ask({ schema: 1 }).catch((error) => error.name)") == "Failed"
    assert page.locator("#answer").inner_text().strip()


def test_a_start_that_never_ends_is_given_up(page: Page, one_file: str) -> None:
    opened(page, one_file)
    page.evaluate(
        """() => {
          const start = "async function start(";
          programEdits.push([start + "{", start + ") { for (;;); }\\nasync function unused({"]);
          feedcalc.engine.startEngine({ patienceAtStart: 300 });
        }"""
    )
    wait_for_engine(page, "failed")
    page.evaluate("() => { programEdits.pop(); feedcalc.engine.startEngine(); }")
    wait_for_engine(page)
    assert ask(page, {"schema": 1})["ok"] is True


def test_a_python_that_is_awake_before_all_is_read_is_not_given_up_later(page: Page, quick_file: str) -> None:
    whole = Path(url2pathname(urlsplit(quick_file).path)).read_text("utf-16")
    end = whole.rindex("<script", 0, whole.index('id="engine-payload"'))
    rest_may_come = threading.Event()

    class Slowly(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.end_headers()
            self.wfile.write(whole[:end].encode())
            rest_may_come.wait(PATIENCE)
            self.wfile.write(whole[end:].encode())

        def log_message(self, *arguments: object) -> None:
            pass

    with http.server.HTTPServer(("127.0.0.1", 0), Slowly) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        page.clock.install()
        page.add_init_script(NO_HASHES)  # with them all of the payload is waited for
        page.goto(f"http://127.0.0.1:{server.server_port}/", wait_until="commit")
        wait_for_engine(page)
        rest_may_come.set()
        wait_until(lambda: page.evaluate("document.readyState") == "complete")
        page.clock.run_for(70_000)
        assert page.evaluate("document.documentElement.dataset.engine") == "ready"
        server.shutdown()

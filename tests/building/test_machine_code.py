"""The solver's machine code beside the Python it was made from."""

from __future__ import annotations

import ast
import json
import math
import random
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from building import ingredients
from building import machine_code as building

from feedcalc.chemistry import arithmetic, machine_code
from feedcalc.chemistry.first_guess import guess_text
from feedcalc.chemistry.system import conditions_at
from feedcalc.engine import calculate
from feedcalc.liquor.often_solved import often_solved

REQUESTS: list[dict[str, Any]] = [
    {},
    {"water": {"temperature": "3 °C"}, "ash": {"kind": "softwood"}},
    {"acid": {"kind": "vinegar", "target_ph": "7"}},
    {"acid": {"kind": "citric acid", "target_ph": "7"}},
    {"measured": {"ec": "8 mS/cm"}},
]
RUN = """
import fs from "node:fs";
const [code, calls] = process.argv.slice(2).map((name) => fs.readFileSync(name));
const memory = new WebAssembly.Memory({ initial: 1 });
const { instance } = await WebAssembly.instantiate(code, { python: { memory, exp: Math.exp } });
const numbers = new Float64Array(memory.buffer, 64, 256);
console.log(JSON.stringify(JSON.parse(calls).map(([place, taken]) => {
  numbers.set(taken);
  instance.exports.run(place, 64);
  return [...numbers];
})));
"""


def run_in_node(code: Path, calls: list[tuple[int, list[float]]]) -> list[list[float]]:
    """The numbers that each call of a function, by its place, leaves in memory."""
    taken, script = code.with_name("calls.json"), code.with_name("run.mjs")
    taken.write_text(json.dumps(calls))
    script.write_text(RUN)
    command = [str(path) for path in (ingredients.provide_node(), script, code, taken)]
    told: list[list[float]] = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    return told


@pytest.fixture(scope="module")
def searches() -> list[tuple[str, tuple[Any, ...], tuple[Any, ...]]]:
    """What the demo and its like ask of the solver: texts, arguments and results in Python."""
    seen: list[tuple[str, tuple[Any, ...], tuple[Any, ...]]] = []
    arithmetic.arithmetic_of.cache_clear()
    with pytest.MonkeyPatch.context() as patch:

        def watched(text: str) -> Any:
            function = machine_code.compiled(text)

            def called(*taken: Any) -> Any:
                result = function(*taken)
                seen.append((text, taken, result))
                return result

            return called if "steps" in text.partition("\n")[0] else function

        patch.setattr(arithmetic, "compiled", watched)
        for request in REQUESTS:
            assert json.loads(calculate(json.dumps({"schema": 1, "ranges": "on", "samples": "10", **request})))["ok"]
    arithmetic.arithmetic_of.cache_clear()
    return seen


def test_machine_code_gives_what_python_gives(searches: list[Any], tmp_path: Path) -> None:
    building.write(ingredients.provide_node(), tmp_path)
    places = {text: place for place, text in enumerate(building.texts())}
    known = [(text, taken, result) for text, taken, result in searches if text in places]
    assert len({text for text, _, _ in known}) >= 10
    calls = [(places[text], list(flat(taken))) for text, taken, _ in known]
    told = run_in_node(tmp_path / "machine_code.wasm", calls)
    for (_, _, result), numbers in zip(known, told, strict=True):
        *expected, _ = flat(result)  # moles and residual, which comes last, are told where it converged
        if result[0] == arithmetic.CONVERGED:
            assert numbers[len(expected)] < arithmetic.MAX_RESIDUAL
        # Each has an exponential function of its own.
        assert numbers[: len(expected)] == pytest.approx(expected, rel=1e-8, abs=1e-9)
        assert numbers[:2] == expected[:2], "ends as Python does, after as many steps"


def test_first_guesses_by_machine_code_are_those_of_python(tmp_path: Path) -> None:
    building.write(ingredients.provide_node(), tmp_path)
    texts, draw = building.texts(), random.Random(4)
    calls, expected = [], []
    for system, _ in often_solved():
        elements = frozenset(element.name for element in system.elements)
        at = conditions_at("chosen", elements, frozenset(system.minerals), False, 288.15)
        text = guess_text(at.system)
        for _ in range(25):
            totals = [10.0 ** draw.uniform(-5.0, 0.0) for _ in at.system.elements]
            taken = (at.ln_k, at.laws, [*totals, 0.0], at.mineral_ln_k)
            calls.append((texts.index(text), list(flat(taken))))
            expected.append(list(flat(machine_code.compiled(text)(*taken))))
    for numbers, guess in zip(run_in_node(tmp_path / "machine_code.wasm", calls), expected, strict=True):
        assert numbers[: len(guess)] == pytest.approx(guess, rel=1e-8)


def test_nearly_all_steps_are_taken_by_machine_code(searches: list[Any]) -> None:
    made = set(building.texts())
    steps = [(text in made, result[1]) for text, _, result in searches]
    assert sum(taken for is_made, taken in steps if is_made) > 0.95 * sum(taken for _, taken in steps)


def test_a_connected_machine_is_asked_and_its_numbers_are_the_result(
    searches: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    text, taken, result = next(each for each in searches if each[2][0] == arithmetic.CONVERGED and each[1][9])
    monkeypatch.setattr(machine_code, "_machines", [])
    monkeypatch.setattr(machine_code, "_places", lambda: {machine_code.digest(text): 4})
    newton = machine_code.machine_newton(text)
    assert newton is not None
    assert newton(*taken) == result, "in Python as long as no machine is there"
    asked = []

    def machine(place: int, address: int) -> None:
        asked.append((place, list(machine_code._memory[: len(list(flat(taken)))])))
        for at, number in enumerate(flat(result)):
            machine_code._memory[at] = number

    machine_code.connect(machine)
    assert newton(*taken) == result
    assert asked == [(4, list(flat(taken)))]
    assert machine_code.machine_newton("another text") is None


@pytest.mark.parametrize("line", ["a = b ** 2.0", "a = b.c", "while b: pass", "a = cos(b)"])
def test_what_the_translator_does_not_know_stops_the_build(line: str) -> None:
    assert ast.parse(line)
    with pytest.raises((KeyError, ValueError)):
        building.module([f"def written_out(b):\n    {line}\n    return 1, b\n"])


def test_what_is_written_means_what_python_means(tmp_path: Path) -> None:
    text = (
        "def written_out(pairs, b, steps):\n"
        "    (p0, q0), (p1, q1),  = pairs\n"
        "    a = max(p0, -q0, 2.0) - min(p1, q1) / sum((p0, q1, b))\n"
        "    for step in range(steps):\n"
        "        a = a + sqrt(abs(b)) * exp(-step) if a > 1.0 or b < 0.0 and q0 != 0.0 else b\n"
        "        if 3.0 < a < 4.0:\n"
        "            return 1, step, [a, b, ]\n"
        "        else:\n"
        "            b = b + 0.5\n"
        "    return 2, steps, [a, b, ]\n"
    )
    words = tmp_path / "words.wat"
    words.write_text(building.module([text]))
    node = ingredients.provide_node()
    program = ingredients.NODE_MODULES / "binaryen" / "bin" / "wasm-as"
    subprocess.run([node, program, words, "-o", tmp_path / "code.wasm"], check=True)
    draws = [[p, 0.7 * p - 1.0, 2.0 - p, 3.0, 0.3 * p, steps] for p in (-3.0, 0.0, 1.5, 8.0) for steps in (0, 1, 6)]
    told = run_in_node(tmp_path / "code.wasm", [(0, draw) for draw in draws])
    function = machine_code.compiled(text)
    for draw, numbers in zip(draws, told, strict=True):
        p0, q0, p1, q1, b, steps = draw
        expected = list(flat(function([(p0, q0), (p1, q1)], b, int(steps))))
        assert numbers[: len(expected)] == pytest.approx(expected, rel=1e-14)
        assert all(map(math.isfinite, numbers[: len(expected)]))


def flat(numbers: Any) -> Iterator[float]:
    """Every number in tuples and lists, in order."""
    if isinstance(numbers, (tuple, list)):
        for each in numbers:
            yield from flat(each)
    else:
        yield float(numbers)

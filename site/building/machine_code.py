"""Machine code of the solver: WebAssembly of what `feedcalc.chemistry` writes out in Python, first guesses and steps.

A text has assignments, ``if``, one loop, and abs, exp, max, min, sqrt and sum of floats. Each becomes the instruction
of the same meaning, in the same order. A function finds what it takes at an address in memory, one number after the
other, and leaves what it returns at the same address. `feedcalc.chemistry.machine_code` calls it so.
"""

from __future__ import annotations

import ast
import json
import subprocess
from collections.abc import Iterator
from pathlib import Path

from building.ingredients import NODE_MODULES, IngredientMissing
from feedcalc.chemistry.machine_code import digest
from feedcalc.liquor.often_solved import texts_often_needed


def texts() -> list[str]:
    """The texts that machine code is made of: first guesses and steps. The rest stays in Python."""
    return [text for kind, _, _, text in texts_often_needed() if kind != "amounts"]


def write(node: Path, folder: Path) -> None:
    """Write ``machine_code.wasm`` and ``machine_code.json``, the digests of its texts, into a folder.

    Raises `IngredientMissing` where wasm-opt fails.
    """
    chosen = texts()
    words = folder / "machine_code.wat"
    words.write_text(module(chosen), encoding="ascii")
    program = NODE_MODULES / "binaryen" / "bin" / "wasm-opt"
    command: list[str | Path] = [node, program, "-O1", words, "-o", folder / "machine_code.wasm"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise IngredientMissing(f"the solver's machine code could not be made.\n{done.stderr}"[-3000:])
    words.unlink()
    (folder / "machine_code.json").write_text(json.dumps([digest(text) for text in chosen]), encoding="ascii")


def module(chosen: list[str]) -> str:
    """WebAssembly, as text, of the functions with these texts behind one: (place, address of the numbers)."""
    cases = "".join(
        f"(if (i32.eq (local.get $place) (i32.const {place})) (then (call $f{place} (local.get $at))))"
        for place in range(len(chosen))
    )
    functions = "\n".join(_Function(text).written(f"$f{place}") for place, text in enumerate(chosen))
    return (
        '(module (import "python" "memory" (memory 1)) '
        '(import "python" "exp" (func $exp (param f64) (result f64)))\n'
        f"{functions}\n"
        f'(func (export "run") (param $place i32) (param $at i32) {cases}))\n'
    )


INSTRUCTIONS: dict[type[ast.AST], str] = {
    ast.Add: "f64.add",
    ast.Sub: "f64.sub",
    ast.Mult: "f64.mul",
    ast.Div: "f64.div",
    ast.Lt: "f64.lt",
    ast.LtE: "f64.le",
    ast.Gt: "f64.gt",
    ast.NotEq: "f64.ne",
    ast.And: "i32.and",
    ast.Or: "i32.or",
}
FUNCTIONS = {"abs": "f64.abs", "sqrt": "f64.sqrt", "exp": "call $exp"}
FOLDED = {"max": "f64.max", "min": "f64.min", "sum": "f64.add"}


class _Function:
    """One text as WebAssembly; anything it does not know is a `KeyError` or a `ValueError` that stops the build."""

    def __init__(self, text: str) -> None:
        (self.function,) = ast.parse(text).body
        self.names: dict[str, None] = {}  # of its variables, in order
        self.size = 0  # numbers taken so far

    def written(self, name: str) -> str:
        """The function, which takes the address of its numbers."""
        assert isinstance(self.function, ast.FunctionDef)
        body = [*self._taken(self.function), *self._statements(self.function.body)]
        variables = " ".join(f"(local ${each} f64)" for each in self.names)
        return f"(func {name} (param $at i32) {variables}\n{chr(10).join(body)})"

    def _taken(self, function: ast.FunctionDef) -> Iterator[str]:
        """Take each argument from memory: what is unpacked into names, one by one, and single numbers."""
        unpacked = {
            statement.value.id: [each.id for each in ast.walk(statement.targets[0]) if isinstance(each, ast.Name)]
            for statement in function.body
            if isinstance(statement, ast.Assign) and isinstance(statement.value, ast.Name)
        }
        read = {each.id for each in ast.walk(function) if isinstance(each, ast.Name)}
        for argument in function.args.args:
            if argument.arg in unpacked or argument.arg in read:
                for name in unpacked.get(argument.arg, [argument.arg]):
                    yield self._set(name, f"(f64.load offset={8 * self.size} (local.get $at))")
                    self.size += 1

    def _set(self, name: str, value: str) -> str:
        self.names[name] = None
        return f"(local.set ${name} {value})"

    def _statements(self, statements: list[ast.stmt]) -> Iterator[str]:
        for statement in statements:
            yield from self._statement(statement)

    def _statement(self, statement: ast.stmt) -> Iterator[str]:
        match statement:
            case ast.Assign(targets=[ast.Tuple()]):
                return  # taken already
            case ast.Assign(targets=[ast.Name(id=name)], value=value):
                yield self._set(name, self._number(value))
            case ast.If(test=test, body=body, orelse=otherwise):
                yield f"(if {self._truth(test)} (then"
                yield from self._statements(body)
                yield ") (else"
                yield from self._statements(otherwise)
                yield "))"
            case ast.For(target=ast.Name(id=counter), iter=ast.Call(args=[ast.Name(id=limit)]), body=body):
                yield self._set(counter, "(f64.const 0)")
                yield f"(block $done (loop $again (br_if $done (f64.ge (local.get ${counter}) (local.get ${limit})))"
                yield from self._statements(body)
                yield self._set(counter, f"(f64.add (local.get ${counter}) (f64.const 1))")
                yield "(br $again)))"
            case ast.Return(value=ast.Tuple(elts=values)):
                place = 0
                for value in values:
                    for each in value.elts if isinstance(value, ast.List) else [value]:
                        yield f"(f64.store offset={8 * place} (local.get $at) {self._number(each)})"
                        place += 1
                yield "(return)"
            case _:
                raise ValueError(ast.unparse(statement))

    def _number(self, expression: ast.expr) -> str:
        match expression:
            case ast.Constant(value=int() | float() as value):
                return f"(f64.const {float(value)!r})"
            case ast.Name(id=name):
                return f"(local.get ${name})"
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return f"(f64.neg {self._number(operand)})"
            case ast.BinOp(left=left, op=operator, right=right):
                return f"({INSTRUCTIONS[type(operator)]} {self._number(left)} {self._number(right)})"
            case ast.IfExp(test=test, body=body, orelse=otherwise):
                return f"(select {self._number(body)} {self._number(otherwise)} {self._truth(test)})"
            case ast.Call(func=ast.Name(id=name), args=[argument]) if name in FUNCTIONS:
                return f"({FUNCTIONS[name]} {self._number(argument)})"
            case ast.Call(func=ast.Name(id=name), args=arguments):
                values = arguments[0].elts if isinstance(arguments[0], ast.Tuple) else arguments
                return self._folded(FOLDED[name], [self._number(each) for each in values])
            case _:
                raise ValueError(ast.unparse(expression))

    def _truth(self, expression: ast.expr) -> str:
        match expression:
            case ast.BoolOp(op=operator, values=values):
                return self._folded(INSTRUCTIONS[type(operator)], [self._truth(each) for each in values])
            case ast.Compare(left=left, ops=operators, comparators=others):
                pairs = zip([left, *others], operators, others, strict=False)
                truths = [f"({INSTRUCTIONS[type(op)]} {self._number(a)} {self._number(b)})" for a, op, b in pairs]
                return self._folded("i32.and", truths)
            case _:
                raise ValueError(ast.unparse(expression))

    def _folded(self, instruction: str, values: list[str]) -> str:
        """The instruction for two values, from the left over all of them."""
        folded = values[0]
        for value in values[1:]:
            folded = f"({instruction} {folded} {value})"
        return folded

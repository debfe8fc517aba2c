"""How Jinja turns the output of an HTML template into Python: one call of ``environment.as_html`` for each value.

Jinja's own code calls ``finalize``, ``escape`` and the constructor of `markupsafe.Markup` for each, which took a
fourth of the time of an answer in the page. Where the templates are compiled already, nothing imports this module.
"""

from __future__ import annotations

from typing import Any

from jinja2.compiler import CodeGenerator, Frame
from jinja2.nodes import Expr


class HtmlCodeGenerator(CodeGenerator):
    """A code generator for an environment that has a function ``as_html``."""

    def _output_child_pre(self, node: Expr, frame: Frame, finalize: Any) -> None:
        if frame.eval_ctx.autoescape and not frame.eval_ctx.volatile:
            self.write("(environment.as_html(")
        else:
            super()._output_child_pre(node, frame, finalize)

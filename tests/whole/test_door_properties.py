"""Any combination of sensible answers gives complete, ordered figures or a refusal by field."""

from __future__ import annotations

import math
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from feedcalc.contract.fields import REQUEST_FIELDS, Field
from tests.asking import every_figure, reply_to
from tests.examples import examples

# A unit of each kind of amount, with the span that is tried where the field itself sets none.
UNITS = {
    "mass_or_volume": ("g", 0.1, 5000),
    "volume": ("L", 0.01, 1000),
    "temperature": ("degC", 0, 45),
    "length": ("m", 0.03, 3),
    "time": ("h", 0.02, 1000),
    "area": ("m^2", 0.01, 1e5),
    "concentration": ("mg/L", 0, 3000),
    "hardness": ("mg/L", 0, 3000),
    "alkalinity": ("mg/L", 0, 3000),
    "conductivity": ("mS/cm", 0.01, 100),
    "mass_fraction": ("g/kg", 0, 600),
    "density": ("g/mL", 0.1, 1.5),
    "strength": ("%", 0.1, 100),
    "ph": ("", 0, 14),
}


def sensible(field: Field) -> st.SearchStrategy[Any]:
    """Return a strategy for answers to a field."""
    if field.choices:
        return st.sampled_from(field.choices)
    if field.kind not in UNITS:
        return st.nothing()
    unit, low, high = UNITS[field.kind]
    if field.kind != "strength":
        low = low if field.minimum is None else field.minimum
        high = high if field.maximum is None else min(field.maximum, max(high, field.minimum or 0))
    return st.floats(low, high).map(lambda amount: f"{amount:.5f} {unit}".strip())


ANSWERS = {
    field.path: sensible(field)
    for field in REQUEST_FIELDS
    if (field.choices or field.kind in UNITS) and field.path != "ranges"
}
CANS = st.lists(
    st.builds(lambda size, count: {"size": f"{size:.3f} L", "count": count}, st.floats(0.05, 300), st.integers(1, 9)),
    max_size=3,
)


def as_request(answers: dict[str, Any]) -> dict[str, Any]:
    request: dict[str, Any] = {}
    for path, answer in answers.items():
        *groups, name = path.split(".")
        place = request
        for group in groups:
            place = place.setdefault(group, {})
        place[name] = answer
    return request


some_answers = st.lists(st.sampled_from(sorted(ANSWERS)), max_size=10, unique=True).flatmap(
    lambda paths: st.fixed_dictionaries({path: ANSWERS[path] for path in paths})
)


@examples(120)
@given(some_answers, CANS, st.none() | st.floats(0, 900).map(lambda parts: f"1:{parts:.3f}"))
def test_sensible_answers_in_any_combination_give_ordered_figures_or_a_named_fault(answers, cans, dilution):
    reply = reply_to(as_request(answers), cans=cans, dilution=dilution)
    if not reply["ok"]:
        assert all(error["field"] != "feedcalc" for error in reply["errors"]), reply["errors"]
        return
    for path, figure in every_figure(reply["values"]):
        assert math.isfinite(figure["value"]), path
        assert figure["low"] <= figure["value"] <= figure["high"], path
        assert figure["low"] >= 0 or path.rsplit(".", 1)[-1] in ("ph", "alkalinity", "lime_value"), path
    for can in reply["values"].get("batch", {}).get("cans", ()):  # a batch is not always what is asked for
        assert can["liquor"]["value"] <= can["size"]["value"]

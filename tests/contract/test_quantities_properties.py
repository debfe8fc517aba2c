"""Properties of every quantity: written text is read as the same quantity, and no input causes an exception."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from feedcalc.contract.numbers import read_number, write_number
from feedcalc.contract.quantities import read_dilution, read_quantity, write_quantity
from feedcalc.contract.units import QUANTITY_KINDS, converted
from feedcalc.words.errors import InputError
from tests.examples import examples

LOCALES = ("en-GB", "en-US", "en-AU", "en-IN", "de-DE", "fr-FR", "es-ES", "pt-PT", "pt-BR", "hi-IN")
CUSTOMS = ("us", "metric", "uk")
locales = st.sampled_from(LOCALES)
customs = st.sampled_from(CUSTOMS)
WRITABLE = [
    (kind.name, unit) for kind in QUANTITY_KINDS.values() for unit in kind.units if not unit.startswith("?")
] + [("concentration", "mg/us_gal"), ("density", "g/us_cup"), ("density", "g/mL"), ("mass_fraction", "mg/kg")]


@st.composite
def written_quantities(draw):
    kind_name, unit = draw(st.sampled_from(WRITABLE))
    kind = QUANTITY_KINDS[kind_name]
    if kind.whole:
        value, figures = float(draw(st.integers(0, 10**9))), 10
    else:
        value, figures = draw(st.floats(1e-6, 1e9)), draw(st.integers(1, 12))
        if math.isfinite(kind.highest):
            value = converted(kind.highest, kind.base_unit, unit) * draw(st.floats(1e-6, 0.9))
        if kind_name == "temperature" and draw(st.booleans()):
            value = -min(value, 200.0) if unit != "K" else value
    return kind_name, unit, value, figures, draw(locales), draw(customs)


@given(written_quantities())
@examples(400)
def test_a_written_quantity_is_read_as_the_same_quantity(case):
    kind, unit, value, figures, locale, customs_name = case
    printed = write_quantity(value, unit, figures, locale, trim=QUANTITY_KINDS[kind].whole)
    read = read_quantity(printed, kind, "x", locale, customs_name)
    shown = float(f"{value:.{figures - 1}e}")
    assert read.value == pytest.approx(converted(shown, unit, read.unit), rel=1e-14, abs=1e-12)


@given(st.floats(-1e15, 1e15), st.integers(1, 15), locales)
@examples(300)
def test_a_written_number_is_read_as_the_same_number(value, figures, locale):
    shown = float(f"{value:.{figures - 1}e}")
    if abs(shown) > 1e15:
        shown = math.copysign(1e15, shown)
        value = shown
    assert read_number(write_number(value, figures, locale), "x", locale) == (shown if abs(shown) >= 1e-30 else 0)


@given(st.floats(1e-20, 1e14), st.integers(1, 12), locales)
@examples(200)
def test_no_more_significant_figures_are_written_than_requested(value, figures, locale):
    text = write_number(value, figures, locale)
    significant = "".join(c for c in text.split("e")[0] if c.isdigit()).lstrip("0")
    if "," not in text and "." not in text:
        significant = significant.rstrip("0")
    assert len(significant) <= figures


@st.composite
def numbers_as_typed(draw):
    """A number and one of the usual ways to type it in a locale."""
    locale = draw(locales)
    mark = "." if locale[:2] in ("en", "hi") else ","
    whole, decimals = draw(st.integers(0, 10**9)), draw(st.sampled_from(["", "5", "25", "125", "0625"]))
    groupings = [" ", "\u00a0", "\u202f", "\u2009", "'", "\u2019"]
    if mark == ".":
        groupings.append(",")
    elif decimals or whole >= 10**6:
        groupings.append(".")
    text = str(whole)
    if draw(st.booleans()):
        text = f"{whole:,}".replace(",", draw(st.sampled_from(groupings)))
    return locale, text + (mark + decimals if decimals else ""), float(f"{whole}.{decimals or 0}")


@given(numbers_as_typed())
@examples(400)
def test_every_usual_way_to_type_a_number_in_its_locale_is_read(case):
    locale, text, number = case
    assert read_number(text, "x", locale) == number


@given(numbers_as_typed(), locales)
@examples(400)
def test_a_number_in_the_form_of_another_locale_is_correct_echoed_or_refused(case, locale):
    """It is never silently a thousand times too large or too small."""
    _, text, number = case
    try:
        read = read_quantity(f"{text} g", "mass", "x", locale)
    except InputError:
        return
    assert read.value == number or read.echo or _own_decimals(text, locale)


def _own_decimals(text, locale):
    """Return whether the text is a plain decimal in the locale, such as 1.234 in Britain."""
    mark = "." if locale[:2] in ("en", "hi") else ","
    return text.count(mark) == 1 and not any(other in text for other in ".,' \u00a0\u202f\u2009\u2019" if other != mark)


@given(st.integers(0, 99), st.integers(1, 99), st.integers(2, 99), st.sampled_from([" ", "-"]))
def test_typed_fractions_are_exact(whole, above, below, join):
    if above >= below:
        whole, above = 0, above
    text = f"{whole}{join}{above}/{below}" if whole else f"{above}/{below}"
    assert read_number(text, "x") == pytest.approx(float(whole + Fraction(above, below)), rel=1e-15)


SPELLINGS = {spelling for kind in QUANTITY_KINDS.values() for words in kind.units.values() for spelling in words}
PIECES = [
    *"0123456789.,'/:+-eE%°\"½¼⅓²µ−–_()^·\u202f\u00a0\u0660\u0966\x00\ud800",
    *("1/2", "1,234", "1e9", "nan", "inf", "0x1", " "),
    *sorted(SPELLINGS),
]
hostile_text = st.one_of(st.text(max_size=120), st.lists(st.sampled_from(PIECES), max_size=12).map("".join))
hostile = st.one_of(
    hostile_text,
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
        max_leaves=5,
    ),
    st.binary(max_size=10),
    st.integers(10**400, 10**401),
)


def outcome_of(reader, *arguments):
    """Return the result or the refusal of a reader; any other exception fails the test."""
    try:
        return reader(*arguments), None
    except InputError as error:
        return None, error


@given(hostile, st.sampled_from(list(QUANTITY_KINDS)), st.sampled_from((*LOCALES, "xx", "", None)), customs)
@examples(1500)
@example("1" * 100 + "e9", "volume", "en-GB", "us")
@example("٣٫٥ L", "volume", "en-GB", "us")
@example("5 " + "/" * 90, "concentration", "en-GB", "us")
@example("5 cup/cup", "density", "en-GB", "us")
@example("5 g/pint", "density", "en-GB", "metric")
@example("²", "volume", "en-GB", "us")
@example("৴ g", "mass", "en-GB", "us")
def test_any_input_gives_a_valid_quantity_or_a_refusal(given_value, kind, locale, customs_name):
    read, error = outcome_of(read_quantity, given_value, kind, "x", locale, customs_name)
    if error:
        assert error.field == "x"
        assert error.problem.endswith(".")
        assert error.accepted
        assert len(error.given) <= 60
        error.given.encode("utf-8")
        return
    base_units = {QUANTITY_KINDS[name].base_unit for name in (kind, "volume" if kind == "mass_or_volume" else kind)}
    assert math.isfinite(read.value)
    assert read.unit in base_units
    assert QUANTITY_KINDS[read.kind].lowest <= read.value <= QUANTITY_KINDS[read.kind].highest


@given(hostile, st.sampled_from((*LOCALES, "xx")))
@examples(500)
def test_any_input_gives_a_valid_number_or_dilution_or_a_refusal(given_value, locale):
    for reader in (read_number, read_dilution):
        read, error = outcome_of(reader, given_value, "x", locale)
        assert error.problem.endswith(".") if error else math.isfinite(read)


@given(st.sampled_from(sorted(QUANTITY_KINDS)), st.data())
@examples(300)
def test_spellings_of_a_unit_agree_in_any_case_and_spacing(kind, data):
    units = [unit for unit in QUANTITY_KINDS[kind].units if not unit.startswith("?")]
    unit = data.draw(st.sampled_from(units))
    spelling = data.draw(st.sampled_from(QUANTITY_KINDS[kind].units[unit]))
    spoken = data.draw(
        st.sampled_from([spelling, spelling.upper(), spelling.capitalize(), spelling.replace(" ", "  ")])
    )
    gap = data.draw(st.sampled_from(["", " ", "\u00a0", "\t"]))
    number = 0.5 if QUANTITY_KINDS[kind].highest <= 1 else 1
    read = read_quantity(f"{number}{gap}{spoken}", kind, "x")
    assert read.value == pytest.approx(converted(number, unit, read.unit))

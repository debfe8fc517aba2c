"""Cells of a CSV file that a spreadsheet would take for formulas, and the way back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc.contract.spreadsheet import guarded, is_formula, unguarded

FORMULAS = [
    *("=1+1", " =1+1", "\t=1", "\u00a0=1", "\u2003=1", "\u3000=1", "\ufeff=1", "\u200b=1", "\x00=1"),
    *("＝1+1", "＋1+1", "－2+3", "＠SUM(A1)", " ＝1", "﹢1+1", "﹣2+3", "﹦1"),
    *("+1+1", "-2+3", "@SUM(A1)", "\ttext", "\rtext", "\ntext", "+cmd|' /C calc'!A0", "-", "=", "－3.5", "-3.5+A1"),
]
NO_FORMULAS = ["", " ", "oak", "-3.5", "+3", "-.5", "-1e-3", "-1,234.5", " -3.5 ", "5 - 6", "a=b", "'quoted", "it's"]


@pytest.mark.parametrize("text", FORMULAS)
def test_a_formula_gets_one_apostrophe(text):
    assert is_formula(text)
    assert guarded(text) == guarded(text, reversible=True) == "'" + text


@pytest.mark.parametrize("text", NO_FORMULAS)
def test_other_texts_and_plain_numbers_stay_as_they_are(text):
    assert not is_formula(text)
    assert guarded(text) == text


@pytest.mark.parametrize("text", ["-3.5", "+3", "'quoted", "''", " 'quoted"])
def test_signed_numbers_and_quoted_texts_are_guarded_if_they_are_read_back(text):
    assert guarded(text, reversible=True) == "'" + text


@pytest.mark.parametrize(("cell", "text"), [("'=1", "=1"), ("''=1", "'=1"), ("'-3.5", "-3.5"), ("'oak", "'oak")])
def test_reading_back_takes_off_exactly_one_apostrophe_that_the_guard_added(cell, text):
    assert unguarded(cell) == text


@given(st.text(alphabet=st.one_of(st.sampled_from("'=+-@＝－ \t\n\r\u00a01a"), st.characters()), max_size=5))
def test_every_text_comes_back_from_its_cell(text):
    cell = guarded(text, reversible=True)
    assert unguarded(cell) == text
    assert not is_formula(cell)
    assert not is_formula(guarded(text))

"""Reading and writing of numbers, quantities and dilutions, with the exact words of echoes and refusals."""

from __future__ import annotations

import math
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import feedcalc
from feedcalc.contract.numbers import read_number, write_number
from feedcalc.contract.quantities import read_dilution, read_quantity, read_with_likely_unit, write_quantity
from feedcalc.contract.units import CUSTOMS, QUANTITY_KINDS, converted
from feedcalc.words.errors import InputError
from tests.asking import values_of

VOLUME = QUANTITY_KINDS["volume"].accepted
NARROW, FIXED = "\u202f", "\u00a0"


def refusal(given, kind="volume", **settings):
    with pytest.raises(InputError) as caught:
        read_quantity(given, kind, "water.amount", **settings)
    return caught.value


# Numbers


@pytest.mark.parametrize(
    ("text", "locale", "number"),
    [
        ("5", "en-GB", 5),
        ("2.5", "en-GB", 2.5),
        ("2,5", "en-GB", 2.5),
        ("2,5", "de-DE", 2.5),
        ("0,125", "en-GB", 0.125),
        ("0.125", "de-DE", 0.125),
        ("1,234", "en-GB", 1234),
        ("1,234", "hi-IN", 1234),
        ("1,234", "de-DE", 1.234),
        ("1,234", "fr-FR", 1.234),
        ("1.234", "en-US", 1.234),
        ("1234,567", "en-GB", 1234.567),
        ("1.234,5", "de-DE", 1234.5),
        ("1,234.5", "de-DE", 1234.5),
        ("1,234,567", "de-DE", 1234567),
        ("1.234.567", "en-GB", 1234567),
        ("1,00,000", "en-IN", 100000),
        ("12,34,567.5", "hi-IN", 1234567.5),
        ("1 000", "en-GB", 1000),
        ("1\u202f000,5", "fr-FR", 1000.5),
        ("1\u00a0000", "de-DE", 1000),
        ("1\u2009000", "de-DE", 1000),
        ("1'000", "de-DE", 1000),
        ("1\u2019000.5", "de-DE", 1000.5),
        (".5", "en-GB", 0.5),
        (",5", "de-DE", 0.5),
        ("1/2", "en-GB", 0.5),
        ("1 1/2", "en-GB", 1.5),
        ("1-1/2", "en-US", 1.5),
        ("1\u20442", "en-GB", 0.5),
        ("½", "en-GB", 0.5),
        ("1½", "en-GB", 1.5),
        ("2 ¼", "en-GB", 2.25),
        ("⅓", "en-GB", 1 / 3),
        ("⅞", "en-GB", 0.875),
        ("11/2", "en-GB", 5.5),
        ("1e3", "en-GB", 1000),
        ("1.5E-3", "en-GB", 0.0015),
        ("2,5e2", "de-DE", 250),
        ("-5", "en-GB", -5),
        ("\u22125", "en-GB", -5),
        ("+5", "en-GB", 5),
        ("५", "hi-IN", 5),
        ("१२.५", "hi-IN", 12.5),
        ("１２", "en-GB", 12),
        ("  7  ", "en-GB", 7),
        ("007", "en-GB", 7),
    ],
)
def test_a_number_is_read_by_the_customs_of_its_locale(text, locale, number):
    assert read_number(text, "x", locale) == pytest.approx(number, rel=1e-15)


@pytest.mark.parametrize("number", [3, 2.5, 0, -4.0])
def test_a_json_number_is_read_unchanged(number):
    assert read_number(number, "x") == number


@pytest.mark.parametrize(
    ("text", "locale", "problem", "accepted"),
    [
        (
            "1.234",
            "de-DE",
            "The mark in 1.234 could separate thousands or decimals.",
            "1234 or 1,234, whichever you mean",
        ),
        (
            "1.234",
            "fr-FR",
            "The mark in 1.234 could separate thousands or decimals.",
            "1234 or 1,234, whichever you mean",
        ),
        (
            "1,234",
            "sv-SE",
            "The mark in 1,234 could separate thousands or decimals.",
            "1234 or 1.234, whichever you mean",
        ),
    ],
)
def test_a_number_with_two_readings_is_refused_with_both(text, locale, problem, accepted):
    with pytest.raises(InputError) as caught:
        read_number(text, "x", locale)
    assert (caught.value.problem, caught.value.accepted) == (problem, accepted)


ONE_NUMBER = "one number such as 5, 2.5 or 1 1/2"


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "There is nothing here."),
        ("   ", "There is nothing here."),
        (None, "There is nothing here."),
        (True, "This is not text."),
        ([1], "This is not text."),
        ({"value": 1}, "This is not text."),
        (b"5", "This is not text."),
        ("nan", "There is no number here."),
        ("inf", "There is no number here."),
        ("-inf", "There is no number here."),
        ("∞", "There is no number here."),
        ("five", "There is no number here."),
        ("about 5", "This does not start with a number."),
        ("~5", "This does not start with a number."),
        ("--5", "This does not start with a number."),
        ("0x10", 'The unit "x10" is not known here.'),
        ("0b1", 'The unit "b1" is not known here.'),
        ("5_000", 'The unit "_000" is not known here.'),
        ("5 L", 'The unit "L" is not known here.'),
        ("5-10", "There is more than one number here."),
        ("5 – 10", "There is more than one number here."),
        ("5 10", "There is more than one number here."),
        ("5; 10", "There is more than one number here."),
        ("5±1", "There is more than one number here."),
        ("1 3/2", "There is more than one number here."),
        ("1 2/2", "There is more than one number here."),
        ("1 000/2", "There is more than one number here."),
        ("2½5", "There is more than one number here."),
        ("½½", "There is more than one number here."),
        ("1/2/3", "There is more than one number here."),
        ("1,5 1/2", "There is more than one number here."),
        ("1/0", "This divides by zero."),
        ("5.", "There are no digits after the decimal mark."),
        ("5,", "There are no digits after the decimal mark."),
        ("1,2,3", "The digits are not grouped evenly."),
        ("12.34.567", "The digits are not grouped evenly."),
        ("1.234.56", "The digits are not grouped evenly."),
        ("1,234.5.6", "This has more than one decimal mark."),
        ("1e400", "The exponent is far too large."),
        ("1e-400", "The exponent is far too large."),
        ("1e31", "The exponent is far too large."),
        ("1e99999999999999999999", "The exponent is far too large."),
        ("1e20", "This number is far too large."),
        (1e300, "This number is far too large."),
        pytest.param(10**5000, "This number is far too large.", id="ten to the 5000th"),
        (math.inf, "This number is far too large."),
        (math.nan, "This is not a number."),
        ("5\x00", "There is a character here that can't be read."),
        ("5\u200b", "There is a character here that can't be read."),
        ("\ud8005", "There is a character here that can't be read."),
        ("5\n6", "There is a character here that can't be read."),
        ("५5", "This mixes the digits of two scripts."),
        ("1" * 101, "This is longer than 100 characters."),
    ],
)
def test_text_that_is_not_one_clear_number_is_refused_with_the_reason(text, problem):
    with pytest.raises(InputError) as caught:
        read_number(text, "x")
    assert (caught.value.problem, caught.value.accepted) == (problem, ONE_NUMBER)


def test_the_longest_text_and_the_largest_number_are_read():
    assert read_number("0" * 99 + "7", "x") == 7
    assert read_number("1e15", "x") == 1e15


def test_a_refusal_shows_the_given_text_shortened_and_cleaned():
    with pytest.raises(InputError) as caught:
        read_number("\x07" * 40 + "9" * 55, "x")
    assert caught.value.given == "\ufffd" * 40 + "9" * 19 + "…"


# Quantities


@pytest.mark.parametrize(
    ("text", "kind", "value", "unit"),
    [
        ("5 L", "volume", 5, "L"),
        ("9 l", "volume", 9, "L"),
        ("5l", "volume", 5, "L"),
        ("750 ml", "volume", 0.75, "L"),
        ("750 mls.", "volume", 0.75, "L"),
        ("2 gal (UK)", "volume", 9.09218, "L"),
        ("2 UK gallons", "volume", 9.09218, "L"),
        ("2 imperial gallons", "volume", 9.09218, "L"),
        ("2 imp. gal.", "volume", 9.09218, "L"),
        ("1 us_gal", "volume", 3.785411784, "L"),
        ("1 metric_cup", "volume", 0.25, "L"),
        ("0.01 m³", "volume", 10, "L"),
        ("250 g", "mass", 250, "g"),
        ("1,5 kg", "mass", 1500, "g"),
        ("1 1/2 lbs", "mass", 680.388555, "g"),
        ("30 cm", "length", 0.3, "m"),
        ('12"', "length", 0.3048, "m"),
        ("12″", "length", 0.3048, "m"),
        ("5'", "length", 1.524, "m"),
        ("2 µm", "length", 2e-6, "m"),
        ("4 m^2", "area", 4, "m^2"),
        ("4 m²", "area", 4, "m^2"),
        ("4 sq. m", "area", 4, "m^2"),
        ("४ m2", "area", 4, "m^2"),
        ("0.1 ha", "area", 1000, "m^2"),
        ("24 h", "time", 24, "h"),
        ("1½ hours", "time", 1.5, "h"),
        ("2 days", "time", 48, "h"),
        ("15 degC", "temperature", 15, "degC"),
        ("15 °C", "temperature", 15, "degC"),
        ("15 º C", "temperature", 15, "degC"),
        ("15℃", "temperature", 15, "degC"),
        ("59 F", "temperature", 15, "degC"),
        ("−5 °C", "temperature", -5, "degC"),
        ("288.15 K", "temperature", 15, "degC"),
        ("2 g/L", "concentration", 2000, "mg/L"),
        ("2 mg per litre", "concentration", 2, "mg/L"),
        ("5 mg L⁻¹", "concentration", 5, "mg/L"),
        ("5 mg·L-1", "concentration", 5, "mg/L"),
        ("5 %", "mass_fraction", 50, "g/kg"),
        ("1200 mg/kg", "mass_fraction", 1.2, "g/kg"),
        ("11.2 °dH", "hardness", 199.8971, "mg/L as CaCO3"),
        ("11.2 dGH", "hardness", 199.8971, "mg/L as CaCO3"),
        ("2 mmol/L", "hardness", 200.172, "mg/L as CaCO3"),
        ("20 °fH", "hardness", 200, "mg/L as CaCO3"),
        ("14 Clark", "hardness", 199.5527, "mg/L as CaCO3"),
        ("12 grains per US gallon", "hardness", 205.4167, "mg/L as CaCO3"),
        ("200 mg/L as CaCO3", "hardness", 200, "mg/L as CaCO3"),
        ("183 mg/L HCO₃⁻", "alkalinity", 150.0896, "mg/L as CaCO3"),
        ("3 meq/L", "alkalinity", 150.129, "mg/L as CaCO3"),
        ("3 mmol/L", "alkalinity", 150.129, "mg/L as CaCO3"),
        ("8.4 °dKH", "alkalinity", 149.9229, "mg/L as CaCO3"),
        ("4200 µS/cm", "conductivity", 4.2, "mS/cm"),
        ("4200 uS/cm", "conductivity", 4.2, "mS/cm"),
        ("4.2 dS m-1", "conductivity", 4.2, "mS/cm"),
        ("420 mS/m", "conductivity", 4.2, "mS/cm"),
        ("0.42 S/m", "conductivity", 4.2, "mS/cm"),
        ("6,2", "ph", 6.2, "1"),
        ("pH 6.2", "ph", 6.2, "1"),
        (7, "ph", 7, "1"),
        ("25 %", "fraction", 0.25, "1"),
        ("5 %", "strength", 0.05, "1"),
        ("50 g/L", "strength", 0.05, "1"),
        ("5 % w/v", "strength", 0.05, "1"),
        ("450 g/L", "density", 0.45, "g/mL"),
        ("107 g/us_cup", "density", 0.4522626, "g/mL"),
        ("2", "count", 2, "1"),
        (3.0, "count", 3, "1"),
    ],
)
def test_a_quantity_is_converted_to_the_base_unit_of_its_kind(text, kind, value, unit):
    quantity = read_quantity(text, kind, "x")
    assert (quantity.value, quantity.unit, quantity.kind) == (pytest.approx(value, rel=1e-6), unit, kind)


@pytest.mark.parametrize(
    ("text", "kind", "unit"), [("250 g", "mass", "g"), ("1 us_cup", "volume", "L"), ("8 oz", "mass", "g")]
)
def test_ash_can_be_given_by_weight_or_by_volume(text, kind, unit):
    quantity = read_quantity(text, "mass_or_volume", "ash.amount")
    assert (quantity.kind, quantity.unit) == (kind, unit)


@pytest.mark.parametrize(
    ("text", "kind", "locale", "customs", "echo"),
    [
        ("1 cup", "volume", "en-US", "us", f"236.588{FIXED}mL (US cup)"),
        ("1 cup", "volume", "de-DE", "us", f"236,588{FIXED}mL (US cup)"),
        ("1 cup", "volume", "en-AU", "metric", f"250{FIXED}mL (metric cup)"),
        ("1 cup", "volume", "en-GB", "uk", f"284.131{FIXED}mL (UK cup)"),
        ("2 gallons", "volume", "en-GB", "uk", f"9.09218{FIXED}L (UK gal)"),
        ("2 gallons", "volume", "en-US", "us", f"7.57082{FIXED}L (US gal)"),
        ("1 tbsp", "volume", "en-AU", "metric", f"20{FIXED}mL (AU tbsp)"),
        ("1 tbsp", "volume", "fr-FR", "metric", f"15{FIXED}mL (metric tbsp)"),
        ("1 us_cup", "volume", "en-US", "us", ""),
        ("8 oz", "mass_or_volume", "en-US", "us", f"226.796{FIXED}g (ounce by weight)"),
        ("500 ML", "volume", "en-GB", "uk", f"500{FIXED}mL"),
        ("5 Mg", "mass", "en-GB", "uk", f"5{FIXED}mg"),
        ("2 500 ml", "volume", "en-GB", "uk", f"2500{FIXED}mL"),
        ("1,234 ml", "volume", "en-GB", "uk", f"1234{FIXED}mL"),
        ("2,5 L", "volume", "en-GB", "uk", f"2.5{FIXED}L"),
        ("2,5 L", "volume", "de-DE", "metric", ""),
        ("200 ppm", "hardness", "en-GB", "uk", f"200{FIXED}mg/L as CaCO3"),
        ("200 mg/L", "alkalinity", "en-GB", "uk", f"200{FIXED}mg/L as CaCO3"),
        ("20 ppm", "concentration", "en-GB", "uk", f"20{FIXED}mg/L"),
        ("1200 ppm", "mass_fraction", "en-GB", "uk", f"1200{FIXED}mg/kg"),
        ("107 g/cup", "density", "en-US", "us", f"107{FIXED}g/US cup"),
        ("50 g/L", "strength", "en-GB", "uk", f"5{FIXED}% (if 1 L weighs 1 kg)"),
        ("5 L", "volume", "en-GB", "uk", ""),
        ("1 1/2 L", "volume", "en-US", "us", ""),
        ("1-1/2 L", "volume", "en-US", "us", f"1.5{FIXED}L"),
        ("5 Metres", "length", "en-GB", "uk", ""),
        ("5 Min", "time", "en-GB", "uk", ""),
        ("4 cups", "volume", "en-AU", "metric", f"1{FIXED}L (metric cup)"),
    ],
)
def test_an_ambiguous_reading_is_echoed(text, kind, locale, customs, echo):
    assert read_quantity(text, kind, "x", locale, customs).echo == echo


@pytest.mark.parametrize(
    ("text", "kind", "locale", "customs", "value", "echo"),
    [
        ("9", "volume", "en-GB", "uk", 9.0, f"9{FIXED}L"),
        ("2,5", "volume", "de-DE", "metric", 2.5, f"2,5{FIXED}L"),
        ("1 1/2", "volume", "en-US", "us", 5.678, f"1.5{FIXED}gal"),
        ("12", "length", "en-US", "us", 0.3048, f"12{FIXED}in"),
        ("12", "temperature", "fr-FR", "metric", 12.0, f"12{FIXED}°C"),
        ("4.2", "conductivity", "en-GB", "uk", 4.2, f"4.2{FIXED}mS/cm"),
        ("4200", "conductivity", "en-US", "us", 4.2, f"4200{FIXED}µS/cm"),
    ],
)
def test_a_number_alone_takes_the_likely_unit_where_that_is_asked_for(text, kind, locale, customs, value, echo):
    read = read_with_likely_unit(text, kind, "x", locale, customs)
    assert read.value == pytest.approx(value, rel=1e-3)
    assert read.echo == echo
    assert read_quantity(echo, kind, "x", locale, customs).value == pytest.approx(read.value, rel=1e-4)


def test_no_likely_unit_stands_in_for_a_weight_and_none_makes_nonsense_readable():
    for text, kind in (("5", "mass_or_volume"), ("9 crates", "volume"), ("nine", "volume"), ("-9", "volume")):
        with pytest.raises(InputError):
            read_with_likely_unit(text, kind, "x")


@pytest.mark.parametrize(
    ("given", "kind", "problem", "accepted"),
    [
        ("5", "volume", "The unit is missing.", VOLUME),
        (5, "volume", "The unit is missing.", VOLUME),
        ("L", "volume", "There is no number here.", VOLUME),
        ("-5 L", "volume", "This is below zero.", VOLUME),
        ("nan L", "volume", "There is no number here.", VOLUME),
        ("5 kg", "volume", 'The unit "kg" is not known here.', VOLUME),
        ("5 furlongs", "volume", 'The unit "furlongs" is not known here.', VOLUME),
        ("5 L 3", "volume", "There is more than one number here.", VOLUME),
        ("5² L", "volume", 'The unit "² L" is not known here.', VOLUME),
        ("5 oz", "volume", "An ounce is a weight; write fl oz for a fluid ounce.", VOLUME),
        ("30 m", "time", "The letter m could be minutes or months.", QUANTITY_KINDS["time"].accepted),
        (
            "800 ppm",
            "conductivity",
            f"Pens show ppm on two scales: this is 1.14{FIXED}mS/cm on the 700 scale "
            f"and 1.6{FIXED}mS/cm on the 500 scale.",
            "800 ppm 500 or 800 ppm 700, as the pen or its leaflet says",
        ),
        (
            "5 °dKH",
            "hardness",
            "Degrees of carbonate hardness (KH) do not say how hard water is. They say how much alkalinity is in it.",
            QUANTITY_KINDS["hardness"].accepted,
        ),
        ("15", "temperature", "The unit is missing.", "a temperature such as 15 °C, 15 degC or 59 °F"),
        (
            "-300 °C",
            "temperature",
            f"This is less than −273.15{FIXED}°C.",
            "a temperature such as 15 °C, 15 degC or 59 °F",
        ),
        ("15", "ph", "This is more than 14.", "a pH from 0 to 14 such as 6.5"),
        ("5", "strength", "This is more than 1.", "a strength such as 5 % or 50 g/L"),
        ("1.5", "fraction", "This is more than 1.", "a share from 0 to 1 such as 0.25, or 25 %"),
        ("2.5", "count", "This is not a whole number.", "a whole number such as 2"),
        (
            "2000 g/kg",
            "mass_fraction",
            f"This is more than 1000{FIXED}g/kg.",
            "a share by weight such as 50 g/kg, 5 % or 1200 mg/kg",
        ),
    ],
)
def test_a_refusal_says_what_is_wrong_and_what_is_accepted(given, kind, problem, accepted):
    error = refusal(given, kind)
    assert (error.field, error.problem, error.accepted) == ("water.amount", problem, accepted)


def test_a_pint_in_a_metric_country_is_refused():
    error = refusal("1 pint", customs="metric")
    assert error.problem == "A pint differs by country."
    assert error.accepted == "litres or millilitres, US pint or UK pint"


@pytest.mark.parametrize(
    ("given", "kind", "bounds", "problem", "accepted"),
    [
        (
            "20 L",
            "volume",
            {"minimum": 0.01, "maximum": 10},
            f"This is more than 10{FIXED}L.",
            f"0.01{FIXED}L to 10{FIXED}L",
        ),
        (
            "1 mL",
            "volume",
            {"minimum": 0.01, "maximum": 10},
            f"This is less than 0.01{FIXED}L.",
            f"0.01{FIXED}L to 10{FIXED}L",
        ),
        ("0 L", "volume", {"minimum": 0.01}, f"This is less than 0.01{FIXED}L.", f"at least 0.01{FIXED}L"),
        ("60 °C", "temperature", {"maximum": 45}, f"This is more than 45{FIXED}°C.", f"at most 45{FIXED}°C"),
        ("50 °F", "temperature", {"minimum": 15}, f"This is less than 15{FIXED}°C.", f"at least 15{FIXED}°C"),
    ],
)
def test_bounds_are_shown_in_the_base_unit_of_the_kind(given, kind, bounds, problem, accepted):
    error = refusal(given, kind, **bounds)
    assert (error.problem, error.accepted) == (problem, accepted)


def test_a_value_on_a_bound_is_accepted():
    assert read_quantity("10 L", "volume", "x", minimum=10, maximum=10).value == 10


def test_bounds_in_a_comma_locale_are_written_with_a_comma():
    assert refusal("5 mL", minimum=0.01, locale="de-DE").problem == f"This is less than 0,01{FIXED}L."


@pytest.mark.parametrize(("kind", "customs"), [("weight", "us"), ("volume", "french")])
def test_an_unknown_kind_or_customs_raises(kind, customs):
    with pytest.raises(ValueError, match="unknown kind or customs"):
        read_quantity("1 L", kind, "x", customs=customs)


def test_bounds_on_a_weight_or_volume_raise():
    with pytest.raises(ValueError, match="mass_or_volume has two"):
        read_quantity("1 L", "mass_or_volume", "x", minimum=1)


# Dilutions


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("1:3", 3),
        ("1 : 3", 3),
        ("1∶3", 3),
        ("1：3", 3),
        ("1 to 3", 3),
        ("1+3", 3),
        ("2:5", 2.5),
        ("1:2,5", 2.5),
        ("1:0", 0),
        ("½:5", 10),
        ("2:2", 1),
        ("1:0.5", 0.5),
        ("1:10000", 10000),
    ],
)
def test_a_dilution_is_the_parts_of_water_to_one_part_of_liquor(text, parts):
    assert read_dilution(text, "dilution") == pytest.approx(parts)


@pytest.mark.parametrize(
    ("given", "problem"),
    [
        ("1/3", "Say how much is liquor and how much is water."),
        ("1 in 4", "Say how much is liquor and how much is water."),
        ("3", "Say how much is liquor and how much is water."),
        (3, "Say how much is liquor and how much is water."),
        ("10:1", "Liquor comes first, and this would be more liquor than water."),
        ("0:1", "A dilution needs some liquor, and no part can be below zero."),
        ("1:-3", "A dilution needs some liquor, and no part can be below zero."),
        ("1:", "This is not two numbers."),
        ("1:2:3", "This is not two numbers."),
        ("1:3 L", 'The unit "L" is not known here.'),
        ("2:1.5", "Liquor comes first, and this would be more liquor than water."),
        ("2:20002", "This is more than 10000 parts of water."),
        (None, "There is nothing here."),
        (True, "This is not text."),
    ],
)
def test_a_dilution_that_could_mean_the_opposite_is_refused(given, problem):
    with pytest.raises(InputError) as caught:
        read_dilution(given, "dilution")
    assert caught.value.problem == problem
    assert caught.value.accepted == "liquor to water, such as 1:3 for one part of liquor and three parts of water"


# Writing


@pytest.mark.parametrize(
    ("value", "figures", "locale", "text"),
    [
        (1234.5, 2, "en-GB", "1200"),
        (12345, 3, "en-GB", f"12{NARROW}300"),
        (1234567, 7, "de-DE", f"1{NARROW}234{NARROW}567"),
        (2, 2, "en-GB", "2.0"),
        (0.0123, 2, "de-DE", "0,012"),
        (99.96, 3, "en-GB", "100"),
        (-5.26, 2, "en-GB", "\u22125.3"),
        (0, 3, "en-GB", "0"),
        (-0.0, 3, "en-GB", "0"),
        (0.00001234, 2, "en-GB", "0.000012"),
        (0.0000012, 2, "en-GB", "0.0000012"),
        (1e-9, 2, "en-GB", "1.0e-9"),
        (-1e-9, 2, "de-DE", "\u22121,0e-9"),
        (1e15, 1, "en-GB", NARROW.join(["1", "000", "000", "000", "000", "000"])),
        (1e16, 1, "en-GB", "1e16"),
        (1e-40, 2, "en-GB", "0"),
    ],
)
def test_a_number_is_written_with_the_requested_significant_figures(value, figures, locale, text):
    assert write_number(value, figures, locale) == text


def test_trailing_zeros_of_an_exact_value_are_dropped():
    assert write_number(9.0, 3, trim=True) == "9"
    assert write_number(100.0, 6, trim=True) == "100"
    assert write_number(2.50, 3, trim=True) == "2.5"


@pytest.mark.parametrize(("value", "figures"), [(math.nan, 2), (math.inf, 2), (1.0, 0)])
def test_a_value_that_is_not_finite_is_never_written(value, figures):
    with pytest.raises(ValueError, match="can't write"):
        write_number(value, figures)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (15, "degC", f"15{FIXED}°C"),
        (4.2, "mS/cm", f"4.2{FIXED}mS/cm"),
        (12, "m^2", f"12{FIXED}m²"),
        (6.5, "1", "6.5"),
        (1.5, "us_cup", f"1.5{FIXED}US cup"),
        (0.052, "mol/kg", f"0.052{FIXED}mol/kg"),
    ],
)
def test_a_quantity_is_written_in_the_usual_form(value, unit, text):
    assert write_quantity(value, unit, 2) == text


@pytest.mark.parametrize(("unit", "to_unit"), [("L", "kg"), ("mg/L", "mg/L as CaCO3"), ("cubit", "m"), ("", "m")])
def test_units_of_different_dimensions_do_not_convert(unit, to_unit):
    with pytest.raises(ValueError, match="can't convert"):
        converted(1.0, unit, to_unit)


# The tables behind it


@pytest.mark.parametrize("kind", QUANTITY_KINDS.values(), ids=QUANTITY_KINDS)
def test_every_example_in_a_refusal_is_accepted(kind):
    """Each example in a refusal must itself be accepted."""
    _, _, examples = kind.accepted.partition(" such as ")
    for example in examples.replace(", or ", ", ").replace(" or ", ", ").split(", "):
        assert read_quantity(example, kind.name, "x").value > 0


@pytest.mark.parametrize("kind", QUANTITY_KINDS.values(), ids=QUANTITY_KINDS)
def test_no_spelling_means_two_units(kind):
    from feedcalc.contract.units import unit_key

    owners: dict[str, str] = {}
    for unit, spellings in kind.units.items():
        for spelling in spellings:
            assert owners.setdefault(unit_key(spelling), unit) == unit, spelling


def test_every_unit_of_every_kind_converts_to_its_base_unit():
    for kind in QUANTITY_KINDS.values():
        for unit in kind.units:
            if not unit.startswith("?") and kind.name != "mass_or_volume":
                assert math.isfinite(converted(1.0, unit, kind.base_unit))


def test_customs_refer_to_existing_units():
    for customs in CUSTOMS.values():
        for measure in ("cup", "tbsp", "tsp", "fl_oz", "pint", "quart", "gal"):
            unit = getattr(customs, measure)
            assert unit is None or unit in QUANTITY_KINDS["volume"].units


PACKAGE_PARTS = ("", "contract", "published", "uncertainty", "words")


def test_quantities_are_read_from_a_zip_archive_without_writing_a_file(tmp_path):
    """The tables are read also where the package lies in an archive."""
    archive = tmp_path / "package.zip"
    package = Path(feedcalc.__file__).parent
    with zipfile.ZipFile(archive, "w") as zipped:
        for file in (file for folder in PACKAGE_PARTS for file in (package / folder).glob("*.*")):
            zipped.write(file, f"feedcalc/{file.relative_to(package)}")
    home = tmp_path / "home"
    home.mkdir()
    code = (
        "from feedcalc.contract import quantities; "
        "assert '.zip' in quantities.__file__; "
        "print(quantities.read_quantity('2 gal (UK)', 'volume', 'x').value)"
    )
    ran = subprocess.run(
        [sys.executable, "-B", "-c", code],
        capture_output=True,
        text=True,
        cwd=home,
        env={"PYTHONPATH": str(archive), "HOME": str(home)},
        check=False,
    )
    assert (ran.stdout.strip(), ran.stderr) == ("9.09218", "")
    assert list(home.iterdir()) == []


def test_a_refused_gallon_offers_whose_it_may_be():
    assert [choice["value"] for choice in refusal("2 gal", customs="metric").as_dict()["choices"]] == ["us", "uk"]


@pytest.mark.parametrize(
    ("customs", "asked"), [({}, ["us", "uk"]), ({"customs": "uk"}, [])], ids=["nobody said", "chosen"]
)
def test_a_gallon_nobody_explained_is_asked_about(customs, asked):
    values = values_of(cans=[{"size": "2 gal"}], locale="en-GB", **customs)
    assert [choice["value"] for choice in values["whose_measures"]] == asked

"""The season book's tables against printed values: lime values, compost means, limits of metals."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import pytest

from feedcalc import published
from feedcalc.book.amounts import compost_amounts, lime_amounts
from feedcalc.book.entries import EntryRecord
from feedcalc.book.reader import Reader
from feedcalc.book.totals import total_between
from feedcalc.chemistry.formulas import formula_grams_per_mol
from feedcalc.contract.quantities import read_quantity
from feedcalc.garden.liming import expected_shift
from feedcalc.garden.metals import METALS, countries, limits_of

# Mol of acid that a mol neutralises.
EQUIVALENTS = {"CaCO3": 2, "CaMg(CO3)2": 4, "Ca(OH)2": 2, "CaO": 2}


def printed_limes() -> list[dict[str, str]]:
    text = Path(__file__).with_name("lime_values.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def cited(row: dict[str, str]) -> str:
    return f"{row['lime']}, {row['source']}"


@pytest.mark.parametrize("row", printed_limes(), ids=cited)
def test_the_printed_value_of_a_pure_lime_is_the_upper_end(row):
    assert lime_amounts(row["lime"], 1000).lime_value.high / 1000 == pytest.approx(float(row["printed"]), abs=0.0151)
    assert lime_amounts(row["lime"], 1000).lime_value.low / 1000 < float(row["printed"]), "what is sold is not pure"


@pytest.mark.parametrize("row", printed_limes(), ids=cited)
def test_the_printed_value_follows_from_its_formula(row):
    # By hand: Ca(OH)2 is 74.09 g/mol and takes 2 mol of acid as CaCO3 (100.09) does: 100.09 / 74.09 = 1.351.
    value = EQUIVALENTS[row["formula"]] / 2 * 100.09 / formula_grams_per_mol(row["formula"])
    assert value == pytest.approx(float(row["printed"]), abs=0.0101), "printed to the whole per cent"


def test_calcium_and_magnesium_of_pure_limes_are_those_of_their_minerals():
    # By hand: calcite is 40.08 / 100.09 = 40.0 % Ca; slaked lime 40.08 / 74.09 = 54.1 %;
    # dolomite, 184.40 g/mol, 40.08 / 184.40 = 21.7 % Ca and 24.305 / 184.40 = 13.2 % Mg.
    assert lime_amounts("garden_lime", 100).calcium.high == pytest.approx(40.0, abs=0.1)
    assert lime_amounts("hydrated_lime", 100).calcium.high == pytest.approx(54.1, abs=0.5)
    assert lime_amounts("dolomite_lime", 100).calcium.high == pytest.approx(21.7, abs=0.2)
    assert lime_amounts("dolomite_lime", 100).magnesium.high == pytest.approx(13.2, abs=0.1)


def test_a_kilogram_of_compost_holds_what_the_californian_mean_says():
    # CalRecycle, more than 1,600 composts, in the dry matter: K 1.13 %, Ca 3.28 %, Mg 0.63 %, carbonates 45 lb to the
    # short ton (45 / 2000 = 2.25 %). By hand, 1 kg moist at 60 % dry matter: 600 g x 0.0113 = 6.78 g K, 19.68 g Ca,
    # 3.78 g Mg, 13.5 g CaCO3.
    worth = compost_amounts(read_quantity("1 kg", "mass_or_volume", "amount"))
    assert worth.potassium.typical == pytest.approx(6.78, abs=0.01)
    assert worth.calcium.typical == pytest.approx(19.68, abs=0.01)
    assert worth.magnesium.typical == pytest.approx(3.78, abs=0.01)
    assert worth.lime_value.typical == pytest.approx(13.5, abs=0.01)
    assert worth.ash.high == 0


def test_washington_states_range_of_potash_in_compost_lies_inside():
    # Whatcom County, Washington State University: 0.5 to 1.8 % K2O and 1.5 to 7.0 % CaO of the dry weight.
    # By hand: K = 0.830 x K2O, so 4.2 to 14.9 g/kg; Ca = 0.7147 x CaO, so 10.7 to 50 g/kg.
    known = {row["quantity"]: published.estimate(row) for row in published.table("compost")}
    assert (known["potassium"].low, known["potassium"].high) == (
        pytest.approx(4.15, abs=0.1),
        pytest.approx(14.9, abs=0.1),
    )
    assert (known["calcium"].low, known["calcium"].high) == (pytest.approx(10.7, abs=0.1), pytest.approx(50.0, abs=0.1))


@pytest.mark.parametrize("country", sorted(countries()))
def test_every_country_has_limits_with_known_metals_and_units(country):
    limits = limits_of(country)
    assert limits
    for limit in limits:
        assert limit.metal in METALS
        assert 0 < limit.low <= limit.high
        assert limit.unit == ("mg/kg" if limit.kind in ("material", "soil") else "g/ha")


class NoBatches:
    """Batches for a book without liquor and kept ashes, which asks for none."""


# Rates as extension services print them, typed into a book as a grower would, and what they are per square metre.
# By hand: 1 lb = 453.592 g and 1000 ft2 = 92.903 m2, so 1 lb/1000 ft2 = 4.882 g/m2; 1 oz = 28.350 g.
WORKED = [
    ("10 lb", "1000 ft^2", 48.8, "sullivan_osu"),  # lawns, lower end
    ("15 lb", "1000 sq ft", 73.2, "sullivan_osu"),  # lawns, upper end
    ("20 lb", "1000 sq ft", 97.6, "donahue_uvm"),  # a 5 gallon pail to a garden
    ("25 lb", "1000 sq ft", 122.1, "virginia_1993"),
    ("5 lb", "100 sq ft", 244.1, "community_science_1982"),
    ("4 oz", "1 m^2", 113.4, "amateur_gardening_2019"),
    ("8 oz", "1 m^2", 226.8, "amateur_gardening_2019"),
]


@pytest.mark.parametrize(("amount", "area", "grams", "source"), WORKED, ids=lambda value: str(value))
def test_a_printed_rate_typed_into_a_book_is_the_printed_rate(amount, area, grams, source):
    assert source in published.sources()
    book = Reader(NoBatches()).book(
        [
            EntryRecord("bed", "bed", {"name": "Bed", "area": area}),
            EntryRecord("given", "entry", {"bed": "bed", "date": "2026-03-01", "what": "dry ash", "amount": amount}),
        ]
    )
    total = total_between(book.beds[0], date(2026, 1, 1), date(2026, 12, 31))
    assert total is not None
    assert total.ash.typical == pytest.approx(grams, abs=0.06)


def test_the_lime_of_a_table_typed_into_a_book_lifts_the_soil_as_the_table_says():
    # A table in ounces (lime_requirements.csv, lime_table_ounces): 8 oz of hydrated lime to the square yard lift a
    # loam by one unit in the top 10 cm. By hand: 8 x 28.350 / 0.83613 = 271.2 g/m2, as CaCO3 x 1.351 = 366 g/m2.
    book = Reader(NoBatches()).book(
        [
            EntryRecord("bed", "bed", {"name": "Bed", "area": "1 sq yd", "texture": "loam"}),
            EntryRecord(
                "given",
                "entry",
                {"bed": "bed", "date": "2026-03-01", "what": "lime", "lime": "hydrated_lime", "amount": "8 oz"},
            ),
        ]
    )
    total = total_between(book.beds[0], date(2026, 1, 1), date(2026, 12, 31))
    assert total is not None
    assert total.lime_value.low <= 366 <= total.lime_value.high + 3
    shift = expected_shift(total.lime_value, "loam", 10)
    assert shift.low <= 1.0 <= shift.high


# Figures as the rule prints them, in its own unit, read again apart from the table.
PRINTED = [
    # 40 CFR 503.13, Table 4, kg/ha in 365 days; Table 2, kg/ha (Walsh 1995 and law.cornell.edu, both seen).
    ("US", "load", "cadmium", 1.9, 1000, "us_503"),
    ("US", "load", "zinc", 140, 1000, "us_503"),
    ("US", "load", "arsenic", 2.0, 1000, "us_503"),
    ("US", "load_total", "copper", 1500, 1000, "us_503"),
    ("US", "material", "lead", 300, 1, "us_503"),
    # Directive 86/278/EEC, Annex I C, kg/ha a year (copper, nickel, zinc seen), and the upper ends of Annex I A (seen).
    ("EU", "load", "copper", 12, 1000, "eu_86_278"),
    ("EU", "load", "nickel", 3, 1000, "eu_86_278"),
    ("EU", "load", "zinc", 30, 1000, "eu_86_278"),
    ("EU", "soil", "cadmium", 3, 1, "eu_86_278"),
    ("EU", "soil", "lead", 300, 1, "eu_86_278"),
    # Austria, Düngemittelverordnung, Anlage 2: 10 g of cadmium and 3000 g of zinc to the hectare in two years (seen).
    ("AT", "load", "cadmium", 10, 0.5, "at_dmv_2004"),
    ("AT", "load", "zinc", 3000, 0.5, "at_dmv_2004"),
    # Germany, Bundes-Bodenschutzverordnung, Anlage 1, Tables 1 and 3 (seen).
    ("DE", "soil", "cadmium", 1.5, 1, "de_bbodschv"),
    ("DE", "load", "cadmium", 5, 1, "de_bbodschv"),
    ("DE", "load", "zinc", 1200, 1, "de_bbodschv"),
    # Sweden, sewage sludge on fields (seen): g/ha a year; mg/kg of soil.
    ("SE", "load", "cadmium", 0.75, 1, "se_sludge"),
    ("SE", "soil", "lead", 40, 1, "se_sludge"),
    # Switzerland, ChemRRV 2.2.1.3 (seen).
    ("CH", "material", "nickel", 100, 1, "ch_chemrrv"),
    # Finland: 6 g of cadmium to the hectare in four years (seen).
    ("FI", "load", "cadmium", 6, 0.25, "fi_evira_cadmium"),
    # Denmark: 4 g of cadmium to the hectare in five years (seen).
    ("DK", "load", "cadmium", 4, 0.2, "danish_order_bioaske"),
]


@pytest.mark.parametrize(("country", "kind", "metal", "figure", "factor", "source"), PRINTED)
def test_a_limit_is_the_printed_one_in_the_tables_unit(country, kind, metal, figure, factor, source):
    limit = next(limit for limit in limits_of(country) if limit.kind == kind and limit.metal == metal)
    assert limit.high == pytest.approx(figure * factor)
    assert limit.source == source

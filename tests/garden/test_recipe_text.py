"""Recipes and mishaps are read in the words of growers, typed in a hurry, in six languages."""

from __future__ import annotations

import pytest

from feedcalc.garden.recipe_text import recipe_text
from feedcalc.words.errors import InputErrors


@pytest.mark.parametrize(
    ("language", "text", "parts"),
    [
        ("en", "1 kg ash in 10 l of water, dilute 1 to 3", 3),
        ("en", "1 pound of ash, 10 litres of water, dilute 1 part to 4 parts water", 4),
        ("en", "1 part ash to 10 water, then 1 to 4", 4),
        ("de", "500 g pro Liter, dann 1 zu 10 verdünnen", 10),
        ("fr", "500 g par litre, diluer 1 pour 4", 4),
        ("fr", "500 g par litre, puis dilué à 10%", 9),
        ("es", "1 kg de ceniza en 20 l de agua, hervir 20 minutos, diluir en 3 partes de agua", 3),
        ("pt", "meio balde de cinza, encher com água, diluir 1 para 4", 4),
        ("hi", "एक कप राख पाँच लीटर पानी, 3 गुना पतला करें", 2),
    ],
)
def test_a_dilution_is_read_however_it_is_said(language, text, parts):
    assert recipe_text(text, language).parts == pytest.approx(parts)


@pytest.mark.parametrize(
    ("language", "text", "ash", "water"),
    [
        ("en", "100g/10L of water every week", 100, 10),
        ("en", "a couple handfulls of ashes in the bucket", 0.2, 10),
        ("en", "fill a third of the bucket with ash, and 9 litres of water", 10 / 3, 9),
        ("en", "a jam jar of ash in 2 l of water", 0.4, 2),
        ("en", "one mug ash per 10l can", 0.3, 10),
        ("de", "zwei Hände Asche in die Gießkanne", 0.2, 9),
        ("fr", "2 verres de cendre dans un seau de 12 litres", 0.4, 12),
        ("es", "1 parte de ceniza y 5 de agua", 1, 5),
        ("hi", "2 चम्मच राख 1 लीटर पानी में", 0.024, 1),
    ],
)
def test_ash_and_water_are_told_apart(language, text, ash, water):
    read = recipe_text(text, language)
    assert (read.ash.value, read.water.value) == pytest.approx((ash, water), rel=1e-3)
    assert not read.unread


@pytest.mark.parametrize(
    ("language", "text"),
    [
        ("en", "1 cup of ash from coal in 5 L of water"),
        ("de", "1 Glas Kohleasche auf 10 Liter"),
        ("fr", "1 verre de cendre de charbon de terre dans 5 l d'eau"),
        ("es", "1 vaso de ceniza de madera pintada en 5 l de agua"),
        ("pt", "1 copo de cinza de paletes em 5 l de água"),
        ("hi", "1 गिलास कोयले की राख 5 लीटर पानी में"),
    ],
)
def test_an_ash_to_refuse_is_found_before_and_behind_the_word(language, text):
    with pytest.raises(InputErrors) as caught:
        recipe_text(text, language)
    assert [error.field for error in caught.value.errors] == ["ash.kind"]


@pytest.mark.parametrize(
    ("customs", "text", "area"),
    [
        ("metric", "1 cup of ash on a 4 x 8 ft bed", 2.973),
        ("us", "1 cup of ash, 4x8 raised bed", 2.973),
        ("metric", "2 kg of ash on 1.2 m by 2.4 m", 2.88),
        ("metric", "1 cup of ash, 4x8 raised bed", None),
    ],
)
def test_a_bed_may_be_told_by_its_sides(customs, text, area):
    read = recipe_text(text, "en", customs)
    found = read.rate[1] if read.rate else read.area
    assert found == (None if area is None else pytest.approx(area, rel=1e-3))


def test_a_wait_after_hot_water_is_a_wait_and_the_time_of_boiling_is_not():
    assert recipe_text("3 tbsp ash 1 liter boiling water leave 24hrs").hours == 24
    assert recipe_text("1 kg ash 10 l water boil 30 min cool").hours is None


def test_a_pot_is_not_taken_for_its_ash():
    read = recipe_text("demasiada ceniza en la maceta de 5 litros", "es")
    assert (read.ash, read.container.value) == (None, 5)

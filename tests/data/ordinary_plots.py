"""Write ``ordinary_plots.csv``: 2,000 plots as advisers note them, all invented, the same for one seed.

    python -m tests.data.ordinary_plots

Nothing in it is about a real plot. It holds what such tables hold: classes of the soil triangle, units and dates as
people of six countries write them, dashes and question marks, amounts that nobody can read, and some real mistakes.
"""

from __future__ import annotations

import csv
import random
from pathlib import Path

TABLE = Path(__file__).with_name("ordinary_plots.csv")
ROWS, SEED = 2000, 20260501
HEADER = (
    *("Plot", "Area", "Soil pH", "Test method", "Test date", "Soil type", "Crop", "Place", "Stage", "Ash kind"),
    *("Ash this year", "Lime this year", "Last fed", "Water", "Remarks"),
)
NAMES = ("South", "North", "Long", "Hill", "Church", "Mill", "Lower", "Upper", "Beet", "Huerta", "Verger", "Feld")
AREAS = (
    *(
        "{a} m2",
        "{a} m²",
        "{a}m²",
        "{a} qm",
        "{a} sqm",
        "{a} sq m",
        "{a} sq ft",
        "{a} Quadratmeter",
        "{a} mètres carrés",
    ),
    *("{a} metros cuadrados", "{a} m^2", "0.{b} ha", "0,{b} ha", "", "-", "ca. {a} m2", "{a} वर्ग मीटर", "{a}㎡"),
)
TEXTURES = (
    *("sand", "loamy sand", "sandy loam", "loam", "silt loam", "silt", "sandy clay loam", "clay loam"),
    *("silty clay loam", "sandy clay", "silty clay", "clay", "peat", "Sand", "lehmiger Sand", "sandiger Lehm", "Lehm"),
    *("Ton", "toniger Lehm", "Schluff", "Moor", "limon", "limon argileux", "argile", "sableux", "arenoso", "franco"),
    *("franco arcilloso", "arcilla", "areia", "argila", "franco-arenoso", "दोमट", "बलुई दोमट", "चिकनी मिट्टी", "", "?"),
    *("heavy", "light soil", "medium"),
)
METHODS = (
    *("laboratory", "lab", "Labor", "laboratoire", "laboratorio", "laboratório", "meter", "pH-Meter", "kit", "Testset"),
    *("test kit", "strip", "strips", "Teststreifen", "bandelette", "tira", "किट", "", "-", "pH meter"),
)
CROPS = ("tomato", "Tomate", "cabbage", "Kohl", "leek", "carrots", "haricots", "potato", "grass", "apple", "", "roses")
PLACES = (
    "open ground",
    "garden",
    "Freiland",
    "Beet",
    "raised bed",
    "Hochbeet",
    "pot",
    "pleine terre",
    "huerto",
    "",
    "",
)
STAGES = ("established", "young", "seedlings", "", "", "ausgewachsen", "jeune", "joven")
KINDS = ("mixed", "hardwood", "oak", "Buche", "pine", "chêne", "pino", "", "", "stove", "birch and beech")
HAD = (
    *("", "", "", "-", "0", "none", "keine", "200 g", "40 g/m2", "0,5 kg", "1 lb", "2 cups", "1 kg", "500 g"),
    *("1 bucket", "some", "a shovelful", "½ Eimer"),
)
LIMED = ("", "", "", "", "-", "0", "1 kg", "100 g/m2", "a bag", "2 kg")
WATERS = ("rain", "tap", "Leitungswasser", "hard", "eau de pluie", "", "", "lluvia", "well")
REMARKS = ("", "", "weeds", "owner away, ask again", "limed 2019?", "=see sheet 2", "nass", "près du mur")
MONTHS = ("January", "Feb", "März", "avril", "mayo", "Juni", "julho", "Aug", "September", "octobre", "Nov.", "Dezember")


def a_date(chance: random.Random, year: int) -> str:
    """Return a day in one of the ways to write it."""
    day, month = chance.randint(1, 28), chance.randint(1, 12)
    ways = (
        *(
            f"{year}-{month:02}-{day:02}",
            f"{day:02}.{month:02}.{year}",
            f"{day}.{month}.{year}",
            f"{day}/{month}/{year}",
        ),
        *(
            f"{day} {MONTHS[month - 1]} {year}",
            f"{MONTHS[month - 1]} {year}",
            f"{month:02}/{year}",
            f"{day}.{month}.{year % 100:02}",
        ),
        *("", "", "-", "last spring", str(year)),
    )
    return chance.choice(ways)


def a_ph(chance: random.Random) -> str:
    """Return a soil pH in one of the ways to note it; now and then it can't be one."""
    value = min(max(chance.gauss(6.3, 0.6), 4.2), 8.4)
    plain = f"{value:.1f}"
    ways = (
        plain,
        plain,
        plain,
        plain,
        plain.replace(".", ","),
        f"pH {plain}",
        f"ca. {plain}",
        f"~{plain}",
        f"{value:.2f}",
        "",
        "?",
    )
    return chance.choice(("62", "6..2", "sour")) if chance.random() < 0.01 else chance.choice(ways)


def a_row(number: int, chance: random.Random) -> list[str]:
    """Return one plot."""
    area = chance.choice(AREAS).format(a=chance.randint(2, 400), b=f"{chance.randint(1, 9):02}")
    row = [
        f"{chance.choice(NAMES)} {number}",
        area,
        a_ph(chance),
        chance.choice(METHODS),
        a_date(chance, chance.randint(2022, 2025)),
        chance.choice(TEXTURES),
        chance.choice(CROPS),
        chance.choice(PLACES),
        chance.choice(STAGES),
        chance.choice(KINDS),
        chance.choice(HAD),
        chance.choice(LIMED),
        a_date(chance, 2025),
        chance.choice(WATERS),
        chance.choice(REMARKS),
    ]
    mistake = chance.random()
    if mistake < 0.008:
        row[9] = chance.choice(("painted wood", "lackiertes Holz", "coal", "palettes", "contreplaqué"))
    elif mistake < 0.014:
        row.append("a cell too many")
    elif mistake < 0.018:
        del row[-3:]
    return row


def main() -> None:
    """Write the table."""
    chance = random.Random(SEED)
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(HEADER)
        table.writerows(a_row(number, chance) for number in range(1, ROWS + 1))


if __name__ == "__main__":
    main()

"""Rank the readings that are still open by how much each would narrow the ranges, the kitchen assay among them.

* For each sampled ash the instruments' readings are known, so a regression of a figure on one or two of them, with the
  errors of the instruments added to their variances, gives the share of its variance that they explain.
* The result is the fraction by which the standard deviation would fall: 1 - sqrt(1 - share).

Method: linear regression with errors in the predictors; the share is adjusted for the number of samples. It says too
little where a figure depends on a reading in a curve.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import covariance

from feedcalc.frozen import frozen
from feedcalc.liquor.answer import Answer, Outcome
from feedcalc.liquor.instruments import Titration, indicator_row, reading_rule, reading_width
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import said

KITCHEN_ASSAY = "measured.acid_drops"
_SMALLEST = 1e-9
_WORDS: Mapping[tuple[str, ...], str] = {
    ("measured.ec",): said("an EC meter (conductivity)"),
    ("measured.ph",): said("a pH strip"),
    (KITCHEN_ASSAY,): said("kitchen vinegar and turmeric"),
    ("measured.colour",): said("the colour of red cabbage water"),
    ("measured.ec", "measured.ph"): said("an EC meter and a pH strip"),
    ("measured.ec", KITCHEN_ASSAY): said("an EC meter, and vinegar and turmeric"),
    (KITCHEN_ASSAY, "measured.colour"): said("vinegar and turmeric, and the colour of the water from red cabbage"),
}


@frozen
class NextReading:
    """One or two readings that could be taken: fields, what they are called, by how much they would narrow ranges."""

    fields: tuple[str, ...]
    words: str
    potassium: float
    ph: float
    lime_value: float


def next_readings(answer: Answer) -> tuple[tuple[NextReading, ...], Estimate | None]:
    """Return the open readings, the best for potassium first, and the mL of vinegar that 100 mL of liquor would take.

    Both are empty without ranges. The vinegar is of the usual strength and turmeric shows its end.
    """
    if not answer.others:
        return (), None
    row, strength = indicator_row("end_point", indicator="turmeric"), reading_rule("vinegar_strength")
    titration = Titration.of(answer.typical.steep.liquor, float(row["ph"]), strength, answer.kelvin)

    def vinegar(outcome: Outcome) -> float:
        return titration.millilitres(outcome.steep.liquor) if titration else 0.0

    liquors = [outcome.steep.liquor for outcome in answer.others]
    ph = [liquor.equilibrium.ph for liquor in liquors]
    figures = (
        [_log(liquor.milligrams_per_litre("potassium")) for liquor in liquors],
        ph,
        [_log(liquor.alkalinity) for liquor in liquors],
    )
    conductivity = [_log(liquor.equilibrium.conductivity) for liquor in liquors]
    volumes = [_log(vinegar(outcome)) for outcome in answer.others]
    instruments = {
        "measured.ec": (conductivity, math.hypot(reading_width("ec", "pen"), reading_width("ec", "model"))),
        "measured.ph": (ph, reading_width("ph", "strip")),
        KITCHEN_ASSAY: (
            volumes,
            math.hypot(reading_width("acid_drops", "end_point"), reading_width("acid_drops", "strength")),
        ),
        "measured.colour": (ph, float(indicator_row("colour", colour="green")["width"])),
    }
    used = {*answer.readings_used}
    used |= {"measured.colour"} if "measured.ph" in used else set()
    found = [
        NextReading(fields, words, *(narrowing([instruments[field] for field in fields], figure) for figure in figures))
        for fields, words in _WORDS.items()
        if not used & {*fields} and (titration or KITCHEN_ASSAY not in fields)
    ]
    ranked = sorted(found, key=lambda reading: reading.potassium, reverse=True)
    return tuple(ranked), answer.spread(vinegar) if titration else None


def narrowing(reads: Sequence[tuple[Sequence[float], float]], figure: Sequence[float]) -> float:
    """Return the fraction by which one or two readings narrow a figure.

    A reading is its value for each sample and its width; ``figure`` has one value for each sample.

    >>> values = [float(value) for value in range(100)]
    >>> round(narrowing([(values, 0.0)], values), 6), narrowing([(values, 0.0)], [1.0] * 100)
    (1.0, 0.0)
    """
    # Of a figure with itself it is the variance, in a tenth of the time of `statistics.variance`, which adds fractions.
    spread, count = covariance(figure, figure), len(figure)
    if spread < _SMALLEST:
        return 0.0
    with_figure = [covariance(read, figure) for read, _ in reads]
    first = covariance(reads[0][0], reads[0][0]) + reads[0][1] ** 2
    if len(reads) == 1:
        explained = with_figure[0] ** 2 / first if first > _SMALLEST else 0.0
    else:
        second, both = covariance(reads[1][0], reads[1][0]) + reads[1][1] ** 2, covariance(reads[0][0], reads[1][0])
        (one, other), determinant = with_figure, first * second - both**2
        if determinant < _SMALLEST**2:
            return narrowing(reads[:1], figure)
        explained = (one**2 * second - 2 * one * other * both + other**2 * first) / determinant
    share = explained / spread
    share -= (1.0 - share) * len(reads) / max(count - len(reads) - 1, 1)
    return 1.0 - math.sqrt(1.0 - min(max(share, 0.0), 1.0))


def _log(value: float) -> float:
    return math.log(max(value, _SMALLEST))

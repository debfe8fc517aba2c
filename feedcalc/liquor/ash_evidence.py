"""The ash of a request, as far as it is known from its kind, analyses, weighings and a clear line.

* Analyses and weighings of earlier batches of the same ash count too; a newer analysis replaces an older one.
* Weighings narrow density alone, and a clear line narrows grain size alone, so neither needs Bayesian sampling.
"""

from __future__ import annotations

import math

from feedcalc import published
from feedcalc.contract.measures import measures
from feedcalc.contract.numbers import write_number
from feedcalc.contract.request import Request
from feedcalc.garden.ash import Ash, ash_of
from feedcalc.garden.water import Water, water_of_report
from feedcalc.liquor.instruments import Z95, reading_rule, reading_width
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import said

# Bounds on the density of sifted ash, g/mL (our own judgement).
LOOSEST, DENSEST = 0.1, 1.5


def ash_of_request(request: Request, millilitres: float | None = None) -> Ash:
    """Return the ash of a request with everything weighed, analysed or seen of it, now and in earlier batches.

    ``millilitres`` is the volume of ash that will be measured out, where it is already known.
    Raises `InputErrors` where the weighings can't be those of sifted ash.
    """
    analysis: dict[str, float] = {}
    density = request.number("ash.density")
    for batch in (*request.earlier, request):
        analysis |= batch.group("ash.analysis")
    for batch in request.earlier:
        density = density or batch.number("ash.density")
    fills = 1.0 if millilitres is None else fills_of_measure(request, millilitres)
    ash = ash_of(
        request.word("ash.kind"), request.word("ash.state"), analysis, weighed_density(request, fills) or density
    )
    low, high = span_of_hand(request)
    if low < high:
        ash = ash.knowing(measured=Estimate(low, 1.0, high))
    if request.number("measured.clear_depth") is None:
        return ash
    # By Stokes' law the diameter is proportional to the square root of depth over time.
    spread = Z95 * 0.5 * math.hypot(reading_width("clear_line", "depth"), reading_width("clear_line", "time"))
    return ash.knowing(clear_line=Estimate(1 - spread, 1.0, 1 + spread))


def span_of_hand(request: Request) -> tuple[float, float]:
    """Return the factors by which the ash to a litre of water may be off because it was measured by hand.

    Both at 1 unless ash or water came in glasses, handfuls or buckets. The two errors are independent, so their
    logarithms add in quadrature; a vessel used for both has the same error twice, which cancels.
    """
    ash, water = (request.readings.get(path) for path in ("ash.amount", "water.amount"))
    if ash and water and ash.typed_unit == water.typed_unit:
        return 1.0, 1.0
    ash_span, water_span = (reading.span if reading else (1.0, 1.0) for reading in (ash, water))
    low = math.hypot(math.log(ash_span[0]), math.log(water_span[1]))
    high = math.hypot(math.log(ash_span[1]), math.log(water_span[0]))
    return math.exp(-low), math.exp(high)


def waters_of(request: Request) -> tuple[Water, Water]:
    """Return the water for the steep and the water for the dilution, the same object unless two are given."""
    water = water_of_report(request.word("water.kind"), request.group("water.analysis"), request.locale)
    report, kind = request.group("dilution_water.analysis"), request.word("dilution_water.kind")
    if not report and not kind:
        return water, water
    return water, water_of_report(kind or request.word("water.kind"), report, request.locale)


def fills_of_measure(request: Request, millilitres: float) -> float:
    """Return how many fills of the grower's measure make up a volume of ash, at least one."""
    return max(millilitres / _measure_millilitres(request), 1.0)


def weighed_density(request: Request, fills: float = 1.0) -> Estimate | None:
    """Return the density in g/mL from repeated weighings of a level measure; None without weighings.

    ``fills`` is the number of further fills that the bounds are for; the mean of several fills scatters less than one
    by the square root of their number. The standard deviation is pooled from the weighings, also those of earlier
    batches, and a usual one that counts as a few more. The bounds follow Student's t.
    Raises `InputErrors` where the mean is no density of sifted ash.
    """
    densities = [
        weight / _measure_millilitres(batch)
        for batch in (*request.earlier, request)
        for weight in batch.group("ash.weighings").values()
    ]
    if not densities:
        return None
    count = len(densities)
    mean = math.fsum(densities) / count
    usual = reading_width("weighing", "fill") * mean
    freedom = reading_rule("fill_degrees_of_freedom")
    squares = freedom * usual**2 + sum((density - mean) ** 2 for density in densities)
    scatter = math.sqrt(squares / (freedom + count - 1))
    margin = _t95(freedom + count - 1) * scatter * math.sqrt(1.0 / fills + 1.0 / count)
    relative = math.hypot(margin / mean, reading_width("weighing", "measure"))
    if not LOOSEST <= mean <= DENSEST:
        raise InputErrors([_impossible_density(request, mean)])
    return Estimate(mean * max(1 - relative, 0.1), mean, mean * (1 + relative))


def _impossible_density(request: Request, mean: float) -> InputError:
    millilitres = _measure_millilitres(request)
    problem = said(
        "If {millilitres} mL weigh {mean} g, it is not sifted ash.",
        millilitres=write_number(millilitres, 3, request.locale),
        mean=write_number(mean * millilitres, 3, request.locale),
    )
    accepted = said(
        "{least} to {most} g, without the weight of the cup",
        least=f"{LOOSEST * millilitres:.0f}",
        most=f"{DENSEST * millilitres:.0f}",
    )
    given = said("{grams} g on average", grams=write_number(mean * millilitres, 6, request.locale, trim=True))
    return InputError("ash.weighings", given, problem, accepted)


def _measure_millilitres(request: Request) -> float:
    """Return the volume of the measure for ash: the one that was weighed, else a cup."""
    litres = request.number("ash.weighed_measure")
    return measures(request.customs)["cup"] if litres is None else litres * 1000


def _t95(degrees_of_freedom: float) -> float:
    """Return Student's t at 95 %; between two rows of the table the wider one counts."""
    rows = [row for row in published.table("student_t") if float(row["degrees_of_freedom"]) <= degrees_of_freedom]
    return float(rows[-1]["t95"])

"""Bayesian updating of an ash by readings of its liquor, from the present batch and from earlier ones.

* For every sampled ash the chemistry that gives the answer also predicts the readings (`Observation.predicted`);
  `feedcalc.uncertainty.bayes` weights the samples by how well they agree.
* Readings that no plausible ash explains are reported with likely causes, and the ash is returned unchanged.
* If only present and earlier readings together do not fit, the earlier ones are dropped: the present ones are of the
  liquor that is being planned for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from feedcalc import published
from feedcalc.contract.numbers import write_number
from feedcalc.frozen import frozen
from feedcalc.garden.ash import Ash, AshSample
from feedcalc.liquor.observations import MODEL_ERRORS, FreeLimeDrift, LiquorBatch, Observation, earlier_batches
from feedcalc.uncertainty.bayes import (
    Posterior,
    Prior,
    Quantiles,
    Reading,
    posterior_in_steps,
    prior_in_steps,
    variance_shares,
)
from feedcalc.uncertainty.estimates import Steps, latin_hypercube, recalled
from feedcalc.words.messages import all_of, listed, said, said_in

# Unknowns that change settling and pouring, but not the liquor.
_NOT_IN_THE_LIQUOR = ("particle_density", "sediment", "guard_layer", "clear_line")
_WORDS = {
    "measured.ec": (said_in("reading", "conductivity read"), "mS/cm", "ec"),
    "measured.ph": (said_in("reading", "pH read"), "", "ph"),
    "measured.acid_drops": (said_in("reading", "vinegar used"), "mL", "acid_drops"),
    "measured.colour": (said("pH by the colour of cabbage water"), "", "colour"),
}
_DIRECTIONS = {1: "high", -1: "low"}
EARLIER_DO_NOT_FIT = said(
    "Your earlier readings of this ash do not fit with the others for any likely ash, so we left the earlier ones "
    "out. Likely causes: it is another ash, it got wet or damp since then, or a reading has the wrong unit."
)
# The most recent priors and posteriors by everything they depend on, so that a change elsewhere in the request does
# not cost a new update.
_PRIORS: dict[str, Prior] = {}
_POSTERIORS: dict[str, Posterior] = {}
_MOST_REMEMBERED = 8
_RANKED_SAMPLES = 400  # of equal weight, to rank the unknowns


@frozen
class Influence:
    """An unknown of the ash and the share (0 to 1) of the spread of three figures that it explains.

    ``remedy`` says how to know it better, and ``field`` is where a request takes that (empty where none does).
    """

    unknown: str
    words: str
    remedy: str
    field: str
    potassium: float
    ph: float
    lime_value: float

    @property
    def most(self) -> float:
        """The largest of the three shares."""
        return max(self.potassium, self.ph, self.lime_value)


@frozen
class LearnedAsh:
    """The ash after the readings: a typical sample and equally likely samples around it.

    ``effective`` is the effective sample size, None without sampling. ``used`` are the fields of the readings of the
    present batch that were used and ``batches`` is the number of earlier batches that were. ``samples`` is empty where
    the readings were rejected or no ranges are wanted.
    """

    typical: AshSample
    samples: tuple[AshSample, ...]
    effective: float | None
    used: tuple[str, ...]
    matters: tuple[Influence, ...]
    warnings: tuple[str, ...]
    batches: int = 0


@frozen
class _Evidence:
    """All observations of an ash, that of the present batch first if it was read."""

    present: LiquorBatch
    ash: Ash
    earlier: tuple[LiquorBatch, ...]
    observed: tuple[Observation, ...]
    drift: FreeLimeDrift

    @classmethod
    def of(cls, present: LiquorBatch, ash: Ash) -> _Evidence:
        earlier = earlier_batches(present.request)
        tried = (Observation.of(batch, ash, bool(earlier)) for batch in (present, *earlier))
        observed = tuple(observation for observation in tried if observation)
        drift = FreeLimeDrift.between([observation.batch.request for observation in observed], present.request)
        return cls(present=present, ash=ash, earlier=earlier, observed=observed, drift=drift)

    @property
    def has_present(self) -> bool:
        """Whether the present batch was read."""
        return self.observed[0].batch is self.present

    @property
    def ash_unknowns(self) -> list[str]:
        """The unknowns of the ash that the liquor depends on."""
        unknowns = self.ash.unknowns.items()
        return sorted(name for name, known in unknowns if known.low < known.high and name not in _NOT_IN_THE_LIQUOR)

    @property
    def other_unknowns(self) -> list[str]:
        """The unknowns besides the ash that several batches share."""
        return [*(MODEL_ERRORS if self.earlier else ()), *self.drift.names]

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings of all observations."""
        return tuple(reading for observation in self.observed for reading in observation.readings)

    def predicted(self, quantiles: Quantiles) -> list[float]:
        """Return what every instrument would show, then potassium, pH, alkalinity and the density of the ash."""
        predicted: list[float] = []
        sample = self.ash.sample_at(quantiles)
        liquors = []
        for observation, free_lime in zip(self.observed, self.drift.free_lime(quantiles), strict=True):
            liquors.append(observation.liquor({**quantiles, "free_lime": free_lime}))
            predicted += observation.predicted(liquors[-1], quantiles)
        # Without a present liquor, that of an earlier batch made again with the ash of now.
        first = self.observed[0]
        liquor = liquors[0] if self.has_present else first.batch.liquor_after(sample, first.hours)
        figures = [liquor.milligrams_per_litre("potassium"), liquor.equilibrium.ph, liquor.alkalinity]
        # No reading depends on density, but the typical ash should have a typical one.
        return [*predicted, *figures, sample.density]

    def start(self) -> dict[str, float]:
        """Return the quantiles of the typical ash: medians, and the mode for unknowns that no reading depends on."""
        names = self.ash_unknowns
        start = {name: 0.5 if name in names else known.typical_quantile for name, known in self.ash.unknowns.items()}
        return start | dict.fromkeys(self.other_unknowns, 0.5)

    def posterior(self, seed: int, sampled: bool) -> Steps[Posterior]:
        """Return the posterior, from memory where prior or readings are the same as before."""
        # The prior depends on no value that was read, and on the present batch only where that was read.
        planned = self.present.cache_key if self.has_present else ""
        observations = [observation.cache_key for observation in self.observed]
        key = repr((sorted(self.ash.unknowns.items()), observations, planned, self.drift, seed))
        unknowns = [*self.ash_unknowns, *self.other_unknowns]
        prior = yield from recalled(
            _PRIORS, key, _MOST_REMEMBERED, lambda: prior_in_steps(unknowns, self.predicted, self.start(), seed)
        )
        key = repr((key, self.readings, sampled))
        return (
            yield from recalled(
                _POSTERIORS,
                key,
                _MOST_REMEMBERED,
                lambda: posterior_in_steps(prior, self.readings, self.predicted, sampled=sampled),
            )
        )


def learning(present: LiquorBatch, ash: Ash, count: int) -> Steps[LearnedAsh | None]:
    """Return in slices what readings of a batch and of earlier batches say of an ash; None where nothing was read.

    ``count`` is the number of samples wanted, 0 for the typical ash alone.
    """
    evidence = _Evidence.of(present, ash)
    if not evidence.observed or not evidence.ash_unknowns:
        return None
    request, has_present, readings = present.request, evidence.has_present, evidence.readings
    seed = round(request.known("seed"))
    posterior = yield from evidence.posterior(seed, sampled=count > 0)
    if posterior.rejected and has_present and evidence.earlier:
        bare = replace(request, earlier=())
        alone = yield from learning(replace(present, request=bare), ash, count)
        return replace(alone, warnings=(EARLIER_DO_NOT_FIT, *alone.warnings)) if alone else None
    if posterior.rejected or not count:
        matters = influences_of(posterior.prior_samples, [figures[-4:-1] for figures in posterior.prior_figures])
    if posterior.rejected:
        words = _doubt_words(posterior, readings, request.locale) if has_present else [EARLIER_DO_NOT_FIT]
        return LearnedAsh(
            typical=ash.typical(), samples=(), effective=None, used=(), matters=matters, warnings=tuple(words)
        )
    samples: tuple[AshSample, ...] = ()
    if count:
        samples = _ash_samples(posterior.resampled(count, len(readings)), evidence.ash_unknowns, ash, seed)
        places = posterior.resampled_indices(_RANKED_SAMPLES, len(readings))
        matters = influences_of(
            [posterior.samples[place] for place in places],
            [posterior.figures[place][-4:-1] for place in places],
            posterior.effective,
        )
    return LearnedAsh(
        typical=ash.sample_at(posterior.point_estimate),
        samples=samples,
        effective=posterior.effective if count else None,
        used=tuple(reading.name for reading in evidence.observed[0].readings) if has_present else (),
        matters=matters,
        warnings=(),
        batches=len(evidence.observed) - has_present,
    )


def _ash_samples(quantiles: Sequence[Quantiles], names: Sequence[str], ash: Ash, seed: int) -> tuple[AshSample, ...]:
    """Return an ash for each posterior sample, with the unknowns besides ``names`` drawn from their prior."""
    rest = sorted(set(ash.unknowns) - set(names))
    draws = latin_hypercube(rest, len(quantiles), seed)
    return tuple(ash.sample_at({**sample, **draw}) for sample, draw in zip(quantiles, draws, strict=True))


def influences_of(
    samples: Sequence[Quantiles], figures: Sequence[Sequence[float]], effective: float | None = None
) -> tuple[Influence, ...]:
    """Return the unknowns in the order of how much of the spread of potassium, pH and alkalinity they explain.

    ``figures`` has these three for each sample. ``effective`` is the effective sample size where samples repeat.
    """
    if not samples:
        return ()
    potassium, ph, lime = (variance_shares(samples, column, effective) for column in zip(*figures, strict=True))
    words = {row["unknown"]: row for row in published.table("unknown_words")}
    matters = [
        Influence(
            unknown=name,
            words=words[name]["words"],
            remedy=words[name]["remedy"],
            field=words[name]["field"],
            potassium=potassium[name],
            ph=ph[name],
            lime_value=lime[name],
        )
        for name in samples[0]
        if name in words and name not in _NOT_IN_THE_LIQUOR
    ]
    return tuple(sorted(matters, key=lambda matter: matter.most, reverse=True))


def _doubt_words(posterior: Posterior, readings: Sequence[Reading], locale: str) -> list[str]:
    """Return a warning for each rejected reading, or one for all where only their combination does not fit."""
    if all(direction == 0 for _, direction in posterior.rejected):
        names = all_of(_WORDS[name][0] for name, _ in posterior.rejected)
        return [
            said(
                "No likely ash gives these readings together: {told}. We left them out, and the ranges have not "
                "changed. Likely "
                "causes: {together}.",
                told=names,
                together=listed(_causes("any", "together")),
            )
        ]
    places = {reading.name: place for place, reading in enumerate(readings)}
    warnings = []
    for name, direction in posterior.rejected:
        place = places[name]
        predicted = sorted(figures[place] for figures in posterior.prior_figures)
        warnings.append(_doubt_of_one(readings[place], direction, predicted, locale))
    return warnings


def _doubt_of_one(reading: Reading, direction: int, predicted: Sequence[float], locale: str) -> str:
    """Return the warning for a reading that is too high (1) or too low (-1) for every ash of the prior."""
    words, unit, short = _WORDS[reading.name]
    causes = _causes(short, _DIRECTIONS[direction])
    number = _number(reading.value, locale)
    parts = {"words": words, "reading": f"{number}\u00a0{unit}" if unit else number}
    if predicted:
        lowest, highest = predicted[0], predicted[-1]
        scaled = {1: reading.value / 1000, -1: reading.value * 1000}.get(direction, 0.0)
        if reading.name == "measured.ec" and lowest <= scaled <= highest:
            causes = [said("the unit: with a factor of a thousand it would fit (µS/cm for mS/cm)"), *causes]
        return said(
            "No likely ash gives this reading ({words}: {reading}) here; it would give {lowest} to {highest}. We left "
            "it out, and the ranges have not changed. Likely causes: {causes}.",
            **parts,
            lowest=_number(lowest, locale),
            highest=_number(highest, locale),
            causes=listed(causes),
        )
    return said(
        "No likely ash gives this reading ({words}: {reading}) here. We left it out, and the ranges have not changed. "
        "Likely causes: {causes}.",
        **parts,
        causes=listed(causes),
    )


def _number(value: float, locale: str) -> str:
    return write_number(value, 3 if value >= 9.95 else 2, locale)


def _causes(reading: str, direction: str) -> list[str]:
    return [
        row["cause"]
        for row in published.table("reading_causes")
        if row["reading"] == reading and row["direction"] == direction
    ]

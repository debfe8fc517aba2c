"""The Python door: plans, known ashes, dry ash, recipes, mishaps and shares, typed, over frozen dataclasses.

    >>> from feedcalc import Ash, Can, plan
    >>> batch = plan(ash=Ash(kind="oak", state="aged"), cans=[Can("9 L", 2)], locale="en-GB")
    >>> print(batch.dilution, batch.water, batch.verdict)
    1:6 3.1 L hold back

* A quantity is text as people type it (``"2.5 L"``), a number where there is no unit, ``{"value": 2.5, "unit": "L"}``,
  a quantity of pint, or a `Figure` of another answer.
* Every answer comes from `feedcalc.engine.calculate`, as for the command line and the page.
* A request that can't be used raises one `InputErrors`, which lists every faulty field.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from datetime import datetime
from typing import Any

from feedcalc.contract.figures import flat_figures
from feedcalc.contract.numbers import write_number
from feedcalc.engine import calculate
from feedcalc.words.errors import InputError, InputErrors

# The parts of a reply's HTML that a notebook shows, whichever are there.
_SHEETS = ("bench", "sheet", "liquor", "spread", "ash", "judge", "happened", "share")
Quantity = Any  # text, a number, {"value", "unit"}, a quantity of pint or a `Figure`


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure: ``value`` in ``unit``, and the ends of the range that holds the middle 90 % of plausible ashes."""

    value: float
    unit: str
    low: float
    high: float

    def __str__(self) -> str:
        """Return the figure in words, such as ``0.82 g/L (0.41 to 1.4)``."""
        unit = "" if self.unit == "1" else f" {self.unit}"
        if self.low == self.high:
            return f"{write_number(self.value, 3, trim=True)}{unit}"
        low, value, high = (write_number(number) for number in (self.low, self.value, self.high))
        return f"{value}{unit} ({low} to {high})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ash:
    """The ash: what was burnt, how it was kept, how much of it goes in, and what is known of it."""

    kind: str | None = None
    state: str | None = None
    amount: Quantity = None
    measure: str | None = None
    weighings: Sequence[Quantity] | None = None
    weighed_measure: Quantity = None
    density: Quantity = None
    analysis: Mapping[str, Quantity] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """The water: its kind, how much, its temperature, and what a report says of it."""

    kind: str | None = None
    amount: Quantity = None
    temperature: Quantity = None
    analysis: Mapping[str, Quantity] | None = None


@dataclass(frozen=True, slots=True)
class Can:
    """Watering cans or bottles of one size."""

    size: Quantity
    count: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Bucket:
    """The bucket: what it holds, brim full, and its inside height."""

    capacity: Quantity = None
    depth: Quantity = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Soil:
    """The ground: pH and how it was read, texture, potassium, area, and the pH that dry ash should bring it to."""

    ph: Quantity = None
    tested_with: str | None = None
    tested_on: str | None = None
    texture: str | None = None
    potassium: Quantity = None
    area: Quantity = None
    target_ph: Quantity = None
    dug_depth: Quantity = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What was read of the liquor or, with ``of="feed"``, of the diluted feed."""

    ec: Quantity = None
    ph: Quantity = None
    temperature: Quantity = None
    compensated: str | None = None
    ph_by: str | None = None
    ph_width: Quantity = None
    of: str | None = None
    after: Quantity = None
    acid_drops: Quantity = None
    acid_strength: Quantity = None
    acid_end: Quantity = None
    acid_by: str | None = None
    colour: str | None = None
    clear_depth: Quantity = None
    clear_after: Quantity = None


@dataclass(frozen=True, slots=True)
class _Answer:
    """What every answer has: its request, its reply, and its figures by their path in the reply."""

    request: Mapping[str, Any] = field(repr=False)
    reply: Mapping[str, Any] = field(repr=False)
    figures: Mapping[str, Figure] = field(repr=False)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to know before relying on the answer."""
        return tuple(self.reply["warnings"])

    @property
    def assumed(self) -> Mapping[str, str]:
        """What was assumed, by field."""
        return dict(self.reply["assumed"])

    @property
    def read_as(self) -> Mapping[str, str]:
        """How words and amounts were read that could be read in another way, by field."""
        return dict(self.reply.get("read_as", {}))

    @property
    def cautions(self) -> tuple[str, ...]:
        """Every caution, in words."""
        return tuple(caution["text"] for caution in self.reply["cautions"])

    def _repr_html_(self) -> str:
        """Return the sheet for a notebook, the answer with its verdict and its danger first."""
        html: Mapping[str, str] = json.loads(calculate(json.dumps(self.request)))["html"]
        return "".join(html.get(part, "") for part in _SHEETS)


@dataclass(frozen=True, slots=True)
class _Judged(_Answer):
    """An answer that says whether ground and plants can take it."""

    @property
    def verdict(self) -> str:
        """``go``, ``go weaker`` or ``hold back``."""
        return str(self.reply["values"]["verdict"])


@dataclass(frozen=True, slots=True)
class Plan(_Judged):
    """A batch: what to weigh, pour and dilute, what the liquor holds, and whether ground and plants can take it."""

    @property
    def reasons(self) -> tuple[str, ...]:
        """The reasons for the verdict, the most careful first."""
        return tuple(reason["text"] for reason in self.reply["values"]["reasons"])

    @property
    def ways(self) -> tuple[str, ...]:
        """What to do about a verdict that is not ``go``."""
        return tuple(way["text"] for way in self.reply["values"]["ways"])

    @property
    def ash(self) -> Figure:
        """The ash to put in, in g."""
        return self.figures["batch.ash_mass"]

    @property
    def water(self) -> Figure:
        """The water it steeps in, in L."""
        return self.figures["batch.water_volume"]

    @property
    def liquor(self) -> Figure:
        """The clear liquor that can be poured off, in L."""
        return self.figures["batch.liquor_volume"]

    @property
    def dilution(self) -> str:
        """Liquor to water, such as ``1:6``."""
        return f"1:{write_number(self.figures['batch.parts_water'].value, 4, trim=True)}"

    @property
    def ph(self) -> Figure:
        """The pH of the undiluted liquor at 25 °C."""
        return self.figures["liquor.ph_25"]

    @property
    def potassium(self) -> Figure:
        """The potassium of the undiluted liquor, in mg/L."""
        return self.figures["liquor.potassium"]


@dataclass(frozen=True, slots=True)
class Spread(_Judged):
    """How much dry ash a year the ground may have."""

    @property
    def ash(self) -> Figure:
        """The dry ash for a year, in g/m2."""
        return self.figures["spread.advice.ash"]

    @property
    def limited_by(self) -> str:
        """What limits it: ``cap``, ``need`` or ``held back``."""
        return str(self.reply["values"]["spread"]["advice"]["limited_by"])


@dataclass(frozen=True, slots=True)
class KnownAsh(_Answer):
    """What readings say of an ash. ``evidence`` is what `plan` takes as ``earlier``."""

    @property
    def evidence(self) -> tuple[Mapping[str, Any], ...]:
        """The batches behind it, to start the next one from."""
        return tuple(json.loads(self.reply["values"]["ash"]["evidence"]))

    @property
    def words(self) -> tuple[str, ...]:
        """What is known, a line each."""
        return tuple(self.reply["values"]["ash"]["words"])


@dataclass(frozen=True, slots=True)
class JudgedRecipe(_Answer):
    """A recipe as somebody told it: strength, verdict, what a plant gets of it, and the nearest safe version."""

    @property
    def _values(self) -> Mapping[str, Any]:
        values: Mapping[str, Any] = self.reply["values"]["judge"]
        return values

    @property
    def strength(self) -> str:
        """``within the limits``, ``may be too strong`` or ``too strong``; empty for a recipe without ash."""
        return str(self._values.get("fit", ""))

    @property
    def verdict(self) -> str:
        """``go``, ``go weaker`` or ``hold back``; empty for a recipe without ash."""
        return str(self._values.get("verdict", ""))

    @property
    def reasons(self) -> tuple[str, ...]:
        """The reasons for the verdict, the most careful first."""
        return tuple(reason["text"] for reason in self._values.get("reasons", ()))

    @property
    def notes(self) -> tuple[str, ...]:
        """What the recipe says that can't be so, and what else to know of it."""
        return tuple(note["text"] for note in self._values["notes"])

    @property
    def potassium(self) -> Figure | None:
        """The potassium that a plant gets, in mg."""
        return self.figures.get("judge.per_plant.potassium")

    @property
    def safe(self) -> Mapping[str, Any]:
        """The safe version as a request for `feedcalc.engine.calculate`."""
        return dict(self._values.get("safe", {}).get("request", {}))


@dataclass(frozen=True, slots=True)
class Mishap(_Answer):
    """What likely happened, the likeliest first, and what to do."""

    @property
    def causes(self) -> tuple[str, ...]:
        """What may be behind it, the likeliest first."""
        return tuple(cause["cause"] for cause in self.reply["values"]["happened"]["causes"])

    @property
    def today(self) -> tuple[str, ...]:
        """What to do today, for each cause."""
        return tuple(cause["today"] for cause in self.reply["values"]["happened"]["causes"])

    @property
    def asked(self) -> tuple[str, ...]:
        """What would make the answer surer."""
        return tuple(self.reply["values"]["happened"]["asked"])

    @property
    def soil_ph(self) -> Figure | None:
        """The pH of the soil now; None where the text does not say how much ash lies on how much ground."""
        return self.figures.get("happened.soil.ph_now")


@dataclass(frozen=True, slots=True)
class BedShare:
    """What a bed gets: dry ash in g, sludge as the g of ash it came from, feed in L, and why no more."""

    name: str
    dry: Figure
    sludge: Figure
    feed: Figure
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Share(_Answer):
    """A winter's ash shared out over the beds of a book."""

    @property
    def beds(self) -> tuple[BedShare, ...]:
        """The share of each bed."""
        rows = self.reply["values"]["share"]["beds"]
        return tuple(
            BedShare(
                name=row["name"],
                reasons=tuple(reason["text"] for reason in row["reasons"] + row["ended_by"]),
                **{kind: self.figures[f"share.beds.{place}.{kind}"] for kind in ("dry", "sludge", "feed")},
            )
            for place, row in enumerate(rows)
        )

    @property
    def left(self) -> Figure:
        """The ash that is left over, in g."""
        return self.figures["share.left"]


def plan(
    *,
    ash: Ash | None = None,
    water: Water | None = None,
    cans: Iterable[Can] = (),
    dilution: str | None = None,
    soil: Soil | None = None,
    readings: Readings | None = None,
    bucket: Bucket | None = None,
    dilution_water: Water | None = None,
    earlier: Sequence[Mapping[str, Any]] = (),
    start: datetime | str | None = None,
    **more: Any,
) -> Plan:
    """Return the plan of a batch; ``earlier`` is the evidence of a `KnownAsh`.

    ``more`` are the other fields of a request by their path with ``_`` for the dot: ``stage``, ``plant``, ``place``,
    ``season``, ``use``, ``steep_time``, ``steep_air``, ``acid_kind``, ``acid_target_ph``, ``mixing_with``, ``ranges``,
    ``language``, ``locale``, ``customs``. Raises `InputErrors`.
    """
    request = _request(
        more, ash=ash, water=water, soil=soil, measured=readings, vessel=bucket, dilution_water=dilution_water
    )
    rows = [{"size": _typed(can.size), "count": can.count} for can in cans]
    if earlier:
        request["ash"] = {**request.get("ash", {}), "earlier": list(earlier)}
    request |= {"cans": rows} if rows else {}
    request |= {"dilution": dilution} if dilution else {}
    request |= {"now": _moment(start)} if start else {}
    return Plan(*_answered(request))


def spread(*, soil: Soil, ash: Ash | None = None, **more: Any) -> Spread:
    """Return how much dry ash a year this ground may have; ``more`` as for `plan`. Raises `InputErrors`.

    >>> spread(soil=Soil(ph=5.8, tested_with="laboratory", texture="loam"), plant="cabbage").ash.unit
    'g/m2'
    """
    return Spread(*_answered(_request(more, ash=ash, soil=soil) | {"ask": "spread"}))


def learn(name: str, batch: Plan, *, day: str | None = None) -> KnownAsh:
    """Return what a batch with readings, weighings or an analysis says of its ash, kept under ``name``.

    ``day`` is when it was made (2026-05-01); its start where left out. Raises `InputErrors`.
    """
    made = day or str(batch.request.get("now", "")) or None
    return KnownAsh(*_answered({**batch.request, "ask": "learn", "name": name, "date": made}))


def judge(recipe: str, *, ash: Ash | None = None, soil: Soil | None = None, **more: Any) -> JudgedRecipe:
    """Return a recipe in somebody's words, judged; ``more`` as for `plan`. Raises `InputErrors`.

    >>> told = judge("half a bucket of ash, fill up with water, then 1:3", ranges="off")
    >>> told.strength, told.verdict, told.safe["dilution"]
    ('too strong', 'hold back', '1:3')
    """
    return JudgedRecipe(*_answered(_request(more, ash=ash, soil=soil) | {"ask": "judge", "recipe": recipe}))


def happened(text: str, *, ash: Ash | None = None, soil: Soil | None = None, **more: Any) -> Mishap:
    """Return what likely happened, told what was put on and what is seen; ``more`` as for `plan`.

    Raises `InputErrors`.

    >>> told = happened("2 kg of ash on 1 m2, young leaves are pale", soil=Soil(ph=6.5, texture="loam"))
    >>> told.causes[0], told.soil_ph.high < 8.6
    ('The soil has too much lime.', True)
    """
    return Mishap(*_answered(_request(more, ash=ash, soil=soil) | {"ask": "happened", "happened": text}))


def share(
    book: Mapping[str, Any], *, ash: Ash | None = None, wood: Quantity = None, now: datetime | str, **more: Any
) -> Share:
    """Return a winter's ash, or what ``wood`` leaves, shared out over the beds of a season book.

    ``book`` is the JSON that ``feedcalc book export`` writes; ``more`` as for `plan`, and ``country``.
    Raises `InputErrors`.

    >>> empty = {"format": "feedcalc season book", "version": 1, "records": []}
    >>> share(empty, wood="1 stere", now="2026-11-27T10:00").left
    Figure(value=2590.0, unit='g', low=2590.0, high=2590.0)
    """
    request = _request(more, ash=ash) | {"ask": "share", "book": book}
    if wood is not None:
        request["ash"] = {**request.get("ash", {}), "wood": _typed(wood)}
    return Share(*_answered(request | {"now": _moment(now)}))


_GROUPS = ("steep", "acid", "mixing", "dilution_water", "vessel")


def _request(more: Mapping[str, Any], **groups: Any) -> dict[str, Any]:
    request: dict[str, Any] = {"schema": 1}
    for name, group in groups.items():
        if group is not None:
            request[name] = _group(group) if is_dataclass(group) else _typed(group)
    for name, value in more.items():
        group = next((group for group in _GROUPS if name.startswith(f"{group}_")), "")
        if group:
            request.setdefault(group, {})[name.removeprefix(f"{group}_")] = _typed(value)
        else:
            request[name] = _typed(value)
    return request


def _group(group: Any) -> dict[str, Any]:
    """Return what a dataclass holds, without the fields that are left open."""
    given = {each.name: getattr(group, each.name) for each in fields(group)}
    return {name: _typed(value) for name, value in given.items() if value is not None}


def _moment(moment: datetime | str) -> str:
    return moment.isoformat(timespec="minutes") if isinstance(moment, datetime) else moment


def _typed(value: Any) -> Any:
    """Return a value as a request takes it.

    >>> _typed({"value": 2.5, "unit": "L"}), _typed(Figure(2.0, "g", 1.0, 3.0)), _typed({"hardness": "200 mg/L"})
    ('2.5 L', '2.0 g', {'hardness': '200 mg/L'})
    """
    if isinstance(value, Figure):
        return f"{value.value!r} {value.unit}" if value.unit != "1" else value.value
    if isinstance(value, Mapping):
        if value.keys() == {"value", "unit"}:
            return f"{value['value']} {value['unit']}"
        return {name: _typed(part) for name, part in value.items()}
    if hasattr(value, "magnitude") and hasattr(value, "units"):  # a quantity of pint, of whichever registry
        return f"{value.magnitude} {value.units:~P}"
    if isinstance(value, list | tuple):
        return [_typed(part) for part in value]
    return value


def _answered(request: Mapping[str, Any]) -> tuple[Mapping[str, Any], Mapping[str, Any], Mapping[str, Figure]]:
    """Return a request, its reply and the reply's figures; raises `InputErrors`."""
    reply = json.loads(calculate(json.dumps({**request, "html": False}, default=str)))
    if not reply["ok"]:
        raise InputErrors([InputError(**error) for error in reply["errors"]])
    found = flat_figures(reply["values"])
    figures = {path: Figure(*(row[name] for name in ("value", "unit", "low", "high"))) for path, row in found.items()}
    return request, reply, figures

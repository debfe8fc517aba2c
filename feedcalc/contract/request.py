"""A validated request: what a person typed, read once, with every fault named at once.

Rules of this room:

* `REQUEST_FIELDS` is the one list of what may be asked: path, how it is read, default, bounds, meaning.
* A key that is not in it is an error, so that a misspelt field never passes silently.
* A default is text such as a person could have typed; it is read by the same reader and told back.
* Nothing is computed here: a `Request` holds numbers in the base unit of their kind, and words.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from feedcalc import published
from feedcalc.contract.numbers import read_number
from feedcalc.contract.quantities import Quantity, read_dilution, read_quantity
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import LANGUAGES, USUAL_LOCALE
from feedcalc.words.messages import said

SCHEMA = 1
LONGEST_REQUEST = 200_000
# A season book travels whole, with the request of each batch that was fed.
LONGEST_WITH_BOOK = 16_000_000
MOST_WEIGHINGS = 50
LOCALES = ("en-GB", "en-US", "en-AU", "en-IN", "de-DE", "fr-FR", "es-ES", "pt-PT", "pt-BR", "hi-IN")
CUSTOMS = ("us", "metric", "uk")
PLACES = ("open ground", "raised bed", "pot", "plug tray", "near pond or drain")


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that may be asked: where it stands, how it is read, what is assumed without it."""

    path: str
    kind: str
    meaning: str
    default: str | None = None
    choices: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None


ASH_ELEMENTS = ("potassium", "calcium", "magnesium", "sodium", "phosphorus", "sulfur", "chloride")
WATER_IONS = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate")


def _names(table: str, column: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row[column] for row in published.table(table)))


def _water_fields(path: str, whose: str) -> tuple[Field, ...]:
    return (
        Field(f"{path}.analysis.hardness", "hardness", said("total hardness of {whose}", whose=whose), maximum=3000),
        Field(f"{path}.analysis.alkalinity", "alkalinity", said("alkalinity of {whose}", whose=whose), maximum=3000),
        *(
            Field(
                f"{path}.analysis.{ion}", "concentration", said("{ion} in {whose}", ion=ion, whose=whose), maximum=20000
            )
            for ion in WATER_IONS
        ),
        Field(f"{path}.analysis.ph", "ph", said("pH of {whose}", whose=whose), minimum=3, maximum=11),
        Field(f"{path}.analysis.ec", "conductivity", said("conductivity of {whose}", whose=whose), maximum=100),
    )


REQUEST_FIELDS: tuple[Field, ...] = (
    Field("ash.kind", "ash", said("what was burnt"), "mixed", _names("ash_kinds", "kind")),
    Field("ash.state", "choice", said("how the ash was kept"), "unknown", ("unknown", "fresh", "aged", "leached")),
    Field("ash.amount", "mass_or_volume", said("how much ash goes in")),
    Field("ash.measure", "choice", said("how the ash is measured out"), "cups", ("cups", "scales")),
    Field("ash.weighings", "masses", said("what a level measure of the ash weighed, each time it was filled")),
    Field("ash.weighed_measure", "volume", said("the measure that was weighed"), minimum=0.005, maximum=50),
    Field("ash.density", "density", said("weight of a level measure of the ash"), minimum=0.1, maximum=1.5),
    *(
        Field(
            f"ash.analysis.{element}", "mass_fraction", said("{element} in the dry ash", element=element), maximum=600
        )
        for element in ASH_ELEMENTS
    ),
    Field("water.kind", "choice", said("the water the ash steeps in"), "rain", _names("water_kinds", "kind")),
    Field("water.amount", "volume", said("how much water the ash steeps in"), minimum=0.01, maximum=1e6),
    Field("water.temperature", "temperature", said("temperature of the steep"), "15 °C", minimum=0, maximum=45),
    *_water_fields("water", said("the steeping water")),
    Field(
        "dilution_water.kind",
        "choice",
        said("the water the liquor is diluted with"),
        None,
        _names("water_kinds", "kind"),
    ),
    *_water_fields("dilution_water", said("the diluting water")),
    Field("steep.time", "time", said("how long it steeps and settles"), "24 h", minimum=0.01, maximum=24 * 60),
    Field("steep.air", "choice", said("whether the bucket stands covered or open"), "covered", ("covered", "open")),
    Field("vessel.depth", "length", said("inside height of the bucket"), "30 cm", minimum=0.03, maximum=3),
    Field("vessel.capacity", "volume", said("what the bucket holds, brim full"), "12 L", minimum=0.05, maximum=1e5),
    Field("use", "choice", said("how the feed is given"), "drench", ("drench", "foliar")),
    Field("stage", "choice", said("how grown the plants are"), "established", ("seedling", "young", "established")),
    Field("plant", "text", said("which plant")),
    Field("place", "choice", said("where the plants grow"), None, PLACES),
    Field("season", "choice", said("what the plants are at"), None, ("sowing", "growing", "resting")),
    Field("soil.ph", "ph", said("pH of the soil"), minimum=2.5, maximum=11),
    Field("soil.tested_with", "choice", said("how that was read"), None, ("laboratory", "meter", "kit", "strip")),
    Field("soil.tested_on", "moment", said("when that was read")),
    Field("soil.target_ph", "ph", said("pH the soil should reach"), minimum=4.5, maximum=7),
    Field("soil.dug_depth", "length", said("how deep dry ash is dug in"), minimum=0.01, maximum=0.6),
    Field("soil.texture", "choice", said("texture of the soil"), None, ("sand", "loam", "clay", "peat")),
    Field("soil.area", "area", said("area that gets the feed"), minimum=0.001, maximum=1e8),
    Field("acid.kind", "choice", said("acid used to bring the pH down"), None, ("vinegar", "citric acid")),
    Field("acid.strength", "strength", said("strength of the acid"), minimum=0.001, maximum=1),
    Field("acid.target_ph", "ph", said("pH the feed should reach"), minimum=4, maximum=11),
    Field("mixing.with", "choice", said("what else would go into the can"), None, _names("second_things", "id")),
    Field("mixing.dose", "concentration", said("how much of it to a litre"), maximum=500_000),
    Field("measured.ec", "conductivity", said("conductivity read with a meter"), maximum=200_000),
    Field("measured.ph", "ph", said("pH read with a meter or strip"), minimum=0, maximum=14),
    Field("measured.temperature", "temperature", said("temperature of that reading"), minimum=0, maximum=60),
    Field("measured.compensated", "choice", said("whether the pen brings its reading to 25 °C"), None, ("yes", "no")),
    Field("measured.ph_by", "choice", said("what the pH was read with"), None, ("meter", "strip")),
    Field("measured.ph_width", "ph", said("how far that pH may be off, either way"), minimum=0.02, maximum=3),
    Field("measured.of", "choice", said("what was read"), None, ("liquor", "feed")),
    Field(
        "measured.after", "time", said("time from stirring in the ash to the reading"), minimum=0.01, maximum=24 * 60
    ),
    Field("measured.acid_drops", "volume", said("vinegar that 100 mL of liquor took to the colour change"), maximum=10),
    Field("measured.acid_strength", "strength", said("strength of that vinegar"), minimum=0.001, maximum=1),
    Field("measured.acid_end", "ph", said("pH at which that colour changes"), minimum=4.5, maximum=9),
    Field(
        "measured.clear_depth",
        "length",
        said("depth down to which the liquor was seen clear"),
        minimum=0.002,
        maximum=3,
    ),
    Field("measured.clear_after", "time", said("time from stirring to that look"), minimum=0.01, maximum=24 * 60),
    Field("ask", "choice", said("what is asked for, if not a batch"), None, ("batch", "spread", "season", "book")),
    Field("country", "choice", said("whose limits of metals count"), None, _names("metal_countries", "country")),
    Field("ranges", "choice", said("whether the ranges are worked out too"), "on", ("on", "off")),
    Field("seed", "count", said("start of the fixed sample that the ranges rest on"), "1", maximum=1e9),
    Field("samples", "count", said("how many ashes the ranges rest on"), "40", minimum=10, maximum=400),
    Field("now", "moment", said("when the steep begins")),
)
_BY_PATH = {field.path: field for field in REQUEST_FIELDS}
# What is handed on as it came to the rooms of the season book, which read it by their own rules.
CARRIED = ("book", "bed", "what_if", "do", "at", "by", "id", "record", "other", "text")
ABOUT_A_BOOK = ("season", "book")
_SPECIAL = {"schema", "language", "locale", "customs", "cans", "dilution", "solution", "ash.earlier"}
MOST_EARLIER = 20
_GROUPS = {path.rsplit(".", depth)[0] for path in _BY_PATH for depth in (1, 2) if path.count(".") >= depth}
SOLUTION_ELEMENTS = ("potassium", "sodium", "calcium", "magnesium", "carbon", "sulfur", "chloride", "phosphorus")


@dataclass(frozen=True, slots=True)
class Can:
    """A size of watering can or bottle in litres, and how many there are."""

    litres: float
    count: int


@dataclass(frozen=True, slots=True)
class SolutionRequest:
    """Chemistry alone: mol per kilogram of water, minerals that may form, degC, CO2 pressure in atm or closed."""

    totals: Mapping[str, float]
    minerals: tuple[str, ...]
    temperature_celsius: float
    carbon_dioxide_atm: float | None


@dataclass(frozen=True, slots=True)
class Request:
    """Everything asked, by path, in base units; ``assumed`` tells which of it nobody typed.

    ``numbers`` and ``words`` hold only what is known. ``readings`` holds amounts as read, for telling back.
    ``carried`` holds what belongs to a season book (see `CARRIED`), unread. ``earlier`` holds the batches made
    of this ash before, with what was read of them.
    """

    numbers: Mapping[str, float]
    words: Mapping[str, str]
    readings: Mapping[str, Quantity]
    cans: tuple[Can, ...]
    dilution_parts: float | None
    solution: SolutionRequest | None
    moment: datetime | None
    locale: str
    customs: str
    assumed: Mapping[str, str]
    carried: Mapping[str, Any] = field(default_factory=dict)
    earlier: tuple[Request, ...] = ()
    language: str = "en"

    def number(self, path: str) -> float | None:
        """The number at ``path`` in its kind's base unit, or None where nobody gave it and there is no default."""
        return self.numbers.get(path)

    def known(self, path: str) -> float:
        """The number at a path that has a default."""
        return self.numbers[path]

    def word(self, path: str) -> str:
        """The word at a path, empty where there is none."""
        return self.words.get(path, "")

    def group(self, path: str) -> dict[str, float]:
        """The numbers below ``path`` by their last name, such as the rows of a laboratory report."""
        start = path + "."
        return {name[len(start) :]: value for name, value in self.numbers.items() if name.startswith(start)}


def read_request(request_json: str) -> Request:
    """The request in ``request_json``, or `InputErrors` with every faulty field."""
    return _RequestReader(json_document(request_json)).request()


def json_document(request_json: str) -> dict[str, Any]:
    """The JSON object in ``request_json``, no key of it twice; raises `InputErrors`."""

    def refuse(problem: str) -> InputErrors:
        snippet = str(request_json)[:60]
        return InputErrors([InputError("request", snippet, problem, said('a JSON object such as {"schema": 1}'))])

    if not isinstance(request_json, str):
        raise refuse(said("This is not text."))
    if len(request_json) > LONGEST_WITH_BOOK:
        raise refuse(said("This is longer than {amount} characters.", amount=LONGEST_WITH_BOOK))
    try:
        document = json.loads(request_json, object_pairs_hook=_object_without_repeats)
    except (ValueError, RecursionError) as error:
        place = (
            said(" (line {lineno}, column {colno})", lineno=error.lineno, colno=error.colno)
            if isinstance(error, json.JSONDecodeError)
            else ""
        )
        reason = str(error) if isinstance(error, _RepeatedKey) else said("This is not JSON{place}.", place=place)
        raise refuse(reason) from None
    if not isinstance(document, dict):
        raise refuse(said("This is JSON, but not an object."))
    if len(request_json) > LONGEST_REQUEST and not document.keys() & {"book", "other", "text"}:
        raise refuse(said("This is longer than {amount} characters.", amount=LONGEST_REQUEST))
    return document


class _RepeatedKey(ValueError):
    pass


def _object_without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    document = dict(pairs)
    if len(document) < len(pairs):
        repeated = next(key for index, (key, _) in enumerate(pairs) if key in dict(pairs[:index]))
        raise _RepeatedKey(said("The key {repeated} stands twice.", repeated=f"{repeated[:40]!r}"))
    return document


class _RequestReader:
    """One pass over one document, gathering values and faults."""

    def __init__(self, document: dict[str, Any]) -> None:
        self.errors: list[InputError] = []
        self.assumed: dict[str, str] = {}
        self.numbers: dict[str, float] = {}
        self.words: dict[str, str] = {}
        self.readings: dict[str, Quantity] = {}
        self.moment: datetime | None = None
        self.document = document
        self.carried = CARRIED if document.get("ask") in ABOUT_A_BOOK else ()
        self.language = self._choice("language", document.get("language"), tuple(LANGUAGES), None) or "en"
        self.locale = self._choice("locale", document.get("locale"), LOCALES, USUAL_LOCALE[self.language])
        usual = {"en-US": "us", "en-GB": "uk"}.get(self.locale, "metric")
        self.customs = self._choice("customs", document.get("customs"), CUSTOMS, usual)

    def request(self) -> Request:
        schema = self.document.get("schema")
        if schema != SCHEMA or isinstance(schema, bool):
            self._fault("schema", schema, said("This version of the request is not known."), "1")
        given = self._flattened(self.document, "")
        for asked in REQUEST_FIELDS:
            self._read(asked, given.pop(asked.path, None))
        for path, value in given.items():
            if path.strip():
                self._fault(path, _shown(value), said("There is no such field."), _neighbours(path))
            else:
                self._fault("request", _shown(value), said("This stands under no name."), _neighbours(path))
        cans = self._cans(self.document.get("cans"))
        dilution = self._dilution(self.document.get("dilution"))
        solution = self._solution(self.document.get("solution"))
        ash = self.document.get("ash")
        earlier = self._earlier(ash.get("earlier") if isinstance(ash, dict) else None)
        self._acid_is_whole()
        self._clear_line_is_whole()
        if self.errors:
            raise InputErrors(self.errors)
        return Request(
            self.numbers,
            self.words,
            self.readings,
            cans,
            dilution,
            solution,
            self.moment,
            self.locale,
            self.customs,
            self.assumed,
            {name: self.document[name] for name in self.carried if self.document.get(name) is not None},
            earlier,
            self.language,
        )

    def _flattened(self, document: Mapping[str, Any], start: str) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for key, value in document.items():
            path = f"{start}{key}"
            if path in _SPECIAL or path in self.carried:
                continue
            if path in _GROUPS and isinstance(value, dict):
                found.update(self._flattened(value, path + "."))
            elif path in _GROUPS and value is not None:
                self._fault(
                    path,
                    _shown(value),
                    said("This is not an object."),
                    said("an object with {path}", path=_neighbours(path + ".x")),
                )
            elif value is not None or (path not in _BY_PATH and path not in _GROUPS):
                found[path] = value
        return found

    def _read(self, field: Field, given: Any) -> None:
        if isinstance(given, str) and not given.strip():
            given = None
        if given is None:
            if field.default is None:
                return
            given = field.default
            self.assumed[field.path] = given
        try:
            self._keep(field, given)
        except InputError as error:
            self.errors.append(error)

    def _keep(self, field: Field, given: Any) -> None:
        path = field.path
        if field.kind == "choice":
            word = self._choice(path, given, field.choices, None)
            if word:
                self.words[path] = word
        elif field.kind == "ash":
            self.words[path] = _ash_kind(path, given, field.choices)
        elif field.kind == "text":
            self.words[path] = _plain_text(path, given)
        elif field.kind == "masses":
            self._keep_weighings(path, given)
        elif field.kind == "moment":
            moment = _moment(path, given)
            if path == "now":
                self.moment = moment
            else:
                self.words[path] = moment.date().isoformat()
        else:
            quantity = read_quantity(
                given, field.kind, path, self.locale, self.customs, minimum=field.minimum, maximum=field.maximum
            )
            if path == "ash.amount" and quantity.value <= 0:
                raise InputError(
                    path,
                    _shown(given),
                    said("There is no ash in this."),
                    said("an amount above nothing, such as 1 cup or 100 g"),
                )
            self.numbers[path] = quantity.value
            self.readings[path] = quantity

    def _keep_weighings(self, path: str, given: Any) -> None:
        """A list of weights, or text such as ``98 g; 104 g``, each kept under its place."""
        texts = re.split(r"[;\n]", given) if isinstance(given, str) else given
        if not isinstance(texts, list) or not 1 <= len(texts) <= MOST_WEIGHINGS:
            problem, accepted = said("This is not a list of weights."), "weights such as 98 g; 104 g; 101 g"
            raise InputError(path, _shown(given), problem, accepted)
        for place, text in enumerate(text for text in texts if not isinstance(text, str) or text.strip()):
            quantity = read_quantity(text, "mass", path, self.locale, self.customs, minimum=0.1, maximum=50_000)
            self.numbers[f"{path}.{place}"] = quantity.value
            self.readings[path] = quantity

    def _choice(self, path: str, given: Any, choices: tuple[str, ...], default: str | None) -> str:
        if given is None or given == "":
            if default is not None:
                self.assumed[path] = default
            return default or ""
        wanted = given.strip().casefold() if isinstance(given, str) else None
        for choice in choices:
            if wanted == choice.casefold():
                return choice
        self._fault(
            path,
            _shown(given),
            said("This is not one of the choices."),
            said("one of {choices}", choices=", ".join(choices)),
        )
        return default or ""

    def _cans(self, given: Any) -> tuple[Can, ...]:
        if given is None:
            return ()
        if not isinstance(given, list) or len(given) > 20:
            self._fault(
                "cans",
                _shown(given),
                said("This is not a list of cans."),
                said('a list such as [{"size": "9 L", "count": 2}]'),
            )
            return ()
        cans = []
        for index, row in enumerate(given):
            path = f"cans.{index}"
            if not isinstance(row, dict) or set(row) - {"size", "count"}:
                self._fault(path, _shown(row), said("This is not a can."), said('{"size": "9 L", "count": 2}'))
                continue
            if row.get("size") in (None, "") and row.get("count") in (None, ""):
                continue
            size = self._read_here(row.get("size"), "volume", f"{path}.size", 0.01, 1e4)
            count = self._read_here(row.get("count", 1), "count", f"{path}.count", 1, 1000)
            if size is not None and count is not None:
                self.readings[f"{path}.size"] = size
                cans.append(Can(size.value, round(count.value)))
        return tuple(cans)

    def _earlier(self, given: Any) -> tuple[Request, ...]:
        """Earlier batches of this ash, each the parts of a request of its own."""
        if given is None or given == "":
            return ()
        accepted = said("a list of at most {most} requests, as a kept ash holds them", most=MOST_EARLIER)
        if not isinstance(given, list) or len(given) > MOST_EARLIER:
            self._fault("ash.earlier", _shown(given), said("This is not a list of earlier batches."), accepted)
            return ()
        return tuple(batch for place, row in enumerate(given) if (batch := self._earlier_batch(place, row, accepted)))

    def _earlier_batch(self, place: int, row: Any, accepted: str) -> Request | None:
        path = f"ash.earlier.{place}"
        if not isinstance(row, dict):
            self._fault(path, _shown(row), said("This is not an earlier batch."), accepted)
            return None
        ash = row.get("ash")
        if isinstance(ash, dict) and "earlier" in ash:
            problem = said("An earlier batch can't have earlier ones within it.")
            self._fault(path, "", problem, said("all of them in one list"))
            return None
        try:
            batch = _RequestReader({**row, "schema": SCHEMA}).request()
        except InputErrors as refusal:
            self.errors += [
                InputError(f"{path}.{error.field}", error.given, error.problem, error.accepted)
                for error in refusal.errors
            ]
            return None
        if batch.words["ash.kind"] != self.words.get("ash.kind", batch.words["ash.kind"]):
            problem = said("This batch was made of another ash.")
            self._fault(f"{path}.ash.kind", batch.words["ash.kind"], problem, self.words["ash.kind"])
            return None
        measured = any(name.startswith("measured.") for name in batch.numbers)
        for name in ("ash.amount", "water.amount"):
            if measured and name not in batch.readings:
                self._fault(f"{path}.{name}", "", said("What was read of a batch needs this too."), said("an amount"))
        if measured and batch.word("measured.of") == "feed" and batch.dilution_parts is None:
            self._fault(f"{path}.dilution", "", said("What was read of a batch needs this too."), said("such as 1:10"))
        return batch

    def _read_here(self, given: Any, kind: str, path: str, minimum: float, maximum: float) -> Quantity | None:
        """A quantity at ``path``, or None with its fault noted."""
        try:
            return read_quantity(given, kind, path, self.locale, self.customs, minimum=minimum, maximum=maximum)
        except InputError as error:
            self.errors.append(error)
            return None

    def _dilution(self, given: Any) -> float | None:
        if given is None or given == "":
            return None
        try:
            parts = read_dilution(given, "dilution", self.locale)
        except InputError as error:
            self.errors.append(error)
            return None
        if not 0 <= parts <= 1000:
            self._fault("dilution", _shown(given), said("This is out of range."), said("1:0 (undiluted) to 1:1000"))
            return None
        return parts

    def _solution(self, given: Any) -> SolutionRequest | None:
        if given is None:
            return None
        if not isinstance(given, dict) or set(given) - {"totals", "minerals", "temperature", "carbon_dioxide"}:
            self._fault(
                "solution",
                _shown(given),
                said("This is not a solution."),
                said("an object with totals, minerals, temperature, carbon_dioxide"),
            )
            return None
        totals = self._totals(given.get("totals") or {})
        minerals = self._minerals(given.get("minerals") or [])
        temperature, pressure = 25.0, None
        try:
            temperature = read_quantity(
                given.get("temperature") or "25 °C",
                "temperature",
                "solution.temperature",
                self.locale,
                minimum=0,
                maximum=100,
            ).value
        except InputError as error:
            self.errors.append(error)
        try:
            if given.get("carbon_dioxide") is not None:
                pressure = _carbon_dioxide_atm(given["carbon_dioxide"], self.locale)
        except InputError as error:
            self.errors.append(error)
        return SolutionRequest(totals, minerals, temperature, pressure)

    def _totals(self, given: Any) -> dict[str, float]:
        if not isinstance(given, dict):
            self._fault("solution.totals", _shown(given), said("This is not an object."), said("mmol by element"))
            return {}
        totals = {}
        for element, amount in given.items():
            path = f"solution.totals.{element}"
            try:
                if element not in SOLUTION_ELEMENTS:
                    raise InputError(
                        path,
                        _shown(amount),
                        said("There is no such element."),
                        said("one of {choices}", choices=", ".join(SOLUTION_ELEMENTS)),
                    )
                millimoles = read_number(amount, path, self.locale)
                if not 0 <= millimoles <= 20_000:
                    raise InputError(
                        path, _shown(amount), said("This is out of range."), said("0 to 20000 mmol per kg of water")
                    )
                totals[element] = millimoles / 1000
            except InputError as error:
                self.errors.append(error)
        return totals

    def _minerals(self, given: Any) -> tuple[str, ...]:
        known = _names("chem_minerals", "mineral")
        if not isinstance(given, list) or any(mineral not in known for mineral in given):
            self._fault(
                "solution.minerals",
                _shown(given),
                said("This is not a list of known minerals."),
                said("any of {choices}", choices=", ".join(known)),
            )
            return ()
        return tuple(dict.fromkeys(given))

    def _acid_is_whole(self) -> None:
        if any(path in self.numbers or path in self.words for path in ("acid.kind", "acid.strength", "acid.target_ph")):
            for path, example in (("acid.kind", "vinegar or citric acid"), ("acid.target_ph", "a pH such as 7")):
                if (
                    path not in self.numbers
                    and path not in self.words
                    and not any(e.field == path for e in self.errors)
                ):
                    self._fault(path, "", said("The acid needs this too."), example)

    def _clear_line_is_whole(self) -> None:
        pair = ("measured.clear_depth", "10 cm"), ("measured.clear_after", "2 h")
        if any(path in self.numbers for path, _ in pair):
            for path, example in pair:
                if path not in self.numbers and not any(error.field == path for error in self.errors):
                    self._fault(
                        path, "", said("The clear line needs this too."), said("such as {example}", example=example)
                    )

    def _fault(self, field: str, given: Any, problem: str, accepted: str) -> None:
        self.errors.append(InputError(field, given, problem, accepted))


def _shown(value: Any) -> str:
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 80 else text[:79] + "…"


def _neighbours(path: str) -> str:
    """The names that would be accepted where an unknown one stands."""
    start = path.rsplit(".", 1)[0] + "." if "." in path else ""
    names = {known[len(start) :].split(".")[0] for known in _BY_PATH if known.startswith(start)}
    if not start:
        names |= _SPECIAL
    return said("one of {choices}", choices=", ".join(sorted(names))) if names else said("nothing here")


def _plain_text(path: str, given: Any) -> str:
    if not isinstance(given, str) or len(given) > 200 or any(ord(character) < 32 for character in given):
        raise InputError(
            path, _shown(given), said("This is not one line of text."), said("at most 200 characters on one line")
        )
    return given.strip()


def _moment(path: str, given: Any) -> datetime:
    try:
        moment = datetime.fromisoformat(given) if isinstance(given, str) else None
    except ValueError:
        moment = None
    if moment is None or not 1970 <= moment.year <= 2200:
        raise InputError(
            path, _shown(given), said("This is not a date and time."), said("one such as 2026-05-01T09:00")
        )
    return moment


def _ash_kind(path: str, given: Any, kinds: tuple[str, ...]) -> str:
    """The kind of ash, or an `InputError` with the reason where what was burnt must never be used."""
    words = " ".join(re.findall(r"[^\W_]+", given.casefold())) if isinstance(given, str) else ""
    if words in kinds:
        return words
    for row in published.table("ash_refusals"):
        named = (row["id"].replace("_", " "), *row["words"].split("|"))
        if any(f" {word.strip().casefold()} " in f" {words} " for word in named):
            problem = (
                said("{label}: never use this ash", label=row["label"])
                if row["verdict"] == "refused"
                else said("{label} is not covered", label=row["label"])
            )
            reason = said(
                "{problem}. {reason}. {caution}", problem=problem, reason=row["reason"], caution=row["caution"]
            )
            raise InputError(
                path, _shown(given), reason, said("ash of clean, untreated wood: {kinds}", kinds=", ".join(kinds))
            )
    raise InputError(
        path, _shown(given), said("This is not a known ash."), said("one of {choices}", choices=", ".join(kinds))
    )


def _carbon_dioxide_atm(given: Any, locale: str) -> float:
    path = "solution.carbon_dioxide"
    accepted = said("null for closed, or the share of CO2 in the air such as 420 ppm")
    found = re.fullmatch(r"\s*(.+?)\s*(ppm|%)\s*", given) if isinstance(given, str) else None
    if found is None:
        raise InputError(path, _shown(given), said("This is not a share of the air."), accepted)
    share = read_number(found.group(1), path, locale) / (1e6 if found.group(2) == "ppm" else 100)
    if not 0 < share <= 1:
        raise InputError(path, _shown(given), said("This is out of range."), accepted)
    return share

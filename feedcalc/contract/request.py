"""Read a request: from JSON to numbers in base units and words, with every fault reported at once.

* A key that is not in `REQUEST_FIELDS` is an error, so that a misspelt field never passes silently.
* Defaults go through the same reader and are listed under ``assumed``.
* Nothing is computed here beyond the conversion of units.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Set
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property, lru_cache
from typing import Any

from feedcalc.contract.ash_words import read_ash_kind, taken_as
from feedcalc.contract.asks import PAGE_PARTS, ask_of
from feedcalc.contract.choice_words import BY_WORD, choice_meant, choices_listed, choices_spelt_like, soil_ph_meant
from feedcalc.contract.dates import read_moment
from feedcalc.contract.fields import (
    CARRIED,
    FIELD_OF_PATH,
    GROUPS,
    LONGEST_REQUEST,
    LONGEST_WITH_BOOK,
    MOST_EARLIER,
    MOST_WEIGHINGS,
    NUMBER_GROUPS,
    NUMBER_PATHS,
    REQUEST_FIELDS,
    SCHEMA,
    SOLUTION_ELEMENTS,
    STRUCTURED_PATHS,
    TAKE_LIKELY_UNIT,
    WORD_PATHS,
    Field,
    names_in,
)
from feedcalc.contract.numbers import read_number
from feedcalc.contract.own_measures import OwnUnits, by_customs, is_own, own_units, roughly
from feedcalc.contract.quantities import Quantity, read_dilution, read_quantity, read_with_likely_unit, write_quantity
from feedcalc.contract.text import one_line, passage, plain_words, snippet
from feedcalc.contract.units import CUSTOMS, HAND_MEASURES, converted
from feedcalc.frozen import frozen
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.json_text import NestedTooDeep, RepeatedKey, parse_json
from feedcalc.words.languages import LANGUAGES, LOCALES, USUAL_LOCALE
from feedcalc.words.messages import any_of, said, said_in


@frozen
class Can:
    """A size of watering can or bottle in litres, and how many there are."""

    litres: float
    count: int


@frozen
class SolutionRequest:
    """Chemistry alone: totals in mol per kg of water, minerals that may form, CO2 pressure (None: closed)."""

    totals: Mapping[str, float]
    minerals: tuple[str, ...]
    temperature_celsius: float
    carbon_dioxide_atm: float | None


@dataclass(frozen=True)
class Request:
    """A valid request: known numbers and words by path, numbers in base units.

    ``readings`` holds each amount as it was read, ``assumed`` the defaults used, ``carried`` the unread parts of a
    season book (see `CARRIED`), ``earlier`` the earlier batches of the same ash with their readings. ``echoes`` says by
    path how words were read that could be read in another way.
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
    echoes: Mapping[str, str] = field(default_factory=dict)
    customs_chosen: bool = False

    @property
    def unsure_measure(self) -> Quantity | None:
        """The first amount in a measure that differs by country, where nobody has said whose measures are meant."""
        if self.customs_chosen:
            return None
        doubtful = (each for each in self.readings.values() if each.echo and by_customs(each.typed_unit, self.locale))
        return next(doubtful, None)

    @cached_property
    def own(self) -> OwnUnits:
        """The units in which the grower reads amounts: those that were typed, else those of the customs."""
        cans = (("volume", path) for path in self.readings if path.startswith("cans."))
        typed = tuple(
            (kind, self.readings[path].typed_unit)
            for kind, path in (*cans, *_TELLING)
            if path in self.readings and path not in self.assumed and self.readings[path].typed_unit
        )
        return own_units(typed, self.customs)

    def number(self, path: str) -> float | None:
        """Return the number at a path in the base unit of its kind, or None if it is not known."""
        return self.numbers.get(_checked(path, NUMBER_PATHS))

    def known(self, path: str) -> float:
        """Return the number at a path that has a default."""
        return self.numbers[_checked(path, NUMBER_PATHS)]

    def word(self, path: str) -> str:
        """Return the word at a path, or an empty text if it is not known."""
        found = self.words.get(path)
        return found if found is not None else self.words.get(_checked(path, WORD_PATHS), "")

    def group(self, path: str) -> dict[str, float]:
        """Return the numbers below a path by the rest of their path: an analysis, or the items of a list."""
        start = _checked(path, NUMBER_GROUPS) + "."
        return {name[len(start) :]: value for name, value in self.numbers.items() if name.startswith(start)}


# Fields whose typed units say in which units the grower reads, by kind; the first that is known decides.
_TELLING = (
    ("volume", "water.amount"),
    ("volume", "vessel.capacity"),
    ("area", "soil.area"),
    ("length", "vessel.depth"),
    ("length", "soil.dug_depth"),
    ("temperature", "water.temperature"),
    ("temperature", "measured.temperature"),
)


def _checked(path: str, known: Set[str]) -> str:
    """Return a path of our own code; raise `KeyError` if it is misspelt."""
    if path not in known:
        raise KeyError(f"{path} is not such a field of a request")
    return path


def read_request(request_json: str) -> Request:
    """Return the request in a JSON text; raise `InputErrors` with every faulty field."""
    return request_of(json_document(request_json))


def request_of(document: Mapping[str, Any]) -> Request:
    """Return the request in a parsed JSON object; raise `InputErrors` with every faulty field."""
    return _RequestReader(document).request()


def with_fields(request: Request, given: Mapping[str, str]) -> Request:
    """Return a request with more fields, the same as if all of them had been read together.

    ``given`` holds the text of each new field by its path: an amount, or a line of text. Raises `InputError` for a text
    that can't be read, and for a soil pH in words.
    """
    numbers, words, readings = dict(request.numbers), dict(request.words), dict(request.readings)
    for path, text in given.items():
        if FIELD_OF_PATH[path].kind == "text":
            words[path] = one_line(path, text)
        else:
            readings[path] = _quantity_in_text(path, text, request.locale, request.customs)
            numbers[path] = readings[path].value
    assumed = dict(request.assumed)
    found = replace(request, numbers=numbers, words=words, readings=readings, assumed=assumed)
    assumed |= _in_own_units(found)
    return found


def json_document(request_json: str) -> dict[str, Any]:
    """Return the JSON object in a text; raise `InputErrors` for a repeated key, too much depth or too much text."""

    def refusal(problem: str) -> InputErrors:
        start = str(request_json)[:60]
        return InputErrors([InputError("request", start, problem, said('a JSON object such as {"schema": 1}'))])

    if not isinstance(request_json, str):
        raise refusal(said("This is not text."))
    if len(request_json) > LONGEST_WITH_BOOK:
        problem = said("This is longer than {amount} characters.", amount=LONGEST_WITH_BOOK)
        accepted = said("a smaller file: cut a long table into parts, and bring them in one by one")
        raise InputErrors([InputError("request", "", problem, accepted)])
    try:
        document = parse_json(request_json, unique_keys=True)
    except RepeatedKey as error:
        raise refusal(said("The key {repeated} is there twice.", repeated=f"{error.key[:40]!r}")) from None
    except NestedTooDeep as error:
        raise refusal(error.problem) from None
    except json.JSONDecodeError as error:
        place = {"line": error.lineno, "column": error.colno}
        raise refusal(said("This is not JSON (line {line}, column {column}).", **place)) from None
    except ValueError:
        raise refusal(said("This is not JSON.")) from None
    if not isinstance(document, dict):
        raise refusal(said("This is JSON, but not an object."))
    if len(request_json) > LONGEST_REQUEST and not document.keys() & {"book", "other", "text"}:
        raise refusal(said("This is longer than {amount} characters.", amount=LONGEST_REQUEST))
    return document


def _quantity(path: str, given: Any, locale: str, customs: str) -> Quantity:
    """Return the quantity given for a field; raise `InputError`."""
    field = FIELD_OF_PATH[path]
    read = read_with_likely_unit if path in TAKE_LIKELY_UNIT else read_quantity
    return read(given, field.kind, path, locale, customs, minimum=field.minimum, maximum=field.maximum)


# Defaults are read with every request, and a table of plots says the same in many rows.
_quantity_in_text = lru_cache(maxsize=4096)(_quantity)


class _RequestReader:
    """One pass over a document that collects values and faults."""

    def __init__(self, document: Mapping[str, Any]) -> None:
        self.errors: list[InputError] = []
        self.assumed: dict[str, str] = {}
        self.numbers: dict[str, float] = {}
        self.words: dict[str, str] = {}
        self.readings: dict[str, Quantity] = {}
        self.echoes: dict[str, str] = {}
        self.moment: datetime | None = None
        self.document = document
        ask = ask_of(document)
        self.carried = CARRIED if ask is not None and ask.carries_book else ()
        self.language = self._choice("language", document.get("language"), tuple(LANGUAGES), None) or "en"
        self.locale = self._choice("locale", document.get("locale"), LOCALES, USUAL_LOCALE[self.language])
        usual = {"en-US": "us", "en-GB": "uk"}.get(self.locale, "metric")
        self.customs = self._choice("customs", document.get("customs"), tuple(CUSTOMS), usual)

    def request(self) -> Request:
        schema = self.document.get("schema")
        if schema != SCHEMA or isinstance(schema, bool):
            self._fault("schema", schema, said("This version of the request is not known."), "1")
        html = self.document.get("html", True)
        if not isinstance(html, bool) and not (isinstance(html, list) and all(part in PAGE_PARTS for part in html)):
            accepted = f"true, false, [{', '.join(PAGE_PARTS)}]"
            self._fault("html", snippet(html), said("This is not one of the choices."), accepted)
        given = self._flattened(self.document, "")
        for asked in REQUEST_FIELDS:
            if asked.path in given or asked.default is not None:
                self._read(asked, given.pop(asked.path, None))
        if "soil.ph" in self.echoes:
            self.words["soil.tested_with"] = BY_WORD
        for path, value in given.items():
            if path.strip():
                self._fault(path, snippet(value), said("There is no such field."), _neighbours(path))
            else:
                self._fault("request", snippet(value), said("This has no name."), _neighbours(path))
        self._buckets_are_as_told()
        cans = self._cans(self.document.get("cans"))
        dilution = self._dilution(self.document.get("dilution"))
        solution = self._solution(self.document.get("solution"))
        ash = self.document.get("ash")
        earlier = self._earlier(ash.get("earlier") if isinstance(ash, dict) else None)
        self._acid_is_whole()
        self._clear_line_is_whole()
        if self.errors:
            raise InputErrors(self.errors)
        request = Request(
            numbers=self.numbers,
            words=self.words,
            readings=self.readings,
            cans=cans,
            dilution_parts=dilution,
            solution=solution,
            moment=self.moment,
            locale=self.locale,
            customs=self.customs,
            assumed=self.assumed,
            carried={name: self.document[name] for name in self.carried if self.document.get(name) is not None},
            earlier=earlier,
            language=self.language,
            echoes=self.echoes,
            customs_chosen=self.document.get("customs") is not None,
        )
        self.assumed |= _in_own_units(request)
        return request

    def _flattened(self, document: Mapping[str, Any], start: str) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for key, value in document.items():
            path = f"{start}{key}"
            if path in STRUCTURED_PATHS or path in self.carried:
                continue
            if path in GROUPS and isinstance(value, dict):
                found.update(self._flattened(value, path + "."))
            elif path in GROUPS and value is not None:
                self._fault(
                    path,
                    snippet(value),
                    said("This is not an object."),
                    said("an object with {path}", path=_neighbours(path + ".x")),
                )
            elif value is not None or (path not in FIELD_OF_PATH and path not in GROUPS):
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
            if field.kind == "choice":
                self.words[field.path] = given
                return
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
                if word != given and plain_words(str(given)) != plain_words(word):
                    self.echoes[path] = taken_as(given, word)
        elif field.kind == "ash":
            self.words[path], echo = read_ash_kind(path, given, field.choices)
            if echo:
                self.echoes[path] = echo
        elif path == "soil.ph" and (meant := soil_ph_meant(given, self.locale)):
            self.numbers[path], self.echoes[path] = meant
        elif field.kind == "text":
            self.words[path] = one_line(path, given)
        elif field.kind == "passage":
            self.words[path] = passage(path, given)
        elif field.kind == "masses":
            self._keep_weighings(path, given)
        elif field.kind == "moment":
            moment = _moment(path, given, self.locale, None if path == "now" else self._today())
            if path == "now":
                self.moment = moment
            else:
                self.words[path] = moment.date().isoformat()
        else:
            read = _quantity_in_text if isinstance(given, str) else _quantity
            quantity = read(path, given, self.locale, self.customs)
            if path == "ash.amount" and quantity.value <= 0:
                raise InputError(
                    path,
                    snippet(given),
                    said("There is no ash in this."),
                    said("an amount above nothing, such as 1 cup or 100 g"),
                )
            self.numbers[path] = quantity.value
            self.readings[path] = quantity

    def _today(self) -> date | None:
        """Return the day on which the request is made, which tells the year of a day without one."""
        given = self.document.get("now")
        now = read_moment(given, self.locale) if isinstance(given, str) else None
        return now.date() if now else None

    def _keep_weighings(self, path: str, given: Any) -> None:
        """Keep a list of weights, or text such as ``98 g; 104 g``, each under its index."""
        texts = re.split(r"[;\n]", given) if isinstance(given, str) else given
        if not isinstance(texts, list) or not 1 <= len(texts) <= MOST_WEIGHINGS:
            problem, accepted = said("This is not a list of weights."), "weights such as 98 g; 104 g; 101 g"
            raise InputError(path, snippet(given), problem, accepted)
        for place, text in enumerate(text for text in texts if not isinstance(text, str) or text.strip()):
            quantity = read_quantity(text, "mass", path, self.locale, self.customs, minimum=0.1, maximum=50_000)
            self.numbers[f"{path}.{place}"] = quantity.value
            self.readings[path] = quantity

    def _choice(self, path: str, given: Any, choices: tuple[str, ...], default: str | None) -> str:
        if given is None or given == "":
            if default is not None:
                self.assumed[path] = default
            return default or ""
        if given in choices:
            return str(given)
        wanted = given.strip().casefold() if isinstance(given, str) else None
        for choice in choices:
            if wanted == choice.casefold():
                return choice
        if wanted and (meant := choice_meant(path, wanted, choices)):
            return meant
        problem = said("This is not one of the choices.")
        if wanted and (near := choices_spelt_like(path, wanted, choices)):
            problem = said("This is not one of the choices. Did you mean {near}?", near=choices_listed(near))
        self._fault(path, snippet(given), problem, said("one of {choices}", choices=choices_listed(choices)))
        return default or ""

    def _cans(self, given: Any) -> tuple[Can, ...]:
        if given is None:
            return ()
        if not isinstance(given, list) or len(given) > 20:
            self._fault(
                "cans",
                snippet(given),
                said("This is not a list of cans."),
                said('a list such as [{"size": "9 L", "count": 2}]'),
            )
            return ()
        cans = []
        for index, row in enumerate(given):
            path = f"cans.{index}"
            if not isinstance(row, dict) or set(row) - {"size", "count"}:
                self._fault(path, snippet(row), said("This is not a can."), said('{"size": "9 L", "count": 2}'))
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
        """Return earlier batches of this ash, each read like a request of its own."""
        if given is None or given == "":
            return ()
        accepted = said("a list of at most {most} requests, as a kept ash holds them", most=MOST_EARLIER)
        if not isinstance(given, list) or len(given) > MOST_EARLIER:
            self._fault("ash.earlier", snippet(given), said("This is not a list of earlier batches."), accepted)
            return ()
        return tuple(batch for place, row in enumerate(given) if (batch := self._earlier_batch(place, row, accepted)))

    def _earlier_batch(self, place: int, row: Any, accepted: str) -> Request | None:
        path = f"ash.earlier.{place}"
        if not isinstance(row, dict):
            self._fault(path, snippet(row), said("This is not an earlier batch."), accepted)
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
        measured = bool(batch.word("measured.colour")) or any(name.startswith("measured.") for name in batch.numbers)
        for name in ("ash.amount", "water.amount"):
            if measured and name not in batch.readings:
                self._fault(
                    f"{path}.{name}",
                    "",
                    said("A reading of a batch needs this too. Fill it in."),
                    said_in("what is accepted", "an amount"),
                )
        if measured and batch.word("measured.of") == "feed" and batch.dilution_parts is None:
            self._fault(
                f"{path}.dilution",
                "",
                said("A reading of a batch needs this too. Fill it in."),
                said_in("what is accepted", "such as 1:10"),
            )
        return batch

    def _read_here(self, given: Any, kind: str, path: str, minimum: float, maximum: float) -> Quantity | None:
        """Return the quantity at a path, or None after recording its fault."""
        try:
            return read_with_likely_unit(given, kind, path, self.locale, self.customs, minimum=minimum, maximum=maximum)
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
            self._fault(
                "dilution",
                snippet(given),
                said("This is out of range."),
                said_in("what is accepted", "1:0 (undiluted) to 1:1000"),
            )
            return None
        return parts

    def _solution(self, given: Any) -> SolutionRequest | None:
        if given is None:
            return None
        keys = ("totals", "minerals", "temperature", "carbon_dioxide")
        if not isinstance(given, dict) or {*given} - {*keys}:
            self._fault(
                "solution",
                snippet(given),
                said("This is not a solution."),
                said("an object with any of these keys: {keys}", keys=", ".join(keys)),
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
            self._fault("solution.totals", snippet(given), said("This is not an object."), said("mmol by element"))
            return {}
        totals = {}
        for element, amount in given.items():
            path = f"solution.totals.{element}"
            try:
                if element not in SOLUTION_ELEMENTS:
                    raise InputError(
                        path,
                        snippet(amount),
                        said("There is no such element."),
                        said("one of {choices}", choices=any_of(SOLUTION_ELEMENTS)),
                    )
                millimoles = read_number(amount, path, self.locale)
                if not 0 <= millimoles <= 20_000:
                    raise InputError(
                        path, snippet(amount), said("This is out of range."), said("0 to 20000 mmol per kg of water")
                    )
                totals[element] = millimoles / 1000
            except InputError as error:
                self.errors.append(error)
        return totals

    def _minerals(self, given: Any) -> tuple[str, ...]:
        known = names_in("chem_minerals", "mineral")
        if not isinstance(given, list) or any(mineral not in known for mineral in given):
            self._fault(
                "solution.minerals",
                snippet(given),
                said("This is not a list of known minerals."),
                said("any of {choices}", choices=any_of(known)),
            )
            return ()
        return tuple(dict.fromkeys(given))

    def _buckets_are_as_told(self) -> None:
        """Count a bucket of ash or water as the bucket whose size the request gives."""
        told = self.readings.get("vessel.capacity")
        if told is None or "vessel.capacity" in self.assumed or told.typed_unit in HAND_MEASURES:
            return
        for path in ("ash.amount", "water.amount"):
            reading = self.readings.get(path)
            if reading and reading.typed_unit == "bucket":
                litres = reading.value / converted(1.0, "bucket", "L") * told.value
                echo = write_quantity(litres, "L", 6, self.locale, trim=True)
                self.numbers[path] = litres
                self.readings[path] = replace(reading, value=litres, echo=echo, span=(1.0, 1.0))

    def _acid_is_whole(self) -> None:
        if any(path in self.numbers or path in self.words for path in ("acid.kind", "acid.strength", "acid.target_ph")):
            for path, example in (("acid.kind", "vinegar or citric acid"), ("acid.target_ph", "a pH such as 7")):
                if (
                    path not in self.numbers
                    and path not in self.words
                    and not any(e.field == path for e in self.errors)
                ):
                    self._fault(path, "", said("For the acid, fill this in as well."), example)

    def _clear_line_is_whole(self) -> None:
        pair = ("measured.clear_depth", "10 cm"), ("measured.clear_after", "2 h")
        if any(path in self.numbers for path, _ in pair):
            for path, example in pair:
                if path not in self.numbers and not any(error.field == path for error in self.errors):
                    missing = said("For the clear line, fill this in as well.")
                    self._fault(path, "", missing, said("such as {example}", example=example))

    def _fault(self, field: str, given: Any, problem: str, accepted: str) -> None:
        self.errors.append(InputError(field, given, problem, accepted))


def _in_own_units(request: Request) -> dict[str, str]:
    """Return the defaults that a grower may read in other units than they are written in, in the grower's own."""
    own = request.own
    found: dict[str, str] = {}
    for path, unit in (("water.temperature", "degC"), ("vessel.depth", "cm"), ("vessel.capacity", "L")):
        if path not in request.assumed:
            continue
        found[path] = str(FIELD_OF_PATH[path].default)
        if is_own(unit, own):
            reading = request.readings[path]
            amount = converted(reading.value, reading.unit, unit)
            found[path] = roughly(amount, unit, own, request.locale, trim=True)[0]
    return found


def _neighbours(path: str) -> str:
    """Return the names that are accepted beside an unknown one."""
    start = path.rsplit(".", 1)[0] + "." if "." in path else ""
    names = {known[len(start) :].split(".")[0] for known in FIELD_OF_PATH if known.startswith(start)}
    if not start:
        names |= STRUCTURED_PATHS
    return (
        said("one of {choices}", choices=any_of(sorted(names)))
        if names
        else said_in("what is accepted", "nothing here")
    )


def _moment(path: str, given: Any, locale: str, near: date | None) -> datetime:
    try:
        moment = datetime.fromisoformat(given) if isinstance(given, str) else None
    except ValueError:
        moment = read_moment(given, locale, near)
    if moment is None or not 1970 <= moment.year <= 2200:
        raise InputError(
            path, snippet(given), said("This is not a date and time."), said("one such as 2026-05-01T09:00")
        )
    return moment


def _carbon_dioxide_atm(given: Any, locale: str) -> float:
    path = "solution.carbon_dioxide"
    accepted = said("null for closed, or the share of CO2 in the air such as 420 ppm")
    found = re.fullmatch(r"\s*(.+?)\s*(ppm|%)\s*", given) if isinstance(given, str) else None
    if found is None:
        raise InputError(path, snippet(given), said("This is not a share of the air."), accepted)
    share = read_number(found.group(1), path, locale) / (1e6 if found.group(2) == "ppm" else 100)
    if not 0 < share <= 1:
        raise InputError(path, snippet(given), said("This is out of range."), accepted)
    return share

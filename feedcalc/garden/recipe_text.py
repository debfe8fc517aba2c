"""Read a recipe or a mishap as people tell it: amounts, ratio, wait, dose, for whom, what was done and what was seen.

* Amounts go through the readers of `feedcalc.contract`, so a recipe knows every unit that a field knows.
* `recipe_words.csv` lists the words by the part they play. A word that is not there changes nothing.
* An amount goes to what is named beside it; one that names nothing goes to what is still missing, ash before water.
* Nothing is assumed here. What was read is listed item by item, and what could not be read is listed as well.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

from feedcalc import published
from feedcalc.contract.ash_words import is_refused, read_ash_kind
from feedcalc.contract.fields import names_in
from feedcalc.contract.numbers import leading_number
from feedcalc.contract.quantities import Quantity, dilution_words, read_quantity
from feedcalc.contract.text import plain_words
from feedcalc.contract.units import HAND_MEASURES, spellings, unit_key
from feedcalc.frozen import frozen
from feedcalc.garden.plants import plants_in
from feedcalc.words.errors import InputError, InputErrors

_WORD = re.compile(r"(?:[^\W\d_]|[\u0900-\u0963])+(?:[²³23](?!\d))?")
_RATIO = re.compile(r"(\d+(?:[.,]\d+)?)\s*[:∶：]\s*(\d+(?:[.,]\d+)?)")
_DIGIT = re.compile(r"[\d½¼¾⅓⅔]")
_DECIMAL = re.compile(r"\d+(?:[.,]\d+)?")
_TO_NUMBER = re.compile(r"\s*(?:-|–|to|or|bis|oder|à|ou|a|o|से)\s*(?=\d)", re.IGNORECASE)
_RATIO_IN_WORDS = re.compile(r"\s*\b(?:to|zu|auf|à|pour|a|para|por|में)\s+\d+(?:[.,]\d+)?", re.IGNORECASE)
_SIDES = re.compile(
    r"(\d+(?:[.,]\d+)?)\s*([a-zµ'\"]*)\s*(?:x|×|\*|by|mal|par|por)\s*(\d+(?:[.,]\d+)?)[\s-]*([^\W\d_]+|['\"])?",
    re.IGNORECASE,
)
_PH = re.compile(
    r"\bph\b\s*(?:[=:]|of|is|was|now|von|ist|jetzt|de|est|es|ahora|agora)?\s*(\d{1,2}(?:[.,]\d+)?)", re.IGNORECASE
)
_CONTAINERS = ("bucket", "barrel", "watering_can")
_KINDS = ("mass_or_volume", "time", "area")
_LONGEST_UNIT, _LONGEST_PHRASE = 4, 5  # words
_WORDS_ABOUT_ASH = 3  # words before or behind it that may say what was burnt
_OF = frozenset({"of", "from", "de", "d", "du", "des", "del", "da", "do", "mit", "von", "aus", "com", "con"})


@frozen
class Amount:
    """An amount in a text. ``kind`` is mass (g), volume (L), time (h), area (m2), part or times.

    ``span`` holds the factors by which a measure by hand may hold less or more, ``echo`` how a measure was read.
    ``is_vessel`` is true of the size of a bucket, pot or can.
    """

    kind: str
    value: float
    text: str
    span: tuple[float, float] = (1.0, 1.0)
    unit: str = ""
    echo: str = ""
    is_vessel: bool = False

    @property
    def is_of_matter(self) -> bool:
        """Whether this is an amount of a solid or a liquid."""
        return self.kind in ("mass", "volume", "part")


@frozen
class Token:
    """A piece of the text: the part it plays, the text itself, and its amount if it is one."""

    role: str
    text: str
    amount: Amount | None = None


@frozen
class RecipeText:
    """What a text says of a recipe or a mishap. What it does not say is None, empty or false.

    ``parts`` is the water to one part of liquor; ``dose`` what a plant gets and ``rate`` an amount with its square
    metres; ``did`` holds boiled, unsettled, strained, settled, soap, fill, foliar, seedling, pot ...; ``claims`` and
    ``signs`` are ids. ``read`` lists what was understood as (item, text), ``unread`` the amounts that were not.
    """

    ash: Amount | None = None
    water: Amount | None = None
    parts: float | None = None
    hours: float | None = None
    every_hours: float | None = None
    dose: Amount | None = None
    rate: tuple[Amount, float] | None = None
    rate_is_ash: bool = False
    vinegar: Amount | None = None
    container: Amount | None = None
    area: float | None = None
    soil_ph: float | None = None
    ash_kind: str = ""
    plant: str = ""
    did: frozenset[str] = frozenset()
    claims: tuple[str, ...] = ()
    signs: tuple[str, ...] = ()
    read: tuple[tuple[str, str], ...] = ()
    unread: tuple[str, ...] = ()


def recipe_text(text: str, language: str = "en", customs: str = "metric") -> RecipeText:
    """Return what a text says, read with the words of ``language`` and of English.

    Raises `InputErrors` for an ash that must not be used, and for a measure that means two things.

    >>> read = recipe_text("1 glass of ash to 10 litres, two days, quarter strength, a litre a bush")
    >>> read.ash.value, read.water.value, read.hours, read.parts, read.dose.value
    (0.2, 10.0, 48.0, 3.0, 1.0)
    >>> read = recipe_text("half a bucket of ash, fill up, then 1:10")
    >>> read.ash.value, "fill" in read.did, read.parts
    (5.0, True, 10.0)
    """
    soil = _PH.search(text)
    bare = _PH.sub(" ", text)
    tokens = _Scanner(bare, language, customs).tokens()
    found = _Resolver(tokens).resolved()
    kind, kind_text = _ash_kind(tokens)
    others = " ".join(token.text for token in tokens if token.role in ("other", "plant"))
    plant = next(iter(plants_in(others)), None)
    read = list(found.read)
    if kind:
        read.append(("kind", kind_text))
    if plant:
        read.append(("plant", plant.names[0]))
    if soil:
        read.append(("soil_ph", soil.group().strip()))
    return replace(
        found,
        ash_kind=kind,
        plant=plant.names[0] if plant else "",
        soil_ph=float(soil.group(1).replace(",", ".")) if soil else None,
        read=tuple(read),
    )


@lru_cache(maxsize=8)
def _phrases(language: str) -> tuple[Mapping[str, str], Mapping[str, float]]:
    """Return the part that each phrase plays and the number that each number word means, in plain form."""
    roles: dict[str, str] = {}
    numbers: dict[str, float] = {}
    for row in published.table("recipe_words"):
        if row["language"] not in (language, "en"):
            continue
        for word in map(plain_words, row["words"].split("|")):
            role, _, value = row["role"].partition(" ")
            if role == "number":
                numbers.setdefault(word, float(value))
            elif row["language"] == language or word not in roles:
                roles[word] = row["role"]
    for word, parts in dilution_words().items():
        roles.setdefault(word, f"strength {parts:g}")
    return roles, numbers


class _Scanner:
    """Cuts a text into tokens, from the left, the longest known phrase first."""

    def __init__(self, text: str, language: str, customs: str) -> None:
        self.text = re.sub(r"[^\S\n]+", " ", text.replace("\u2019", "'"))
        self.roles, self.numbers = _phrases(language)
        self.customs = customs
        self.at = 0
        self.found: list[Token] = []
        self.faults: list[InputError] = []

    def tokens(self) -> tuple[Token, ...]:
        """Return all tokens; raise `InputErrors` for measures that can be read in two ways."""
        while self.at < len(self.text):
            self._next()
        if self.faults:
            raise InputErrors(self.faults)
        return tuple(self.found)

    def _next(self) -> None:
        mark = self.text[self.at]
        if ratio := _RATIO.match(self.text, self.at):
            self._add("ratio", ratio.end())
        elif _DIGIT.match(mark):
            if not self._sides():
                self._number()
        elif _WORD.match(self.text, self.at):
            self._words()
        else:
            if mark == "/":
                self._per(self.at + 1)
                return
            if mark in ",;.!?\n":
                self.found.append(Token("clause", mark))
            elif mark in "()":
                self.found.append(Token("open" if mark == "(" else "close", mark))
            self.at += 1

    def _add(self, role: str, end: int, amount: Amount | None = None) -> None:
        self.found.append(Token(role, self.text[self.at : end].strip(), amount))
        self.at = end

    def _words(self) -> None:
        for end in self._ends(self.at, _LONGEST_PHRASE):
            plain = plain_words(self.text[self.at : end])
            if plain in self.numbers and self._amount(self.numbers[plain], end):
                return
            if plain in self.roles:
                role = self.roles[plain]
                self._add(role, end)
                if role == "per":
                    self._per(end)
                return
            if plain in self.numbers:
                self._add("a" if self.numbers[plain] == 1 else "count", end)
                return
        word = _WORD.match(self.text, self.at)
        assert word is not None
        plain = plain_words(word.group())
        # German writes the wood and its ash as one word.
        self._add("ash" if plain.endswith("asche") and len(plain) > len("asche") else "other", word.end())

    def _number(self) -> None:
        rest = self.text[self.at : self.at + 40].rstrip()
        try:
            number, left = leading_number(rest, rest, "recipe", "en-GB", "")
            value, end = number.value, self.at + len(rest) - len(left)
            while self.text[end - 1 : end] == " ":
                end -= 1
        except InputError:
            digits = re.match(r"[\d½¼¾⅓⅔]+(?:[.,]\d+)?", rest)
            assert digits is not None
            value, end = {"½": 0.5, "¼": 0.25, "¾": 0.75, "⅓": 1 / 3, "⅔": 2 / 3}.get(digits.group(), 0.0), 0
            value = value or float(re.sub(r"[^\d.,]", "", digits.group()).replace(",", ".") or 0)
            end = self.at + digits.end()
        if more := _TO_NUMBER.match(self.text, end):
            upper = re.match(r"\d+(?:[.,]\d+)?", self.text[more.end() :])
            assert upper is not None
            high, high_end = float(upper.group().replace(",", ".")), more.end() + upper.end()
            if value < high <= 4 * value and self._amount((value + high) / 2, high_end):
                return
        if self._amount(value, end):
            return
        words = _RATIO_IN_WORDS.match(self.text, end)
        if words and not self._unit_at(words.end()):
            self._add("ratio", words.end())
        elif percent := re.match(r"\s*%", self.text[end:]):
            self._add("percent", end + percent.end(), Amount("percent", value, self.text[self.at : end]))
        elif any(token.amount and token.amount.kind == "part" for token in self.found):  # 1 part of ash to 10 of water
            self._add("amount", end, Amount("part", value, self.text[self.at : end]))
        else:
            self._add("count", end)

    def _unit_at(self, at: int) -> bool:
        start = at + len(re.match(r"[\s-]*", self.text[at:]).group())  # type: ignore[union-attr]
        units = [unit_key(self.text[start:end]) for end in self._ends(start, _LONGEST_UNIT)]
        return any(unit in spellings(kind) for unit in units for kind in _KINDS)

    def _sides(self) -> bool:
        """Add the area of ``4 x 8 ft``; return whether there is one. Without a unit US customs mean feet."""
        sides = _SIDES.match(self.text, self.at)
        if sides is None:
            return False
        first, own, second, unit = sides.groups()
        end = sides.end() if unit_key(unit or "") in spellings("length") else sides.end(3)
        unit = (unit if end == sides.end() else own) or ("ft" if self.customs == "us" else "")
        if unit_key(unit) not in spellings("length"):
            return False
        lengths = [self._quantity(float(side.replace(",", ".")), unit, "length") for side in (first, second)]
        area = math.prod(length.value for length in lengths if length)
        self._add("amount", end, Amount("area", area, self.text[self.at : end]))
        return True

    def _amount(self, value: float, end: int) -> bool:
        """Add the amount of ``value`` and the unit that follows; return whether one does."""
        start = end
        while self.text[start : start + 1] in (" ", "-", "\u00a0"):
            start += 1
        if re.match(r"\d", self.text[start : start + 1]):  # half a 10 litre bucket
            return self._container(value, start)
        for stop in self._ends(start, _LONGEST_UNIT):
            unit = self.text[start:stop]
            if role := {"part": "part", "times": "times"}.get(self.roles.get(plain_words(unit), "")):
                self._add("amount", stop, Amount(role, value, self.text[self.at : stop]))
                return True
            for kind in _KINDS:
                if unit_key(unit) in spellings(kind):
                    self._add("amount", *self._with_container(value, unit, kind, stop))
                    return True
        return False

    def _container(self, value: float, start: int) -> bool:
        number = re.match(r"\d+(?:[.,]\d+)?", self.text[start:])
        assert number is not None
        size, begin, after = float(number.group().replace(",", ".")), self.at, start + number.end()
        for stop in self._ends(after + len(re.match(r"[\s-]*", self.text[after:]).group()), 2):  # type: ignore[union-attr]
            unit = self.text[after:stop].strip(" -")
            if unit_key(unit) in spellings("volume") and self._container_at(stop):
                one = self._quantity(size, unit, "volume")
                if one:
                    end = self._container_at(stop)
                    amount = Amount(
                        "volume", one.value * value, self.text[begin:end], unit=one.typed_unit, is_vessel=True
                    )
                    self._add("amount", end, amount)
                    return True
        return False

    def _with_container(self, value: float, unit: str, kind: str, stop: int) -> tuple[int, Amount]:
        quantity = self._quantity(value, unit, kind)
        if quantity is None:
            return stop, Amount("none", 0.0, "")
        is_measure = quantity.kind == "volume" and quantity.typed_unit not in HAND_MEASURES
        vessel_end = self._container_at(stop) if is_measure else 0
        end = vessel_end or stop
        return end, Amount(
            kind=quantity.kind,
            value=quantity.value,
            text=self.text[self.at : end],
            span=quantity.span,
            unit=quantity.typed_unit,
            echo=quantity.echo,
            is_vessel=bool(vessel_end),
        )

    def _container_at(self, at: int) -> int:
        """Return where the bucket, pot or can ends that follows its size; 0 where none does."""
        start = at + len(re.match(r"[\s-]*", self.text[at:]).group())  # type: ignore[union-attr]
        for end in self._ends(start, 2):
            word = self.text[start:end]
            is_vessel = spellings("volume").get(unit_key(word)) in _CONTAINERS
            if is_vessel or self.roles.get(plain_words(word)) == "pot":
                return end
        return 0

    def _quantity(self, value: float, unit: str, kind: str) -> Quantity | None:
        try:
            return read_quantity(f"{value:.10g} {unit}", kind, "recipe", "en-GB", self.customs)
        except InputError as error:
            self.faults.append(error)
            return None

    def _per(self, at: int) -> None:
        """After ``per``: a unit without a number is one of it."""
        if self.text[at - 1 : at] == "/":
            self._add("per", at)
        start = at + len(re.match(r"\s*", self.text[at:]).group())  # type: ignore[union-attr]
        self.at = start
        for stop in self._ends(start, _LONGEST_UNIT):
            for kind in _KINDS:
                if unit_key(self.text[start:stop]) in spellings(kind):
                    self._amount(1.0, start)
                    return

    def _ends(self, start: int, most: int) -> list[int]:
        """Return where phrases of ``most`` words to one end, the longest first; a phrase ends at a comma or stop."""
        ends: list[int] = []
        at = start
        while len(ends) < most and (word := _WORD.match(self.text, at)):
            ends.append(word.end())
            at = word.end()
            gap = re.match(r"[ \u00a0'.-]*", self.text[at:])
            step = gap.group() if gap else ""
            if ". " in step or not step:
                break
            at += len(step)
        return ends[::-1]


@dataclass
class _Resolver:
    """Gives each amount to what it is an amount of."""

    tokens: Sequence[Token]
    values: dict[str, object] = field(default_factory=dict)
    read: list[tuple[str, str]] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    open: list[tuple[int, Amount]] = field(default_factory=list)
    ratios: list[tuple[str, float, float, bool]] = field(default_factory=list)
    liquor: Amount | None = None

    def resolved(self) -> RecipeText:
        """Return what the tokens say."""
        clause = 0
        for place, token in enumerate(self.tokens):
            clause += token.role == "clause"
            if token.role == "ratio":
                above, below = (float(number.replace(",", ".")) for number in _DECIMAL.findall(token.text))
                self.ratios.append((token.text, above, below, self._is_diluting(place)))
            elif token.role.startswith("strength ") and "parts" not in self.values:
                self._keep("parts", float(token.role.split()[1]), token.text)
            elif token.amount is not None and token.amount.kind != "none":
                self._give(place, clause, token.amount)
        self._settle_ratios()
        self._settle_open()
        self._settle_vessel()
        roles = [token for token in self.tokens if token.role not in ("other", "clause", "amount")]
        did = {token.role for token in roles if token.role in _DEEDS}
        for token in roles:
            if token.role in _DEEDS and token.role not in ("ash", "plant", "wait", "dilute"):
                self.read.append((token.role, token.text))
        return RecipeText(
            **self.values,  # type: ignore[arg-type]
            did=frozenset(did),
            claims=_ids(roles, "claim "),
            signs=_ids(roles, "seen "),
            read=tuple(dict.fromkeys(self.read)),
            unread=tuple(self.unread),
        )

    def _keep(self, name: str, value: object, text: str) -> None:
        if name in self.values:
            self.unread.append(text)
            return
        self.values[name] = value
        self.read.append((name, text))

    def _roles(self, places: Iterable[int]) -> list[str]:
        """Return the roles at places up to the next amount or the end of the clause."""
        found = []
        for place in places:
            token = self.tokens[place]
            if token.role in ("clause", "amount", "ratio"):
                break
            if token.role != "other":
                found.append(token.role)
        return found

    def _before(self, place: int) -> list[str]:
        return self._roles(range(place - 1, -1, -1))

    def _after(self, place: int) -> list[str]:
        return self._roles(range(place + 1, len(self.tokens)))

    def _clause(self, place: int) -> list[str]:
        """Return all roles of the clause around a place."""
        start = place
        while start and self.tokens[start - 1].role != "clause":
            start -= 1
        end = place
        while end < len(self.tokens) and self.tokens[end].role != "clause":
            end += 1
        return [token.role for token in self.tokens[start:end]]

    def _is_diluting(self, place: int) -> bool:
        return bool({"dilute", "liquor"} & set(self._clause(place)))

    def _give(self, place: int, clause: int, amount: Amount) -> None:
        before, after = self._before(place), self._after(place)
        if amount.kind == "percent":
            if self._is_diluting(place) and 0 < amount.value <= 100 and "vinegar" not in after[:1]:
                self._keep("parts", 100 / amount.value - 1, f"{amount.text} %")
        elif amount.kind == "time":
            self._give_time(place, before, after, amount)
        elif amount.kind == "area":
            self._give_area(clause, before, amount)
        elif amount.kind == "times":
            if "dilute" in self._clause(place) and amount.value > 1:
                self._keep("parts", amount.value - 1, amount.text)
        elif sized := self._sized(place, amount):
            self._give_matter(place, clause, before=before, after=after, amount=sized)

    def _sized(self, place: int, amount: Amount) -> Amount | None:
        """Return an amount, or the bucket before it if it is its size: ``a bucket (10 L)``, ``un seau de 10 L``.

        None where that bucket has been given to something.
        """
        joint = self.tokens[place - 1] if place >= 2 else None
        last = self.tokens[place - 2].amount if joint and (joint.role == "open" or joint.text in _OF) else None
        if last is None or last.unit not in HAND_MEASURES or amount.kind != "volume":
            return amount
        one = read_quantity(f"1 {last.unit.replace('_', ' ')}", "volume", "recipe").value
        text = f"{last.text} {amount.text}"
        sized = Amount("volume", last.value / one * amount.value, text, unit=amount.unit, is_vessel=True)
        kept = [(clause, known) for clause, known in self.open if known is not last]
        if len(kept) < len(self.open):
            self.open = kept
            return sized
        self.values = {name: sized if known is last else known for name, known in self.values.items()}
        return None

    def _give_time(self, place: int, before: list[str], after: list[str], amount: Amount) -> None:
        if "per" in before[:1]:
            self._keep("every_hours", amount.value, amount.text)
        elif "ago" in (*before[:1], *after[:1]) or self._boils(before, after):
            self.read.append(("time", amount.text))
        elif isinstance(known := self.values.get("hours"), float):
            self.values["hours"] = max(known, amount.value)
        else:
            self._keep("hours", amount.value, amount.text)

    @staticmethod
    def _boils(before: list[str], after: list[str]) -> bool:
        """Return whether a time is one of boiling: the deed nearest to it."""
        return next((role for role in (*before, *after) if role in ("boiled", "wait")), "") == "boiled"

    def _give_area(self, clause: int, before: list[str], amount: Amount) -> None:
        last = next((known for at, known in reversed(self.open) if at == clause), None)
        ash = self.values.get("ash")
        if amount.value <= 0:
            self.unread.append(amount.text)
        elif {"per", "to", "a"} & set(before) and last is not None:
            self.open = [(at, known) for at, known in self.open if known is not last]
            self._keep("rate", (last, amount.value), f"{last.text} / {amount.text}")
        elif {"per", "to"} & set(before) and isinstance(ash, Amount) and "water" not in self.values:
            self.values["rate_is_ash"] = True
            self._keep("rate", (ash, amount.value), f"{ash.text} / {amount.text}")
        else:
            self._keep("area", amount.value, amount.text)

    def _give_matter(self, place: int, clause: int, *, before: list[str], after: list[str], amount: Amount) -> None:
        of = next((role for role in after if role in _MATTERS), "")
        last = next((known for at, known in reversed(self.open) if at == clause), None)
        if before[:1] == ["per"] and amount.kind != "mass" and (self.liquor or last or "ash" in self.values):
            self._rate_in_water(amount, last)
        elif of == "ash":
            self._keep("ash", amount, amount.text)
        elif of == "vinegar":
            self._keep("vinegar", amount, amount.text)
        elif of == "soap":
            self.read.append(("soap", amount.text))
        elif of == "liquor" and amount.kind != "mass":
            self.liquor = amount
        elif of == "water" and amount.kind != "mass":
            self._give_water(place, amount)
        elif of == "plant":
            self._keep("dose", amount, amount.text)
        elif self._is_of_pot(place, amount):
            self._keep("container", amount, amount.text)
        elif before[:1] == ["ash"] and "ash" not in self.values:
            self._keep("ash", amount, amount.text)
        elif self.liquor and amount.kind != "mass":
            self._give_water(place, amount)
        else:
            self.open.append((clause, amount))

    def _is_of_pot(self, place: int, amount: Amount) -> bool:
        """Return whether an amount is what a pot holds: ``a 5 litre pot``, ``un pot de 5 litres``."""
        joint, pot = (self.tokens[place - 1], self.tokens[place - 2]) if place >= 2 else (None, None)
        is_behind = bool(joint and pot and joint.text in _OF and pot.role == "pot" and amount.kind == "volume")
        return is_behind or (amount.is_vessel and self.tokens[place].text.split()[-1:] == ["pot"])

    def _rate_in_water(self, amount: Amount, last: Amount | None) -> None:
        """``500 g per litre`` of ash, ``100 mL per litre`` of liquor."""
        if self.liquor or ("ash" in self.values and "water" in self.values and last):
            part = self.liquor or last
            assert part is not None
            self.open = [(at, known) for at, known in self.open if known is not part]
            self._keep("parts", amount.value / part.value, f"{part.text} / {amount.text}")
            self.liquor = None
        elif last is not None and "ash" not in self.values:
            self.open = [(at, known) for at, known in self.open if known is not last]
            self._keep("ash", last, last.text)
            self._keep("water", amount, amount.text)
        else:
            self._keep("water", amount, amount.text)

    def _give_water(self, place: int, amount: Amount) -> None:
        known = self.values.get("water")
        if self.liquor and self.liquor.value > 0:
            self._keep("parts", amount.value / self.liquor.value, f"{self.liquor.text} / {amount.text}")
            self.liquor = None
        elif amount.kind == "part" and "dilute" in self._clause(place):
            one = self.open.pop()[1] if self.open and self.open[-1][1].kind == "part" else None
            self._keep("parts", amount.value / (one.value if one and one.value else 1.0), amount.text)
        elif isinstance(known, Amount) and "dilute" in self._clause(place):
            self._keep("parts", amount.value / known.value, amount.text)
        else:
            self._keep("water", amount, amount.text)

    def _settle_ratios(self) -> None:
        """A ratio is ash to water where neither is known and nothing says that it dilutes; else a dilution."""
        has_ash = "ash" in self.values or any(amount.is_of_matter for _, amount in self.open)
        for text, above, below, dilutes in self.ratios:
            if above <= 0:
                self.unread.append(text)
            elif not dilutes and not has_ash and "water" not in self.values:
                self._keep("ash", Amount("part", above, text), text)
                self.values["water"] = Amount("part", below, text)
                has_ash = True
            else:
                self._keep("parts", below / above, text)

    def _settle_open(self) -> None:
        """Give amounts that name nothing to what is missing."""
        for clause, amount in self.open:
            together = [other for at, other in self.open if at == clause]
            is_pair = len(together) == 2 and "water" in self.values and "parts" not in self.values
            if is_pair and together[0] is amount and amount.value > 0 and together[1].kind == amount.kind == "volume":
                self._keep("parts", together[1].value / amount.value, f"{amount.text} / {together[1].text}")
            elif is_pair and together[1] is amount:
                self.unread.append(amount.text)
            elif "ash" not in self.values and not amount.is_vessel:
                self._keep("ash", amount, amount.text)
            elif amount.is_vessel and "fill" in {token.role for token in self.tokens}:
                self._keep("container", amount, amount.text)
            elif "water" not in self.values and amount.kind != "mass":
                self._keep("water", amount, amount.text)
            elif amount.kind == "volume" and "dose" not in self.values:
                self._keep("dose", amount, amount.text)
            else:
                self.unread.append(amount.text)

    def _settle_vessel(self) -> None:
        """Take the bucket or can that ash goes into, told without a number, for the water."""
        if "ash" not in self.values or {"water", "rate", "area", "container"} & self.values.keys():
            return
        for place, token in enumerate(self.tokens):
            unit = spellings("volume").get(unit_key(token.text))
            if unit in _CONTAINERS and "to" in [before.role for before in self.tokens[max(place - 2, 0) : place]]:
                one = read_quantity(f"1 {token.text}", "volume", "recipe")
                self._keep("water", Amount("volume", one.value, token.text, one.span, unit, one.echo), token.text)
                return


_MATTERS = ("ash", "water", "liquor", "vinegar", "soap", "plant", "to", "per")
_DEEDS = frozenset(
    {
        *("ash", "plant", "boiled", "unsettled", "strained", "settled", "vinegar", "soap", "shell", "bone"),
        *("foliar", "seedling", "pot", "fill", "wait", "dilute"),
    }
)


def _ids(tokens: Iterable[Token], start: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(token.role.removeprefix(start) for token in tokens if token.role.startswith(start)))


def _ash_kind(tokens: Sequence[Token]) -> tuple[str, str]:
    """Return the kind of ash that the words beside ``ash`` mean, with them; raise `InputErrors` for a bad fuel."""
    kinds = names_in("ash_kinds", "kind")
    for place, token in enumerate(tokens):
        if token.role != "ash":
            continue
        words = _words_about_ash(tokens, place)
        phrase = " ".join(words)
        if words and is_refused(phrase):
            try:
                read_ash_kind("ash.kind", phrase, kinds)
            except InputError as error:
                raise InputErrors([error]) from None
        for word in words:
            try:
                return read_ash_kind("ash.kind", word, kinds)[0], word
            except InputError:
                continue
    return "", ""


def _words_about_ash(tokens: Sequence[Token], place: int) -> list[str]:
    """Return the words that may say what was burnt: ``oak ash``, ``Eichenasche``, ``ceniza de roble``."""
    tree = re.sub(r"(?i)asche$", "", tokens[place].text)
    words = [tree, tree.removesuffix("n")] if tree and tree != tokens[place].text else []
    for before in reversed(tokens[max(place - _WORDS_ABOUT_ASH, 0) : place]):
        if before.role != "other":
            break
        words.insert(0, before.text)
    behind = tokens[place + 1 : place + 2 + _WORDS_ABOUT_ASH]
    if behind and behind[0].text.casefold() in _OF:
        for after in behind[1:]:
            if after.role != "other":
                break
            words.append(after.text)
    return words

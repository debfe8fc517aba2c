"""Classes of `feedcalc.frozen` behave as frozen dataclasses with slots do, but for the refusal of assignments."""

from __future__ import annotations

import pickle
from dataclasses import asdict, dataclass, field, replace

import pytest

from feedcalc.frozen import frozen


@frozen
class Reading:
    """An amount with a note that does not count."""

    amount: float
    unit: str = "g"
    note: str = field(default="", compare=False, repr=False)


@frozen
class Single:
    """One field."""

    amount: float


@frozen
class Empty:
    """No field."""


@frozen
class Weighed(Reading):
    """A reading of a scale."""

    scale: str = ""


@frozen
class ByUnit:
    """Equal where the unit is."""

    amount: float
    unit: str

    def __eq__(self, other: object) -> bool:
        return isinstance(other, ByUnit) and other.unit == self.unit


@dataclass(frozen=True, slots=True)
class Usual:
    """The same as `Reading`, made by the standard library."""

    amount: float
    unit: str = "g"
    note: str = field(default="", compare=False, repr=False)


def test_objects_are_equal_by_their_fields_and_their_class():
    assert Reading(1.0) == Reading(1.0, "g", note="wet")
    assert Reading(1.0) != Reading(2.0)
    assert Reading(1.0) != Weighed(1.0)
    assert Weighed(1.0, scale="a") != Weighed(1.0, scale="b")
    assert Empty() == Empty() != Single(1.0)
    nothing = float("nan")
    assert Single(nothing) == Single(nothing)


def test_what_is_equal_has_the_same_hash():
    assert len({Reading(1.0), Reading(1.0, note="wet"), Reading(2.0), Single(1.0), Single(1.0), Empty(), Empty()}) == 4


def test_a_method_of_the_class_is_kept_and_has_a_hash_beside_it():
    assert ByUnit(1.0, "g") == ByUnit(2.0, "g")
    assert isinstance(hash(ByUnit(1.0, "g")), int)


def test_it_shows_copies_and_pickles_as_the_standard_library_does():
    ours, usual = Weighed(1.0, "kg", scale="a"), Usual(1.0, "kg")
    assert repr(ours) == "Weighed(amount=1.0, unit='kg', scale='a')"
    assert repr(Reading(1.0, "kg")) == repr(usual).replace("Usual", "Reading")
    assert asdict(replace(ours, unit="g")) == {"amount": 1.0, "unit": "g", "note": "", "scale": "a"}
    assert pickle.loads(pickle.dumps(ours)) == ours


def test_a_field_that_is_misspelt_is_refused():
    with pytest.raises(AttributeError):
        Single(1.0).ammount = 2.0

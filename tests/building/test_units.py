"""The table of units against the definitions it is made from."""

from __future__ import annotations

from building.units import TABLE, scales


def test_every_unit_is_what_pint_makes_of_its_definition():
    written = TABLE.read_text(encoding="utf-8")
    assert written == scales(written), "run `python -m building.units` in the folder site"

"""What each verb imports: help is quick only as long as nothing heavy is loaded for it."""

from __future__ import annotations

import json
import subprocess
import sys


def python(code: str) -> str:
    """Return what a fresh interpreter prints for ``code``."""
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, encoding="utf-8", check=True, timeout=60
    ).stdout


CONVERT = "import sys; from feedcalc.contract.units import converted; assert converted(2, 'L', 'mL') == 2000; "


def test_units_are_converted_without_the_optional_packages_of_pint():
    loaded = json.loads(python(CONVERT + "import json; print(json.dumps(list(sys.modules)))"))
    assert "pint" in loaded
    assert not {"babel", "dask", "numpy", "scipy", "uncertainties"} & set(loaded)


def test_numpy_can_be_imported_before_and_after_units_are_converted():
    use = "import numpy; assert numpy.ones(3).sum() == 3; "
    python(CONVERT + use)
    python(
        use
        + CONVERT
        + use
        + "import pint; assert pint.UnitRegistry().Quantity(numpy.ones(2), 'm').to('cm')[0].m == 100"
    )

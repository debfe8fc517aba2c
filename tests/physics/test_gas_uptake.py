"""Carbon dioxide through the surface of still water."""

from __future__ import annotations

from math import sqrt

import pytest

from feedcalc.physics.gas_uptake import (
    Surface,
    air_velocity,
    carbon_dioxide_diffusivity,
    enhancement,
    hydroxide_rate_constant,
    litres_of_gas_per_mol,
    uptake_mol_per_m2_second,
    uptake_past_the_film,
    water_velocity,
)

KELVIN = 298.15
HENRY = 0.034  # mol/(L atm) at 25 degC
AIR = 420e-6


def test_uptake_by_caustic_water_follows_danckwerts_at_any_transfer_velocity():
    """Fast reaction: flux = (k [OH-] D)^0.5 c*, Danckwerts, Gas-Liquid Reactions (1970), from memory."""
    lye = Surface(hydroxide=0.05, carbon_dioxide=0.0, solubility=HENRY, bound_ratio=0.0)
    expected = sqrt(hydroxide_rate_constant(KELVIN) * 0.05 * carbon_dioxide_diffusivity(KELVIN)) * HENRY * AIR * 1000
    for velocity in (1e-6, 1e-5):
        found = uptake_mol_per_m2_second(lye, AIR, velocity, 1e3, KELVIN)
        assert found.total == pytest.approx(expected, rel=0.01)
        assert found.reacted == pytest.approx(found.total, rel=0.03)


def test_enhancement_agrees_with_measurements_on_a_high_ph_lake():
    """3.5 to 7.5 fold at k600 = 1.83 cm/h: Bade and Cole, J. Geophys. Res. 111 (2006), abstract; pH of 9 to 10 from
    memory.
    """
    velocity = 1.83 / 100 / 3600

    def at_ph(ph: float) -> float:
        return enhancement(Surface(10 ** (ph - 14.0), 0.0, HENRY, 0.001), velocity, KELVIN)

    assert at_ph(9.0) < 3.5
    assert 3.5 < at_ph(9.5) < 7.5
    assert at_ph(10.0) > 7.5


def test_reaction_hardly_enhances_uptake_by_nearly_neutral_water():
    assert enhancement(Surface(1e-7, 1e-5, HENRY, 0.2), 1e-5, KELVIN) < 1.5


def test_the_flux_is_zero_at_equilibrium_and_negative_for_supersaturated_water():
    even = Surface(1e-6, HENRY * AIR, HENRY, 0.01)
    fizzy = Surface(1e-7, 0.005, HENRY, 0.5)
    assert uptake_mol_per_m2_second(even, AIR, 1e-5, 1e-3, KELVIN).total == 0.0
    assert uptake_mol_per_m2_second(fizzy, AIR, 1e-5, 1e-3, KELVIN).total < 0.0


def test_a_tight_lid_stops_the_flux():
    lye = Surface(0.05, 0.0, HENRY, 0.0)
    assert air_velocity(is_covered=True).low == 0.0
    assert uptake_mol_per_m2_second(lye, AIR, 1e-5, 0.0, KELVIN).total == 0.0


def test_the_gas_film_limits_uptake_by_lye():
    lye = Surface(0.05, 0.0, HENRY, 0.0)
    still = air_velocity(is_covered=False).low
    at_most = still * AIR / litres_of_gas_per_mol(KELVIN) * 1000
    assert 0.3 * at_most < uptake_mol_per_m2_second(lye, AIR, 1e-5, still, KELVIN).total < at_most


def test_transport_through_the_liquid_film_limits_uptake_by_still_water():
    carbon = [0.0, 1.0, 2.0, 3.0, 4.0]  # mol/m3
    at_surface = [
        uptake_mol_per_m2_second(Surface(h, 0.0, HENRY, 0.0), AIR, 1e-6, 1e3, KELVIN)
        for h in (4e-3, 3e-3, 2e-3, 1e-3, 1e-5)
    ]
    still = list(uptake_past_the_film(carbon, at_surface, 1e-6))
    stirred = list(uptake_past_the_film(carbon, at_surface, 1.0))
    assert all(slow < fast for slow, fast in zip(still[:-1], stirred[:-1], strict=True))
    assert stirred[0] == pytest.approx(at_surface[0].total, rel=0.001)


def test_gas_exchange_is_faster_in_warmer_water():
    assert water_velocity(278.15).typical < water_velocity(298.15).typical

"""Pulses of a small-seed meter beside the seeds in the row."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenstand.base.errors import require_range
from evenstand.base.worked import worked
from evenstand.machine.metering import pulse_spacing


@dataclass(frozen=True, slots=True, kw_only=True)
class SeedPulses:
    """Pulses of a meter beside the seeds in the row, before the hose smears them.

    pulse_m: distance driven between two pulses [m]; seed_m: mean distance between seeds in the row [m]; seeds_pulse: seeds each row
    gets with a pulse [-]; lumpy: two seeds or more come with each pulse, so that the row sees lumps unless the hose evens them out;
    even_rev_s: meter speed at which a pulse brings one seed to a row [rev/s].
    """

    pulse_m: float
    seed_m: float
    seeds_pulse: float
    lumpy: bool
    even_rev_s: float


def seed_pulses(rate_kg_ha: float, speed_m_s: float, rev_s: float, flutes: int, *, tkw_g: float, row_spacing_m: float) -> SeedPulses:
    """How far apart a meter's pulses fall in the row, against how far apart the seeds lie.

    Parameters
    ----------
    rate_kg_ha : float
        Seeding rate. [kg/ha]
    speed_m_s : float
        Ground speed. [m/s]
    rev_s : float
        Meter speed. [rev/s]
    flutes : int
        Flutes around the roller; staggered pockets count once for each row. [-]
    tkw_g : float
        Mass of a thousand kernels as sown. [g]
    row_spacing_m : float
        Between rows. [m]

    Returns
    -------
    SeedPulses
        Both distances and seeds a pulse. [units in the field names]

    Raises
    ------
    RangeError
        If an argument is not above 0.

    Examples
    --------
    Canola, 5 kg/ha of 4.8 g, 254 mm rows; 24 flutes at 7.8 rpm and 7.6 km/h: a pulse each 0.68 m brings 18 seeds to a row.

    >>> p = seed_pulses(5, 7.6 / 3.6, 7.8 / 60, 24, tkw_g=4.8, row_spacing_m=0.254)
    >>> round(p.pulse_m, 2), round(p.seed_m * 100, 1), round(p.seeds_pulse)
    (0.68, 3.8, 18)
    """
    for name, value in (("rate_kg_ha", rate_kg_ha), ("speed_m_s", speed_m_s), ("tkw_g", tkw_g), ("row_spacing_m", row_spacing_m)):
        require_range(name, value, 0.0, math.inf, low_open=True, high_open=True)
    pulse = pulse_spacing(speed_m_s, rev_s, flutes)
    seed = seed_spacing(rate_kg_ha, tkw_g, row_spacing_m)
    return SeedPulses(pulse_m=pulse, seed_m=seed, seeds_pulse=pulse / seed, lumpy=pulse >= 2 * seed, even_rev_s=speed_m_s / (seed * flutes))


@worked(formula="tkw_g / (100 * rate_kg_ha * row_spacing_m)", source="definition")
def seed_spacing(rate_kg_ha: float, tkw_g: float, row_spacing_m: float) -> float:
    """Mean distance between two seeds in a row.

    Parameters
    ----------
    rate_kg_ha : float
        Seeding rate. [kg/ha]
    tkw_g : float
        Mass of a thousand kernels as sown. [g]
    row_spacing_m : float
        Between rows. [m]

    Returns
    -------
    float
        Distance along the row. [m]

    Raises
    ------
    RangeError
        If an argument is not above 0.
    """
    for name, value in (("rate_kg_ha", rate_kg_ha), ("tkw_g", tkw_g), ("row_spacing_m", row_spacing_m)):
        require_range(name, value, 0.0, math.inf, low_open=True, high_open=True)
    return tkw_g / (100 * rate_kg_ha * row_spacing_m)

"""The workings of the fill check, laid open beside its answer; those of the card come with its lines."""

from __future__ import annotations

from evenstand.base.worked import Working, working
from evenstand.tally.remaining import field_dose, used_mass


def fill_workings(*, area_ha: float, before_kg: float, put_kg: float, left_kg: float) -> tuple[Working, ...]:
    """How the fill check comes to what went out and to the dose.

    Parameters
    ----------
    area_ha : float
        Sown since the fill. [ha]
    before_kg, put_kg, left_kg : float
        In the bin before the fill, put in, in it now. [kg]
    """
    return (
        working(used_mass, before_kg=before_kg, put_kg=put_kg, left_kg=left_kg),
        working(field_dose, before_kg=before_kg, put_kg=put_kg, left_kg=left_kg, area_ha=area_ha),
    )

"""Defaults and prior odds from common practice: where a person starts who has measured nothing yet. Never a check."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from evenstand.base.errors import MissingError
from evenstand.reference.figures import Figure, every_figure, figure, table


def default(name: str) -> Figure:
    """A default by name, e.g. "field-efficiency" or "overlap-sections".

    Parameters
    ----------
    name : str
        Key under `defaults` in practice.toml. [-]

    Returns
    -------
    Figure
        Range in its own unit, with its source. [unit of the figure]

    Raises
    ------
    MissingError
        Listing the defaults there are.
    """
    known = table("practice")["defaults"]
    if name not in known:
        raise MissingError(f"no default '{name}'", where="practice", cure=f"Known: {', '.join(known)}.")
    return figure("practice", "defaults", name)


def fill_sd(how: str, mass_kg: float, *, bin_full_kg: float | None = None) -> float:
    """Standard deviation of a mass put into a bin, by how it is known.

    Parameters
    ----------
    how : str
        One of `model.loads.HowKnown`: "ticket", "truck-scale", "pads", "cart-scale", "tote", "brim", "conveyor", "glance", "share". [-]
    mass_kg : float
        The mass. [kg]
    bin_full_kg : float or None
        What the bin holds when full; a glance is as good as a share of that, and of the mass itself where it is not known. [kg]

    Returns
    -------
    float
        One standard deviation. [kg]

    Raises
    ------
    MissingError
        If that way of knowing is not listed.
    """
    ways = [key for key, entry in table("practice")["fills"].items() if isinstance(entry, Figure)]
    if how not in ways:
        raise MissingError(f"no way of knowing '{how}'", where="how", cure=f"Use {', '.join(ways)}.")
    share = figure("practice", "fills", how).value
    return share * (bin_full_kg if how == "glance" and bin_full_kg is not None else abs(mass_kg))


def fault_odds() -> Mapping[str, float]:
    """How often each kind of cause is met, as odds against one instrument drift of distance. [-]"""
    found = {f.key.rsplit(".", 1)[1]: f.value for f in every_figure("practice") if f.key.startswith("odds.")}
    return MappingProxyType(found)

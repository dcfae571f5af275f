"""Several lots in one bin: what the mixture weighs, germinates and gives, seed by seed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import InputError, require_range
from evenstand.base.estimate import Est


@dataclass(frozen=True, slots=True, kw_only=True)
class LotPart:
    """One lot's part of a bin. mass_kg put in [kg]; tkw_g: mass of a thousand kernels as sown [g]; germination and survival of that lot
    [-], None where not known; label: what the owner calls it."""

    mass_kg: Est
    tkw_g: Est
    germination: Est | None = None
    survival: Est | None = None
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedLot:
    """Lots mixed in one bin. mass_kg [kg]; tkw_g of the mixture [g]; germination and survival of its seeds [-], None where a lot's is
    not known; mass_shares and seed_shares of the lots, in their order [-]; missing: lots whose germination or survival is not known."""

    mass_kg: Est
    tkw_g: Est
    germination: Est | None
    survival: Est | None
    mass_shares: tuple[float, ...]
    seed_shares: tuple[float, ...]
    missing: tuple[str, ...] = ()


def mixed_tkw(masses_kg: Sequence[float], tkws_g: Sequence[float]) -> float:
    """Thousand-kernel weight of lots mixed by mass: all the mass over all the seeds, a harmonic mean.

    Working: sum(mass) / sum(mass / tkw).

    Parameters
    ----------
    masses_kg : sequence of float, shape (n,)
        What was put in of each lot; shares do as well. [kg]
    tkws_g : sequence of float, shape (n,)
        Mass of a thousand kernels of each lot. [g]

    Returns
    -------
    float
        Of the mixture. [g]

    Raises
    ------
    InputError
        If there is no lot, or the lengths differ.
    RangeError
        If a mass is negative, all are nothing, or a weight is not above zero.

    References
    ----------
    definition: all the mass over all the seeds.

    Examples
    --------
    Equal masses of 30 g and 60 g seed hold two seeds of the first for one of the second:

    >>> round(mixed_tkw([1000, 1000], [30, 60]), 6)
    40.0
    """
    _check(masses_kg, tkws_g, "tkws_g")
    return sum(masses_kg) / sum(mass / tkw for mass, tkw in zip(masses_kg, tkws_g, strict=True))


def mixed_share(masses_kg: Sequence[float], tkws_g: Sequence[float], shares: Sequence[float]) -> float:
    """A share of seeds (germination, survival) of lots mixed by mass: weighted by seeds, not by mass.

    Working: sum(mass / tkw x share) / sum(mass / tkw).

    Parameters
    ----------
    masses_kg : sequence of float, shape (n,)
        What was put in of each lot; shares do as well. [kg]
    tkws_g : sequence of float, shape (n,)
        Mass of a thousand kernels of each lot. [g]
    shares : sequence of float, shape (n,)
        Share of each lot's seeds that germinate, or survive. [-]

    Returns
    -------
    float
        Of the mixture's seeds. [-]

    Raises
    ------
    InputError
        If there is no lot, or the lengths differ.
    RangeError
        If a mass, weight or share is outside its range.

    References
    ----------
    definition: seeds that germinate over all seeds.

    Examples
    --------
    >>> round(mixed_share([1000, 1000], [30, 60], [0.90, 0.60]), 6)
    0.8
    """
    _check(masses_kg, tkws_g, "tkws_g")
    if len(shares) != len(masses_kg):
        raise InputError(f"{len(shares)} shares for {len(masses_kg)} lots", where="shares", limit="one for each lot")
    for share in shares:
        require_range("shares", share, 0, 1)
    seeds = [mass / tkw for mass, tkw in zip(masses_kg, tkws_g, strict=True)]
    return sum(n * share for n, share in zip(seeds, shares, strict=True)) / sum(seeds)


def mix_lots(parts: Sequence[LotPart]) -> MixedLot:
    """Several lots in one bin as one lot, with standard deviations.

    Parameters
    ----------
    parts : sequence of LotPart
        One or more; what is not known of one lot is not known of the mixture. [kg, g, -]

    Returns
    -------
    MixedLot
        To first order, the inputs of all lots independent. It takes them as evenly mixed: lots filled one after the other come out
        in layers, first one and then the other. [metric]

    Raises
    ------
    InputError
        If there is no lot.
    RangeError
        If a mass, weight or share is outside its range.

    References
    ----------
    definition: masses add up, seeds add up; spreads to first order, lots independent.

    Examples
    --------
    >>> bin_c = mix_lots([LotPart(mass_kg=Est(value=2000), tkw_g=Est(value=36)), LotPart(mass_kg=Est(value=1000), tkw_g=Est(value=42))])
    >>> round(bin_c.tkw_g.value, 2)
    37.8
    """
    masses, tkws = [p.mass_kg.value for p in parts], [p.tkw_g.value for p in parts]
    tkw = mixed_tkw(masses, tkws)
    total, seeds = sum(masses), [mass / weight for mass, weight in zip(masses, tkws, strict=True)]
    # the mixture's weight moves with each lot's mass by (1 - tkw / own) of its share, and with each lot's weight by its seeds
    by_mass = [tkw / total * (1 - tkw / weight) * p.mass_kg.sd for p, weight in zip(parts, tkws, strict=True)]
    by_tkw = [tkw**2 / total * n / weight * p.tkw_g.sd for p, n, weight in zip(parts, seeds, tkws, strict=True)]
    missing = tuple(p.label or f"lot {i}" for i, p in enumerate(parts, 1) if p.germination is None or p.survival is None)
    return MixedLot(
        mass_kg=Est(value=total, sd=math.hypot(*(p.mass_kg.sd for p in parts)), basis="computed", source="mix_lots"),
        tkw_g=Est(value=tkw, sd=math.hypot(*by_mass, *by_tkw), basis="computed", source="mixed_tkw"),
        germination=_mixed(parts, seeds, [p.germination for p in parts]),
        survival=_mixed(parts, seeds, [p.survival for p in parts]),
        mass_shares=tuple(mass / total for mass in masses),
        seed_shares=tuple(n / sum(seeds) for n in seeds),
        missing=missing,
    )


def _mixed(parts: Sequence[LotPart], seeds: Sequence[float], shares: Sequence[Est | None]) -> Est | None:
    """A share of the mixture's seeds with its sd; None where one lot's is not known. [-]"""
    known = [s for s in shares if s is not None]
    if len(known) < len(parts):
        return None
    value = mixed_share([p.mass_kg.value for p in parts], [p.tkw_g.value for p in parts], [s.value for s in known])
    total, terms = sum(seeds), []
    for part, n, share in zip(parts, seeds, known, strict=True):
        weight = n / total
        pull = weight * (share.value - value)  # how far the mixture follows when this lot holds more seeds
        terms += [weight * share.sd, pull * part.mass_kg.relative_sd if part.mass_kg.value else 0.0, pull * part.tkw_g.relative_sd]
    return Est(value=value, sd=math.hypot(*terms), basis="computed", source="mixed_share")


def _check(masses_kg: Sequence[float], others: Sequence[float], name: str) -> None:
    if len(masses_kg) == 0 or len(masses_kg) != len(others):
        raise InputError(f"{len(masses_kg)} masses and {len(others)} weights", where=f"masses_kg, {name}", limit="one of each for each lot")
    for mass in masses_kg:
        require_range("masses_kg", mass, 0, unit="kg")
    require_range("masses_kg", sum(masses_kg), 0, low_open=True, unit="kg")
    for tkw in others:
        require_range(name, tkw, 0, low_open=True, unit="g")

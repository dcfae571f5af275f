"""Which product goes into which bin, without breaking the streams."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from evenstand.base.errors import Fault, InfeasibleError, InputError
from evenstand.model import Ask, Bin, Outfit, Product


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """Bin letter -> product key, for the bins in use, and why it came out so."""

    bins: dict[str, str]
    why: str


def allowed_bins(ask: Ask, product: Product | None, outfit: Outfit) -> tuple[str, ...]:
    """Bins a product may go into.

    Seed and inoculant need a stream that ends in the seed row; fertilizer takes a band where the outfit has one, because
    every kilogram in the seed row counts against the seed. A stream whose end is not known is allowed and said.

    Returns
    -------
    tuple of str
        Bin letters, front to rear. [-]

    Raises
    ------
    InputError
        If the job names a bin the outfit does not have.
    """
    letters = [b.letter for b in outfit.bins]
    if ask.bins:
        unknown = [b for b in ask.bins if b not in letters]
        if unknown:
            raise InputError(
                [
                    Fault(
                        where=f"bins for {ask.product}",
                        what=f"bin {b} is not on {outfit.name}",
                        limit=f"bins {', '.join(letters)}",
                        cure="Correct the letter.",
                    )
                    for b in unknown
                ]
            )
        return ask.bins
    ends = {s.key: s.placement for s in outfit.streams}
    in_row = [b.letter for b in outfit.bins if ends.get(b.stream or "") == "seed-row"]
    banded = [b.letter for b in outfit.bins if ends.get(b.stream or "") in {"side-band", "mid-row"}]
    unsure = [b.letter for b in outfit.bins if ends.get(b.stream or "") is None]
    kind = product.kind if product else "seed"
    wanted = banded or in_row if kind == "fertilizer" else in_row
    return tuple(b for b in letters if b in wanted or b in unsure)


def place(asks: Sequence[Ask], products: Mapping[str, Product], outfit: Outfit, density: Mapping[str, float | None]) -> Placing:
    """Give every product at least one bin so that the first stop comes as late as it can.

    Parameters
    ----------
    asks : sequence of Ask
        What is wanted; pinned bins are kept. [kg/ha]
    products : mapping
        By key. [-]
    outfit : Outfit
        Its bins and streams. [-]
    density : mapping
        Bulk density of each product, None where not known. [kg/m³]

    Returns
    -------
    Placing
        All allowed combinations are tried; among equals the one with most volume for the product used fastest, then the
        first in bin order. Without densities volume is compared as if all were equal, and it says so.

    Raises
    ------
    InfeasibleError
        If there are fewer fit bins than products.
    """
    bins = outfit.bins
    options = {a.product: allowed_bins(a, products.get(a.product), outfit) for a in asks}
    faults = [
        Fault(where=a.product, what="no bin is left for it", limit="its stream", cure="Pin a bin, or change a stream's end.")
        for a in asks
        if not options[a.product]
    ]
    if faults:
        raise InfeasibleError(faults)
    pinned = {letter: a.product for a in asks for letter in a.bins}
    keys = [a.product for a in asks]
    choices = []
    for b in bins:
        if b.letter in pinned:
            choices.append([pinned[b.letter]])
        else:
            fit = [k for k in keys if b.letter in options[k] and not any(a.bins for a in asks if a.product == k)]
            choices.append([*fit, ""])
    best: tuple[tuple[float, float], dict[str, str]] | None = None
    rate = {a.product: a.rate_kg_ha for a in asks}
    for combo in itertools.product(*choices):
        if set(keys) - set(combo):
            continue
        hectares = sorted(_hectares(k, combo, bins, rate[k], density.get(k)) for k in keys)
        score = (hectares[0], sum(hectares[1:]))
        if best is None or score > best[0]:
            best = (score, {b.letter: k for b, k in zip(bins, combo, strict=True) if k})
    if best is None:
        raise InfeasibleError(
            f"{len(keys)} products do not fit {len(bins)} bins and their streams",
            where=outfit.name,
            limit=f"bins {', '.join(b.letter for b in bins)}",
            cure="Drop a product, pin bins, or correct where the streams end.",
        )
    rough = [k for k in keys if density.get(k) is None]
    why = "The combination that puts the first stop latest."
    if rough:
        why += f" Bulk density not known for {', '.join(rough)}: volumes compared as if 1 kg/L."
    return Placing(bins=best[1], why=why)


def _hectares(key: str, combo: Sequence[str], bins: Sequence[Bin], rate: float, density: float | None) -> float:
    """Hectares that one product's bins last. [ha]"""
    volume = sum((b.capacity_m3.value if b.capacity_m3 else 1.0) * b.fill_share for b, k in zip(bins, combo, strict=True) if k == key)
    return volume * (density or 1000.0) / rate if rate > 0 else 1e9

"""Which bins may carry which product, and what each choice lets a product carry."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from evenstand.base.errors import Fault, InfeasibleError, RangeError
from evenstand.model.place import FloatArray

MOST_CHOICES = 200_000
"""Most different choices of bins that are looked through. [-]"""

Streams = Mapping[int, Sequence[int]] | Sequence[Sequence[int] | None] | None
Choice = tuple[int, ...]
"""The product of each bin; -1 where a bin stays empty."""


def allowed_bins(streams: Streams, products: int, bins: int, product_names: Sequence[str]) -> list[tuple[int, ...]]:
    """The bins that may carry each product.

    Parameters
    ----------
    streams : mapping or sequence, or None
        Product -> bins of the streams it may go into; a product left out, or None, may be in any. [-]
    products, bins : int
        How many. [-]
    product_names : sequence of str
        For messages. [-]

    Raises
    ------
    RangeError
        If a bin or a product is named that does not exist.
    InfeasibleError
        If a product may be in no bin.
    """
    given: dict[int, Sequence[int] | None] = {}
    if streams is not None:
        given = dict(streams) if isinstance(streams, Mapping) else dict(enumerate(streams))
    if unknown := [p for p in given if not 0 <= p < products]:
        raise RangeError(f"product {unknown[0]} does not exist", where="streams", limit=f"0 to {products - 1}")
    allowed = []
    for product in range(products):
        named = given.get(product)
        mine = tuple(range(bins)) if named is None else tuple(sorted({int(b) for b in named}))
        if any(not 0 <= b < bins for b in mine):
            raise RangeError(f"{product_names[product]} names a bin that does not exist", where="streams", limit=f"bins 0 to {bins - 1}")
        if not mine:
            raise InfeasibleError(
                "no bin feeds a stream it may go into",
                where=product_names[product],
                cure="Free a bin on that stream, or change the placement.",
            )
        allowed.append(mine)
    return allowed


def choices(
    volumes_m3: FloatArray, allowed: Sequence[Sequence[int]], needed: Sequence[bool], reserved: FloatArray
) -> tuple[list[Choice], FloatArray]:
    """All different choices of bins, and the mass each lets the products carry.

    Parameters
    ----------
    volumes_m3 : ndarray (bins,)
        Usable volume. [m³]
    allowed : sequence of sequences
        Bins each product may be in. [-]
    needed : sequence of bool
        Whether a product is used at all; one that is not gets no bin. [-]
    reserved : ndarray (products,)
        Mass a cubic metre of bin may give between fills: density less the reserve. [kg/m³]

    Returns
    -------
    tuple
        Choices, and their capacities, shape (choices, products); choices that another beats in every product are left out. [kg]

    Raises
    ------
    RangeError
        If there are more than `MOST_CHOICES`.
    """
    products = len(allowed)
    table: dict[tuple[float, ...], Choice] = {(0.0,) * products: ()}
    for bin_number, volume in enumerate(volumes_m3):
        takers = [p for p in range(products) if needed[p] and bin_number in allowed[p]] or [-1]
        grown: dict[tuple[float, ...], Choice] = {}
        for held, choice in table.items():
            for product in takers:
                more = held if product < 0 else tuple(round(h + volume, 12) if p == product else h for p, h in enumerate(held))
                grown.setdefault(more, (*choice, product))
        if len(grown) > MOST_CHOICES:
            raise RangeError(
                f"{len(grown):,} ways to fill the bins",
                where="streams",
                limit=f"at most {MOST_CHOICES:,}",
                cure="Pin some bins to a product.",
            )
        table = grown
    masses = np.asarray(np.array(list(table)) * reserved, dtype=np.float64)
    complete = ((masses > 0) | ~np.asarray(needed, dtype=np.bool_)).all(axis=1)
    keep = np.flatnonzero(complete)
    keep = keep[_unbeaten(masses[keep])]
    listed = list(table.values())
    return [listed[k] for k in keep], masses[keep]


def _unbeaten(held: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Rows that no other row matches or beats in every column; the check is left out where it would be slow. [-]"""
    keep = np.ones(len(held), dtype=np.bool_)
    if len(held) > 2000:
        return keep
    for k, row in enumerate(held):
        others = (held >= row).all(axis=1) & (held > row).any(axis=1) & keep
        keep[k] = not others.any()
    return keep


def check_passes(
    use_kg: FloatArray,
    held: FloatArray,
    reserved: FloatArray,
    volumes_m3: FloatArray,
    allowed: Sequence[Sequence[int]],
    product_names: Sequence[str],
) -> None:
    """Refuse when no choice of bins carries even a single pass.

    Raises
    ------
    InfeasibleError
        Naming the product and the pass.
    """
    most = use_kg.max(axis=0)
    if len(held) and bool((held >= most - 1e-9).all(axis=1).any()):
        return
    faults = []
    for product, name in enumerate(product_names):
        largest = float(volumes_m3[list(allowed[product])].sum()) * float(reserved[product])
        if most[product] > largest:
            faults.append(_pass_fault(name, int(use_kg[:, product].argmax()), float(most[product]), largest))
    if not faults and len(held):
        best = int(np.min(held / np.maximum(most, 1e-12), axis=1).argmax())
        short = int(np.argmin(held[best] / np.maximum(most, 1e-12)))
        faults.append(_pass_fault(product_names[short], int(use_kg[:, short].argmax()), float(most[short]), float(held[best, short])))
    if not faults:
        faults.append(
            Fault(where="bins", what="the bins cannot be shared out so that every product has one", cure="Free a bin, or pin fewer.")
        )
    raise InfeasibleError(faults)


def _pass_fault(name: str, place: int, use: float, held: float) -> Fault:
    return Fault(
        where=f"{name}, pass {place + 1}",
        what=f"one pass takes {use:,.0f} kg",
        limit=f"the bins that can carry it hold {held:,.0f} kg",
        cure="Split the pass, fill within it, give it more bins, or lower the rate.",
    )

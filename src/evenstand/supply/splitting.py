"""The account of one product over its loads: each ticket split among fills, fields and outfits, what should be left, and the misfit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from evenstand.model import Fill, Load
from evenstand.solve.portions import Portions, portion_interval, portion_out
from evenstand.supply.movements import Flow, InBin, Movements, Sown, movements


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A mass and its 95 % interval; high is infinite where nothing holds it. [kg]"""

    value_kg: float
    low_kg: float
    high_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What went out of a ticket one way. record: the load or fill; what: "fill", "part", "rest", "stock" or "gone". [kg]"""

    record: str
    what: str
    outfit: str
    job: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class TicketSplit:
    """A delivery or a truck box: what it held, and where that went. `rest` is part of it: back to the yard. [kg]"""

    load: str
    lot: str
    held: Span
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldShare:
    """What a job took: filled on it, brought along in the bins, sown, taken on to the next. [kg]"""

    job: str
    outfit: str
    filled: Span
    brought: Span
    sown: Span
    carried_on: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadBalance:
    """The account. tickets; fields: by job and outfit; stock: (lot, what should lie in the yard); in_bins: what should be in the bins now;
    chi2 on dof degrees of freedom, p: how well the readings agree, not-a-number where nothing can be checked; odd: readings that stand
    out, (text, record, seen, what the rest of the account says, z), largest first. [kg]"""

    product: str
    tickets: tuple[TicketSplit, ...]
    fields: tuple[FieldShare, ...]
    stock: tuple[tuple[str, Span], ...]
    in_bins: Span
    chi2: float
    dof: int
    p: float
    odd: tuple[tuple[str, str, float, float, float], ...] = ()
    moved: Movements = field(repr=False)
    portions: Portions = field(repr=False)


def load_balance(
    product: str, loads: Sequence[Load], fills: Sequence[Fill], *, sown: Sequence[Sown] = (), in_bins: Sequence[InBin] = ()
) -> LoadBalance | None:
    """Split tickets among fills, fields and outfits with shares nobody weighed, and say what should be left.

    Every mass on record is a reading with its sd; masses must balance at every ticket, truck box, lot in the yard and bin; none is below
    zero. What is not on record is unknown, never zero. A left-over closes the account of its lot when nothing moved after it.

    Parameters
    ----------
    product : str
        Key. [-]
    loads : sequence of Load
        All loads. [kg]
    fills : sequence of Fill
        All fills. [kg]
    sown : sequence of Sown
        Dose times ground by bin and job, where known. [kg]
    in_bins : sequence of InBin
        Looks into bins. [kg]

    Returns
    -------
    LoadBalance or None
        None where nothing of the product is on record. [kg]

    References
    ----------
    definition: mass in = mass out at every place; least squares by the stated variances under these balances and signs.
    """
    moved, portions = solved(product, loads, fills, sown=sown, in_bins=in_bins)
    if portions is None:
        return None
    arrays = moved.arrays()
    n = len(moved.flows)

    def span(wanted: Callable[[Flow], bool]) -> Span:
        of = np.array([float(wanted(f)) for f in moved.flows])
        if not of.any():
            return Span(value_kg=0.0, low_kg=0.0, high_kg=0.0)
        low, high = portion_interval(*arrays, of)
        value = float(of @ portions.values)
        return Span(value_kg=value, low_kg=min(max(0.0, low), value), high_kg=max(high, value))

    assert n == portions.values.size
    return LoadBalance(
        product=product,
        tickets=_tickets(moved, span),
        fields=_fields(moved, span),
        stock=tuple(
            (lot, span(lambda f, lot=lot: f.what == "stock" and f.source == f"yard {lot}"))  # type: ignore[misc]
            for lot in dict.fromkeys(f.source.removeprefix("yard ") for f in moved.flows if f.source.startswith("yard "))
        ),
        in_bins=span(lambda f: f.what == "stock" and f.target.endswith("in the bin")),
        chi2=portions.chi2,
        dof=portions.dof,
        p=portions.p,
        odd=_odd(moved, portions),
        moved=moved,
        portions=portions,
    )


def solved(
    product: str, loads: Sequence[Load], fills: Sequence[Fill], *, sown: Sequence[Sown] = (), in_bins: Sequence[InBin] = ()
) -> tuple[Movements, Portions | None]:
    """Flows of a product and the likeliest masses, without intervals; None where there is nothing to solve. [kg]"""
    moved = movements(product, loads, fills, sown=sown, in_bins=in_bins)
    return moved, portion_out(*moved.arrays()) if moved.flows and moved.seen else None


def _tickets(moved: Movements, span: Callable[[Callable[[Flow], bool]], Span]) -> tuple[TicketSplit, ...]:
    out = []
    for key in dict.fromkeys(f.record for f in moved.flows if f.what in ("came", "part") and f.target == f.record):
        lot = next(f.lot for f in moved.flows if f.record == key)
        parts = []
        for i, f in enumerate(moved.flows):
            if f.source == key:
                parts.append(
                    Part(record=f.record, what=f.what, outfit=f.outfit, job=f.job, span=span(lambda g, own=moved.flows[i]: g is own))  # type: ignore[misc]
                )
        out.append(
            TicketSplit(load=key, lot=lot, held=span(lambda f, key=key: f.target == key), parts=tuple(parts))  # type: ignore[misc]
        )
    return tuple(out)


def _fields(moved: Movements, span: Callable[[Callable[[Flow], bool]], Span]) -> tuple[FieldShare, ...]:
    out = []
    for job, outfit in dict.fromkeys((f.job, f.outfit) for f in moved.flows if f.what == "sown"):

        def mine(f: Flow, what: str, end: str, job: str = job, outfit: str = outfit) -> bool:
            place = f.target if end == "to" else f.source
            return f.what == what and f.outfit == outfit and place.startswith("bin ") and place.endswith(f" on {job}")

        out.append(
            FieldShare(
                job=job,
                outfit=outfit,
                filled=span(lambda f, mine=mine: mine(f, "fill", "to")),  # type: ignore[misc]
                brought=span(lambda f, mine=mine: mine(f, "carried", "to")),  # type: ignore[misc]
                sown=span(lambda f, mine=mine: mine(f, "sown", "from")),  # type: ignore[misc]
                carried_on=span(lambda f, mine=mine: mine(f, "carried", "from")),  # type: ignore[misc]
            )
        )
    return tuple(out)


def _odd(moved: Movements, portions: Portions) -> tuple[tuple[str, str, float, float, float], ...]:
    """Readings that stand out by more than two sds, with what the account makes of them."""
    _, rows, _, _ = moved.arrays()
    made = rows @ portions.values
    flows = [moved.flows[s.weights[0][0]].what for s in moved.seen]
    found = [
        (s.text, s.record, s.at_kg, s.at_kg + float(made[k]) - s.value_kg, float(portions.z[k]))
        for k, s in enumerate(moved.seen)
        if abs(portions.z[k]) > 2 and flows[k] != "gain"
    ]
    return tuple(sorted(found, key=lambda o: -abs(o[4])))

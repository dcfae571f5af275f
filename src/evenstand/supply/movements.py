"""Loads and fills as flows between places: tickets, yard, truck boxes, bins, fields. What is known of each flow is a reading of its own.

A ticket that several fills came out of is a place: what left it is what came. A fill without a ticket may have come from any lot of its
product that fits; a bin that goes on to the next field carries what is left there. Whatever is not on record is a flow without a reading.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from evenstand.base.estimate import Est
from evenstand.model import Fill, Load
from evenstand.reference import fill_sd

LEAST_SD_KG = 5.0
"""No mass in a shed is known better than this: what sticks, dusts and is swept. [kg]"""
SCALE_KG = 10_000.0
SHARED = ("cart-scale", "pads", "conveyor", "brim")
"""Ways of knowing whose error stays the same from fill to fill, as far as half of its variance: one scale, one conveyor, one density."""
OUTSIDE, FIELD, STOCK, GONE = "outside", "field", "in stock", "gone"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sown:
    """Product sown out of a bin on a job, by something that is no fill: dose times ground [kg]; its sd is what differs from job to job.
    shared_sd: what all jobs of that bin have in common, its product per turn and the ground's count [share]."""

    outfit: str
    bin: str
    job: str
    mass_kg: Est
    shared_sd: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class InBin:
    """What is in a bin now. [kg]"""

    outfit: str
    bin: str
    mass_kg: Est


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """Product from a place to a place. record: the load or fill that speaks of it, "" for none; what: "came", "part", "rest", "fill",
    "carried", "sown", "stock", "gone"; "gain": no product, but what several readings share, in kg for each `SCALE_KG`."""

    source: str
    target: str
    what: str
    record: str = ""
    lot: str = ""
    job: str = ""
    outfit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A reading over flows: their weighted sum, its value and sd [kg]. record: what it was read from, "" for a look; mass_kg: the mass that
    was written down, where the sum is another number for the sake of a shared gain [kg]."""

    weights: tuple[tuple[int, float], ...]
    value_kg: float
    sd_kg: float
    record: str
    text: str
    mass_kg: float | None = None

    @property
    def at_kg(self) -> float:
        """The mass as it was written. [kg]"""
        return self.value_kg if self.mass_kg is None else self.mass_kg


@dataclass(slots=True)
class Movements:
    """All flows of one product. flows; seen: what is known; inner: places that must balance, in order."""

    product: str
    flows: list[Flow] = field(default_factory=list)
    seen: list[Seen] = field(default_factory=list)
    gains: dict[str, int] = field(default_factory=dict)

    @property
    def inner(self) -> tuple[str, ...]:
        """Places that something comes into and goes out of. [-]"""
        ends = (OUTSIDE, FIELD, STOCK, GONE)
        return tuple(p for p in dict.fromkeys(x for f in self.flows for x in (f.source, f.target)) if not p.startswith(ends))

    def add(self, flow: Flow) -> int:
        """Put a flow in; its number. [-]"""
        self.flows.append(flow)
        return len(self.flows) - 1

    def see(self, flows: Sequence[int], mass: Est, record: str, text: str) -> None:
        """A reading of the sum of flows. [kg]"""
        self.seen.append(
            Seen(weights=tuple((i, 1.0) for i in flows), value_kg=mass.value, sd_kg=max(mass.sd, LEAST_SD_KG), record=record, text=text)
        )

    def gain(self, name: str, sd: float) -> int:
        """The number of a shared gain, made on first use with its own reading: 1, give or take `sd`. [-]"""
        if name not in self.gains:
            self.gains[name] = self.add(Flow(source=OUTSIDE, target=f"{GONE} gain", what="gain"))
            self.seen.append(
                Seen(weights=((self.gains[name], 1.0),), value_kg=SCALE_KG, sd_kg=max(sd, 1e-4) * SCALE_KG, record="", text=name)
            )
        return self.gains[name]

    def arrays(self) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Balances, rows, readings and their sds, as `solve.portions` takes them. [kg]"""
        n, places = len(self.flows), {p: i for i, p in enumerate(self.inner)}
        balances = np.zeros((len(places), n))
        for j, f in enumerate(self.flows):
            if f.target in places:
                balances[places[f.target], j] += 1
            if f.source in places:
                balances[places[f.source], j] -= 1
        rows = np.zeros((len(self.seen), n))
        for k, s in enumerate(self.seen):
            for j, weight in s.weights:
                rows[k, j] += weight
        return balances, rows, np.array([s.value_kg for s in self.seen]), np.array([s.sd_kg for s in self.seen])


def load_mass(load: Load) -> Est | None:
    """A load's mass with its sd, by how it is known where none is stated; None where it has none. [kg]

    Parameters
    ----------
    load : Load
        With or without a mass. [kg]
    """
    if load.mass_kg is None:
        return None
    return Est(value=load.mass_kg, sd=fill_sd(load.how, load.mass_kg) if load.sd_kg is None else load.sd_kg)


def movements(
    product: str, loads: Sequence[Load], fills: Sequence[Fill], *, sown: Sequence[Sown] = (), in_bins: Sequence[InBin] = ()
) -> Movements:
    """The flows of one product.

    Parameters
    ----------
    product : str
        Key. [-]
    loads : sequence of Load
        All loads; those of other products are left out. [kg]
    fills : sequence of Fill
        Into any bin. [kg]
    sown : sequence of Sown
        Dose times ground by bin and job, where it is known. [kg]
    in_bins : sequence of InBin
        Looks into bins, newer than the last fill. [kg]
    """
    made = Movements(product=product)
    mine = [x for x in loads if x.product == product]
    into = sorted((f for f in fills if f.product == product), key=lambda f: (f.at, f.key))
    places = _places(mine)
    _came(made, mine, places)
    _parts(made, mine, places, {f.load for f in into if f.load})
    _fills(made, mine, into, places)
    _bins(made, mine, into, sown, in_bins)
    _rests(made, mine, into)
    return made


def pool(lot: str) -> str:
    """The place of what lies in the yard of one lot. [-]"""
    return f"yard {lot}"


def _places(loads: Sequence[Load]) -> dict[str, Load]:
    """Loads that others are taken out of: deliveries and truck boxes."""
    return {x.key: x for x in loads if x.kind in ("delivery", "truck")}


def _came(made: Movements, loads: Sequence[Load], places: Mapping[str, Load]) -> None:
    """Deliveries; and what is put into the yard without having been delivered: grown or kept."""
    for x in loads:
        if x.kind == "delivery" and not x.part_of:
            target, text = x.key, f"came{f', ticket {x.ticket}' if x.ticket else ''}"
        elif x.kind == "yard" and not x.part_of and not x.from_key:
            target, text = pool(x.lot), "put into the yard"
        else:
            continue
        flow = made.add(Flow(source=OUTSIDE, target=target, what="came", record=x.key, lot=x.lot))
        mass = load_mass(x)
        if mass is not None:
            made.see([flow], mass, x.key, text)


def _parts(made: Movements, loads: Sequence[Load], places: Mapping[str, Load], named: set[str]) -> None:
    """What was split off: truck boxes, parts put into the yard, left-overs and returns of a named load."""
    kept = {x.key for x in loads if x.kind == "left-over"}
    for x in loads:
        mass = load_mass(x)
        origin = x.part_of if x.part_of in places else pool(x.lot)
        if x.kind == "truck":
            flow = made.add(Flow(source=origin, target=x.key, what="part", record=x.key, lot=x.lot))
        elif x.kind == "yard" and x.part_of in places:
            flow = made.add(Flow(source=origin, target=pool(x.lot), what="part", record=x.key, lot=x.lot))
        elif x.kind == "fill" and x.part_of in places and x.part_of not in named:
            flow = made.add(Flow(source=origin, target=f"{FIELD} {x.to_key}", what="part", record=x.key, lot=x.lot, job=x.job))
        elif x.kind == "return" and x.part_of not in kept and ":" not in x.from_key:
            flow = made.add(Flow(source=origin, target=GONE, what="gone", record=x.key, lot=x.lot))
        elif x.kind == "left-over" and x.part_of in places:
            flow = made.add(Flow(source=origin, target=STOCK, what="stock", record=x.key, lot=x.lot))
        else:
            continue
        if mass is not None:
            made.see([flow], mass, x.key, _KINDS.get(x.kind, x.kind))
        if x.share is not None and x.part_of in places:
            _share(made, flow, x)


_KINDS = {"truck": "into a truck box", "yard": "put into the yard", "left-over": "left over", "return": "taken back", "fill": "filled"}


def _share(made: Movements, flow: int, load: Load) -> None:
    """A part judged as a share of the load it came out of: part - share x whole = 0, as well as such a share is judged."""
    whole = next((j for j, f in enumerate(made.flows) if f.target == load.part_of and f.what in ("came", "part")), None)
    size = next((s.value_kg for s in made.seen if whole is not None and s.weights == ((whole, 1.0),)), None)
    if whole is None or size is None or load.share is None:
        return
    sd = (load.share_sd if load.share_sd is not None else fill_sd("share", 1.0)) * size
    made.seen.append(
        Seen(
            weights=((flow, 1.0), (whole, -load.share)), value_kg=0.0, sd_kg=max(sd, LEAST_SD_KG), record=load.key,
            text=f"{100 * load.share:.0f} % of its ticket",
        )
    )  # fmt: skip


def _fits(one: str, other: str) -> bool:
    return one == other or not one or not other


def _fills(made: Movements, loads: Sequence[Load], fills: Sequence[Fill], places: Mapping[str, Load]) -> None:
    """Each fill, from the load it names or from whatever lot of the yard fits."""
    lots = list(dict.fromkeys(x.lot for x in loads if x.kind in ("delivery", "yard")))
    for f in fills:
        target = bin_place(f.outfit, f.bin, f.job)
        if f.load in places and _fits(f.lot, places[f.load].lot):
            origins = [f.load]
        else:
            origins = [pool(lot) for lot in lots if lot == f.lot] or [pool(lot) for lot in lots if _fits(lot, f.lot)] or [OUTSIDE]
        flows = [made.add(Flow(source=o, target=target, what="fill", record=f.key, lot=f.lot, job=f.job, outfit=f.outfit)) for o in origins]
        text = f"put into bin {f.bin}"
        if f.how not in SHARED or f.put_kg <= 0:
            made.see(flows, Est(value=f.put_kg, sd=f.put_sd_kg), f.key, text)
            continue
        half = f.put_sd_kg / math.sqrt(2)
        gain = made.gain(f"{f.how} of {f.outfit}", half / f.put_kg)
        made.seen.append(  # put = product + put x (gain - 1)
            Seen(
                weights=(*((i, 1.0) for i in flows), (gain, f.put_kg / SCALE_KG)), value_kg=2 * f.put_kg, sd_kg=max(half, LEAST_SD_KG),
                record=f.key, text=text, mass_kg=f.put_kg,
            )
        )  # fmt: skip


def bin_place(outfit: str, letter: str, job: str) -> str:
    """The place of a bin while it is on a job. [-]"""
    return f"bin {outfit}:{letter} on {job}"


def _bins(made: Movements, loads: Sequence[Load], fills: Sequence[Fill], sown: Sequence[Sown], in_bins: Sequence[InBin]) -> None:
    """What became of each bin's fills: sown job by job, carried on to the next job, taken out, still in."""
    bins: dict[tuple[str, str], dict[str, Fill | None]] = {}
    for f in fills:
        bins.setdefault((f.outfit, f.bin), {}).setdefault(f.job, f)
    for s in sown:
        if (s.outfit, s.bin) in bins:  # a field sown out of what the bin brought along
            bins[s.outfit, s.bin].setdefault(s.job, None)
    looks = {(b.outfit, b.bin): b for b in in_bins}
    for (outfit, letter), jobs in bins.items():
        doses = {s.job: s for s in sown if (s.outfit, s.bin) == (outfit, letter)}
        order = list(jobs)
        for job, after in zip(order, [*order[1:], None], strict=True):
            place = bin_place(outfit, letter, job)
            flow = made.add(Flow(source=place, target=f"{FIELD} {job}", what="sown", job=job, outfit=outfit))
            if job in doses:
                _dose(made, flow, doses[job])
            if after is not None:
                _carry(made, outfit, letter, (job, after), jobs[after])
        _last(made, bin_place(outfit, letter, order[-1]), loads, looks.get((outfit, letter)), f"{outfit}:{letter}")
        opening = jobs[order[0]]
        if opening is not None and opening.level_before_kg:
            flow = made.add(Flow(source=OUTSIDE, target=bin_place(outfit, letter, order[0]), what="carried", outfit=outfit))
            made.see([flow], _level(opening), "", "in the bin before the first fill")


def _dose(made: Movements, flow: int, sown: Sown) -> None:
    """sown = dose times ground x gain, the gain shared by all jobs of the bin."""
    text, mass = f"sown by dose and ground, {sown.job}", sown.mass_kg
    if sown.shared_sd <= 0:
        made.see([flow], mass, "", text)
        return
    gain = made.gain(f"dose of {sown.outfit}:{sown.bin}", sown.shared_sd)
    weights = ((flow, 1.0), (gain, -mass.value / SCALE_KG))
    made.seen.append(Seen(weights=weights, value_kg=0.0, sd_kg=max(mass.sd, LEAST_SD_KG), record="", text=text, mass_kg=mass.value))


def _level(fill: Fill) -> Est:
    return Est(value=fill.level_before_kg or 0.0, sd=fill.level_before_sd_kg or 0.0)


def _carry(made: Movements, outfit: str, letter: str, jobs: tuple[str, str], fill: Fill | None) -> None:
    """What the bin still held when it came to the next field; a look before that field's first hectare tells it."""
    source, target = (bin_place(outfit, letter, job) for job in jobs)
    flow = made.add(Flow(source=source, target=target, what="carried", job=jobs[1], outfit=outfit))
    if fill is not None and fill.level_before_kg is not None and not fill.area_ha:
        made.see([flow], _level(fill), "", f"in the bin when it came to {jobs[1]}")


def _last(made: Movements, place: str, loads: Sequence[Load], look: InBin | None, bin_key: str) -> None:
    for x in loads:
        if x.kind in ("left-over", "return") and x.from_key == bin_key:
            flow = made.add(Flow(source=place, target=STOCK if x.kind == "left-over" else GONE, what="stock", record=x.key, lot=x.lot))
            mass = load_mass(x)
            if mass is not None:
                made.see([flow], mass, x.key, "taken out of the bin")
    flow = made.add(Flow(source=place, target=f"{STOCK} in the bin", what="stock"))
    if look is not None:
        made.see([flow], look.mass_kg, "", f"in bin {bin_key.partition(':')[2]} now")


def _rests(made: Movements, loads: Sequence[Load], fills: Sequence[Fill]) -> None:
    """What nobody took goes back to the yard; what the yard still holds is told by a left-over that came after all else."""
    for x in loads:
        if x.kind in ("delivery", "truck") and any(f.target == x.key for f in made.flows):
            made.add(Flow(source=x.key, target=pool(x.lot), what="rest", lot=x.lot))
    lots = list(dict.fromkeys(x.removeprefix("yard ") for f in made.flows for x in (f.source, f.target) if x.startswith("yard ")))
    stock = {lot: made.add(Flow(source=pool(lot), target=f"{STOCK} {lot}", what="stock", lot=lot)) for lot in lots}
    looks: dict[str, list[Load]] = {}
    for x in loads:
        if x.kind == "left-over" and not x.part_of and ":" not in x.from_key:
            looks.setdefault(x.lot, []).append(x)
    for lot, told in looks.items():
        moved = [x.at for x in loads if x.kind not in ("left-over", "return") and _fits(x.lot, lot)]
        newest = max([*moved, *(f.at for f in fills if _fits(f.lot, lot))], default="")
        masses = [m for m in map(load_mass, told) if m is not None]
        here = [stock[other] for other in lots if other == lot] or [stock[other] for other in lots if _fits(other, lot)]
        if here and len(masses) == len(told) and min(x.at for x in told) >= newest:  # an older look says nothing about now
            total = Est(value=sum(m.value for m in masses), sd=math.sqrt(sum(m.sd**2 for m in masses)))
            made.see(here, total, told[-1].key, "left over")
    for place in made.inner:
        if not any(f.target == place for f in made.flows):  # where it came from is not on record
            made.add(Flow(source=OUTSIDE, target=place, what="came"))

"""Mass balance of a bin from look to look: what was in, what went in, what is left, against what the meter says it took.

Between two looks: level before + put in - level now - mass by the meter = 0. A wrong factor shows in every interval in
proportion to what was sown; a fill that is missing or doubled shows in one interval, by its own mass. That is what tells them apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenstand.check.causes import usual, usual_stops
from evenstand.check.relations import DOOR, Relation, usual_gains
from evenstand.model import Reading

SHARED_HOW = ("brim", "conveyor", "glance", "share")
VOLUME_HOW = ("brim",)
_BESIDE = 0.2  # how often a fill that is not on record was put in beside another one, so that no stop of its own shows
_FILL_S = 480.0  # no fill is put in while the machine stands less
_NO_TIME = -4.0
_STALL_MIDDLE, _STALL_SPREAD = 0.6, 0.35  # share of a plugged head's mass that stays in the bin: from none, just plugged, to nearly all


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A look into a bin. machine_kg: what the machine says it has sown from the bin by then [kg]; level_kg: what was seen, and its
    sd [kg]; light: seen by the low-level light, whose error is the same each time; at_s: seconds from the start, None unknown."""

    machine_kg: float
    level_kg: float
    level_sd_kg: float
    light: bool = False
    at_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PutIn:
    """A fill on record. machine_kg: what the machine says it has sown from the bin by then [kg]; put_kg, put_sd_kg [kg]; how: as in
    `model.HowKnown`; twin: another entry carries the same mass at the same hectares; at_s: seconds from the start."""

    machine_kg: float
    put_kg: float
    put_sd_kg: float
    how: str = "ticket"
    twin: bool = False
    at_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BinDay:
    """A bin over a day. looks and puts in any order; start_kg, start_sd_kg: in the bin before the first hectare [kg];
    by: what machine_kg comes from, as in `Reading.derived_from`; stops_s: stops of the machine at which nothing was put in anywhere,
    (from, to) [s]; stops_known: whether stops can be seen at all; dead: heads known to be plugged, as (machine mass since when [kg],
    share of the rows): their segment backs up and may stall, so this much of the mass may not have gone out."""

    bin: str
    looks: tuple[Look, ...]
    puts: tuple[PutIn, ...]
    start_kg: float = 0.0
    start_sd_kg: float = 5.0
    by: tuple[str, ...] = ()
    stops_s: tuple[tuple[float, float], ...] = ()
    stops_known: bool = False
    dead: tuple[tuple[float, float], ...] = ()

    @property
    def usual_put_kg(self) -> float:
        """Median of the fills on record; what was in at the start without one. [kg]"""
        return float(np.median([p.put_kg for p in self.puts])) if self.puts else max(self.start_kg, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """One interval between two looks. machine_kg: sown in it as the machine says [kg]; put_kg: put in on record [kg];
    from_s, to_s: when [s]; stop_s: a stop in it at which nothing is on record; twin_kg: mass of an entry that looks doubled."""

    index: int
    machine_kg: float
    put_kg: float
    from_s: float | None
    to_s: float | None
    stop_s: tuple[float, float] | None = None
    twin_kg: float | None = None


def windows_of(day: BinDay) -> tuple[Window, ...]:
    """The intervals of a day, one for each look, in order.

    Parameters
    ----------
    day : BinDay
        Looks and fills. [see the class]
    """
    out = []
    low, low_s = -1.0, 0.0
    for i, look in enumerate(_in_order(day), start=1):
        inside = _puts_between(day, low, look.machine_kg)
        stop = next((s for s in day.stops_s if look.at_s is not None and low_s <= s[0] and s[1] <= look.at_s + 1), None)
        twins = [p.put_kg for p in inside if p.twin]
        out.append(
            Window(
                index=i,
                machine_kg=look.machine_kg - max(low, 0.0),
                put_kg=sum(p.put_kg for p in inside),
                from_s=low_s,
                to_s=look.at_s,
                stop_s=stop,
                twin_kg=twins[0] if twins else None,
            )
        )
        low, low_s = look.machine_kg, look.at_s if look.at_s is not None else low_s
    return tuple(out)


def _in_order(day: BinDay) -> list[Look]:
    return sorted(day.looks, key=lambda k: (k.machine_kg, k.at_s or 0.0))


def _puts_between(day: BinDay, low: float, high: float) -> list[PutIn]:
    """Fills after a look at `low` and before one at `high`; a look at the moment of a fill was taken before it."""
    return [p for p in day.puts if low <= p.machine_kg < high - 1e-9]


def stop_evidence(window: Window) -> float:
    """What a stop with nothing on record, or that there was none, says for a missing fill. [log-likelihood ratio]

    Machines also stand for meals, repairs and calls: the longer the interval, the less a stop in it says.

    Parameters
    ----------
    window : Window
        An interval between two looks. [-]
    """
    seconds = max((window.to_s or 0.0) - (window.from_s or 0.0), 0.0)
    if 0 < seconds < _FILL_S:
        return _NO_TIME
    if window.stop_s is None:
        return math.log(_BESIDE)
    none = math.exp(-usual_stops() * seconds / 3600)
    return math.log((1 - _BESIDE * none) / max(1 - none, 0.1))


def mass_readings(day: BinDay) -> tuple[Reading, ...]:
    """The looks, fills and machine masses of a day as readings, numbered by interval ("level:A@2"). [kg]

    Parameters
    ----------
    day : BinDay
        Looks and fills. [see the class]
    """
    a = day.bin
    out = [Reading(quantity=f"level:{a}@0", value=day.start_kg, sd=day.start_sd_kg)]
    low = -1.0
    for i, look in enumerate(_in_order(day), start=1):
        inside = _puts_between(day, low, look.machine_kg)
        own = sum(p.put_sd_kg**2 for p in inside if p.how not in SHARED_HOW) ** 0.5
        out.append(Reading(quantity=f"put:{a}@{i}", value=sum(p.put_kg for p in inside), sd=own))
        out.append(Reading(quantity=f"level:{a}@{i}", value=look.level_kg, sd=0.0 if look.light else look.level_sd_kg))
        machine = look.machine_kg - max(low, 0.0)
        out.append(Reading(quantity=f"shown_mass:{a}@{i}", value=machine, sd=0.5, derived_from=day.by or (f"F:{a}", f"turns:{a}")))
        low = look.machine_kg
    return tuple(out)


def mass_relations(day: BinDay) -> tuple[Relation, ...]:
    """One relation for each interval between looks.

    Parameters
    ----------
    day : BinDay
        Looks and fills. [see the class]
    """
    a, out = day.bin, []
    looks, low = _in_order(day), -1.0
    light = {i: look.level_sd_kg for i, look in enumerate(looks, start=1) if look.light}
    for i, look in enumerate(looks, start=1):
        inside = _puts_between(day, low, look.machine_kg)
        machine = look.machine_kg - max(low, 0.0)
        loads = machine_loads(machine, a, day.by)
        loads[f"lid:{a}"] = machine
        loads[f"lid:{a}{DOOR}"] = machine
        loads[f"bridge:{a}@{i}"] = -machine
        loads[f"fill-missed:{a}@{i}"] = -1.0
        if inside:
            loads[f"fill-doubled:{a}@{i}"] = 1.0
        volume = sum(p.put_kg for p in inside if p.how in VOLUME_HOW)
        if volume:
            loads[f"density:{a}"] = -volume
        gains = usual_gains(loads)
        shared = sum(p.put_sd_kg for p in inside if p.how in SHARED_HOW)
        if shared:
            gains[f"way of filling {a}"] = shared
        lost = sum(share * max(0.0, look.machine_kg - max(low, since, 0.0)) for since, share in day.dead)
        if lost:
            gains[f"plugged heads {a}"] = _STALL_SPREAD * lost
        light_gain = light.get(i - 1, 0.0) - light.get(i, 0.0)
        if light_gain:
            gains[f"light {a}"] = light_gain
        out.append(
            Relation(
                key=f"mass:{a}@{i}",
                about=f"bin {a}",
                text=f"bin {a}, interval {i}: what went in and came out against what the meter took",
                scale="mass",
                terms=((f"level:{a}@{i - 1}", 1.0), (f"put:{a}@{i}", 1.0), (f"level:{a}@{i}", -1.0), (f"shown_mass:{a}@{i}", -1.0)),
                constant=-_STALL_MIDDLE * lost,
                loads=loads,
                gains=gains,
                noise=machine * float(np.hypot(usual("factor-interval"), usual("counting"))),
            )
        )
        low = look.machine_kg
    return tuple(out)


def machine_loads(machine_kg: float, bin: str, by: Sequence[str]) -> dict[str, float]:
    """What causes add to (true use - machine mass), by what the machine mass repeats. [kg per unit]

    Turns times factor, or the rate in force times the area counter, repeat the factor alone: the counter's own width and distance
    cancel, because the meter follows them. The rate asked repeats the slip as well; a boundary in place of the counter
    repeats width, distance and overlap.

    Parameters
    ----------
    machine_kg : float
        Mass as the machine says. [kg]
    bin : str
        Letter. [-]
    by : sequence of str
        "F:A", "turns:A", "rate:A", "asked:A", "W", "V", "boundary". [-]
    """
    loads = {f"factor:{bin}": machine_kg}
    if any(b.startswith("asked") for b in by):
        loads[f"slip:{bin}"] = machine_kg
    if "boundary" in by:
        loads["width"] = machine_kg
        loads["distance"] = machine_kg
    return loads

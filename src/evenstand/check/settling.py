"""The one reading that would settle it: of all that could still be read, the one that parts what is left best."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from evenstand.check.causes import could_read, usual
from evenstand.check.relations import System, label
from evenstand.model import Reading

FloatArray = npt.NDArray[np.float64]
_LOOK, _SOAP = 0.15, 0.03  # smallest bridge and leak that the eye finds, as one standard deviation of their sizes
_CLEAR = 4.0  # squared separation at which two causes are told apart


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A reading that could be taken. text: what to do; loads: what a unit of each cause would add to it, by name; noise: its standard
    deviation, usual variation included [as the loads]; effort: 1 is a minute, larger is more work."""

    text: str
    loads: Mapping[str, float] = field(default_factory=dict)
    noise: float
    effort: float = 1.0


def candidates(system: System, readings: Sequence[Reading]) -> tuple[Candidate, ...]:
    """What could still be read on a day, beside what has been.

    Parameters
    ----------
    system : System
        Relations so far. [-]
    readings : sequence of Reading
        Readings so far. [metric]
    """
    known = {r.quantity for r in readings}
    names = list(dict.fromkeys(label(v) for v in system.variants))
    out = []
    if "width" in names and "width_tape" not in known:
        out.append(
            _cheap("tape the tool's width, first opener to last plus one row", "width", could_read("width-tape"), usual("width"), 2.0)
        )
    if "distance" in names and "distance_taped" not in known:
        out.append(
            _cheap(
                "drive a taped 100 m, bins half full, and read the count", "distance", could_read("distance-tape"), usual("distance"), 3.0
            )
        )
    if "overlap" in names and "width_tape" not in known and "width" not in names:
        out.append(_cheap("tape the tool's width", "overlap", could_read("boundary"), usual("boundary"), 2.0))
    for a in sorted({n.partition(":")[2] for n in names if ":" in n}):
        out += _of_bin(system, known, names, a, readings)
    if "boundary_area" not in known and "overlap" not in names and ("width" in names or "distance" in names):
        noise = math.hypot(could_read("boundary"), 0.015)
        out.append(Candidate(text="take the field's area from its outline", loads={"width": 1.0, "distance": 1.0}, noise=noise, effort=1.5))
    return tuple(out)


def _cheap(text: str, cause: str, sd: float, day: float, effort: float) -> Candidate:
    return Candidate(text=text, loads={cause: 1.0}, noise=math.hypot(sd, day), effort=effort)


def _of_bin(system: System, known: set[str], names: Sequence[str], a: str, readings: Sequence[Reading]) -> list[Candidate]:
    out = []
    factor, missed, doubled = f"factor:{a}", f"fill-missed:{a}", f"fill-doubled:{a}"
    if factor in names and f"catch_factor:{a}" not in known:
        noise = math.hypot(could_read("catch"), math.hypot(usual("catch"), usual("factor")))
        out.append(Candidate(text=f"catch test of bin {a}", loads={factor: 1.0}, noise=noise, effort=3.0))
    total = sum(r.loads.get(factor, 0.0) for r in system.relations if r.key.startswith(f"mass:{a}@"))
    if total > 0:
        area = {n: total for n in ("width", "distance") if n in names and f"slip:{a}" in names}
        stretches = sum(1 for r in system.relations if r.key.startswith(f"mass:{a}@"))
        of_mass = {factor: total, f"lid:{a}": total, f"bridge:{a}": -total / stretches, missed: -1.0, doubled: 1.0, **area}
        put_sd, level_sd = _put_and_level_sd(system, readings, a)
        day = total * usual("factor")
        left = math.sqrt(day**2 + put_sd**2 + (could_read("weighed") * total) ** 2)
        out.append(Candidate(text=f"run bin {a} to the low-level light or weigh what is left in it", loads=of_mass, noise=left, effort=2.0))
        loaded = math.sqrt(day**2 + level_sd**2 + (could_read("weighed") * total) ** 2)
        out.append(Candidate(text=f"weigh the loads that go into bin {a}", loads=of_mass, noise=loaded, effort=2.5))
    if (missed in names or doubled in names) and f"delivered:{a}" not in known:
        loads = {missed: -1.0, doubled: 1.0}
        out.append(Candidate(text=f"add up the tickets of all that went to bin {a}", loads=loads, noise=60.0, effort=1.5))
    if f"bridge:{a}" in names:
        text = f"stop the fan, lock out, and look into bin {a} for a bridge or lumps"
        out.append(Candidate(text=text, loads={f"bridge:{a}": 1.0}, noise=_LOOK, effort=3.0))
    if f"lid:{a}" in names:
        text = f"soap the lid and seals of bin {a} with the fan running, and look under the cart"
        out.append(Candidate(text=text, loads={f"lid:{a}": 1.0}, noise=_SOAP, effort=2.0))
    if f"density:{a}" in names:
        noise = could_read("weighed")
        out.append(Candidate(text=f"weigh a known volume of what is in bin {a}", loads={f"density:{a}": 1.0}, noise=noise, effort=2.0))
    if f"slip:{a}" in names and f"typed_rate:{a}" not in known:
        out.append(Candidate(text=f"read the rate in force for bin {a}, and its unit", loads={f"slip:{a}": 1.0}, noise=0.003, effort=1.0))
    return out


def _put_and_level_sd(system: System, readings: Sequence[Reading], a: str) -> tuple[float, float]:
    """How well what went in, and the last level, are known so far. [kg]"""
    own = sum(r.sd**2 for r in readings if r.quantity.startswith(f"put:{a}@"))
    shared = sum(r.gains.get(f"way of filling {a}", 0.0) for r in system.relations if r.key.startswith(f"mass:{a}@"))
    levels = [r.sd for r in readings if r.quantity.startswith(f"level:{a}@")]
    return math.sqrt(own + shared**2), levels[-1] if levels else 0.0


def _row(system: System, candidate: Candidate) -> FloatArray:
    """What the candidate would add to each signature. [sd per unit]"""
    row, columns = np.zeros(len(system.variants)), _columns(system.variants)
    for name, load in candidate.loads.items():
        row[columns.get(name, [])] = load / candidate.noise
    return row


@lru_cache(maxsize=4)
def _columns(variants: tuple[str, ...]) -> dict[str, list[int]]:
    """Positions of the variants of each cause."""
    found: dict[str, list[int]] = {}
    for j, variant in enumerate(variants):
        found.setdefault(label(variant), []).append(j)
    return found


def settle_class(system: System, signatures: FloatArray, members: Sequence[int], size: float, of: int, offered: Sequence[Candidate]) -> str:
    """The candidate that parts the members of a class best for its effort; "" if none does.

    Parameters
    ----------
    system : System
        Relations so far. [-]
    signatures : array (k, q)
        Whitened. [sd per unit]
    members : sequence of int
        Variants of the class. [-]
    size : float
        Size of variant `of`. [unit of the cause]
    of : int
        The likeliest variant. [-]
    offered : sequence of Candidate
        What could be read. [-]
    """
    rivals = [j for j in members if label(system.variants[j]) != label(system.variants[of])]
    best, worth = "", 0.0
    for candidate in offered:
        wide = np.vstack([signatures, _row(system, candidate)])
        parts = [_apart(wide[:, of] * size, wide[:, j]) for j in rivals]
        if not parts:
            continue
        gain = min(sum(parts) / len(parts), 50.0) / candidate.effort**0.25
        if gain > worth:
            best, worth = candidate.text, gain
    return best if worth > 0.5 else ""


def _apart(effect: FloatArray, rival: FloatArray) -> float:
    """Squared distance of an effect from all that a rival of any size could do. [-]"""
    power = float(rival @ rival)
    along = float(effect @ rival) ** 2 / power if power > 0 else 0.0
    return float(effect @ effect) - along


def settle_cause(system: System, signatures: FloatArray, j: int, offered: Sequence[Candidate]) -> str:
    """The candidate that would show one cause best for its effort; "" if none would.

    Parameters
    ----------
    system : System
        Relations so far. [-]
    signatures : array (k, q)
        Whitened. [sd per unit]
    j : int
        The variant. [-]
    offered : sequence of Candidate
        What could be read. [-]
    """
    best, worth = "", 0.0
    for candidate in offered:
        gain = abs(float(_row(system, candidate)[j])) / candidate.effort**0.25
        if gain > worth:
            best, worth = candidate.text, gain
    return best

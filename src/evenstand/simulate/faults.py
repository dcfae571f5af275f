"""Faults by name: what is wrong, where, and how much."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from evenstand.model import Outfit

FAULT_KINDS: dict[str, tuple[str, str, str]] = {
    # kind: (what stands behind the colon, unit of the size, meaning)
    "factor": ("bin", "%", "the bin gives this much more a turn than is typed"),
    "distance": ("", "%", "the machine counts this much too far"),
    "width": ("", "m", "the typed width is this much wider than the tool"),
    "fill-missed": ("bin", "kg", "a fill of this size went in and was not entered"),
    "fill-doubled": ("bin", "kg", "a fill of this size was entered twice"),
    "slip": ("bin", "ratio", "the rate in force is this many times the rate asked for"),
    "lid": ("bin", "%", "this much more leaves the bin in the field than the meter gives in a catch; negative: a leak of air"),
    "bridge": ("bin", "%", "this share of the product does not fall into the meter for a stretch of the day"),
    "run": ("", "number", "this run is plugged from some moment on"),
    "head": ("", "letter", "every run of this head is plugged from some moment on"),
}
_BOUNDS = {
    "factor": (-60.0, 200.0),
    "distance": (-50.0, 100.0),
    "width": (-10.0, 10.0),
    "fill-missed": (0.0, 50_000.0),
    "fill-doubled": (0.0, 50_000.0),
    "slip": (0.05, 20.0),
    "lid": (-60.0, 60.0),
    "bridge": (0.0, 100.0),
}


class SimulationError(ValueError):
    """What was asked of the simulator cannot be done: names the part, its value and what would do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultSpec:
    """One fault. kind: key of `FAULT_KINDS`; where: bin letter, run number or head letter, "" where there is none;
    size: in the unit of its kind (per cent, metres, kilograms, ratio); 0 for a run or head, whose size is its place."""

    kind: str
    where: str = ""
    size: float = 0.0

    def __str__(self) -> str:
        if self.kind in ("run", "head"):
            return f"{self.kind}={self.where}"
        return f"{self.kind}:{self.where}={self.size:g}" if self.where else f"{self.kind}={self.size:g}"

    @property
    def cause(self) -> str:
        """The name of the cause in findings: kind, with its place behind a colon where it has one."""
        return f"{self.kind}:{self.where}" if self.where else self.kind


def parse_fault(text: str) -> FaultSpec:
    """A fault from its text.

    Parameters
    ----------
    text : str
        `factor:A=6` (per cent), `distance=4` (per cent), `width=0.25` (metres, typed minus true), `fill-missed:A=1900` (kg),
        `fill-doubled:A=1900` (kg), `slip:A=1.12` (ratio), `lid:A=-8` (per cent), `bridge:A=60` (per cent), `run=37`, `head=C`;
        a `%`, `kg` or `m` behind the number is allowed. [-]

    Returns
    -------
    FaultSpec
        The fault; `str()` gives the text back. [-]

    Raises
    ------
    SimulationError
        If the text is none of these, or the size is outside its range.
    """
    left, equals, right = text.strip().partition("=")
    kind, _, where = left.strip().partition(":")
    kind, where, right = kind.strip(), where.strip(), right.strip()
    if kind not in FAULT_KINDS:
        raise SimulationError(f"fault {text!r}: {kind!r} is no kind of fault. Kinds: {', '.join(FAULT_KINDS)}.")
    place, unit, meaning = FAULT_KINDS[kind]
    shape = f"{kind}:BIN={unit}" if place else f"{kind}={unit}"
    if not equals or not right or bool(place) != bool(where):
        raise SimulationError(f"fault {text!r}: write it as {shape} ({meaning}).")
    if kind == "run":
        if not re.fullmatch(r"[0-9]{1,4}", right) or int(right) < 1:
            raise SimulationError(f"fault {text!r}: {right!r} is no run number. Write run=37.")
        return FaultSpec(kind=kind, where=str(int(right)))
    if kind == "head":
        return FaultSpec(kind=kind, where=right)
    return FaultSpec(kind=kind, where=where, size=_size(text, kind, right, shape))


def _size(text: str, kind: str, written: str, shape: str) -> float:
    number = re.sub(r"\s*(%|kg|m)$", "", written)
    try:
        size = float(number)
    except ValueError:
        raise SimulationError(f"fault {text!r}: {written!r} is no number. Write it as {shape}.") from None
    low, high = _BOUNDS[kind]
    if not (math.isfinite(size) and low <= size <= high):
        raise SimulationError(f"fault {text!r}: {size:g} is outside {low:g} to {high:g}.")
    return size


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultSet:
    """All faults of a day, sorted by what they act on."""

    specs: tuple[FaultSpec, ...]
    factor: dict[str, float]
    slip: dict[str, float]
    distance: float
    width_m: float | None
    missed_kg: dict[str, float]
    doubled_kg: dict[str, float]
    lid: dict[str, float]
    bridge: dict[str, float]
    runs: tuple[int, ...]
    heads: tuple[str, ...]


def gather(faults: Iterable[FaultSpec | str], outfit: Outfit, letters: tuple[str, ...]) -> FaultSet:
    """Check the faults against the outfit and the bins in use, and sort them; `SimulationError` names all that do not fit."""
    specs = tuple(parse_fault(f) if isinstance(f, str) else f for f in faults)
    wrong = []
    for spec in specs:
        if spec.kind not in FAULT_KINDS:
            wrong.append(f"{spec.kind!r} is no kind of fault")
        elif FAULT_KINDS[spec.kind][0] and spec.where not in letters:
            wrong.append(f"{spec}: bin {spec.where} is not in the plan (bins {', '.join(letters)})")
        elif spec.kind == "run" and spec.where not in {str(r.number) for r in outfit.runs}:
            wrong.append(f"{spec}: the outfit has no such run ({len(outfit.runs)} runs)")
        elif spec.kind == "head" and spec.where not in {h.letter for h in outfit.heads}:
            wrong.append(f"{spec}: the outfit has no such head (heads {', '.join(h.letter for h in outfit.heads) or 'none'})")
    doubled = {s.cause for s in specs if sum(t.cause == s.cause for t in specs) > 1}
    wrong += [f"{cause} is given more than once" for cause in sorted(doubled)]
    if wrong:
        raise SimulationError("; ".join(wrong) + ".")
    widths = [s.size for s in specs if s.kind == "width"]
    return FaultSet(
        specs=specs,
        factor={s.where: 1 + s.size / 100 for s in specs if s.kind == "factor"},
        slip={s.where: s.size for s in specs if s.kind == "slip"},
        distance=1 + sum(s.size for s in specs if s.kind == "distance") / 100,
        width_m=widths[0] if widths else None,
        missed_kg={s.where: s.size for s in specs if s.kind == "fill-missed"},
        doubled_kg={s.where: s.size for s in specs if s.kind == "fill-doubled"},
        lid={s.where: 1 + s.size / 100 for s in specs if s.kind == "lid"},
        bridge={s.where: s.size / 100 for s in specs if s.kind == "bridge"},
        runs=tuple(int(s.where) for s in specs if s.kind == "run"),
        heads=tuple(s.where for s in specs if s.kind == "head"),
    )

"""Several logs of one field as one trail."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from evenstand.base.errors import Fault, InputError
from evenstand.model.place import FloatArray, Frame
from evenstand.model.trail import Trail

COLUMNS = ("speed_m_s", "area_ha", "step_m", "mass_rate_kg_s", "fan_turns_s")


def joined(trails: Sequence[Trail], names: Sequence[str]) -> Trail:
    """One trail of several, in the order they began, in the frame of the first.

    Counters (area, meter turns) go on from log to log. A column that some logs lack is empty there; sections, flow at the runs and the
    lift are kept only where every log has them alike, because an empty state would be taken for a state.

    Parameters
    ----------
    trails : sequence of Trail
        One or more, none of which begins before the one before has ended. [-]
    names : sequence of str
        Their names, for faults and notes. [-]

    Returns
    -------
    Trail
        Rows, repairs and notes of all. [-]

    Raises
    ------
    InputError
        If there is none, or two overlap in time: two machines, or one log twice.
    """
    if not trails:
        raise InputError("there is no trail", where="trails", cure="Keep a log for the job first: evenstand trail read LOG --book --job.")
    order = sorted((i for i, t in enumerate(trails) if t.n), key=lambda i: int(trails[i].t_ms[0]))
    faults = [
        Fault(where=names[b], what=f"begins before '{names[a]}' ends", cure="Choose one with --trail: two machines, or one log twice.")
        for a, b in itertools.pairwise(order)
        if trails[b].t_ms[0] <= trails[a].t_ms[-1]
    ]
    if faults:
        raise InputError(faults)
    if len(order) <= 1:
        return trails[order[0]] if order else trails[0]
    parts = [trails[i] for i in order]
    frame = parts[0].frame
    bins = tuple(dict.fromkeys(b for t in parts for b in t.bins))
    notes = [f"{names[i]}: {note}" for i in order for note in trails[i].notes]
    states: dict[str, Any] = {}
    for name, what in (("sections", "sections"), ("run_present", "flow at the runs"), ("lifted", "lift")):
        states[name] = _state(parts, name)
        if states[name] is None and any(getattr(t, name) is not None for t in parts):
            notes.append(f"Not every log tells its {what} alike: that column is left out.")
    columns: dict[str, Any] = {name: _column(parts, _named(name), counter=name == "area_ha") for name in COLUMNS}
    columns |= {name: _grid(parts, name, bins, counter=name == "revs") for name in ("revs", "asked_kg_ha", "echoed_kg_ha")}
    extra = {name: _column(parts, _extra(name), counter=False) for name in dict.fromkeys(n for t in parts for n in t.extra)}
    return replace(
        parts[0],
        t_ms=np.concatenate([t.t_ms for t in parts]),
        xy_m=np.concatenate([_moved(t.xy_m, t.frame, frame) for t in parts]),
        **columns,
        **states,
        flags=None if all(t.flags is None for t in parts) else np.concatenate([_flags(t) for t in parts]),
        bins=bins,
        runs=parts[0].runs if states["run_present"] is not None else (),
        rows=sum(t.rows for t in parts),
        kept=sum(t.kept for t in parts),
        repaired=tuple(r for t in parts for r in t.repaired),
        set_aside=tuple(r for t in parts for r in t.set_aside),
        repaired_unlisted=sum(t.repaired_unlisted for t in parts),
        set_aside_unlisted=sum(t.set_aside_unlisted for t in parts),
        notes=(*notes, f"{len(parts)} logs taken together: {', '.join(names[i] for i in order)}."),
        extra={name: column for name, column in extra.items() if column is not None},
    )


def _moved(xy_m: FloatArray, own: Frame, frame: Frame) -> FloatArray:
    """Positions in another frame. [m]"""
    if own == frame:
        return xy_m
    from pyproj import Transformer

    change = Transformer.from_crs(own.proj, frame.proj, always_xy=True)
    return np.column_stack(change.transform(xy_m[:, 0], xy_m[:, 1]))


def _named(name: str) -> Callable[[Trail], FloatArray | None]:
    def of(trail: Trail) -> FloatArray | None:
        found: FloatArray | None = getattr(trail, name)
        return found

    return of


def _extra(name: str) -> Callable[[Trail], FloatArray | None]:
    return lambda trail: trail.extra.get(name)


def _column(parts: list[Trail], of: Callable[[Trail], FloatArray | None], *, counter: bool) -> FloatArray | None:
    """A column of all, not-a-number where a log lacks it; a counter goes on from where it was."""
    if all(of(t) is None for t in parts):
        return None
    out, base = [], 0.0
    for t in parts:
        found = of(t)
        values = np.full(t.n, np.nan) if found is None else np.asarray(found, dtype=np.float64)
        good = values[np.isfinite(values)]
        if counter and good.size:
            out.append(values - good[0] + base)
            base += float(good[-1] - good[0])
        else:
            out.append(values)
    return np.concatenate(out)


def _grid(parts: list[Trail], name: str, bins: tuple[str, ...], *, counter: bool) -> FloatArray | None:
    """A column for each bin."""
    if all(getattr(t, name) is None for t in parts):
        return None

    def of(letter: str) -> Callable[[Trail], FloatArray | None]:
        def one(t: Trail) -> FloatArray | None:
            grid: FloatArray | None = getattr(t, name)
            return None if grid is None or letter not in t.bins else grid[:, t.bins.index(letter)]

        return one

    columns = [_column(parts, of(b), counter=counter) for b in bins]
    n = sum(t.n for t in parts)
    return np.column_stack([np.full(n, np.nan) if c is None else c for c in columns])


def _state(parts: list[Trail], name: str) -> Any:
    """A column of states, if every log has it with the same number of columns."""
    found = [getattr(t, name) for t in parts]
    if any(f is None for f in found) or len({f.shape[1:] for f in found}) > 1:
        return None
    if name == "run_present" and len({t.runs for t in parts}) > 1:
        return None
    return np.concatenate(found)


def _flags(trail: Trail) -> Any:
    return trail.flags if trail.flags is not None else np.zeros(trail.n, dtype=np.int64)

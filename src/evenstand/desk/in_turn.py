"""Bins that run one after the other: their stretches by the turns that were read, since the hectares do not say which one fed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from evenstand.model import Fill, Reading
from evenstand.tally import BinStep

LEAST_LOOK_SD_KG = 1.0


def in_turn_steps(
    fills: Sequence[Fill], latest: Mapping[str, Reading], letter: str, named: Callable[[str], str]
) -> tuple[list[BinStep], str]:
    """What went in, and then all turns of the job at once: a balance does not mind when a turn was made, only looks between do.

    Parameters
    ----------
    fills : sequence of Fill
        Of one bin in one job, in order. [kg]
    latest : mapping
        Newest reading of the job by quantity; `turns:BIN` since its beginning. [turns]
    letter : str
        Of the bin. [-]
    named : callable
        A lot as the name of its meter. [-]

    Returns
    -------
    tuple
        Stretches, none where no turns were read; and what is missing or left out, "" where nothing is. [turns, kg]
    """
    turns = latest.get(f"turns:{letter}")
    if turns is None:
        return [], "its bins run in turn; the hectares do not say which one fed. Read the turns of each."
    late = [f for f in fills if f.at > turns.at]
    if late:
        return [], "its bins run in turn, and a fill is newer than the turns read. Read the turns of each again."
    steps = []
    for f in fills:
        shared = f.put_sd_kg if f.how == "brim" else 0.0
        steps.append(
            BinStep(turns=0.0, put_kg=f.put_kg, put_sd_kg=0.0 if shared else f.put_sd_kg, put_shared_kg=shared, meter=named(f.lot))
        )
    meters = {s.meter for s in steps}
    if len(meters) > 1:
        return [], "its bins run in turn, and this one held several lots; which of them made the turns is not known. Look into the bin."
    steps.append(BinStep(turns=max(0.0, turns.value), meter=steps[-1].meter))
    level = latest.get(f"level:{letter}")
    if level is not None and level.at >= turns.at[:16]:
        steps.append(BinStep(turns=0.0, level_kg=level.value, level_sd_kg=max(level.sd, LEAST_LOOK_SD_KG), meter=steps[-1].meter))
    seen = any(f.level_before_kg is not None for f in fills[1:]) or any(f.low_light_at_ha is not None for f in fills)
    return steps, "its bins run in turn: looks between its fills are left out, since no turns stand beside them." if seen else ""

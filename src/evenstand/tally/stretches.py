"""Stretches of one bin, what is believed before the first of them, and both as the matrices of a smoother."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import Fault, RangeError
from evenstand.base.estimate import Est
from evenstand.reference.figures import figure

FloatArray = npt.NDArray[np.float64]
BinEvent = Literal["", "low-light", "run-empty"]
SHARED = ("filling", "settling", "light", "rest")
_SETTLED_AFTER = 0.25  # of a usual fill: by then two thirds of the settling is over


@dataclass(frozen=True, slots=True, kw_only=True)
class BinStep:
    """One stretch of a bin. turns: since the last step [turns]; put_kg, put_sd_kg: put in at its end [kg]; put_shared_kg: how far all
    fills known in that way may be off together, such as by their density [kg]; level_kg, level_sd_kg: mass seen after that and how well,
    None if nobody looked [kg]; event: the low-level light came on, or the bin ran empty, just then: level_sd_kg says how well that
    repeats; meter: name of the lot and setting that ran, such as "lot 7 / fine"."""

    turns: float
    put_kg: float = 0.0
    put_sd_kg: float = 0.0
    put_shared_kg: float = 0.0
    level_kg: float | None = None
    level_sd_kg: float = 10.0
    event: BinEvent = ""
    meter: str = ""


def _usual(name: str) -> Est:
    """A range of practice as a value with a spread: even over the range."""
    f = figure("practice", "defaults", name)
    return Est(value=f.value, sd=(f.high - f.low) / math.sqrt(12), basis="common-practice", source=f.source)


@dataclass(frozen=True, slots=True, kw_only=True)
class BinPrior:
    """What is believed before the first stretch. mass_kg, mass_sd_kg [kg]; factors: product per turn in the field by meter [kg/turn];
    light, rest: mass when the low-level light comes on, and when the bin runs empty; None: usual practice [kg]; settling: how much more
    a fresh fill gives, as a share of the factor: one standard deviation about none [-]."""

    mass_kg: float
    mass_sd_kg: float
    factors: Mapping[str, Est]
    light: Est | None = None
    rest: Est | None = None
    settling: float = 0.01

    @property
    def light_kg(self) -> Est:
        """Mass at the low-level light, learned or usual. [kg]"""
        return self.light or _usual("low-light")

    @property
    def rest_kg(self) -> Est:
        """Mass left in an empty bin, learned or usual. [kg]"""
        return self.rest or _usual("left-after-empty")


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """The season as matrices. names (p,): of what stays the same; mean, cov: believed of it; of_shift (n, p), of_look (n, p): what a unit
    of each adds to the mass, and to what a look reads; used: of the factor in each step, as a column of names."""

    names: tuple[str, ...]
    mean: FloatArray
    cov: FloatArray
    start: FloatArray
    start_cov: FloatArray
    transition: FloatArray
    shift: FloatArray
    noise: FloatArray
    turns: FloatArray
    factor: FloatArray
    looks: FloatArray
    look_var: FloatArray
    of_shift: FloatArray
    of_look: FloatArray
    used: npt.NDArray[np.int64]
    settled_after: float
    since_fill: float | None
    fill_turns: float


def model_of(steps: Sequence[BinStep], prior: BinPrior) -> Model:
    """The season as matrices; the steps as `refuse_steps` lets them through.

    Parameters
    ----------
    steps : sequence of BinStep
        In order. [turns, kg]
    prior : BinPrior
        Before the first. [kg, kg/turn]
    """
    n = len(steps)
    meters = tuple(dict.fromkeys(s.meter for s in steps if s.turns > 0)) or (steps[-1].meter,)
    names = (*meters, *SHARED)
    col = {name: j for j, name in enumerate(names)}
    turns = np.array([s.turns for s in steps])
    last = meters[0]
    used = np.zeros(n, dtype=np.int64)
    for k, s in enumerate(steps):
        last = s.meter if s.turns > 0 else last
        used[k] = col[last]
    believed = np.array([prior.factors[m].value for m in meters])
    main = float(believed[used[-1]])
    fills = [s.put_kg for s in steps if s.put_kg > 0]
    fill_turns = (float(np.median(fills)) if fills else max(prior.mass_kg, 1.0)) / main
    light, rest = prior.light_kg, prior.rest_kg
    of_shift, of_look = np.zeros((n, len(names))), np.zeros((n, len(names)))
    of_shift[np.arange(n), used] = -turns
    of_shift[:, col["filling"]] = [s.put_shared_kg for s in steps]
    settled, since = _SETTLED_AFTER * fill_turns, None
    for k, s in enumerate(steps):
        if since is not None:
            of_shift[k, col["settling"]] = -fresh_turns(since, s.turns, settled)
            since += s.turns
        since = 0.0 if s.put_kg > 0 else since
    looks = np.array([_look(s) for s in steps])
    for k, s in enumerate(steps):
        if s.event:
            of_look[k, col["light" if s.event == "low-light" else "rest"]] = 1.0
    mean = np.array([*believed, 0.0, 0.0, light.value, rest.value])
    sds = [*(prior.factors[m].sd for m in meters), 1.0, prior.settling * main, light.sd, rest.sd]
    transition = np.tile(np.eye(2), (n, 1, 1))
    transition[:, 0, 1] = -turns
    changed = np.flatnonzero(np.diff(used)) + 1  # another lot or setting: what the last had drifted is forgotten
    transition[changed, 0, 1] = transition[changed, 1, 1] = 0.0
    shift = np.zeros((n, 2))
    shift[:, 0] = np.array([s.put_kg for s in steps]) + of_shift @ mean
    noise = np.zeros((n, 2, 2))
    noise[:, 0, 0] = [s.put_sd_kg**2 for s in steps]
    return Model(
        names=names, mean=mean, cov=np.diag(np.array(sds) ** 2), start=np.array([prior.mass_kg, 0.0]),
        start_cov=np.diag([prior.mass_sd_kg**2, 0.0]), transition=transition, shift=shift, noise=noise, turns=turns, factor=believed[used],
        looks=looks + of_look @ mean, look_var=np.array([s.level_sd_kg**2 for s in steps]), of_shift=of_shift, of_look=of_look, used=used,
        settled_after=settled, since_fill=since, fill_turns=fill_turns,
    )  # fmt: skip


def _look(s: BinStep) -> float:
    """What a look reads beyond the learned level of its event. [kg]"""
    return 0.0 if s.event else (math.nan if s.level_kg is None else s.level_kg)


def fresh_turns(since: float, turns: float, settled_after: float) -> float:
    """How many turns of wholly fresh product some turns are worth, settling fading away exponentially. [turns]

    Parameters
    ----------
    since : float
        Turns since the last fill, at the start. [turns]
    turns : float
        That are made. [turns]
    settled_after : float
        In which settling fades to 1/e. [turns]
    """
    return settled_after * (math.exp(-since / settled_after) - math.exp(-(since + turns) / settled_after))


def refuse_steps(steps: Sequence[BinStep], prior: BinPrior) -> None:
    """Refuse a season that is not one, all faults at once.

    Parameters
    ----------
    steps : sequence of BinStep
        In order. [turns, kg]
    prior : BinPrior
        Before the first. [kg, kg/turn]

    Raises
    ------
    RangeError
        Naming each step, meter or belief that cannot be used.
    """
    faults = []
    if not steps:
        faults.append(Fault(where="steps", what="no steps", cure="Give at least one."))
    if not (math.isfinite(prior.mass_kg) and math.isfinite(prior.mass_sd_kg) and prior.mass_sd_kg >= 0):
        faults.append(Fault(where="prior", what="the mass at the start or its spread is no number", limit="0 <= sd", cure="Correct it."))
    if not 0 <= prior.settling < 1:
        faults.append(Fault(where="settling", what=f"{prior.settling:g} is no share", limit="0 to 1"))
    for name in dict.fromkeys(s.meter for s in steps):
        known = prior.factors.get(name)
        if known is None or not known.value > 0:
            faults.append(Fault(where=f"meter '{name}'", what="no product per turn above 0 is given for it", cure="Catch it, or type one."))
    for i, s in enumerate(steps, 1):
        numbers = (s.turns, s.put_kg, s.put_sd_kg, s.put_shared_kg, s.level_sd_kg, s.level_kg or 0.0)
        if not all(math.isfinite(x) for x in numbers) or s.turns < 0 or min(s.put_kg, s.put_sd_kg, s.put_shared_kg) < 0:
            faults.append(Fault(where=f"step {i}", what="a number is negative or missing", cure="Correct it."))
        elif (s.level_kg is not None or s.event) and s.level_sd_kg <= 0:
            faults.append(Fault(where=f"step {i}", what="the look has no spread", limit="above 0", cure="Say how well it is known."))
        if s.level_kg is not None and s.event:
            faults.append(Fault(where=f"step {i}", what="a level and an event in one look", cure="Make two steps of it."))
    if faults:
        raise RangeError(faults)

"""Mass in a bin and product per turn together, from turns, fills and looks into the bin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import Fault, RangeError
from evenstand.model import Event
from evenstand.solve.smoother import Smoothed, smooth

FloatArray = npt.NDArray[np.float64]
TicketKind = Literal["fill", "level", "unrecorded"]
ALARM = 0.001  # probability of one false alarm in a whole balance
RIVAL = 3.84  # chi-square, one degree of freedom, 1 in 20: explanations this close are not told apart
MOST_BAD = 3
DRIFT_LEAST, DRIFT_MOST = 1e-5, 3e-2
LOOKS = frozenset({"weighed", "level", "low-light", "run-empty"})


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceStep:
    """One step: turns since the last [turns]; what was put in and how well known [kg]; the mass seen afterwards and how well,
    None if nobody looked [kg]. A look before a fill is a step of its own, the fill the next one with 0 turns."""

    turns: float
    put_kg: float = 0.0
    put_sd_kg: float = 0.0
    level_kg: float | None = None
    level_sd_kg: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BalancePrior:
    """What is believed at the start: mass in the bin [kg] and product per turn [kg/turn], each with its sd."""

    mass_kg: float
    mass_sd_kg: float
    factor_kg_rev: float
    factor_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BadTicket:
    """A number that does not fit the rest, taken out of the balance.

    step: from 0; kind: "fill" (a recorded fill is off), "level" (a look is off), "unrecorded" (product came or went without a record);
    size_kg: by how much the record is too small (+) or too large (-), for a look: read - true [kg]; sd_kg [kg]; z: size / sd [-];
    rivals: other (kind, step) that would explain it nearly as well and cannot be told from it by these readings.
    """

    step: int
    kind: TicketKind
    size_kg: float
    sd_kg: float
    z: float
    rivals: tuple[tuple[TicketKind, int], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """mass_kg, mass_sd, factor_kg_rev, factor_sd (n,): after each step, with all that is known by the end [kg, kg/turn];
    loglik: of the looks that count; q_factor: drift of the factor used [kg/turn per root turn]; bad_tickets: numbers taken out."""

    mass_kg: FloatArray
    mass_sd: FloatArray
    factor_kg_rev: FloatArray
    factor_sd: FloatArray
    loglik: float
    q_factor: float
    bad_tickets: tuple[BadTicket, ...]


def balance(steps: Sequence[BalanceStep], prior: BalancePrior, *, q_factor: float | None = None) -> Balance:
    """Smooth mass and product per turn: mass falls by turns x factor and rises by fills; the factor drifts slowly.

    Looks that the filter did not expect (chi-square of the innovation, one false alarm in a thousand balances) start a search: every fill,
    every look and every step between is tried as the one number that is off, by its likelihood ratio. The likeliest is taken out
    and the balance made again, up to three times. What else would explain it as well is named beside it.

    Parameters
    ----------
    steps : sequence of BalanceStep
        In order, n of them. [turns, kg]
    prior : BalancePrior
        Before the first step. [kg, kg/turn]
    q_factor : float or None
        Standard deviation of the factor's drift in one turn; over n turns it is sqrt(n) times that. None: the likeliest for these
        steps, the bad tickets left out. [kg/turn per root turn]

    Returns
    -------
    Balance
        Mass and factor with standard deviations, and what does not fit. [kg, kg/turn]

    Raises
    ------
    RangeError
        If there are no steps, a number is not finite, or a standard deviation is below 0.

    References
    ----------
    nist-strd: Norris, the fitted line it gives for looks into a bin without drift. definition: mass after = mass before - factor x
    turns + fill.
    """
    _refuse(steps, prior)
    kept = list(steps)
    bad: list[BadTicket] = []
    drift = _likeliest_drift(kept, prior) if q_factor is None else q_factor
    found = _smoothed(kept, prior, drift)
    while len(bad) < MOST_BAD and _alarms(found):
        ticket = _likeliest_fault(kept, found)
        bad.append(ticket)
        kept[ticket.step] = _without(kept[ticket.step], ticket)
        drift = _likeliest_drift(kept, prior) if q_factor is None else q_factor
        found = _smoothed(kept, prior, drift)
    return Balance(
        mass_kg=found.mean[:, 0],
        mass_sd=np.sqrt(np.maximum(found.cov[:, 0, 0], 0.0)),
        factor_kg_rev=found.mean[:, 1],
        factor_sd=np.sqrt(np.maximum(found.cov[:, 1, 1], 0.0)),
        loglik=found.loglik,
        q_factor=drift,
        bad_tickets=tuple(bad),
    )


def steps_from_events(events: Sequence[Event], bin_letter: str) -> tuple[BalanceStep, ...]:
    """Steps of one bin from what happened in time.

    Turns are cumulative; between two counts they are taken as running evenly. A look and a fill at the same moment are taken in the order
    given. Fills after the last and before the first count of turns get no turns.

    Parameters
    ----------
    events : sequence of Event
        Of any bins; "turns" are cumulative counts, "fill" [kg], "weighed", "level", "low-light" and "run-empty" looks [kg].
    bin_letter : str
        The bin. [-]

    Returns
    -------
    tuple of BalanceStep
        One for each fill and each look, in time. [turns, kg]

    Raises
    ------
    RangeError
        If counted turns run backwards, or there are fewer than two counts.

    References
    ----------
    definition: turns between two looks are the difference of two counts.
    """
    mine = sorted((e for e in events if e.bin == bin_letter), key=lambda e: e.at_s)
    counts = [(e.at_s, e.value) for e in mine if e.kind == "turns"]
    if len(counts) < 2:
        raise RangeError(
            f"{len(counts)} counts of turns for bin {bin_letter}",
            where="events",
            limit="2 or more",
            cure="Read the turns at start and end.",
        )
    at, turned = np.array(counts).T
    if (np.diff(turned) < 0).any():
        raise RangeError("counted turns run backwards", where=f"bin {bin_letter}", cure="Split the events where the counter was reset.")
    out, last = [], float(turned[0])
    for e in mine:
        if e.kind != "fill" and e.kind not in LOOKS:
            continue
        now = float(np.interp(e.at_s, at, turned))
        fill = e.kind == "fill"
        out.append(
            BalanceStep(
                turns=now - last,
                put_kg=e.value if fill else 0.0,
                put_sd_kg=e.sd if fill else 0.0,
                level_kg=None if fill else e.value,
                level_sd_kg=1.0 if fill else e.sd,
            )
        )
        last = now
    if turned[-1] > last:
        out.append(BalanceStep(turns=float(turned[-1]) - last))
    return tuple(out)


def _refuse(steps: Sequence[BalanceStep], prior: BalancePrior) -> None:
    faults = []
    if not steps:
        faults.append(Fault(where="steps", what="no steps", cure="Give at least one."))
    for name, sd in (("mass_sd_kg", prior.mass_sd_kg), ("factor_sd", prior.factor_sd)):
        if not (sd >= 0 and math.isfinite(sd)):
            faults.append(Fault(where=name, what=f"{sd:g} is no standard deviation", limit="0 <= sd"))
    if not (prior.factor_kg_rev > 0 and math.isfinite(prior.factor_kg_rev) and math.isfinite(prior.mass_kg)):
        faults.append(
            Fault(where="prior", what="mass or product per turn is no number", limit="product per turn above 0", cure="Correct it.")
        )
    for i, s in enumerate(steps):
        numbers = (s.turns, s.put_kg, s.put_sd_kg, s.level_sd_kg, s.level_kg or 0.0)
        if not all(math.isfinite(x) for x in numbers) or s.turns < 0 or s.put_sd_kg < 0 or (s.level_kg is not None and s.level_sd_kg <= 0):
            faults.append(Fault(where=f"step {i + 1}", what="a number is negative or missing", cure="Correct it."))
    if faults:
        raise RangeError(faults)


def _smoothed(steps: Sequence[BalanceStep], prior: BalancePrior, q_factor: float) -> Smoothed:
    n = len(steps)
    turns = np.array([s.turns for s in steps])
    transition = np.tile(np.eye(2), (n, 1, 1))
    transition[:, 0, 1] = -turns
    shift = np.zeros((n, 2))
    shift[:, 0] = [s.put_kg for s in steps]
    noise = np.zeros((n, 2, 2))
    noise[:, 0, 0] = [s.put_sd_kg**2 for s in steps]
    noise[:, 1, 1] = q_factor**2 * turns
    observed = np.array([math.nan if s.level_kg is None else s.level_kg for s in steps])
    variance = np.array([s.level_sd_kg**2 for s in steps])
    start = np.array([prior.mass_kg, prior.factor_kg_rev])
    return smooth(start, np.diag([prior.mass_sd_kg**2, prior.factor_sd**2]), transition, shift, noise, observed, variance)


def _alarms(found: Smoothed) -> bool:
    """Whether any look is further from what was expected than chance allows, all looks together. [-]"""
    seen = ~np.isnan(found.innovation)
    looks = int(seen.sum())
    if looks == 0:
        return False
    from scipy.special import ndtri

    limit = float(ndtri(1 - ALARM / (2 * looks)))
    return bool((np.abs(found.innovation[seen]) > limit * np.sqrt(found.variance[seen])).any())


def _likeliest_fault(steps: Sequence[BalanceStep], found: Smoothed) -> BadTicket:
    """The one number whose error explains the looks best, and its rivals."""
    tried: list[tuple[float, TicketKind, int, float, float]] = []
    for k, step in enumerate(steps):
        if found.jump_var[k] > 0:
            kind: TicketKind = "fill" if step.put_kg != 0 else "unrecorded"
            tried.append((found.jump[k] ** 2 / found.jump_var[k], kind, k, found.jump[k], math.sqrt(found.jump_var[k])))
        if step.level_kg is not None:
            tried.append((found.slip[k] ** 2 / found.slip_var[k], "level", k, found.slip[k], math.sqrt(found.slip_var[k])))
    order = {"fill": 0, "level": 1, "unrecorded": 2}  # equally good: a recorded number first
    top = max(tried)[0]
    near = sorted((t for t in tried if top - t[0] < RIVAL), key=lambda t: (round(top - t[0], 6), order[t[1]], t[2]))
    _, kind, step_no, size, sd = near[0]
    return BadTicket(
        step=step_no, kind=kind, size_kg=float(size), sd_kg=float(sd), z=float(size / sd), rivals=tuple((t[1], t[2]) for t in near[1:])
    )


def _without(step: BalanceStep, ticket: BadTicket) -> BalanceStep:
    """The step with the bad number taken out: a look dropped, a fill left open to any size."""
    if ticket.kind == "level":
        return replace(step, level_kg=None)
    return replace(step, put_sd_kg=math.hypot(step.put_sd_kg, 1e3 * ticket.sd_kg + 10 * abs(ticket.size_kg)))


def _likeliest_drift(steps: Sequence[BalanceStep], prior: BalancePrior) -> float:
    """Drift by maximum likelihood, between 0.001 % and 3 % of the factor over all turns; fewer than three looks: 0.5 %. [kg/turn/sqrt]"""
    turns = sum(s.turns for s in steps)
    if turns == 0:
        return 0.0
    unit = prior.factor_kg_rev / math.sqrt(turns)
    if sum(s.level_kg is not None for s in steps) < 3:
        return 5e-3 * unit
    from scipy.optimize import minimize_scalar

    def loss(log_q: float) -> float:
        return -_smoothed(steps, prior, math.exp(log_q) * unit).loglik

    best = minimize_scalar(loss, bounds=(math.log(DRIFT_LEAST), math.log(DRIFT_MOST)), method="bounded", options={"xatol": 0.02})
    return math.exp(float(best.x)) * unit

"""How strong the check is beside the ideal test, on plain days: the same readings, the same budget of false alarms.

The ideal test is told which cause it is looking for and in which interval, and knows the true covariance of every relation of that very
day: it alarms when |f' C^-1 r| / sqrt(f' C^-1 f) passes the limit of the budget. Nothing that must find out by itself can beat it. The bar:
the size the check finds nine times in ten is at most 1.5 times the ideal's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from benchmarks.plain_days import AIRS, BINS, KINDS, SETS, PlainDay, moved, plain_day
from benchmarks.scoring import SCORES, Score, score, wilson

FloatArray = npt.NDArray[np.float64]
BUDGET_Z = 2.968  # two-sided normal limit of 3 false alarms in 1,000 days: the share of one in a hundred that reconciliation has
BAR = 1.5
LEAST_DAYS = 20
_MOVE = 0.05
SHOWN_BY_LOG = ("fan", "fixes")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One day with one fault. size: of what was put in, of a bridge of the interval that readings see [share or kg]; real: as it was that
    day; score: of the check; ideal: whether the ideal test finds it; ideal_sd: one standard deviation of its size [unit of the cause];
    sized: (found - real) / stated sd, of a cause named first in its class; error: found - real [unit of the cause]; named: sets that were
    accused."""

    kind: str
    cause: str
    reading_set: str
    world: str
    size: float
    real: float
    score: Score
    ideal: bool
    ideal_sd: float
    sized: float | None
    named: tuple[str, ...]
    seconds: float
    error: float | None = None


def check_plain(day: PlainDay, scales: Mapping[str, float] | None = None) -> Any:
    """The check on a plain day, as a farm would see it."""
    from evenstand.check import check_readings

    return check_readings(
        day.readings, asked=day.asked, typed=day.typed, bin_days=bin_days_of(day), kinds=day.kinds, overlap=(0.01, 0.05), scales=scales
    )


def as_said(cause: str, real: float) -> float:
    """The true size in the unit in which the check says it: of a factor or distance the share, not the logarithm."""
    return math.expm1(real) if cause.partition(":")[0] in ("factor", "distance", "lid", "fan") else real


def bin_days_of(day: PlainDay) -> tuple[Any, ...]:
    """Looks and fills one by one, where the day was logged; else the sums must do."""
    from evenstand.desk.looks import bin_day

    if not any(r.quantity.startswith("shown_mass") for r in day.readings):
        return ()
    found = (bin_day(a, day.asked[a], day.readings, [f for f in day.fills if f.bin == a], (), day.typed) for a in BINS)
    return tuple(d for d in found if d is not None)


def rows_of(day: PlainDay) -> tuple[FloatArray, FloatArray, tuple[str, ...], FloatArray]:
    """Residuals (k,), signatures (k, q), names of the variants and loads of overlap (k,) that the readings of a day give."""
    from evenstand.check.expecting import known_readings, relations_for
    from evenstand.check.relations import assemble

    relations, every = relations_for((*day.readings, *known_readings(None, day.typed)), asked=day.asked, bin_days=bin_days_of(day))
    system = assemble(relations, every)
    return system.residual, system.signatures, system.variants, system.overlap


def residual_of(day: PlainDay) -> FloatArray:
    """The residuals alone, (k,), without what else makes up a system: an ideal test asks for them once for every number of the noise."""
    from evenstand.check.expecting import known_readings, relations_for

    relations, every = relations_for((*day.readings, *known_readings(None, day.typed)), asked=day.asked, bin_days=bin_days_of(day))
    value = {r.quantity: r.value for r in every}
    out = []
    for relation in relations:
        if all(q in value for q, _ in relation.terms):
            sides = (times * (math.log(value[q]) if relation.scale == "log" else value[q]) for q, times in relation.terms)
            out.append(sum(sides) - relation.constant)
    return np.array(out, dtype=np.float64)


def ideal(seed: int, day: PlainDay, rebuilt: Callable[[Mapping[str, float]], PlainDay]) -> tuple[bool, float]:
    """Whether the ideal test finds the fault of a day, and one standard deviation of its size.

    rebuilt: the same day with other noise; moving each number a little gives the true covariance of the residuals.
    """
    residual, signatures, variants, overlap = rows_of(day)
    if day.variant not in variants:
        return False, math.inf
    columns = []
    for name in day.noise:
        other = residual_of(rebuilt(moved(day, name, _MOVE)))
        if other.shape != residual.shape:
            continue
        columns.append((other - residual) / _MOVE)
    spread = np.column_stack(columns)
    low, high = AIRS["nominal"].overlap
    covariance = spread @ spread.T
    inverse = scaled_inverse(covariance)
    f = signatures[:, variants.index(day.variant)]
    power = float(f @ inverse @ f)
    unit = f / np.where(np.diag(covariance) > 0, np.sqrt(np.diag(covariance)), 1.0)
    left = (f - covariance @ (inverse @ f)) / np.where(np.diag(covariance) > 0, np.sqrt(np.diag(covariance)), 1.0)
    known = float(np.linalg.norm(left)) > 1e-6 * float(np.linalg.norm(unit))
    if known or power <= 0:  # in a direction without any noise a fault of any size shows; nothing at all shows none
        return known, 0.0 if known else math.inf
    statistic = float(f @ inverse @ (residual - overlap * (low + high) / 2)) / math.sqrt(power)
    return abs(statistic) > BUDGET_Z, 1 / math.sqrt(power)


def scaled_inverse(covariance: FloatArray) -> FloatArray:
    """Pseudo-inverse of a covariance whose rows are in kilograms and in logarithms: scaled to unit spread first."""
    spread = np.sqrt(np.diag(covariance))
    spread = np.where(spread > 0, spread, 1.0)
    scaled = np.linalg.pinv(covariance / np.outer(spread, spread), rcond=1e-10, hermitian=True)
    return np.asarray(scaled / np.outer(spread, spread), dtype=np.float64)


def drawn(kind: str, rng: np.random.Generator, least: float = 0.01, most: float = 0.15) -> tuple[str, float]:
    """A cause and its size: shares uniform in 1 to 15 % of both signs, a leak light alone, fills 2 to 60 % of a full bin."""
    a = str(rng.choice(list(BINS)))
    if kind.startswith("fill"):
        return f"{kind}:{a}", float(rng.uniform(0.02, 0.6)) * BINS[a][2]
    if kind == "bridge":
        return f"bridge:{a}", float(rng.uniform(0.1, 1.0))
    if kind == "fixes":
        return kind, float(rng.uniform(least, most))
    share, side = float(rng.uniform(least, most)), float(rng.choice([-1.0, 1.0]))
    size = math.log1p(-share if kind == "lid" else share * side)
    return (f"{kind}:{a}" if kind in ("factor", "slip", "lid") else kind), size


def trial(task: tuple[int, str, str, str, Mapping[str, float] | None]) -> Trial:
    """task: seed, kind, reading set, world, scales."""
    import time

    seed, kind, reading_set, world, scales = task
    cause, size = drawn(kind, np.random.default_rng([seed, 3]))
    day = plain_day(seed, reading_set, world, {cause: size})
    began = time.perf_counter()
    checked = check_plain(day, scales)
    seconds = time.perf_counter() - began
    ends = score(checked.findings, cause)
    found = next((f for f in checked.verdict.found if f.cause_class[0] == cause), None)
    at_ideal = (
        ideal(seed, day, lambda noise: plain_day(seed, reading_set, world, {cause: size}, fixed=noise))
        if world == "nominal"
        else (False, math.inf)
    )
    asked = day.real[cause] if kind == "bridge" else size
    return Trial(
        kind=kind, cause=cause, reading_set=reading_set, world=world, size=asked, real=day.real[cause], score=ends, ideal=at_ideal[0],
        ideal_sd=at_ideal[1], sized=None if found is None else (found.size - as_said(cause, day.real[cause])) / found.sd,
        named=tuple("|".join(g) for f in checked.findings if f.state in ("doubtful", "does-not-hold") for g in f.suspects), seconds=seconds,
        error=None if found is None else found.size - as_said(cause, day.real[cause]),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Nine:
    """Size found nine times in ten, by a logistic fit over the logarithm of size: None where the fit has no foot, no top, or lies
    beyond the sizes tried; low, high: 95 % interval by the fit's own covariance."""

    size: float | None
    low: float | None
    high: float | None
    n: int


def nine_in_ten(sizes: Sequence[float] | FloatArray, found: Sequence[bool] | npt.NDArray[np.bool_]) -> Nine:
    """Fit P(found) = 1 / (1 + exp(-(a + b log size))) by iterated least squares, a little held towards 0, and read off nine in ten."""
    x, y = np.log(np.abs(np.asarray(sizes, dtype=float))), np.asarray(found, dtype=float)
    none = Nine(size=None, low=None, high=None, n=int(x.size))
    if x.size < 20 or y.sum() < 5:
        return none
    if (1 - y).sum() < 3:
        return none  # found at nearly every size tried: the smallest lies below them
    middle, spread = float(x.mean()), float(x.std()) or 1.0
    design = np.column_stack([np.ones(x.size), (x - middle) / spread])
    beta, hold = np.zeros(2), 1e-2 * np.eye(2)
    information = hold
    for _ in range(100):
        p = 1 / (1 + np.exp(-np.clip(design @ beta, -30, 30)))
        information = design.T @ (design * (p * (1 - p))[:, None]) + hold
        step = np.linalg.solve(information, design.T @ (y - p) - hold @ beta)
        beta = beta + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-9:
            break
    if beta[1] <= 0.1:
        return none
    at = (math.log(9.0) - beta[0]) / beta[1]
    slope = np.array([-1 / beta[1], -at / beta[1]])
    sd = math.sqrt(float(slope @ np.linalg.inv(information) @ slope)) * spread
    where = middle + spread * at
    if where > float(x.max()):
        return none
    return Nine(size=math.exp(where), low=math.exp(where - 1.96 * sd), high=math.exp(where + 1.96 * sd), n=int(x.size))


def ideal_nine(trials: Sequence[Trial], *, z: float = BUDGET_Z) -> float | None:
    """Size at which the ideal test finds nine in ten over these days: from its standard deviation on each day, no fit needed."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    sds = np.maximum(np.array([t.ideal_sd for t in trials if math.isfinite(t.ideal_sd)]), 1e-9)
    if sds.size < 0.9 * len(trials):
        return None

    def short(log_size: float) -> float:
        return float(ndtr(math.exp(log_size) / sds - z).mean()) * sds.size / len(trials) - 0.9

    low, high = math.log(sds.min()), math.log(20 * sds.max())
    return None if short(high) < 0 else math.exp(float(brentq(short, low, high)))


def size_errors(trials: Sequence[Trial]) -> dict[str, Any]:
    """Bias and root mean square of the sizes of causes named first [unit of the cause], and how often their 95 % interval held."""
    errors = np.array([t.error for t in trials if t.error is not None and t.sized is not None])
    held = sum(abs(t.sized) <= 1.96 for t in trials if t.error is not None and t.sized is not None)
    n = int(errors.size)
    return {
        "n": n, "bias": float(errors.mean()) if n else None, "rms": float(np.sqrt(np.mean(errors**2))) if n else None,
        "held": held / n if n else None, "held_95": wilson(held, n),
    }  # fmt: skip


def first_named(trials: Sequence[Trial]) -> dict[str, dict[str, int]]:
    """Kind of the fault against the kind named first, or how the day ended."""
    table: dict[str, dict[str, int]] = {}
    for t in trials:
        first = t.named[0].partition("|")[0].partition(":")[0] if t.named else t.score
        row = table.setdefault(t.kind, {})
        row[first] = row.get(first, 0) + 1
    return table


def power_cell(trials: Sequence[Trial]) -> dict[str, Any]:
    """One cause and reading set: nine in ten of the check and of the ideal test, their ratio against the bar, and shares by size."""
    right = [t.score in ("right alone", "right in class") for t in trials]
    ours, best = nine_in_ten([t.size for t in trials], right), ideal_nine(trials)
    fitted = nine_in_ten([t.size for t in trials], [t.ideal for t in trials])
    reach = max(abs(t.size) for t in trials)
    every = all(right[i] for i in np.argsort([abs(t.size) for t in trials])[: max(5, len(trials) // 10)])
    least = min(abs(t.size) for t in trials)
    beside = max(best, least) if best else None  # an ideal below every size tried says no more than that it found them all
    ratio = ours.size / beside if ours.size and beside else None
    if best is None or best > reach:
        verdict = "no test could"
    elif len(trials) < LEAST_DAYS:
        verdict = "too few days"
    elif ratio is None:
        verdict = "all found" if every or sum(right) > len(right) - 3 else "beyond the sizes tried"
    else:
        verdict = "within" if ratio <= BAR else ("open" if (ours.low or 0) / (beside or best) <= BAR else "over")
    cuts = np.quantile([abs(t.size) for t in trials], [0, 0.25, 0.5, 0.75, 1])
    bands = []
    for low, high in pairwise(cuts):
        inside = [i for i, t in enumerate(trials) if low <= abs(t.size) <= high]
        hits = sum(right[i] for i in inside)
        bands.append({"from": float(low), "to": float(high), "found": hits, "n": len(inside), "share_95": wilson(hits, len(inside))})
    return {
        "n": len(trials), "ours": ours.size, "ours_95": (ours.low, ours.high), "ideal": best, "beside": beside,
        "ideal_fitted": fitted.size, "ratio": ratio,
        "verdict": verdict, "least_tried": least, "most_tried": reach, "wrong": sum(t.score == "wrong" for t in trials),
        "wrong_95": wilson(sum(t.score == "wrong" for t in trials), len(trials)),
        "told": sum(abs(t.size) >= (BUDGET_Z + 1.2816) * t.ideal_sd for t in trials), "bands": bands,
        "scores": {s: sum(t.score == s for t in trials) for s in SCORES},
    }  # fmt: skip


def tasks(base: int, days: int, world: str = "nominal") -> list[tuple[int, str, str, str, Mapping[str, float] | None]]:
    """`days` of each kind and reading set, each with a seed of its own."""
    out: list[tuple[int, str, str, str, Mapping[str, float] | None]] = []
    for kind in KINDS:
        for reading_set in SETS if kind not in SHOWN_BY_LOG else ("log", "all"):
            out += [(base + len(out) + i, kind, reading_set, world, None) for i in range(days)]
    return out

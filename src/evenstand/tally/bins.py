"""The season of one bin: its mass, and the product per turn of every meter setting and lot that ran in it, in one smoothing.

Mass and the drift of the factor are the two states of `solve.smoother`. What stays the same all season is learned beside them: the
factor of each lot and setting, the mass at which the low-level light comes on, what is left when the bin runs empty, and how much more a
freshly filled product gives until it has settled. All of these enter the states linearly, so the smoother runs once for each and the
exact joint answer follows (de Jong's augmentation). How fast a factor drifts and wobbles is not taken as known either: a small grid of
values is weighed by how well each explains the looks.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenstand.base.estimate import Est
from evenstand.solve.smoother import Smoothed, smooth
from evenstand.tally.innovations import InnovationTest, innovation_test, look_limit
from evenstand.tally.masses import MOST_BAD, RIVAL, BadTicket, TicketKind
from evenstand.tally.stretches import SHARED, BinPrior, BinStep, Model, fresh_turns, model_of, refuse_steps

FloatArray = npt.NDArray[np.float64]
DRIFTS = (0.0, 0.002, 0.005, 0.012)
"""Shares by which a factor may wander while one usual fill is sown, one standard deviation; all equally likely beforehand. [-]"""
WOBBLES = (0.0015, 0.004, 0.009)
"""Shares by which one stretch may differ from the next for no lasting reason; all equally likely beforehand. [-]"""
_LEAST_WEIGHT = 1e-3
_NODES, _NODE_WEIGHTS = (tuple(float(x) for x in a) for a in np.polynomial.legendre.leggauss(7))
_NODE_WEIGHTS = tuple(w / 2 for w in _NODE_WEIGHTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class BinEnd:
    """How a bin stands at the end, for one guess of drift and wobble. weight: of the guess [-]; mean (5,), cov (5, 5): of mass [kg], factor
    [kg/turn], settling [kg/turn], light and rest [kg]; drift: of the factor [kg/turn per root turn]; wobble: of one stretch [share]."""

    weight: float
    mean: FloatArray
    cov: FloatArray
    drift: float
    wobble: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BinTally:
    """A bin's season.

    mass_kg, mass_sd, factor_kg_rev, factor_sd (n,): after each step, with all that is known by the end [kg, kg/turn]; factors: what
    each meter gave, over all its stretches, their wobbles aside [kg/turn]; light, rest: learned masses [kg]; settling: learned, as a
    share of the factor [-]; left: in the bin now [kg]; meter: the one that runs now; z (n,): each look against what was expected of it,
    not-a-number without a look [sd]; test: whether the looks as a whole fit; bad_tickets: numbers taken out; ends: the bin now, by guess
    of drift and wobble; since_fill: turns since the last fill, None before any [turns]; settled_after: turns in which settling fades to a
    third [turns]; unseen: "light" and "rest" where nothing told them yet: anything in the usual range is as likely.
    """

    mass_kg: FloatArray
    mass_sd: FloatArray
    factor_kg_rev: FloatArray
    factor_sd: FloatArray
    factors: Mapping[str, Est]
    light: Est
    rest: Est
    settling: Est
    left: Est
    meter: str
    z: FloatArray
    test: InnovationTest
    loglik: float
    bad_tickets: tuple[BadTicket, ...]
    ends: tuple[BinEnd, ...]
    since_fill: float | None
    settled_after: float
    unseen: frozenset[str] = frozenset()

    @property
    def factor(self) -> Est:
        """Product per turn now. [kg/turn]"""
        return _mixed([(e.weight, float(e.mean[1]), float(e.cov[1, 1])) for e in self.ends])

    def settling_turns(self, turns: float) -> float:
        """How many turns of fresh product lie in the next `turns`: what settling is multiplied by. [turns]

        Parameters
        ----------
        turns : float
            From now. [turns]
        """
        return 0.0 if self.since_fill is None else fresh_turns(self.since_fill, turns, self.settled_after)

    def left_after(self, turns: float) -> Est:
        """What will be left after more turns of the meter that runs now. [kg]

        Parameters
        ----------
        turns : float
            From now, 0 or more. [turns]
        """
        return _mixed([(e.weight, *self._ahead(e, turns, (1.0, 0.0, 0.0))) for e in self.ends])

    def below(self, turns: float, what: Literal["light", "rest", "nothing"] = "rest", *, event_sd_kg: float = 10.0) -> float:
        """Probability that after more turns no more is left than at the light, than when the bin runs empty, or than nothing. [-]

        Parameters
        ----------
        turns : float
            From now, 0 or more. [turns]
        what : str
            "light", "rest" or "nothing". [-]
        event_sd_kg : float
            How well that event repeats. [kg]
        """
        from scipy.special import ndtr

        open_level = {"light": self.light, "rest": self.rest}[what] if what in self.unseen else None
        pick = (1.0, -1.0 * (what == "light" and open_level is None), -1.0 * (what == "rest" and open_level is None))
        levels = (0.0,) if open_level is None else tuple(open_level.value + math.sqrt(3) * open_level.sd * x for x in _NODES)
        weights = (1.0,) if open_level is None else _NODE_WEIGHTS
        own = 0.0 if what == "nothing" else event_sd_kg**2
        found = 0.0
        for e in self.ends:
            mean, variance = self._ahead(e, turns, pick)
            spread = math.sqrt(max(variance + own, 1e-12))
            found += e.weight * sum(w * float(ndtr((level - mean) / spread)) for level, w in zip(levels, weights, strict=True))
        return found

    def _ahead(self, end: BinEnd, turns: float, pick: tuple[float, float, float]) -> tuple[float, float]:
        """Mean and variance of mass, less light, less rest, after more turns. [kg, kg squared]"""
        c = np.array([pick[0], -turns, -self.settling_turns(turns), pick[1], pick[2]])
        grown = end.drift**2 * turns**3 / 3 + (end.wobble * end.mean[1] * turns) ** 2
        return float(c @ end.mean), float(c @ end.cov @ c) + grown


def _mixed(parts: Sequence[tuple[float, float, float]], source: str = "tally of the bin") -> Est:
    """(weight, mean, variance) of several guesses as one value with its spread."""
    w, m, v = (np.array(x) for x in zip(*parts, strict=True))
    mean = float(w @ m)
    return Est(value=mean, sd=math.sqrt(max(float(w @ (v + (m - mean) ** 2)), 0.0)), basis="computed", source=source)


def tally_bin(steps: Sequence[BinStep], prior: BinPrior, *, compiled: bool | None = None) -> BinTally:
    """The season of one bin from its stretches: mass, factors, learned levels, settling, and numbers that do not fit.

    A look that lies too far from what was expected (one false alarm in a thousand tallies) starts a search: every fill, every look
    and every stretch is tried as the one number that is off, by its likelihood ratio, and the likeliest taken out, up to three times.

    Parameters
    ----------
    steps : sequence of BinStep
        In order. [turns, kg]
    prior : BinPrior
        Before the first. [kg, kg/turn]
    compiled : bool or None
        As for `solve.smoother.smooth`: worth it for thousands of seasons. [-]

    Returns
    -------
    BinTally
        See the class. [kg, kg/turn]

    Raises
    ------
    RangeError
        If there are no steps, a meter has no prior, or a number is negative, missing or not finite: each with its step.

    References
    ----------
    definition: mass after = mass before - factor x turns + fill; factor = that of its lot and setting + drift. common-practice: light,
    rest, settling, drift and wobble before anything was seen. Held against a least-squares solution of the whole season at once.
    """
    refuse_steps(steps, prior)
    kept, bad = list(steps), list[BadTicket]()
    while True:
        model = model_of(kept, prior)
        runs = _weighed(model, compiled)
        best = max(runs, key=lambda r: r[0])[1]
        if len(bad) >= MOST_BAD or not _alarms(best.z):
            break
        ticket = _likeliest(kept, model, best, compiled)
        if ticket is None:
            break
        bad.append(ticket)
        kept[ticket.step] = _without(kept[ticket.step], ticket)
    sized = tuple(_sized(steps, prior, bad, i, runs, compiled) for i in range(len(bad)))
    return _tally(kept, prior, model, runs, sized)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """One smoothing. found: at the prior means; slope (n, 2, p): of the states by what stays the same; rows (n, p): of the innovations;
    shared, shared_cov: its posterior; z (n,): innovations with all their doubt; drift, wobble: of this run."""

    found: Smoothed
    slope: FloatArray
    rows: FloatArray
    shared: FloatArray
    shared_cov: FloatArray
    z: FloatArray
    loglik: float
    drift: float
    drift_share: float
    wobble: float
    noise: FloatArray = field(repr=False)


def _weighed(model: Model, compiled: bool | None) -> list[tuple[float, _Run]]:
    """Every guess of drift and wobble that is worth something, with its weight."""
    runs = [_run(model, d, w, compiled) for d in DRIFTS for w in WOBBLES]
    loglik = np.array([r.loglik for r in runs])
    weight = np.exp(loglik - loglik.max())
    weight /= weight.sum()
    kept = [(float(w), r) for w, r in zip(weight, runs, strict=True) if w >= _LEAST_WEIGHT]
    total = sum(w for w, _ in kept)
    return [(w / total, r) for w, r in kept]


def _run(model: Model, drift_share: float, wobble: float, compiled: bool | None) -> _Run:
    """The smoother at the prior means, and once for a unit of each thing that stays the same; then the posterior of those, look by look."""
    turns, var = model.turns, model.look_var
    drift = drift_share * float(model.factor[-1]) / math.sqrt(max(model.fill_turns, 1e-9))
    noise = model.noise.copy()
    noise[:, 0, 0] += drift**2 * turns**3 / 3 + (wobble * model.factor * turns) ** 2
    noise[:, 0, 1] = noise[:, 1, 0] = -(drift**2) * turns**2 / 2
    noise[:, 1, 1] = drift**2 * turns
    found = smooth(model.start, model.start_cov, model.transition, model.shift, noise, model.looks, var, compiled=compiled)
    seen = ~np.isnan(model.looks)
    p = len(model.names)
    slope, rows = np.zeros((turns.size, 2, p)), np.zeros((turns.size, p))
    zero = np.zeros(2)
    for j in range(p):
        if not (model.of_shift[:, j].any() or model.of_look[:, j].any()):
            continue
        shift = np.column_stack([model.of_shift[:, j], np.zeros(turns.size)])
        one = smooth(
            zero, model.start_cov, model.transition, shift, noise, np.where(seen, model.of_look[:, j], np.nan), var, compiled=compiled
        )
        slope[:, :, j], rows[:, j] = one.mean, np.where(seen, one.innovation, 0.0)
    shared, cov, z, loglik = _shared(found.innovation, found.variance, rows, model.cov)
    return _Run(
        found=found, slope=slope, rows=rows, shared=shared, shared_cov=cov, z=z, loglik=loglik, drift=drift, drift_share=drift_share,
        wobble=wobble, noise=noise,
    )  # fmt: skip


def _shared(
    innovation: FloatArray, variance: FloatArray, rows: FloatArray, cov: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Posterior of what stays the same, look by look: offset from its prior mean, covariance, standardised innovations, likelihood."""
    at, cov, z, loglik = np.zeros(cov.shape[0]), cov.copy(), np.full(innovation.size, np.nan), 0.0
    for k in np.flatnonzero(~np.isnan(innovation)):
        h = rows[k]
        ph = cov @ h
        s = float(h @ ph) + float(variance[k])
        e = float(innovation[k]) + float(h @ at)
        z[k] = e / math.sqrt(s)
        at = at - ph * (e / s)
        cov = cov - np.outer(ph, ph) / s
        loglik -= 0.5 * (math.log(2 * math.pi * s) + e * e / s)
    return at, cov, z, loglik


def _alarms(z: FloatArray) -> bool:
    seen = z[~np.isnan(z)]
    return bool(seen.size) and bool((np.abs(seen) > look_limit(seen.size)).any())


def _likeliest(steps: Sequence[BinStep], model: Model, run: _Run, compiled: bool | None) -> BadTicket | None:
    """The one number whose error explains the looks best, what stays the same left free; its rivals beside it."""
    weight = _look_weight(model, run)
    tried: list[tuple[float, TicketKind, int, float, float]] = []
    for k, step in enumerate(steps):
        kinds: list[TicketKind] = ["fill" if step.put_kg else "unrecorded"]
        kinds += ["level"] if step.level_kg is not None or step.event else []
        for kind in kinds:
            size, sd = _size_of(model, run, weight, k, look=kind == "level", compiled=compiled)
            if math.isfinite(sd):
                tried.append(((size / sd) ** 2, kind, k, size, sd))
    if not tried:
        return None
    order = {"fill": 0, "level": 1, "unrecorded": 2}  # equally good: a recorded number first
    top = max(tried)[0]
    near = sorted((t for t in tried if top - t[0] < RIVAL), key=lambda t: (round(top - t[0], 6), order[t[1]], t[2]))
    _, kind, k, size, sd = near[0]
    return BadTicket(step=k, kind=kind, size_kg=size, sd_kg=sd, z=size / sd, rivals=tuple((t[1], t[2]) for t in near[1:]))


def _sized(
    steps: Sequence[BinStep], prior: BinPrior, bad: Sequence[BadTicket], i: int, runs: Sequence[tuple[float, _Run]], compiled: bool | None
) -> BadTicket:
    """A bad number's size once more, the others taken out, by the drifts and wobbles of the season without any of them: while it was still
    in, they had grown to hide it."""
    kept, ticket = list(steps), bad[i]
    for j, other in enumerate(bad):
        if j != i:
            kept[other.step] = _without(kept[other.step], other)
    model = model_of(kept, prior)
    parts = []
    for weight, guess in runs:
        run = _run(model, guess.drift_share, guess.wobble, compiled)
        size, sd = _size_of(model, run, _look_weight(model, run), ticket.step, look=ticket.kind == "level", compiled=compiled)
        if not math.isfinite(sd):
            return ticket
        parts.append((weight, size, sd**2))
    size_est = _mixed(parts)
    return replace(ticket, size_kg=size_est.value, sd_kg=size_est.sd, z=size_est.value / size_est.sd)


def _look_weight(model: Model, run: _Run) -> FloatArray:
    """Inverse covariance of the innovations, the doubt about what stays the same in it."""
    seen = ~np.isnan(model.looks)
    rows = run.rows[seen]
    return np.asarray(np.linalg.inv(np.diag(run.found.variance[seen]) + rows @ model.cov @ rows.T), dtype=np.float64)


def _size_of(model: Model, run: _Run, weight: FloatArray, k: int, *, look: bool, compiled: bool | None) -> tuple[float, float]:
    """An addition to the mass at step k, or an error of its look, left free: its size and spread; infinite where no look tells. [kg]"""
    seen = ~np.isnan(model.looks)
    h = _traces(model, run, k, look=look, compiled=compiled)[seen]
    power = float(h @ weight @ h)
    return (float(h @ weight @ run.found.innovation[seen]) / power, 1 / math.sqrt(power)) if power > 1e-12 else (0.0, math.inf)


def _traces(model: Model, run: _Run, k: int, *, look: bool, compiled: bool | None) -> FloatArray:
    """What a kilogram that came unrecorded at step k, or that its look read too much, adds to each innovation. [-]"""
    n = model.turns.size
    shift, looked = np.zeros((n, 2)), np.where(np.isnan(model.looks), np.nan, 0.0)
    if look:
        looked[k] = 1.0
    else:
        shift[k, 0] = 1.0
    one = smooth(np.zeros(2), model.start_cov, model.transition, shift, run.noise, looked, model.look_var, compiled=compiled)
    return one.innovation if look else -one.innovation


def _without(step: BinStep, ticket: BadTicket) -> BinStep:
    """The step with the bad number taken out: a look dropped, a fill left open to any size."""
    if ticket.kind == "level":
        return replace(step, level_kg=None, event="")
    return replace(step, put_sd_kg=math.hypot(step.put_sd_kg, 1e3 * ticket.sd_kg + 10 * abs(ticket.size_kg)))


def _tally(
    steps: Sequence[BinStep], prior: BinPrior, model: Model, runs: Sequence[tuple[float, _Run]], bad: tuple[BadTicket, ...]
) -> BinTally:
    n, p = model.turns.size, len(model.names)
    mass, factor = np.zeros((2, n)), np.zeros((2, n))  # first and second moments over the guesses
    ends = []
    for weight, run in runs:
        state = run.found.mean + run.slope @ run.shared
        of = run.slope.copy()  # derivative of (mass, factor) by what stays the same
        of[np.arange(n), 1, model.used] += 1.0
        value = state + np.column_stack([np.zeros(n), (model.mean + run.shared)[model.used]])
        spread = run.found.cov + of @ run.shared_cov @ of.transpose(0, 2, 1)
        for out, i in ((mass, 0), (factor, 1)):
            out[0] += weight * value[:, i]
            out[1] += weight * (spread[:, i, i] + value[:, i] ** 2)
        j = np.zeros((5, p))
        j[:2] = of[-1]
        j[2:, p - 3 :] = np.eye(3)
        cov = j @ run.shared_cov @ j.T
        cov[:2, :2] += run.found.cov[-1]
        shared = (model.mean + run.shared)[p - 3 :]
        ends.append(BinEnd(weight=weight, mean=np.array([*value[-1], *shared]), cov=cov, drift=run.drift, wobble=run.wobble))
    best = max(runs, key=lambda r: r[0])[1]
    return BinTally(
        mass_kg=mass[0], mass_sd=np.sqrt(np.maximum(mass[1] - mass[0] ** 2, 0.0)), factor_kg_rev=factor[0],
        factor_sd=np.sqrt(np.maximum(factor[1] - factor[0] ** 2, 0.0)), factors=_of_meters(model, runs), light=_of_ends(ends, 3),
        rest=_of_ends(ends, 4), settling=_settling(ends), left=_of_ends(ends, 0), meter=model.names[model.used[-1]], z=best.z,
        test=innovation_test(best.z), loglik=best.loglik, bad_tickets=bad, ends=tuple(ends), since_fill=model.since_fill,
        settled_after=model.settled_after,
        unseen=_unseen(steps, prior),
    )  # fmt: skip


def _unseen(steps: Sequence[BinStep], prior: BinPrior) -> frozenset[str]:
    """Learned levels that neither an event of this season nor anybody before has told."""
    told = {"light": prior.light is not None, "rest": prior.rest is not None}
    for s in steps:
        told["light"] |= s.event == "low-light"
        told["rest"] |= s.event == "run-empty"
    return frozenset(name for name, known in told.items() if not known)


def _of_ends(ends: Sequence[BinEnd], i: int) -> Est:
    return _mixed([(e.weight, float(e.mean[i]), float(e.cov[i, i])) for e in ends])


def _settling(ends: Sequence[BinEnd]) -> Est:
    """Settling as a share of the factor. [-]"""
    return _mixed([(e.weight, float(e.mean[2] / e.mean[1]), float(e.cov[2, 2] / e.mean[1] ** 2)) for e in ends])


def _of_meters(model: Model, runs: Sequence[tuple[float, _Run]]) -> dict[str, Est]:
    """What each meter gave in a turn, on the mean over its turns, fresh product and all. [kg/turn]"""
    out, settling = {}, model.names.index("settling")
    for j, name in enumerate(model.names[: -len(SHARED)]):
        mine = (model.used == j) & (model.turns > 0)
        share = np.where(mine, model.turns, 0.0)
        total = float(share.sum())
        share = share / total if total > 0 else share
        fresh = -float(model.of_shift[mine, settling].sum()) / total if total > 0 else 0.0
        parts = []
        for weight, run in runs:
            d = run.found.mean[:, 1] + run.slope[:, 1] @ run.shared
            of = np.einsum("k,kj->j", share, run.slope[:, 1])
            of[j] += 1.0
            of[settling] += fresh
            own = _mean_drift_var(model, run, share)
            parts.append(
                (
                    weight,
                    float(model.mean[j] + run.shared[j] + share @ d + fresh * run.shared[settling]),
                    float(of @ run.shared_cov @ of) + own,
                )
            )
        out[name] = _mixed(parts)
    return out


def _mean_drift_var(model: Model, run: _Run, share: FloatArray) -> float:
    """Variance of a weighted mean of the smoothed drifts, by the gains that carry one step's doubt into the next."""
    if run.drift == 0.0:
        return 0.0
    total, c0, c1 = 0.0, 0.0, 0.0  # c: what all steps so far add, carried into this one
    for k in range(model.turns.size):
        if k:
            c0, c1 = _carried(c0, c1, run.found.filtered_cov[k - 1], model.transition[k], run.noise[k])
        cov = run.found.cov[k]
        total += share[k] ** 2 * cov[1, 1] + 2 * share[k] * (c0 * cov[0, 1] + c1 * cov[1, 1])
        c1 += share[k]
    return max(float(total), 0.0)


def _carried(c0: float, c1: float, after: FloatArray, t: FloatArray, noise: FloatArray) -> tuple[float, float]:
    """(c0, c1) times the gain of one step: what was known after it, times its transition, over what was expected of the next."""
    (p00, p01), (_, p11) = after
    (t00, t01), (t10, t11) = t
    r0, r1 = c0 * p00 + c1 * p01, c0 * p01 + c1 * p11
    r0, r1 = r0 * t00 + r1 * t01, r0 * t10 + r1 * t11
    e00 = t00 * (p00 * t00 + p01 * t01) + t01 * (p01 * t00 + p11 * t01) + noise[0, 0]
    e01 = t10 * (p00 * t00 + p01 * t01) + t11 * (p01 * t00 + p11 * t01) + noise[0, 1]
    e11 = t10 * (p00 * t10 + p01 * t11) + t11 * (p01 * t10 + p11 * t11) + noise[1, 1]
    det = e00 * e11 - e01 * e01
    if det > 1e-13 * e00 * e11:
        return (r0 * e11 - r1 * e01) / det, (r1 * e00 - r0 * e01) / det
    inverse = np.linalg.pinv(np.array([[e00, e01], [e01, e11]]), rcond=1e-12, hermitian=True)  # one of the two is known exactly
    return float(r0 * inverse[0, 0] + r1 * inverse[1, 0]), float(r0 * inverse[0, 1] + r1 * inverse[1, 1])

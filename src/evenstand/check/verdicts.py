"""From relations to a verdict: what holds, what does not, which smallest set of causes explains it, and what cannot be told."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from evenstand.check.causes import asked_beyond, limit, prior_odds, usual_size
from evenstand.check.masses import BinDay, Window, stop_evidence, windows_of
from evenstand.check.relations import DOOR, ROLLER, Relation, System, assemble, label, overlap_shift, whitened
from evenstand.check.settling import Candidate, candidates, settle_cause, settle_class
from evenstand.check.sizing import whole_sizes
from evenstand.model import Reading
from evenstand.solve.accounting import Hypotheses, Shift, account_for, accounts_for
from evenstand.solve.explaining import Explanation, explain, same_direction, whitener
from evenstand.solve.reconciling import ALPHA, Reconciliation, chi2_tail, verdict

FloatArray = npt.NDArray[np.float64]

USUAL_OVERLAP = (0.01, 0.06)
_ROLLER_SHARE = 0.1  # of all factors that are off, those off by another roller
_DOOR_SHARE = 0.1  # of all leaks, those by which a bin loses more than its meter gives
_TWIN = 3.5
_NO_TWIN = -3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Located:
    """One cause that was found. variant: with its interval; cause_class: names that could stand in for it, likeliest first;
    size, sd: in the cause's own unit (share, kg, logarithm of a ratio); strength: log-evidence it adds [-]; settle_by: the one
    reading that would split the class; window: the interval, for a fill."""

    variant: str
    cause_class: tuple[str, ...]
    size: float
    sd: float
    strength: float
    settle_by: str
    window: Window | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A size that is not believed to be a fault, and its sd; infinite where nothing tells it. [unit of the cause]"""

    size: float
    sd: float

    @property
    def bound(self) -> float:
        """Size that is not exceeded, one-sided 95 %. [unit of the cause]"""
        return abs(self.size) + 1.645 * self.sd


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """All that follows from the relations of a day. found: causes, surest first; sizes: for each cause not found, its size as the
    readings give it [in its own unit]; settles: for each cause, the reading that would show it best; chi2, dof: over witness
    relations; spreads: how well the signatures tell each cause's size, whatever was read [one sd, in its own unit];
    echo_off: echo relations that do not hold."""

    system: System
    found: tuple[Located, ...]
    sizes: Mapping[str, Estimate]
    settles: Mapping[str, str]
    chi2: float
    dof: int
    classes: tuple[tuple[str, ...], ...]
    spreads: Mapping[str, float]
    explanation: Explanation
    echo_off: tuple[str, ...]


def judge(
    relations: Sequence[Relation],
    readings: Sequence[Reading],
    *,
    causes: Sequence[str] = (),
    bin_days: Sequence[BinDay] = (),
    overlap: tuple[float, float] = USUAL_OVERLAP,
    believe: float | None = None,
    offer: Sequence[Candidate] | None = None,
) -> Verdict:
    """Weigh the relations and name the smallest set of causes that explains them.

    Range: readings above 0; overlap shares of 0 or more.

    Parameters
    ----------
    relations, readings : sequences
        From `relations_for`. [metric]
    causes : sequence of str
        Look for these only; empty: all. [-]
    bin_days : sequence of BinDay
        What is known of fills one by one: doubled entries and stops without a fill speak for themselves. [-]
    overlap : (float, float)
        Usual band of ground sown twice. [share]
    believe : float or None
        Log-evidence before a cause is named; None: the frozen limit. [-]
    offer : sequence of Candidate or None
        Readings that could still be taken; None: the usual ones. [-]

    Returns
    -------
    Verdict
        Causes found, sizes that may hide, the global test. [see the class]

    References
    ----------
    mitsas-2010 and serth-heenan-1986: networks on which the method is tried. definition: generalised likelihood ratio of each cause.
    common-practice: prior odds of the causes.
    """
    system = assemble(relations, readings, causes)
    matrix, residual, signatures = whitened(system)
    shift = overlap_shift(system, matrix, *overlap)
    windows = {d.bin: windows_of(d) for d in bin_days}
    hypotheses = _hypotheses(system, signatures, {d.bin: d for d in bin_days}, windows)
    gain = limit("believe") if believe is None else believe
    explanation = explain(residual, hypotheses, shift=shift, most=4, beam=10, gain=gain, next_gain=limit("next"))
    offered = candidates(system, readings) if offer is None else tuple(offer)
    found = _located(system, signatures, explanation, hypotheses, offered, residual, shift, windows, overlap)
    chi2, dof = _global_test(system, overlap)
    sizes, settles = _hiding(system, signatures, hypotheses, explanation.best.members, residual, offered, shift)
    return Verdict(
        system=system,
        found=found,
        sizes=sizes,
        settles=settles,
        chi2=chi2,
        dof=dof,
        classes=_class_names(system, signatures),
        spreads=_spreads(system, _dampen(signatures, shift)),
        explanation=explanation,
        echo_off=_echo_off(system, found),
    )


def _class_names(system: System, signatures: FloatArray) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(dict.fromkeys(label(system.variants[j]) for j in group)) for group in same_direction(signatures))


def _hypotheses(
    system: System, signatures: FloatArray, days: Mapping[str, BinDay], windows: Mapping[str, tuple[Window, ...]]
) -> Hypotheses:
    """Prior odds, usual sizes and side evidence of each variant."""
    labels = [label(v) for v in system.variants]
    names = list(dict.fromkeys(labels))
    alike = Counter(label(v) for v in system.variants if not v.endswith(ROLLER))
    odds, mean, sd, sign, side = [], [], [], [], []
    for variant, name in zip(system.variants, labels, strict=True):
        kind, _, a = name.partition(":")
        share = _ROLLER_SHARE if variant.endswith(ROLLER) else _DOOR_SHARE if variant.endswith(DOOR) else 1 / alike[name]
        odds.append(math.log(prior_odds(name) * share))
        window = _window(variant, windows.get(a, ()))
        usual_put = days[a].usual_put_kg if a in days else 2000.0
        m, s, one_sided, evidence = _size_prior(kind, usual_put, window, days.get(a))
        one_sided = -one_sided if variant.endswith(DOOR) else one_sided
        s = usual_size("roller") if variant.endswith(ROLLER) else s
        mean.append(m)
        sd.append(s)
        sign.append(one_sided)
        side.append(evidence)
    return Hypotheses(
        signatures=signatures,
        log_odds=np.array(odds),
        size_mean=np.array(mean),
        size_sd=np.array(sd),
        sign=np.array(sign),
        group=np.array([names.index(n) for n in labels], dtype=np.int64),
        side=np.array(side),
        extra=np.array([asked_beyond(name.partition(":")[0]) for name in labels]),
        alone=np.array([v.endswith(DOOR) for v in system.variants], dtype=bool),
    )


def size_hypotheses(system: System) -> Hypotheses:
    """Every variant with nothing but its own rows to go by: free sizes, equal odds. [-]

    Parameters
    ----------
    system : System
        Relations of the day. [-]
    """
    q = len(system.variants)
    return Hypotheses(
        signatures=system.signatures,
        log_odds=np.zeros(q),
        size_mean=np.zeros(q),
        size_sd=np.full(q, np.inf),
        sign=np.zeros(q),
        group=np.full(q, -1, dtype=np.int64),
    )


def _window(variant: str, windows: tuple[Window, ...]) -> Window | None:
    _, _, index = variant.partition("@")
    return next((w for w in windows if str(w.index) == index), None)


def _size_prior(kind: str, usual_put: float, window: Window | None, day: BinDay | None) -> tuple[float, float, float, float]:
    """(mean, sd, sign, side evidence) of a cause's size."""
    if kind == "fill-missed":
        side = 0.0
        if window is not None and day is not None and day.stops_known:
            side = stop_evidence(window)
        return usual_put, usual_size("fill") * usual_put, 1.0, side
    if kind == "fill-doubled":
        if window is not None and window.twin_kg is not None:
            return window.twin_kg, 0.02 * window.twin_kg + 5.0, 1.0, _TWIN
        return usual_put, usual_size("fill") * usual_put, 1.0, _NO_TWIN if day is not None and day.puts else 0.0
    if kind in ("overlap", "fixes"):
        return 0.0, usual_size(kind), 1.0, 0.0
    if kind == "bridge":
        return 0.5, usual_size("bridge"), 1.0, 0.0
    if kind == "lid":  # air that leaks only makes a meter give less
        return 0.0, usual_size(kind), -1.0, 0.0
    return 0.0, usual_size(kind), 0.0, 0.0


def _located(
    system: System,
    signatures: FloatArray,
    explanation: Explanation,
    hypotheses: Hypotheses,
    offered: Sequence[Candidate],
    residual: FloatArray,
    shift: Shift | None,
    windows: Mapping[str, tuple[Window, ...]],
    overlap: tuple[float, float],
) -> tuple[Located, ...]:
    out = []
    best = explanation.best
    plain, wide = _without_rollers(system, hypotheses, best.members)
    sizes, sds = _as_said(system, plain, *whole_sizes(system, wide, plain, overlap)) if best.members else ((), ())
    for i, j in enumerate(best.members):
        others = tuple(m for m in best.members if m != j)
        without = account_for(residual, hypotheses, others, shift).log_evidence if others else explanation.nothing.log_evidence
        variant = system.variants[j]
        members = explanation.classes[i]
        names = tuple(dict.fromkeys(label(system.variants[m]) for m in members))
        out.append(
            Located(
                variant=variant,
                cause_class=names,
                size=sizes[i],
                sd=sds[i],
                strength=best.log_evidence - without,
                settle_by=settle_class(system, signatures, members, best.sizes[i], j, offered) if len(names) > 1 else "",
                window=_window(variant, windows.get(label(variant).partition(":")[2], ())),
            )
        )
    return tuple(sorted(out, key=lambda f: -f.strength))


def _without_rollers(system: System, hypotheses: Hypotheses, members: Sequence[int]) -> tuple[tuple[int, ...], Hypotheses]:
    """Members with the rows of a factor that is a little off, for sizes that are reckoned about where they lie, usual size kept wide."""
    plain = tuple(system.variants.index(system.variants[j].removesuffix(ROLLER)) for j in members)
    sds = hypotheses.size_sd.copy()
    sds[list(plain)] = hypotheses.size_sd[list(members)]
    return plain, replace(hypotheses, size_sd=sds)


def _as_said(
    system: System, members: Sequence[int], sizes: Sequence[float], sds: Sequence[float]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Sizes as people say them: of a factor or a distance the share it is off by, not the logarithm. [unit of each cause]"""
    share = [label(system.variants[j]).partition(":")[0] in ("factor", "distance", "lid", "fan") for j in members]
    said = tuple(math.expm1(s) if yes else s for s, yes in zip(sizes, share, strict=True))
    return said, tuple(d * math.exp(s) if yes else d for s, d, yes in zip(sizes, sds, share, strict=True))


def _global_test(system: System, overlap: tuple[float, float]) -> tuple[float, int]:
    """Chi-square over the witness relations, the overlap taken where it fits best within its band."""
    rows = system.witness & (np.abs(system.signatures).sum(axis=1) > 0)
    if not rows.any():
        return 0.0, 0
    part = system.covariance[np.ix_(rows, rows)]
    matrix = whitener(part)
    at = np.linspace(max(0.0, overlap[0] - 0.01), overlap[1] + 0.01, 21)
    left = matrix @ (system.residual[rows][:, None] - np.outer(system.overlap[rows], at))
    return float(np.min(np.einsum("ij,ij->j", left, left))), int(matrix.shape[0])


def _hiding(
    system: System,
    signatures: FloatArray,
    hypotheses: Hypotheses,
    best: Sequence[int],
    residual: FloatArray,
    offered: Sequence[Candidate],
    shift: Shift | None,
) -> tuple[dict[str, Estimate], dict[str, str]]:
    """For each cause not found, its size as the readings give it, and the reading that would narrow it down most."""
    free = replace(
        hypotheses, size_sd=np.full(hypotheses.q, np.inf), size_mean=np.zeros(hypotheses.q), sign=np.zeros(hypotheses.q), side=None
    )
    sizes: dict[str, Estimate] = {}
    settles: dict[str, str] = {}
    damped = _dampen(signatures, shift)
    rest = [j for j in range(len(system.variants)) if j not in best]
    tried = accounts_for(residual, free, [(*best, j) for j in rest], shift)
    for row, j in enumerate(rest):
        name, power = label(system.variants[j]), float(np.linalg.norm(damped[:, j]))
        here = Estimate(size=0.0, sd=math.inf)
        if power > 1e-9:
            here = Estimate(size=float(tried.sizes[row, -1]), sd=max(float(tried.size_sds[row, -1]), 1 / power))
        if name not in sizes or (here.bound > sizes[name].bound) == name.startswith("fill"):
            sizes[name] = here
        if name not in settles:
            settles[name] = settle_cause(system, damped, j, offered)
    return sizes, settles


def _spreads(system: System, damped: FloatArray) -> dict[str, float]:
    """One standard deviation of each cause's size; of a fill in the interval where it shows least."""
    out: dict[str, float] = {}
    for j, variant in enumerate(system.variants):
        power = float(np.linalg.norm(damped[:, j]))
        name, sd = label(variant), 1 / power if power > 1e-12 else math.inf
        out[name] = max(out.get(name, 0.0), sd)
    return out


def _dampen(signatures: FloatArray, shift: Shift | None) -> FloatArray:
    """Signatures after whitening for the width of the overlap band too: it takes power away."""
    if shift is None:
        return signatures
    spread = float(np.sqrt(shift.weights @ (shift.values - shift.weights @ shift.values) ** 2))
    direction = shift.direction * spread
    size = float(direction @ direction)
    if size == 0:
        return signatures
    unit = direction / math.sqrt(size)
    return np.asarray(signatures - np.outer(unit, unit @ signatures) * (1 - 1 / math.sqrt(1 + size)), dtype=np.float64)


def _echo_off(system: System, found: Sequence[Located]) -> tuple[str, ...]:
    """Echo relations that do not hold and that no cause found explains."""
    named = {name for f in found for name in f.cause_class}
    out = []
    for k, relation in enumerate(system.relations):
        sd = math.sqrt(system.covariance[k, k])
        if relation.echo and sd > 0 and abs(system.residual[k]) > 4 * sd and not any(label(v) in named for v in relation.loads):
            out.append(relation.text)
    return tuple(out)


def reconcile(
    relations: Sequence[Relation],
    readings: Sequence[Reading],
    *,
    causes: Sequence[str] = (),
    alpha: float = ALPHA,
    overlap: tuple[float, float] = USUAL_OVERLAP,
) -> Reconciliation:
    """Reconcile readings with their relations and name the causes that explain what does not fit.

    Redundancy is counted over relations that hold a witness: relations between echoes add none.

    Range: readings above 0 with sds of 0 or more; alpha between 0 and 1.

    Parameters
    ----------
    relations : sequence of Relation
        From `relations_for`, or made by hand. [-]
    readings : sequence of Reading
        What was read. [metric]
    causes : sequence of str
        Look for these only; empty: all that the relations know. [-]
    alpha : float
        Chance of a false alarm of the global test below which "holds" ends. [-]
    overlap : (float, float)
        Usual band of ground sown twice. [share]

    Returns
    -------
    Reconciliation
        values: the readings, reconciled, in their own units; suspects: classes of cause names. Without a witness in any
        relation chi2 is 0, p not-a-number and the state "cannot be told yet". [see the class]

    References
    ----------
    mitsas-2010 and serth-heenan-1986: networks on which the method is tried. definition: weighted least squares under linear relations.
    """
    found = judge(relations, readings, causes=causes, overlap=overlap)
    system, chi2, dof = found.system, found.chi2, found.dof
    p = chi2_tail(chi2, dof)
    names = tuple(dict.fromkeys(system.quantities))
    values, sds, z, redundant = _reconciled(system, names)
    named = tuple(f for f in found.found)
    state = verdict(p, dof)
    if state != "cannot be told yet":
        state = "does not hold" if p < min(alpha, 0.01) else ("doubtful" if p < alpha else "holds")
    if named and dof:
        state = "does not hold"
    splitting = next((f.settle_by for f in named if f.settle_by), "")
    if not splitting and state == "cannot be told yet" and found.settles:
        splitting = next((s for s in found.settles.values() if s), "")
    return Reconciliation(
        values=values,
        sds=sds,
        chi2=chi2,
        dof=dof,
        p=p,
        z=z,
        suspects=tuple(f.cause_class for f in named),
        sizes=tuple(f.size for f in named),
        size_sds=tuple(f.sd for f in named),
        classes=found.classes,
        observable=np.isfinite(values),
        redundant=redundant,
        settle_by=splitting,
        names=names,
        state=state,
    )


def _reconciled(system: System, names: Sequence[str]) -> tuple[FloatArray, FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """Readings moved by what the witness relations ask of them, in their own units."""
    rows = system.rows[system.witness]
    residual = system.residual[system.witness]
    covariance = system.covariance[np.ix_(system.witness, system.witness)]
    gain = system.own @ rows.T @ np.linalg.pinv(covariance, rcond=1e-12, hermitian=True) if rows.size else np.zeros((len(system.y), 0))
    moved = system.y - gain @ residual if rows.size else system.y
    change = gain @ rows @ system.own if rows.size else np.zeros_like(system.own)
    after = np.sqrt(np.maximum(np.diag(system.own - change), 0.0))
    spread = np.sqrt(np.maximum(np.diag(change), 0.0))
    values, sds, z, redundant = [], [], [], []
    for name in names:
        i = system.quantities.index(name)
        is_log = any(r.scale == "log" and any(q == name for q, _ in r.terms) for r in system.relations) and _column_is_log(system, i)
        value = math.exp(moved[i]) if is_log else float(moved[i])
        values.append(value)
        sds.append(after[i] * value if is_log else after[i])
        can = spread[i] > 1e-9 * max(math.sqrt(system.own[i, i]), 1e-300)
        z.append((system.y[i] - moved[i]) / spread[i] if can else math.nan)
        redundant.append(bool(can))
    return np.array(values), np.array(sds), np.array(z), np.array(redundant, dtype=bool)


def _column_is_log(system: System, column: int) -> bool:
    """Whether a column serves relations of logarithms."""
    return any(system.relations[k].scale == "log" for k in np.flatnonzero(system.rows[:, column]))

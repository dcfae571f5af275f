"""What a trail says that the checks need: distances, areas, passes, flow at the runs, how the time was used. NumPy only."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from evenstand.base.errors import MissingError
from evenstand.base.estimate import Est
from evenstand.base.units import Profile
from evenstand.model.outfit import Outfit
from evenstand.model.place import Boundary, FloatArray, IntArray
from evenstand.model.plan import Plan
from evenstand.model.trail import BoolArray, Trail
from evenstand.trail.covering import Coverage, coverage
from evenstand.trail.detecting import trail_faults
from evenstand.trail.faults import TrailFaults
from evenstand.trail.passes import PassException, PassFacts, RowToRow, passes_of, row_to_row, with_exceptions
from evenstand.trail.runs import NOT_SEEN, RunFault, run_faults
from evenstand.trail.stepping import Steps, steps_of
from evenstand.trail.strips import section_edges
from evenstand.trail.timeuse import TimeUse, WorkRate, time_use, work_rate

CHORD_M = 3.0
FIX_SD_M = 0.03
SCALE_SD = 0.0002
STEP_SD = 0.0005
SPEED_SD = 0.003
NEAR = 0.05
BEND_M = 25.0
AHEAD_SD = 1e-4  # of a metre of way, for each metre the antenna is ahead: it sways beside the tool's way
STRAIGHT_RAD = 0.05
LEAST_STRAIGHT = 1 / 3


@dataclass(frozen=True, slots=True, kw_only=True)
class RateFacts:
    """Rates of one bin as the controller reported them, weighted by distance at work. asked, reported [kg/ha], None where the log has none;
    near_share: share of the distance at which reported is within 5 % of asked, as the controller reported [-]."""

    bin: str
    asked_kg_ha: float | None
    reported_kg_ha: float | None
    near_share: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailFacts:
    """Facts of a trail; None where its columns do not tell.

    distance_gnss_m: driven at work, from positions [m]; distance_shown_m: the same as the machine counted it [m]; distance_ratio: the
    machine's metres per metre by positions (V/v) [-]; distance_by: "step" or "speed"; speed_m_s: mean at work [m/s]; area_driven_m2:
    distance times the width that was on, overlap included, None without a width [m²]; area_shown_ha: growth of the machine's counter [ha];
    mass_shown_kg: mass a second summed [kg]; turns: of each bin's meter [turns]; rates: of each bin; row_to_row: guidance width;
    passes; time_use; work_rate: hectares an hour, None without a width; run_faults and run_note; faults: every detector's answer, with what
    this log cannot show; coverage and overlap (repeated over covered ground) if a field or coverage was given [-];
    cannot_see: sentences on what this log cannot tell; basis: which columns told when the tool was at work.
    """

    rows: int
    start_ms: int
    end_ms: int
    distance_gnss_m: Est | None
    distance_shown_m: Est | None
    distance_ratio: Est | None
    distance_by: str
    speed_m_s: float | None
    area_driven_m2: Est | None
    area_shown_ha: float | None
    mass_shown_kg: float | None
    turns: dict[str, float] = field(default_factory=dict)
    rates: tuple[RateFacts, ...] = ()
    row_to_row: RowToRow | None = None
    passes: tuple[PassFacts, ...] = ()
    time_use: TimeUse
    work_rate: WorkRate | None = None
    run_faults: tuple[RunFault, ...] = ()
    run_note: str = ""
    faults: TrailFaults = field(default_factory=lambda: TrailFaults(found=(), clear=(), unseen=()))
    coverage: Coverage | None = None
    overlap: float | None = None
    cannot_see: tuple[str, ...] = ()
    basis: str = ""


def trail_facts(
    trail: Trail,
    outfit: Outfit,
    boundary: Boundary | None = None,
    *,
    covered: Coverage | None = None,
    plan: Plan | None = None,
    profile: Profile = "si",
) -> TrailFacts:
    """Facts of a trail.

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    outfit : Outfit
        Width, sections, runs and heads, as far as known. [-]
    boundary : Boundary or None
        With it the covered ground is worked out too. [-]
    covered : Coverage or None
        Coverage already at hand. [-]
    plan : Plan or None
        What was planned, to hold hectares an hour against. [-]
    profile : str
        Units of the sentences about faults. [-]

    Returns
    -------
    TrailFacts
        Metric. [-]

    References
    ----------
    definition: sums and medians over the rows and steps of the log. Range: any trail; what its columns cannot tell is None.
    """
    steps = steps_of(trail)
    passes = passes_of(trail, steps)
    faults = run_faults(trail, outfit, passes=passes, steps=steps)
    gnss, shown, ratio, by = distances(trail, steps, ahead_m=outfit.antenna_ahead_m)
    if covered is None and boundary is not None:
        covered = coverage(trail, outfit, boundary)
    work_s = float(steps.dt_s[steps.sowing].sum())
    driven = _area_driven(trail, outfit, steps)
    return TrailFacts(
        rows=trail.n,
        start_ms=int(trail.t_ms[0]) if trail.n else 0,
        end_ms=int(trail.t_ms[-1]) if trail.n else 0,
        distance_gnss_m=gnss,
        distance_shown_m=shown,
        distance_ratio=ratio,
        distance_by=by,
        speed_m_s=gnss.value / work_s if gnss is not None and work_s > 0 else None,
        area_driven_m2=driven,
        area_shown_ha=_growth(trail.area_ha),
        mass_shown_kg=_mass(trail, steps),
        turns={b: g for i, b in enumerate(trail.bins) if trail.revs is not None and (g := _growth(trail.revs[:, i])) is not None},
        rates=_rates(trail, steps),
        row_to_row=row_to_row(trail, passes),
        passes=with_exceptions(passes, _dead_stretches(trail, steps, passes, faults)),
        time_use=time_use(trail, steps, boundary),
        work_rate=work_rate(
            trail,
            outfit,
            steps,
            driven_m2=driven.value if driven is not None else None,
            covered_m2=covered.covered_m2 if covered is not None else None,
            plan=plan,
        ),
        run_faults=faults,
        run_note=NOT_SEEN if trail.run_present is None else "",
        faults=trail_faults(trail, outfit, steps=steps, passes=passes, profile=profile),
        coverage=covered,
        overlap=covered.overlap if covered is not None else None,
        cannot_see=_cannot_see(trail),
        basis=steps.basis,
    )


def distances(trail: Trail, steps: Steps, *, ahead_m: float = 0.0) -> tuple[Est | None, Est | None, Est | None, str]:
    """Distance at work by positions, the same as the machine counted it, their ratio (machine over positions), and what counted.

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    steps : Steps
        Its steps. [-]
    ahead_m : float
        From the openers forward to the antenna. In a bend it goes a longer way than the tool: the ratio then comes from straight stretches,
        where they are a third of the way or more. [m]

    Returns
    -------
    (Est or None, Est or None, Est or None, str)
        Positions are summed over chords of 3 m or more, so that their noise does not lengthen the way. [m, m, -, -]
    """
    if not steps.sowing.any():
        return None, None, None, ""
    gnss, piece = _chorded(trail, steps, steps.sowing)
    total = float(gnss.sum())
    lengths = Est(
        value=total, sd=math.hypot(FIX_SD_M * math.sqrt(2 * max(gnss.size, 1)), SCALE_SD * total), basis="measured", source="positions"
    )
    step, by = _counted(trail, steps)
    if step is None:
        return lengths, None, None, ""
    good = steps.sowing & np.isfinite(step)
    if not good.any():
        return lengths, None, None, ""
    level = good & _straight(trail, steps) if ahead_m else good
    if float(steps.length_m[level].sum()) >= LEAST_STRAIGHT * float(steps.length_m[good].sum()):
        good = level
    gnss, piece = _chorded(trail, steps, good)
    counted = np.bincount(piece, weights=step[good], minlength=gnss.size).astype(np.float64)
    shown = Est(
        value=float(step[steps.sowing & np.isfinite(step)].sum()),
        sd=0.0,
        basis="measured",
        source="the machine's count" if by == "step" else "speed times time",
    )
    if gnss.sum() <= 0:
        return lengths, shown, None, by
    ratio = float(counted.sum() / gnss.sum())
    return (
        lengths,
        shown,
        Est(value=ratio, sd=math.hypot(_ratio_sd(counted, gnss, ratio, by), AHEAD_SD * ahead_m), basis="computed", source=by),
        by,
    )


def _straight(trail: Trail, steps: Steps) -> BoolArray:
    """Steps about which the way turns by less than three degrees within 25 m on either side."""
    along = np.concatenate([[0.0], np.cumsum(steps.length_m)])
    middle = 0.5 * (along[1:] + along[:-1])
    before, here, after = (
        np.column_stack([np.interp(middle + d, along, trail.xy_m[:, i]) for i in (0, 1)]) for d in (-BEND_M, 0.0, BEND_M)
    )
    one, other = here - before, after - here
    turn = np.arctan2(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0], (one * other).sum(axis=1))
    return np.asarray(np.abs(turn) < STRAIGHT_RAD)


def _counted(trail: Trail, steps: Steps) -> tuple[FloatArray | None, str]:
    """What the machine counted in each step, and from which column. [m]"""
    if trail.step_m is not None:
        return trail.step_m[1:], "step"
    if trail.speed_m_s is not None:
        return 0.5 * (trail.speed_m_s[1:] + trail.speed_m_s[:-1]) * steps.dt_s, "speed"
    return None, ""


def _chorded(trail: Trail, steps: Steps, use: BoolArray) -> tuple[FloatArray, IntArray]:
    """Length of every stretch of steps used, by chords of `CHORD_M` or more, and which stretch each step used belongs to."""
    at = np.flatnonzero(use)
    new = np.concatenate([[True], np.diff(at) != 1])
    piece = np.cumsum(new) - 1
    along = np.cumsum(steps.length_m[at])
    begin = np.flatnonzero(new)
    before = along[begin] - steps.length_m[at[begin]]
    bucket = np.floor((along - before[piece]) / CHORD_M)
    last = np.concatenate([new[1:], [True]])
    ends = last | (bucket != np.concatenate([[-1.0], bucket[:-1]])) & ~new & (bucket >= 1)
    nodes = np.concatenate([at[begin], at[ends] + 1])
    owner = np.concatenate([piece[begin], piece[ends]])
    order = np.lexsort((nodes, owner))
    nodes, owner = nodes[order], owner[order]
    chord = np.hypot(*np.diff(trail.xy_m[nodes], axis=0).T)
    chord[np.diff(owner) != 0] = 0.0
    return np.bincount(owner[1:], weights=chord, minlength=begin.size).astype(np.float64), piece


def _ratio_sd(counted: FloatArray, gnss: FloatArray, ratio: float, by: str) -> float:
    """Spread of the stretches' own ratios about the whole, weighted by length, and a floor. [-]"""
    floor = STEP_SD if by == "step" else SPEED_SD
    long = gnss > 20.0
    if int(long.sum()) < 3:
        return max(floor, 0.01 * ratio)
    weight = gnss[long] / gnss[long].sum()
    spread = float(np.sqrt((weight**2 * (counted[long] / gnss[long] - ratio) ** 2).sum()))
    return math.hypot(spread, floor)


def _area_driven(trail: Trail, outfit: Outfit, steps: Steps) -> Est | None:
    """Distance at work times the width that was on. [m²]"""
    try:
        edges, _ = section_edges(trail, outfit)
    except MissingError:
        return None
    if not steps.sowing.any():
        return Est(value=0.0, basis="computed")
    widths = edges[:, 1] - edges[:, 0]
    on = trail.sections[:-1] @ widths if trail.sections is not None and trail.sections.shape[1] else np.full(trail.n - 1, widths.sum())
    area = float((on * steps.length_m)[steps.sowing].sum())
    raw = float(steps.length_m[steps.sowing].sum())
    gnss, _ = _chorded(trail, steps, steps.sowing)
    if raw > 0:
        area *= float(gnss.sum()) / raw
    relative = outfit.widths.true_m.relative_sd if outfit.widths.true_m is not None else 0.0
    return Est(value=area, sd=area * math.hypot(relative, SCALE_SD), basis="computed", source="positions and width")


def _growth(counter: FloatArray | None) -> float | None:
    """How far a counter grew, resets skipped; None without one."""
    if counter is None:
        return None
    good = counter[np.isfinite(counter)]
    if good.size < 2:
        return None
    step = np.diff(good)
    return float(step[step > 0].sum())


def _mass(trail: Trail, steps: Steps) -> float | None:
    """Mass a second times the seconds each row stands for. [kg]"""
    if trail.mass_rate_kg_s is None:
        return None
    seconds = trail.extra.get("interval_s")
    if seconds is None:
        seconds = np.concatenate([np.where(steps.whole, steps.dt_s, 0.0), [0.0]])
    return float(np.nansum(trail.mass_rate_kg_s * seconds))


def _rates(trail: Trail, steps: Steps) -> tuple[RateFacts, ...]:
    weight = np.concatenate([np.where(steps.sowing, steps.length_m, 0.0), [0.0]])
    out = []
    for i, letter in enumerate(trail.bins):
        asked = trail.asked_kg_ha[:, i] if trail.asked_kg_ha is not None else None
        echoed = trail.echoed_kg_ha[:, i] if trail.echoed_kg_ha is not None else None
        if asked is None and echoed is None:
            continue
        out.append(
            RateFacts(
                bin=letter, asked_kg_ha=_mean(asked, weight), reported_kg_ha=_mean(echoed, weight), near_share=_near(asked, echoed, weight)
            )
        )
    return tuple(out)


def _mean(values: FloatArray | None, weight: FloatArray) -> float | None:
    if values is None:
        return None
    good = np.isfinite(values) & (weight > 0)
    return float(np.average(values[good], weights=weight[good])) if good.any() else None


def _near(asked: FloatArray | None, echoed: FloatArray | None, weight: FloatArray) -> float | None:
    if asked is None or echoed is None:
        return None
    good = np.isfinite(asked) & np.isfinite(echoed) & (asked > 0) & (weight > 0)
    if not good.any():
        return None
    near = np.abs(echoed[good] / asked[good] - 1) <= NEAR
    return float(weight[good][near].sum() / weight[good].sum())


def _dead_stretches(
    trail: Trail, steps: Steps, passes: tuple[PassFacts, ...], faults: tuple[RunFault, ...]
) -> dict[int, list[PassException]]:
    """Where along each pass a run or head was dead."""
    out: dict[int, list[PassException]] = {}
    along = np.concatenate([[0.0], np.cumsum(steps.length_m)])
    for fault in faults:
        until = fault.until_ms if fault.until_ms is not None else int(trail.t_ms[-1])
        name = f"run {fault.run} without flow" if fault.run is not None else f"head {fault.head} without flow"
        for p in passes:
            low, high = max(p.start_ms, fault.first_missed_ms), min(p.end_ms, until)
            if high > low:
                a, b = np.searchsorted(trail.t_ms, [low, high])
                base = along[p.first_row]
                out.setdefault(p.number, []).append(
                    PassException(kind="run-dead", from_m=float(along[a] - base), to_m=float(along[min(b, trail.n - 1)] - base), note=name)
                )
    return out


def _cannot_see(trail: Trail) -> tuple[str, ...]:
    """What the absent columns would have told."""
    out = []
    if trail.run_present is None:
        out.append(NOT_SEEN)
    if trail.sections is None and trail.lifted is None:
        out.append("When the tool was at work cannot be seen in this log: it has no sections and no lift column.")
    if trail.step_m is None and trail.speed_m_s is None:
        out.append("The machine's distance cannot be checked by this log: it has no distance and no speed.")
    if trail.revs is None:
        out.append("Meter turns cannot be seen in this log.")
    if trail.fan_turns_s is None:
        out.append("Fan speed cannot be seen in this log.")
    if trail.echoed_kg_ha is not None:
        out.append("Reported rates repeat the display; how soon product starts and stops cannot be learned from them.")
    return tuple(out)

"""The machine's own speed and distance against the positions: frozen, off by a share, or changed within the day.

The machine meters by its own distance. A stand-in speed left on makes the dose vary as one over the true speed while the display reads
its target. If the machine takes its speed from the same positions, agreement proves nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenstand.base.estimate import Est
from evenstand.base.units import shown
from evenstand.model.place import FloatArray
from evenstand.model.trail import BoolArray
from evenstand.reference.figures import figure
from evenstand.reference.practice import default
from evenstand.trail.faults import Answer, Look, TrailFault, Unseen, change_point, clock, limit, numbered, robust_sd
from evenstand.trail.passes import PassFacts
from evenstand.trail.runs import strongest
from evenstand.trail.stepping import runs_of

WINDOW_S = 10.0
BENT = 1.01
LOCAL = 15
DENSE = 0.006
FOLLOW_SD = 0.015
MOST_GAIN = 8.0
LEAST_FROZEN_S = 120.0
LEAST_PASS_M = 60.0
RATIO_FLOOR = 0.004
DRIFT_PASSES = 6
GNSS_SCALE = 0.002
CHORD_M = 25.0
STRAIGHT_RAD = 0.05  # between chords of 25 m: bends of 500 m and wider
NOT_WIDTH = "The width: area and dose depend on width and distance alike. A taped 100 m settles it."


@dataclass(frozen=True, slots=True)
class _Windows:
    """Stretches of some seconds: first row of each, what the machine counted and what the positions say [m], seconds; fair: not in a bend
    at work, where an antenna ahead of the tool goes a longer way than its wheels."""

    row: FloatArray
    shown_m: FloatArray
    driven_m: FloatArray
    seconds: FloatArray
    fair: BoolArray


def speed_frozen(look: Look) -> tuple[Answer, ...]:
    """A speed (or distance count) that stays the same while the positions say otherwise.

    Parameters
    ----------
    look : Look
        With a speed column, or a distance column. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        How far it was off in the middle of the stretch. [%]

    References
    ----------
    definition: log-likelihood of a constant against following the positions, window by window.
    """
    for name in ("speed", "distance"):
        windows = _windows(look, name)
        if windows is None:
            continue
        found = _frozen(windows)
        if found is not None:
            return (_frozen_fault(look, name, windows, found),)
    return ()


def _counted(look: Look, name: str) -> FloatArray | None:
    """What the machine counted in each step, by one of its columns. [m]"""
    trail = look.trail
    if name == "distance":
        return None if trail.step_m is None else trail.step_m[1:]
    if trail.speed_m_s is None:
        return None
    out: FloatArray = 0.5 * (trail.speed_m_s[1:] + trail.speed_m_s[:-1]) * look.steps.dt_s
    return out


def _windows(look: Look, name: str) -> _Windows | None:
    counted = _counted(look, name)
    if counted is None or counted.size < 2:
        return None
    slot = np.floor(look.t_s[:-1] / max(WINDOW_S, 2 * look.usual_s)).astype(np.int64)
    good = look.steps.whole & np.isfinite(counted)
    first = np.flatnonzero(np.concatenate([[True], np.diff(slot) != 0]))
    last = np.concatenate([first[1:], [slot.size]])
    all_good = np.add.reduceat(good.astype(np.int64), first) == last - first
    chord = np.hypot(*(look.trail.xy_m[last] - look.trail.xy_m[first]).T)
    way = np.add.reduceat(look.steps.length_m, first)
    driven = np.where(way > 1.05 * chord, way, chord)  # straight ahead the chord, free of noise; in a turn the way
    counts = np.add.reduceat(np.where(good, counted, 0.0), first)
    seconds = look.t_s[last] - look.t_s[first]
    use = all_good & (seconds > 0.6 * WINDOW_S)
    fair = ~((way > BENT * chord) & look.work[first])
    return _Windows(first[use].astype(np.float64), counts[use], driven[use], seconds[use], np.asarray(fair[use]))


def _frozen(w: _Windows) -> tuple[int, int, float, float] | None:
    """(first window, one past the last, strength, the constant speed)."""
    if w.row.size < 12:
        return None
    v, g = w.shown_m / w.seconds, w.driven_m / w.seconds
    moving = v > 0.2
    if moving.sum() < 12:
        return None
    constant = _densest(v[moving])
    ratio = np.where(g > 0.3, v / np.maximum(g, 0.3), np.nan)
    local = _local(ratio)
    # positions and counts of a row may belong to moments some seconds apart: what three windows together make good is no evidence
    three = np.ones(3)
    calm = np.convolve(w.driven_m, three, mode="same") / np.convolve(w.seconds, three, mode="same")
    follows, stays = (v - local * g) / constant, (v - constant) / constant
    calmer = (v - local * calm) / constant
    follows = np.where(np.abs(calmer) < np.abs(follows), calmer, follows)
    sd = max(min(robust_sd(follows[w.fair]), 2 * FOLLOW_SD), FOLLOW_SD)
    gain = np.clip((follows**2 - stays**2) / (2 * sd**2), -MOST_GAIN, MOST_GAIN)
    gain = np.where(w.fair, gain, 0.0)
    gain = np.where(np.abs(stays) > 3 * DENSE, -MOST_GAIN, gain)  # it moved: not frozen there
    start, stop, strength = strongest(gain)
    span = float(w.seconds[start:stop][w.fair[start:stop]].sum())
    if strength < limit("speed-frozen") or span < LEAST_FROZEN_S:
        return None
    return start, stop, strength, constant


def _local(ratio: FloatArray) -> FloatArray:
    """Middle of each window's ratio and of some minutes about it. [-]"""
    padded = np.pad(ratio, LOCAL, constant_values=np.nan)
    about = np.lib.stride_tricks.sliding_window_view(padded, 2 * LOCAL + 1)
    some = np.isfinite(about).any(axis=1)
    out = np.ones(ratio.size)
    out[some] = np.nanmedian(about[some], axis=1)
    return out


def _densest(values: FloatArray) -> float:
    """The value most others lie next to. [unit of values]"""
    ranked = np.sort(values)
    reach = np.searchsorted(ranked, ranked * (1 + 2 * DENSE), side="right")
    best = int(np.argmax(reach - np.arange(ranked.size)))
    return float(np.median(ranked[best : reach[best]]))


def _frozen_fault(look: Look, name: str, w: _Windows, found: tuple[int, int, float, float]) -> TrailFault:
    start, stop, strength, constant = found
    first = int(w.row[start])
    last = int(w.row[stop]) if stop < w.row.size else look.trail.n - 1
    inside = slice(start, stop)
    working = look.work[w.row[inside].astype(np.int64)]
    driven, seconds = w.driven_m[inside], w.seconds[inside]
    use = working & (driven > 0.3 * seconds)
    use = use if use.sum() >= 3 else driven > 0
    true = driven[use] / seconds[use] if use.any() else np.array([constant])
    off = float(constant / np.mean(true) - 1)
    spread = float(np.std(true) / max(float(np.mean(true)), 1e-9))
    lasts = stop >= w.row.size - 1
    word = "speed" if name == "speed" else "distance count"

    def speed(value: float) -> str:
        return shown(value, "speed", look.profile)

    return TrailFault(
        kind="speed-frozen",
        cause="distance",
        claim=(
            f"The {word} stays at {speed(constant)} since {clock(look.t_s[first])} while the positions say {speed(float(np.min(true)))} to "
            f"{speed(float(np.max(true)))}: a stand-in speed left on?"
        ),
        since_s=float(look.t_s[first]),
        since_low_s=max(0.0, float(look.t_s[first]) - 3 * WINDOW_S),
        since_high_s=float(look.t_s[first]) + LOCAL * WINDOW_S,
        until_s=None if lasts else float(look.t_s[last]),
        first_row=first,
        last_row=last,
        passes=look.passes_between(first, last),
        size=Est(value=100 * off, sd=100 * max(spread / np.sqrt(max(true.size, 1)), GNSS_SCALE), basis="measured", source="positions"),
        size_unit="%",
        strength=strength,
        evidence=(
            f"{seconds.sum() / 60:.0f} min within {100 * 3 * DENSE:.0f} % of one value",
            f"the dose varied as one over the true speed, by {100 * spread:.0f} % (one standard deviation)",
        ),
        columns=("positions", name),
        worth_stopping=True,
        confirm_by="Slow down by a third and watch the speed shown; look for a stand-in or test speed left on.",
        not_claimed="How much was sown where: the meters may take their speed from another sensor than the one logged.",
    )


def distance_scale(look: Look) -> tuple[Answer, ...]:
    """A distance count off by the same share all day.

    Parameters
    ----------
    look : Look
        With a distance column, or a speed column. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Machine metres per metre by positions, less one. [%]

    References
    ----------
    definition: distance counted over distance by positions, pass by pass.
    """
    ratios, owners, name = pass_ratios(look)
    if ratios.size < 3:
        return (_too_short("distance-scale", "Distance against positions"),)
    if _half_frozen(look):
        return ()
    if _drifted(ratios) is not None:
        return ()  # told as a change, with what it was before and since
    off = float(np.median(ratios)) - 1
    scatter = max(robust_sd(np.diff(ratios)) / np.sqrt(2.0), RATIO_FLOOR)
    sd = float(np.hypot(1.2533 * max(robust_sd(ratios), scatter) / np.sqrt(ratios.size), GNSS_SCALE))
    if abs(off) < limit("distance-scale") or abs(off) / sd < limit("distance-z"):
        return _no_witness(look, "distance-scale")
    first, last = look.passes[owners[0]], look.passes[owners[-1]]
    return (
        TrailFault(
            kind="distance-scale",
            cause="distance",
            claim=(
                f"Distance reads {abs(100 * off):.1f} % {'long' if off > 0 else 'short'} against the positions: about "
                f"{abs(100 * off):.0f} % too {'much' if off > 0 else 'little'} of everything was sown."
            ),
            since_s=first.start_s,
            since_low_s=0.0,
            since_high_s=first.end_s,
            until_s=None,
            first_row=first.first_row,
            last_row=last.last_row,
            passes=tuple(look.passes[i].number for i in owners),
            size=Est(value=100 * off, sd=100 * sd, basis="measured", source=name),
            size_unit="%",
            strength=abs(off) / sd,
            evidence=(f"{ratios.size} passes, from {100 * (ratios.min() - 1):+.1f} to {100 * (ratios.max() - 1):+.1f} %",),
            columns=("positions", name),
            worth_stopping=abs(off) >= default("stop-for-seed").low,
            confirm_by="Drive a taped 100 m with the bins half full and compare the count.",
            not_claimed=NOT_WIDTH,
        ),
    )


def distance_drift(look: Look) -> tuple[Answer, ...]:
    """A distance count that changed within the day by more than load and soil explain.

    Parameters
    ----------
    look : Look
        With a distance column, or a speed column. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Change of machine metres per metre by positions. [%]

    References
    ----------
    definition: change of the level of the passes' ratios, by likelihood over every pass it may begin at.
    """
    ratios, owners, name = pass_ratios(look)
    if ratios.size < DRIFT_PASSES:
        return (_too_short("distance-drift", "A change of the distance count", DRIFT_PASSES),)
    if _half_frozen(look):
        return ()
    found = _drifted(ratios)
    if found is None:
        return _no_witness(look, "distance-drift")
    at, change, sd, z = found
    usual = figure("causes", "usual", "distance").value  # load and soil move it by so much on a good day
    first, before, last = (look.passes[owners[i]] for i in (at, at - 1, -1))
    before_off, now_off = (100 * (float(np.median(part)) - 1) for part in (ratios[:at], ratios[at:]))
    return (
        TrailFault(
            kind="distance-drift",
            cause="distance",
            claim=(
                f"The distance count changed by {100 * change:+.1f} % at {numbered([first.number])}: {before_off:+.1f} % against the "
                f"positions before, {now_off:+.1f} % since."
            ),
            since_s=first.start_s,
            since_low_s=before.start_s,
            since_high_s=first.end_s,
            until_s=None,
            first_row=first.first_row,
            last_row=last.last_row,
            passes=tuple(look.passes[i].number for i in owners[at:]),
            size=Est(value=100 * change, sd=100 * float(np.hypot(sd, usual)), basis="measured", source=name),
            size_unit="%",
            strength=z,
            evidence=(f"{at} passes before, {ratios.size - at} since; {z:.0f} times the scatter between passes",),
            columns=("positions", name),
            worth_stopping=abs(change) >= default("stop-for-seed").low,
            confirm_by="Look at the wheel, its sensor and its tyre; then a taped 100 m, loaded as now.",
            not_claimed=NOT_WIDTH,
        ),
    )


def _no_witness(look: Look, kind: str) -> tuple[Unseen, ...]:
    """Nothing, or that agreement proves nothing where the machine takes its speed from the same positions."""
    if look.outfit.speed_source != "gnss":
        return ()
    says = (
        "An error of distance cannot be seen in this log: the machine takes its speed from the same positions, so they agree by themselves."
    )
    return (Unseen(kind=kind, needs=("a taped 100 m",), says=says),)


def _drifted(ratios: FloatArray) -> tuple[int, float, float, float] | None:
    """The change of the passes' ratios within the day, if there is one beyond load and soil."""
    found = change_point(ratios, sd_floor=RATIO_FLOOR, least=DRIFT_PASSES // 2) if ratios.size >= DRIFT_PASSES else None
    if found is None or abs(found[1]) < limit("distance-drift") or found[3] < limit("distance-z"):
        return None
    return found


def _too_short(kind: str, what: str, least: int = 3) -> Unseen:
    return Unseen(
        kind=kind,
        needs=(f"{least} passes",),
        says=f"{what} cannot be seen in this log: it has fewer than {least} passes of {LEAST_PASS_M:.0f} m.",
    )


def _half_frozen(look: Look) -> bool:
    """A frozen speed explains its own ratio: it is told once."""
    return any(isinstance(f, TrailFault) for f in speed_frozen(look))


def pass_ratios(look: Look) -> tuple[FloatArray, list[int], str]:
    """Machine metres per metre by positions in each long pass, which passes, and by which column. [-]

    Parameters
    ----------
    look : Look
        With a distance column, or a speed column. [-]
    """
    name = "distance" if look.trail.step_m is not None else "speed"
    counted = _counted(look, name)
    values, owners = [], []
    for i, p in enumerate(look.passes):
        if counted is not None and p.length_m >= LEAST_PASS_M:
            ratio = _ratio(look, p, counted)
            if ratio is not None:
                values.append(ratio)
                owners.append(i)
    return np.array(values), owners, name


def _ratio(look: Look, p: PassFacts, counted: FloatArray) -> float | None:
    """Over the whole stretches of a pass: chords of some metres, so that noise does not lengthen the way."""
    good = look.steps.whole[p.first_row : p.last_row] & np.isfinite(counted[p.first_row : p.last_row]) & look.work[p.first_row : p.last_row]
    driven = told = 0.0
    for a, b in zip(*(v.tolist() for v in runs_of(good)), strict=True):
        xy = look.trail.xy_m[p.first_row + a : p.first_row + b + 1]
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        if along[-1] < LEAST_PASS_M / 2:
            continue
        nodes = np.unique(np.append(np.searchsorted(along, np.arange(0.0, along[-1], CHORD_M)), along.size - 1))
        chord = np.diff(xy[nodes], axis=0)
        straight = _straight(chord)
        count = np.concatenate([[0.0], np.cumsum(counted[p.first_row + a : p.first_row + b])])
        driven += float(np.hypot(*chord[straight].T).sum())
        told += float(np.diff(count[nodes])[straight].sum())
    return told / driven if driven >= LEAST_PASS_M / 2 else None


def _straight(chord: FloatArray) -> BoolArray:
    """Chords that turn little against both their neighbours: in a bend an antenna ahead of the tool goes a longer way than the wheel."""
    heading = np.unwrap(np.arctan2(chord[:, 1], chord[:, 0]))
    turn = np.concatenate([[0.0], np.abs(np.diff(heading)), [0.0]])
    return np.asarray(np.maximum(turn[:-1], turn[1:]) < STRAIGHT_RAD)

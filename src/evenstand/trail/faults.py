"""What a detector of the trail says: a fault with its size and evidence, or that this log cannot show it.

Every detector is a function of a `Look` (a trail, an outfit, and what follows from both). It reads only the columns it names; where one
is missing, or the log is too short, it answers with an `Unseen` instead of silence.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from evenstand.base.estimate import Est
from evenstand.base.units import Profile
from evenstand.model.outfit import Outfit
from evenstand.model.place import FloatArray
from evenstand.model.trail import BoolArray, Trail
from evenstand.reference.figures import figure
from evenstand.trail.passes import PassFacts, passes_of
from evenstand.trail.stepping import Steps, at_work_rows, runs_of, steps_of

Z_95 = 1.96
EVIDENCE_PASSES = 6
AGAIN = "May be worth sowing again: a head is several rows wide."
NEVER_AGAIN = "Never worth sowing again: its siblings got its share, and neighbours fill in one row."
STOP = "Worth stopping for."
LEAVE = "Leave it until the next stop."


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailFault:
    """One thing wrong, as far as a log can show it.

    kind: the detector; cause: its name in findings, such as "fan", "run:37", "section:3"; claim: a sentence; since_s: likeliest start,
    between since_low_s and since_high_s; until_s: its end, None if it lasts [s from the first row]; first_row, last_row of the trail;
    passes: numbers of the passes concerned; size with its sd, in size_unit ("%", "rpm", "ha", "m", "turns", "runs"); strength: the
    statistic it was believed by [-]; columns: what was read; worth_stopping: stop for it, or leave it; not_claimed: what it must not be
    taken for; runs: numbers of the runs; area_ha: ground concerned, None where not known [ha].
    """

    kind: str
    cause: str
    claim: str
    since_s: float
    since_low_s: float
    since_high_s: float
    until_s: float | None
    first_row: int
    last_row: int
    passes: tuple[int, ...]
    size: Est | None
    size_unit: str
    strength: float
    evidence: tuple[str, ...]
    columns: tuple[str, ...]
    worth_stopping: bool
    confirm_by: str
    not_claimed: str
    runs: tuple[int, ...] = ()
    area_ha: float | None = None

    @property
    def interval(self) -> tuple[float, float] | None:
        """95 % interval of the size. [size_unit]"""
        return None if self.size is None else self.size.interval(Z_95)

    @property
    def worth(self) -> str:
        """What it is worth: a head may be sown again, one row never; else whether to stop for it. [-]"""
        if self.kind == "lost-flow":
            return AGAIN if self.worth_stopping else NEVER_AGAIN
        return STOP if self.worth_stopping else LEAVE


@dataclass(frozen=True, slots=True, kw_only=True)
class Unseen:
    """What this log cannot show. needs: the columns or answers that would; says: a sentence."""

    kind: str
    needs: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Clear:
    """What was looked for and not found; columns: what was read. It is no proof beyond the smallest size the detector sees."""

    kind: str
    title: str
    columns: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailFaults:
    """All detectors of one trail: what is wrong, what was looked for and not found, what this log cannot show."""

    found: tuple[TrailFault, ...]
    clear: tuple[Clear, ...]
    unseen: tuple[Unseen, ...]


Answer = TrailFault | Unseen


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A trail with what every detector needs. n rows: t_s (n,) from the first row [s]; work (n,): at work; work_by: which columns told;
    along_m (n,): way driven [m]; pass_no (n,): pass, 0 between passes; profile: units of the sentences."""

    trail: Trail
    outfit: Outfit
    steps: Steps
    passes: tuple[PassFacts, ...]
    t_s: FloatArray
    work: BoolArray
    work_by: str
    along_m: FloatArray
    profile: Profile

    @property
    def usual_s(self) -> float:
        """Usual time between rows. [s]"""
        return max(self.steps.limits.usual_s, 0.05)

    @property
    def moving(self) -> BoolArray:
        """Rows from which the machine moves on, rows not missing. (n,) [-]"""
        way = self.steps.whole & (self.steps.length_m > rule("standing-speed") * np.maximum(self.steps.dt_s, 0.0))
        return np.concatenate([way, [False]])

    @property
    def work_columns(self) -> tuple[str, ...]:
        """The columns that told when the tool was at work, empty where none did. [-]"""
        known = {"sections and lift": ("sections", "lift"), "sections": ("sections",), "lift": ("lift",)}
        return known.get(self.work_by, ("reported rate",) if self.work_by.startswith("reported") else ())

    def passes_between(self, first: int, last: int) -> tuple[int, ...]:
        """Numbers of the passes that share rows with first to last. [-]"""
        return tuple(p.number for p in self.passes if p.first_row <= last and p.last_row >= first)

    def row_of_way(self, metres: float) -> int:
        """First row at or after that way driven, within the trail. [-]"""
        return int(np.clip(np.searchsorted(self.along_m, metres - 1e-6), 0, self.trail.n - 1))

    def row_at(self, second: float) -> int:
        """First row at or after that second. [-]"""
        return min(int(np.searchsorted(self.t_s, second - 1e-6)), self.trail.n - 1)


def look_at(
    trail: Trail, outfit: Outfit, *, steps: Steps | None = None, passes: tuple[PassFacts, ...] | None = None, profile: Profile = "si"
) -> Look:
    """A trail made ready for the detectors.

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    outfit : Outfit
        Width, sections, runs, proven fan speed, typed guidance width, as far as known. [-]
    steps : Steps or None
        Steps of the trail, if they are at hand. [-]
    passes : tuple of PassFacts or None
        Its passes, if they are at hand. [-]
    profile : str
        Units of the sentences. [-]

    Returns
    -------
    Look
        What follows from both. [-]
    """
    steps = steps or steps_of(trail)
    work, by = at_work_rows(trail)
    return Look(
        trail=trail,
        outfit=outfit,
        steps=steps,
        passes=passes_of(trail, steps) if passes is None else passes,
        t_s=(trail.t_ms - trail.t_ms[0]) / 1e3 if trail.n else np.zeros(0),
        work=work,
        work_by=by,
        along_m=np.concatenate([[0.0], np.cumsum(np.where(steps.whole, steps.length_m, 0.0))]) if trail.n else np.zeros(0),
        profile=profile,
    )


def limit(name: str) -> float:
    """A frozen limit of the detectors, from trail_faults.toml. [unit of the figure]"""
    return figure("trail_faults", "limits", name).value


def rule(name: str) -> float:
    """A figure of the rules of time use, from trail_faults.toml. [unit of the figure]"""
    return figure("trail_faults", "time", name).value


def lifts(look: Look) -> list[tuple[int, int]]:
    """Stretches with the tool up between two stretches at work: first row, one past the last. [-]"""
    begin, end = runs_of(~look.work)
    return [(a, b) for a, b in zip(begin.tolist(), end.tolist(), strict=True) if a > 0 and b < look.trail.n]


def middles(table: FloatArray) -> FloatArray:
    """Median of each column of a table, cells that are no number left out; not-a-number where a column has none. [unit of table]"""
    out = np.full(table.shape[1], np.nan)
    some = np.isfinite(table).any(axis=0)
    out[some] = np.nanmedian(table[:, some], axis=0)
    return out


def robust_sd(values: FloatArray) -> float:
    """Spread by the median distance from the median. [unit of values]"""
    good = values[np.isfinite(values)]
    return 1.4826 * float(np.median(np.abs(good - np.median(good)))) if good.size else 0.0


def numbered(passes: Iterable[int]) -> str:
    """Pass numbers in words: "passes 3 to 9", "pass 4", "passes 2, 5 and 9". [-]"""
    all_of = sorted(set(passes))
    if not all_of:
        return "between passes"
    if len(all_of) == 1:
        return f"pass {all_of[0]}"
    if all_of[-1] - all_of[0] == len(all_of) - 1:
        return f"passes {all_of[0]} to {all_of[-1]}"
    shown = all_of if len(all_of) <= EVIDENCE_PASSES else [*all_of[: EVIDENCE_PASSES - 1], all_of[-1]]
    joint = ", ".join(map(str, shown[:-1])) + (" ... " if len(all_of) > EVIDENCE_PASSES else " and ")
    return f"passes {joint}{shown[-1]}"


def clock(second: float) -> str:
    """Time since the start, for a sentence. [-]"""
    minutes = round(second / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min after the start"


def change_point(values: FloatArray, *, sd_floor: float, least: int = 2) -> tuple[int, float, float, float] | None:
    """Where the level of a series changes most: (first index after, change, its sd, z); None with fewer than 4 values.

    Parameters
    ----------
    values : (n,) array
        One value for each pass, finite. [any]
    sd_floor : float
        Least scatter of one value. [unit of values]
    least : int
        Values on either side of the change. [-]

    Returns
    -------
    (int, float, float, float) or None
        The scatter comes from differences of neighbours, so that the change itself does not hide it. [-, unit, unit, -]
    """
    n = values.size
    if n < 2 * least or n < 4:
        return None
    scatter = max(robust_sd(np.diff(values)) / np.sqrt(2.0), sd_floor)
    total = np.concatenate([[0.0], np.cumsum(values)])
    k = np.arange(least, n - least + 1)
    change = (total[n] - total[k]) / (n - k) - total[k] / k
    sd = scatter * np.sqrt(1.0 / k + 1.0 / (n - k))
    best = int(np.argmax(np.abs(change) / sd))
    return int(k[best]), float(change[best]), float(sd[best]), float(abs(change[best]) / sd[best])

"""What the detectors of a trail say, as the lines that command, page and paper show alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenstand.base.units import Profile, shown

if TYPE_CHECKING:
    from evenstand.model import Trail
    from evenstand.trail import TrailFacts, TrailFault
    from evenstand.trail.faults import TrailFaults

MOST_LINES = 5
NOTHING = "No fault was found that this log can show."


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultLine:
    """One fault in words. stop: worth stopping for, or sowing again; says: the sentence with its size; where: passes, since when and the
    place of the first row; seen: the evidence; worth: what to make of it; confirm: what to do to be sure; not_said: what it does not
    mean; read: the columns it rests on. [text]"""

    kind: str
    stop: bool
    says: str
    where: str
    seen: str
    worth: str
    confirm: str
    not_said: str
    read: str

    @property
    def rows(self) -> tuple[tuple[str, str], ...]:
        """The same below each other: what each part is, and its words; the sentence itself left out. [text]"""
        return (
            ("Where", self.where), ("Seen by", self.seen), ("What it is worth", self.worth), ("To be sure", self.confirm),
            ("It does not mean", self.not_said), ("Read from", self.read),
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultLines:
    """Every detector's answer in words. head: one sentence over all; found: what is wrong, worth stopping for first; looked: what was
    looked for and not found, "" where nothing was; unseen: what this log cannot show, and why. [text]"""

    head: str
    found: tuple[FaultLine, ...]
    looked: str
    unseen: tuple[str, ...]


def fault_lines(faults: TrailFaults, trail: Trail, *, profile: Profile = "si") -> FaultLines:
    """The answers of all detectors in words.

    Parameters
    ----------
    faults : TrailFaults
        Of that trail, its claims in the same units. [-]
    trail : Trail
        For places and hours. [-]
    profile : str
        Units to show. [-]
    """
    found = tuple(_line(f, trail, profile) for f in faults.found)
    stop = sum(f.stop for f in found)
    head = NOTHING
    if found:
        things = "1 thing" if len(found) == 1 else f"{len(found)} things"
        head = f"{things} found; {'none' if stop == 0 else stop} worth stopping for or sowing again."
    looked = f"Looked for and not found: {', '.join(c.title for c in faults.clear)}." if faults.clear else ""
    return FaultLines(head=head, found=found, looked=looked, unseen=unseen_lines(faults))


def unseen_lines(faults: TrailFaults) -> tuple[str, ...]:
    """What this log cannot show and why, put together by the columns it lacks.

    Parameters
    ----------
    faults : TrailFaults
        Of a trail. [-]
    """
    from evenstand.trail.detecting import DETECTORS

    titles = {d.kind: d.title for d in DETECTORS}
    lacking: dict[str, list[str]] = {}
    other: list[str] = []
    for u in faults.unseen:
        if "; it has no " in u.says:
            lacking.setdefault(" and no ".join(u.needs), []).append(titles[u.kind])
        else:
            other.append(u.says)
    return (
        *(f"Cannot be seen in this log, which has no {need}: {'; '.join(what)}." for need, what in lacking.items()),
        *dict.fromkeys(other),
    )


def odd_lines(trail: Trail, facts: TrailFacts, *, profile: Profile = "si") -> tuple[str, ...]:
    """What is odd about a log and no fault by itself: rows mended or set aside, a distance that is off by less than is worth stopping for.

    Parameters
    ----------
    trail : Trail
        With its accounts. [-]
    facts : TrailFacts
        Of that log. [-]
    profile : str
        Units to show. [-]
    """
    out = []
    for word, rows in (("repaired", trail.repaired), ("set aside", trail.set_aside)):
        lines: dict[str, list[int]] = {}
        for row in rows:
            lines.setdefault(row.reason, []).append(row.line)
        for reason, at in lines.items():
            where = ", ".join(map(str, at[:MOST_LINES])) + (" ..." if len(at) > MOST_LINES else "")
            count = f"1 row {word}, line" if len(at) == 1 else f"{len(at)} rows {word}, lines"
            out.append(f"{count} {where}: {reason}.")
    ratio, told = facts.distance_ratio, any(f.cause == "distance" for f in facts.faults.found)
    if ratio is not None and not told and abs(ratio.value - 1) > 3 * ratio.sd:
        off = 100 * (ratio.value - 1)
        shown_m = shown(facts.distance_shown_m.value if facts.distance_shown_m else None, "distance", profile)
        driven = shown(facts.distance_gnss_m.value if facts.distance_gnss_m else None, "distance", profile)
        word = "long" if off > 0 else "short"
        out.append(f"The machine's distance is {abs(off):.1f} % {word}: it counted {shown_m}, the positions say {driven} at work.")
    return tuple(out)


def other_notes(notes: Sequence[str]) -> tuple[str, ...]:
    """Notes, each once, without those that a detector says more exactly.

    Parameters
    ----------
    notes : sequence of str
        In the order to show. [text]
    """
    told = ("Plugged runs cannot", "Fan speed cannot", "Meter turns cannot")
    return tuple(dict.fromkeys(n for n in notes if not n.startswith(told)))


def _line(fault: TrailFault, trail: Trail, profile: Profile) -> FaultLine:
    return FaultLine(
        kind=fault.kind,
        stop=fault.worth_stopping,
        says=f"{fault.claim}{_size(fault, profile)}",
        where=_where(fault, trail),
        seen="; ".join(fault.evidence) or "the columns named",
        worth=fault.worth,
        confirm=fault.confirm_by,
        not_said=fault.not_claimed,
        read=", ".join(fault.columns),
    )


def _where(fault: TrailFault, trail: Trail) -> str:
    """Passes, the hours the start lies between, and the place of the first row."""
    from evenstand.trail.faults import numbered

    passes = numbered(fault.passes)
    low, high = (_hour(trail, s) for s in (fault.since_low_s, fault.since_high_s))
    since = f"since {low} UTC" if low == high else f"begun between {low} and {high} UTC"
    end = "" if fault.until_s is None else f", until {_hour(trail, fault.until_s)}"
    lon, lat = _degrees(trail, fault.first_row)
    return f"{passes[:1].upper()}{passes[1:]}; {since}{end}; first at {lat:.5f}, {lon:.5f} (latitude, longitude)"


def _hour(trail: Trail, second: float) -> str:
    from datetime import UTC, datetime

    return datetime.fromtimestamp(int(trail.t_ms[0]) / 1000 + second, tz=UTC).strftime("%H:%M")


def _degrees(trail: Trail, row: int) -> tuple[float, float]:
    from pyproj import Transformer

    back = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True)
    x, y = trail.xy_m[min(row, trail.n - 1)].tolist()
    lon, lat = back.transform(x, y)
    return float(lon), float(lat)


def _size(fault: TrailFault, profile: Profile) -> str:
    """The size with its interval, in the reader's units; nothing where it is a plain count."""
    if fault.size is None or fault.interval is None or fault.size.sd == 0:
        return ""
    quantity = {"ha": "area", "m": "width"}.get(fault.size_unit)

    def said(value: float) -> str:
        return shown(value, quantity, profile) if quantity else f"{value:.3g} {fault.size_unit}"

    return f" ({said(fault.size.value)}, 95 %: {said(fault.interval[0])} to {said(fault.interval[1])})"

"""What a log adds to the check of a day beside runs and heads: the fan, lost fixes, a level that does not fall; what its other detectors
saw that bears on a cause the readings point at; and what nothing shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

from evenstand.base.units import Profile, rounded
from evenstand.model import Finding, Outfit, Place, Trail
from evenstand.trail.detecting import DETECTORS, columns_of
from evenstand.trail.faults import TrailFault, look_at

KINDS = ("fan-sag", "fan-droop", "no-fall", "position-jumps")
_SHARES = ("%",)
_HIGH: Mapping[str, Literal[-1, 0, 1]] = {"overlap": 1, "width": 1, "distance": 1}
_LOW: Mapping[str, Literal[-1, 0, 1]] = {"width": -1, "distance": -1}
# What a detector saw bears on these causes, where they are of this sign: 1 counter or distance high, -1 low, 0 either.
BEARS_ON: Mapping[str, Mapping[str, Literal[-1, 0, 1]]] = {
    "counted-lifted": _HIGH,
    "section-on": _HIGH,
    "work-stuck": _HIGH,
    "uncounted-work": _LOW,
    "lane-gap": {"overlap": 1},
    "speed-frozen": {"distance": 0},
    "distance-drift": {"distance": 0},
}


def logged_findings(trail: Trail | None, outfit: Outfit | None, *, profile: Profile = "si") -> tuple[Finding, ...]:
    """Findings about the fan, bridges and lost fixes that a log shows; nothing where its columns are missing.

    Range: any trail; the detectors themselves say how long it must be.

    Parameters
    ----------
    trail : Trail or None
        The log of the day. [-]
    outfit : Outfit or None
        Proven fan speed and widths, as far as known. [-]
    profile : str
        Units of the sentences. [-]

    Returns
    -------
    tuple of Finding
        Those that do not hold. [-]

    References
    ----------
    definition: each detector as its own page says.
    """
    if trail is None or outfit is None or trail.n < 2:
        return ()
    look, have = look_at(trail, outfit, profile=profile), columns_of(trail)
    out = []
    for detector in DETECTORS:
        if detector.kind in KINDS and all(any(c in have for c in group) for group in detector.needs):
            out += [logged_finding(answer) for answer in detector.find(look) if isinstance(answer, TrailFault)]
    return tuple(out)


def with_log(findings: Sequence[Finding], trail: Trail | None, outfit: Outfit | None, *, profile: Profile = "si") -> tuple[Finding, ...]:
    """Findings of the readings, with what the log saw that bears on the same cause as a line of their evidence.

    A line explains and says where to look. It accuses nobody by itself and changes no state, size or class, so that nothing is counted
    twice and the false alarms stay those of the readings. The ratio of distance to positions is a reading of its own and gives no line.

    Range: any trail; without one the findings come back as they are.

    Parameters
    ----------
    findings : sequence of Finding
        Of the readings. [-]
    trail : Trail or None
        The log of the day. [-]
    outfit : Outfit or None
        Widths as far as known; where its speed comes from. [-]
    profile : str
        Units of the sentences. [-]

    Returns
    -------
    tuple of Finding
        In the same order. [-]

    References
    ----------
    definition: a counter that reads high by counting while lifted looks like overlap, width or distance to the outline.
    """
    open_causes = {c for f in findings if f.state in _OPEN for group in f.suspects for c in group}
    if trail is None or outfit is None or trail.n < 2 or not open_causes & {c for b in BEARS_ON.values() for c in b}:
        return tuple(findings)
    look, have = look_at(trail, outfit, profile=profile), columns_of(trail)
    seen: list[TrailFault] = []
    for detector in DETECTORS:
        bears = BEARS_ON.get(detector.kind, {})
        if "distance" in bears and "overlap" not in bears and outfit.speed_source == "gnss":
            continue  # positions that feed the speed say nothing about it
        if open_causes & set(bears) and all(any(c in have for c in group) for group in detector.needs):
            seen += [a for a in detector.find(look) if isinstance(a, TrailFault)]
    return tuple(_with_lines(f, seen) for f in findings)


_OPEN = ("does-not-hold", "doubtful", "cannot-tell")


def _with_lines(finding: Finding, seen: Sequence[TrailFault]) -> Finding:
    """One finding with the lines that bear on it."""
    if finding.state not in _OPEN:
        return finding
    causes = {c for group in finding.suspects for c in group}
    lines = tuple(f"the log: {fault.claim}" for fault in seen if _bears(fault, finding, causes))
    return replace(finding, evidence=(*finding.evidence, *lines)) if lines else finding


def _bears(fault: TrailFault, finding: Finding, causes: set[str]) -> bool:
    """Whether what was seen makes one of the causes likelier, by its sign too."""
    if fault.kind == "lane-gap" and (fault.size is None or fault.size.value >= 0):
        return False  # only passes that lie closer than the tool is wide sow ground twice
    known = finding.size.value if finding.size is not None and finding.state != "cannot-tell" else 0.0
    return any(c in causes and sign * known >= 0 for c, sign in BEARS_ON[fault.kind].items())


def logged_finding(fault: TrailFault) -> Finding:
    """A fault of a trail as a finding.

    Parameters
    ----------
    fault : TrailFault
        From a detector. [-]
    """
    size = fault.size
    scale = 0.01 if fault.size_unit in _SHARES else 1.0
    said = None if size is None else replace(size, value=size.value * scale, sd=size.sd * scale)
    shown = said if fault.size_unit in ("%", "m") else None
    return Finding(
        claim=fault.claim,
        state="does-not-hold",
        suspects=((fault.cause,),),
        size=shown,
        size_unit="m" if fault.size_unit == "m" else "%",
        place=Place(since_s=fault.since_s, until_s=fault.until_s, area_ha=fault.area_ha, runs=fault.runs),
        evidence=fault.evidence,
        worth_stopping=fault.worth_stopping,
        confirm_by=fault.confirm_by,
        not_claimed=fault.not_claimed,
        about={"fan": "fan", "fixes": "distance"}.get(fault.cause, f"bin {fault.cause.partition(':')[2]}"),
        low=None if shown is None else shown.value - 1.96 * shown.sd,
        high=None if shown is None else shown.value + 1.96 * shown.sd,
    )


def placement_finding(outfit: Outfit | None) -> tuple[Finding, ...]:
    """What no reading shows: which stream a product comes out of, and how evenly rows are fed. Nothing for a tool of one stream and head.

    Range: any outfit.

    Parameters
    ----------
    outfit : Outfit or None
        Streams and heads. [-]

    Returns
    -------
    tuple of Finding
        One that cannot be told from readings, or none. [-]

    References
    ----------
    definition: a share of the mass for each head by its segment, shared out over its outlets.
    """
    if outfit is None or (len(outfit.streams) < 2 and len(outfit.heads) < 2):
        return ()
    uneven = _uneven(outfit)
    return (
        Finding(
            claim=f"Where products come out, and row against row, cannot be told from any reading.{uneven}",
            state="cannot-tell",
            settle_by="dig one opener on each stream before the first hectare; bag the heads against one another",
            confirm_by="Dig one opener on each stream and look for seed and prills; bag each head over the same turns.",
            not_claimed="That all is placed right because all numbers hold.",
            about="placement",
        ),
    )


def _uneven(outfit: Outfit) -> str:
    """What heads with unlike outlets come to on like segments."""
    from evenstand.machine import head_balance

    outlets = sorted({h.outlets for h in outfit.heads}, reverse=True)
    if len(outlets) < 2:
        return ""
    worst = head_balance([h.outlets for h in outfit.heads]).worst
    named = " and ".join(str(n) for n in outlets)
    return f" Heads of {named} outlets differ by {rounded(100 * worst, 0)} % from row to row if their segments are alike."

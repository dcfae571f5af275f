"""The telephone: from what a caller reads to likely causes, the next reading to ask for, and the words to say."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import InputError
from evenstand.base.units import Profile, rounded
from evenstand.check.call_words import apart, ask_next, far_off, on_the_phone, say
from evenstand.check.causes import OF_BIN, limit, words
from evenstand.check.checking import check_readings
from evenstand.check.slips import Slip, typing_slip
from evenstand.model import Finding, Outfit, Place, Reading
from evenstand.reference.practice import fill_sd

LEVEL_HOW = ("glance", "light", "weighed", "empty")
_CALL_BELIEVE = -1.0  # somebody who rings has a reason to
_GLANCE, _LIGHT_KG, _WEIGHED, _EMPTY_KG = 0.10, 60.0, 0.01, 40.0
_COUNTER, _OUTLINE, _DRIVEN, _SCALE, _TAPE_M, _WIDTH_TAPE_M, _CATCH = 0.002, 0.01, 0.006, 0.005, 0.4, 0.02, 0.015
_OTHER_UNIT = 0.35
_SHARP = 0.01
_NEIGHBOURS = 3
_FAR = 0.08  # beyond this a slip of typing comes before a fault of the machine


@dataclass(frozen=True, slots=True, kw_only=True)
class CallReadings:
    """What the caller reads; None where not read. Areas [ha], masses [kg], rates [kg/ha], distances and widths [m], factors [kg/turn].

    put_how: as in `model.HowKnown`; left_how: "glance", "light", "weighed" or "empty"; full_kg: what the bin holds;
    dead_runs: numbers of runs that give nothing; thin_stand: the caller sees one; bin: letter, or ""; kind: "seed", "fertilizer" or
    "inoculant".
    """

    area_counter_ha: float | None = None
    boundary_ha: float | None = None
    driven_ha: float | None = None
    put_kg: float | None = None
    put_how: str = "ticket"
    before_kg: float | None = None
    left_kg: float | None = None
    left_how: str = "glance"
    left_shown_kg: float | None = None
    full_kg: float | None = None
    asked_kg_ha: float | None = None
    seen_kg_ha: float | None = None
    shown_kg: float | None = None
    weighed_kg: float | None = None
    distance_shown_m: float | None = None
    distance_taped_m: float | None = None
    width_typed_m: float | None = None
    width_taped_m: float | None = None
    rows: int | None = None
    spacing_m: float | None = None
    factor_kg_turn: float | None = None
    catch_kg_turn: float | None = None
    gnss_speed: bool = False
    dead_runs: tuple[int, ...] = ()
    thin_stand: bool = False
    bin: str = "A"
    kind: str = "seed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratio:
    """Two numbers that should agree. above over below, less one, and its sd [share]; slips: what typing would do that."""

    name: str
    off: float
    sd: float
    slips: tuple[Slip, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CallAnswer:
    """What to make of it. ratios: the numbers laid side by side; findings: as in a check; likely: causes, likeliest first; ask: the next
    reading to ask for; say: sentences for the caller; never: what not to say."""

    ratios: tuple[Ratio, ...]
    findings: tuple[Finding, ...]
    likely: tuple[str, ...]
    ask: str
    say: tuple[str, ...]
    never: tuple[str, ...]


def call_readings(call: CallReadings) -> tuple[Reading, ...]:
    """The caller's numbers as readings, each with how well such a number is known and what it repeats.

    Parameters
    ----------
    call : CallReadings
        What was read. [see the class]
    """
    a, out = call.bin, []
    if call.area_counter_ha is not None:
        out.append(_share("area_counter", call.area_counter_ha, _COUNTER, ("W", "V")))
    if call.boundary_ha is not None:
        out.append(_share("boundary_area", call.boundary_ha, _OUTLINE))
    if call.driven_ha is not None:
        out.append(_share("area_driven", call.driven_ha, _DRIVEN))
    if call.put_kg is not None:
        sd = fill_sd(call.put_how, call.put_kg, bin_full_kg=call.full_kg)
        out.append(Reading(quantity=f"put:{a}", value=call.put_kg, sd=sd, instrument=call.put_how))
    if call.before_kg is not None:
        out.append(Reading(quantity=f"level_before:{a}", value=call.before_kg, sd=_level_sd(call, call.before_kg)))
    if call.left_kg is not None:
        out.append(Reading(quantity=f"level:{a}", value=call.left_kg, sd=_level_sd(call, call.left_kg), instrument=call.left_how))
    if call.shown_kg is not None:
        out.append(Reading(quantity=f"shown_mass:{a}", value=call.shown_kg, sd=0.5, derived_from=(f"F:{a}", f"turns:{a}")))
    if call.weighed_kg is not None:
        out.append(_share(f"weighed:{a}", call.weighed_kg, _SCALE))
    if call.seen_kg_ha is not None:
        out.append(_share(f"typed_rate:{a}", call.seen_kg_ha, 0.002, (f"rate:{a}",)))
    if call.distance_shown_m is not None and call.distance_taped_m:
        ratio = call.distance_shown_m / call.distance_taped_m
        out.append(Reading(quantity="distance_taped", value=ratio, sd=_TAPE_M / call.distance_taped_m * ratio, instrument="tape"))
    if call.width_taped_m is not None:
        out.append(Reading(quantity="width_tape", value=call.width_taped_m, sd=_WIDTH_TAPE_M, instrument="tape"))
    if call.catch_kg_turn is not None:
        out.append(_share(f"catch_factor:{a}", call.catch_kg_turn, _CATCH))
    return tuple(out)


def _share(quantity: str, value: float, share: float, of: tuple[str, ...] = ()) -> Reading:
    return Reading(quantity=quantity, value=value, sd=share * abs(value), derived_from=of)


def _level_sd(call: CallReadings, level_kg: float) -> float:
    """How well a level is known. [kg]"""
    full = call.full_kg or max((call.put_kg or 0.0) + (call.before_kg or 0.0), level_kg)
    return level_spread(call.left_how, level_kg, full)


def level_spread(how: str, level_kg: float, full_kg: float) -> float:
    """One standard deviation of a level, by how it was seen; common practice. [kg]

    Parameters
    ----------
    how : str
        "glance", "light", "weighed" or "empty". [-]
    level_kg : float
        What was seen. [kg]
    full_kg : float
        What the bin holds when full. [kg]

    Raises
    ------
    InputError
        For another way of seeing.
    """
    if how not in LEVEL_HOW:
        raise InputError(f"'{how}' is no way to see a level", where="how", limit=", ".join(LEVEL_HOW))
    return {"glance": _GLANCE * full_kg, "light": _LIGHT_KG, "weighed": max(5.0, _WEIGHED * level_kg), "empty": _EMPTY_KG}[how]


def answer_call(call: CallReadings, profile: Profile = "si") -> CallAnswer:
    """Likely causes, the next reading to ask for, and the words to say.

    Parameters
    ----------
    call : CallReadings
        As much or as little as the caller reads. [see the class]
    profile : str
        Units of the sentences. [-]
    """
    typed = {"W": call.width_typed_m, f"F:{call.bin}": call.factor_kg_turn}
    known = {k: v for k, v in typed.items() if v is not None}
    outfit = Outfit(key="caller", name="caller's", rows=call.rows, row_spacing_m=call.spacing_m)
    ratios = call_ratios(call)
    misread = _misread(ratios)
    checked = check_readings(
        [r for r in call_readings(call) if not _typed_otherwise(r, ratios) and not (misread and r.quantity.startswith(("put:", "level")))],
        outfit=outfit,
        asked={} if call.asked_kg_ha is None else {call.bin: call.asked_kg_ha},
        typed=known,
        kinds={call.bin: call.kind},
        overlap=(0.01, 0.08),
        profile=profile,
        believe=limit("believe") + _CALL_BELIEVE,
    )
    findings = (*misread, *_slip_findings(ratios), *_dead_findings(call.dead_runs), *checked.findings)
    accused = [f for f in findings if f.state in ("does-not-hold", "doubtful")]
    return CallAnswer(
        ratios=ratios,
        findings=findings,
        likely=tuple(dict.fromkeys(c for f in accused for group in f.suspects for c in group)),
        ask=ask_next(call, ratios, findings),
        say=say(call, ratios, findings, profile),
        never=tuple(dict.fromkeys(f.not_claimed for f in accused if f.not_claimed)),
    )


def call_ratios(call: CallReadings) -> tuple[Ratio, ...]:
    """Numbers that should agree, side by side, with the slips of typing that would part them so.

    Parameters
    ----------
    call : CallReadings
        What was read. [see the class]
    """
    width = call.rows * call.spacing_m if call.rows and call.spacing_m else None
    used = None if call.put_kg is None or call.left_kg is None else (call.before_kg or 0.0) + call.put_kg - call.left_kg
    area, dose = call.area_counter_ha or call.driven_ha or call.boundary_ha, call.seen_kg_ha or call.asked_kg_ha
    used_sd = (
        math.hypot(fill_sd(call.put_how, call.put_kg, bin_full_kg=call.full_kg), _level_sd(call, call.left_kg or 0.0))
        if used is not None and call.put_kg
        else 0.0
    )
    pairs = [
        ("rate seen against rate asked", "rate", call.seen_kg_ha, call.asked_kg_ha, 0.004),
        ("area counter against the outline", "area", call.area_counter_ha, call.boundary_ha, 0.02),
        ("area counter against the ground driven", "area", call.area_counter_ha, call.driven_ha, 0.007),
        ("mass shown against mass weighed", "mass", call.shown_kg, call.weighed_kg, 0.007),
        (
            "used against rate times area",
            "",
            used,
            None if area is None or dose is None else area * dose,
            max(0.02, used_sd / used if used and used > 0 else 0.02),
        ),
        ("distance shown against taped", "distance", call.distance_shown_m, call.distance_taped_m, 0.006),
        ("width typed against taped", "width", call.width_typed_m, call.width_taped_m, 0.003),
        ("width typed against rows times spacing", "width", call.width_typed_m, width, 0.003),
        ("catch against the factor typed", "factor", call.catch_kg_turn, call.factor_kg_turn, 0.02),
    ]
    out = []
    for name, of, above, below, sd in pairs:
        if above is not None and below is not None and above > 0 and below > 0:
            rows = call.rows if name.startswith("width") else None
            out.append(
                Ratio(
                    name=name,
                    off=above / below - 1,
                    sd=sd,
                    slips=typing_slip(below, above, sd=min(sd, 0.2), rows=rows, of=of) if sd < 0.05 else (),
                )
            )
    return tuple(out)


def _typed_otherwise(reading: Reading, ratios: Sequence[Ratio]) -> bool:
    """Whether a reading is so far off, by a known slip, that it must be in another unit: no fault of the machine is sought in it."""
    names = {"area_counter": "area counter", "shown_mass": "mass shown", "distance_taped": "distance shown"}
    start = names.get(reading.quantity.partition(":")[0])
    return start is not None and any(r.name.startswith(start) and r.slips and abs(math.log1p(r.off)) > _OTHER_UNIT for r in ratios)


def _slip_findings(ratios: Sequence[Ratio]) -> tuple[Finding, ...]:
    """Ratios so far off that a slip of typing comes to mind before a fault; the rate itself has its own finding."""
    out = []
    for ratio in ratios:
        far = abs(math.log1p(ratio.off))
        if far < _FAR or not ratio.slips or ratio.name.startswith("rate") or (far < _OTHER_UNIT and ratio.sd > _SHARP):
            continue
        best = ratio.slips[0]
        out.append(
            Finding(
                claim=f"{ratio.name.capitalize()}: off by just {rounded(1 + ratio.off, 3)}. {best.text}",
                state="doubtful",
                evidence=tuple(f"{s.text} would give {rounded(s.ratio, 3)}" for s in ratio.slips[:4]),
                settle_by=best.look,
                confirm_by=best.look,
                not_claimed="Certainty from a ratio alone.",
                about="typing",
            )
        )
    return tuple(out)


def _misread(ratios: Sequence[Ratio]) -> tuple[Finding, ...]:
    """What is used and what rate and area make are so far apart that one of four numbers is misread; no machine is sought behind it."""
    used = next((r for r in ratios if r.name.startswith("used against") and far_off(r)), None)
    if used is None:
        return ()
    return (
        Finding(
            claim=f"These numbers cannot all be right: what is gone is {rounded(1 + used.off)} times what rate and area make. "
            "One of them is misread, in another unit, or counts since another moment.",
            state="doubtful",
            settle_by="Read back what went in, what is left, the rate and the area, each with its unit: since when does the counter count?",
            not_claimed="A meter fault from numbers that cannot all be right.",
            about="numbers",
        ),
    )


def _dead_findings(runs: Sequence[int]) -> tuple[Finding, ...]:
    """Three neighbours and more hang on one head; fewer are each their own."""
    out, numbers = [], sorted(set(runs))
    groups: list[list[int]] = []
    for n in numbers:
        if groups and n == groups[-1][-1] + 1:
            groups[-1].append(n)
        else:
            groups.append([n])
    for group in groups:
        if len(group) >= _NEIGHBOURS:
            out.append(
                Finding(
                    claim=f"Runs {group[0]} to {group[-1]} give nothing: neighbours like these hang on one head: "
                    "it or its primary is plugged.",
                    state="does-not-hold",
                    suspects=(("head",),),
                    place=Place(runs=tuple(group)),
                    settle_by=f"Are {group[0]} to {group[-1]} all of one head, and since when?",
                    worth_stopping=True,
                    confirm_by="Stop the fan, look into that head and its primary hose; dig behind two of its openers.",
                    not_claimed=words("head").never,
                    about=f"runs {group[0]} to {group[-1]}",
                )
            )
        else:
            out += [_dead(n) for n in group]
    return tuple(out)


def _dead(n: int) -> Finding:
    return Finding(
        claim=f"Run {n} gives nothing: a plug in the opener, the hose or the head's outlet.",
        state="does-not-hold",
        suspects=((f"run:{n}",),),
        place=Place(runs=(n,)),
        settle_by=f"Do the runs beside {n} on the same head give? If none does, it is the head.",
        worth_stopping=False,
        confirm_by=words(f"run:{n}").act,
        not_claimed=words(f"run:{n}").never,
        about=f"run {n}",
    )


def likely_text(causes: Sequence[str]) -> tuple[str, ...]:
    """Causes in words, for a list.

    Parameters
    ----------
    causes : sequence of str
        Names such as "factor:A". [-]
    """
    return tuple(dict.fromkeys(on_the_phone(c) + _place(c) for c in causes))


def _place(cause: str) -> str:
    kind, _, where = cause.partition(":")
    return f" (run {where})" if kind == "run" else f" (bin {where})" if kind in OF_BIN and where else ""


def ratio_text(ratio: Ratio) -> str:
    """One ratio as a line. [text]

    Parameters
    ----------
    ratio : Ratio
        From `call_ratios`. [-]
    """
    return apart(ratio)

"""The words of a telephone call: the amounts first, what is most likely, what it may also be, what to do, what to ask next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from evenstand.base.units import Profile, rounded, shown
from evenstand.check.causes import described, prior_odds
from evenstand.model import Finding
from evenstand.reference import default

if TYPE_CHECKING:
    from evenstand.check.calls import CallReadings, Ratio

ODD_Z = 2.0  # a ratio further off than this many of its sds is told as an amount
_ALIKE = " These readings cannot tell it from:"
_VERBS = frozenset({"add", "catch", "compare", "count", "drive", "go", "look", "read", "run", "tape", "weigh", "write"})
_AREA, _DRIVEN, _USED, _SHOWN = (
    "area counter against the outline", "area counter against the ground driven", "used against rate times area",
    "mass shown against mass weighed",
)  # fmt: skip
NOTHING = "Nothing to compare yet: two numbers that should agree are needed."
BEHIND = "A plugged run or swapped streams would not show in them: look behind the tool."


def say(call: CallReadings, ratios: Sequence[Ratio], findings: Sequence[Finding], profile: Profile) -> tuple[str, ...]:
    """Sentences for the caller, in the order they are said.

    Parameters
    ----------
    call : CallReadings
        What was read. [see the class]
    ratios : sequence of Ratio
        Numbers side by side. [share]
    findings : sequence of Finding
        What the check makes of them. [-]
    profile : str
        Units. [-]
    """
    accused = [f for f in findings if f.state in ("does-not-hold", "doubtful")]
    out = [text for r in ratios if stands_out(r) and (text := _amount(call, r, profile))]
    for finding in accused:
        out += _told(finding, profile)
    if not accused:
        out += _quiet(call, ratios, findings)
    if call.thin_stand:
        out += [
            "A thin stand is more often depth, moisture, heat or the seed itself than the rate: the display cannot know.",
            "Dig in the thinnest place: is there seed, how deep, in moist soil? Then count plants in several places.",
        ]
    return tuple(dict.fromkeys(out))


_AGAIN = {
    "distance shown against taped": "Can you drive the taped distance once more, both ways, bins half full?",
    "width typed against taped": "Can you tape the tool once more, first opener to last plus one row?",
    "width typed against rows times spacing": "Can you count the openers once more and tape over ten of them?",
    "catch against the factor typed": "Can you catch once more over more turns, and weigh the empty bag?",
    "area counter against the ground driven": "Can you tape the tool, and drive a taped 100 m?",
}


def stands_out(ratio: Ratio) -> bool:
    """Whether two numbers are further apart than their kind usually is. [-]"""
    return abs(ratio.off) > ODD_Z * ratio.sd


def _amount(call: CallReadings, ratio: Ratio, profile: Profile) -> str:
    """How far apart two numbers are, in what the caller reads. [text]"""
    share = f"{rounded(abs(100 * ratio.off), 1)} %"
    if ratio.name == _USED and call.put_kg is not None and call.left_kg is not None and abs(ratio.off) < 0.5:
        used = (call.before_kg or 0.0) + call.put_kg - call.left_kg
        more = used - used / (1 + ratio.off)
        area, dose = call.area_counter_ha or call.driven_ha or call.boundary_ha, call.seen_kg_ha or call.asked_kg_ha
        side = "more" if more > 0 else "less"
        return (
            f"{shown(used, 'mass', profile)} are gone: {shown(abs(more), 'mass', profile)} {side} than {shown(dose, 'rate', profile)} over "
            f"{shown(area, 'area', profile)} makes, {share}."
        )
    if ratio.name in (_AREA, _DRIVEN) and call.area_counter_ha is not None and abs(ratio.off) < 0.5:
        other = call.boundary_ha if ratio.name == _AREA else call.driven_ha
        what = "the field has" if ratio.name == _AREA else "was driven"
        side = "more" if ratio.off > 0 else "less"
        return f"The counter shows {shown(abs(call.area_counter_ha - (other or 0.0)), 'area', profile)} {side} than {what}, {share}."
    if ratio.name == _SHOWN and call.shown_kg is not None and call.weighed_kg is not None and abs(ratio.off) < 0.5:
        side = "less" if ratio.off < 0 else "more"
        gap = shown(abs(call.shown_kg - call.weighed_kg), "mass", profile)
        return f"The display says {gap} {side} went out than the scale, {share}."
    return ""


def _told(finding: Finding, profile: Profile) -> list[str]:
    """One accused thing: what it is, what it may also be, what to do, whether to stop for it."""
    claim = finding.claim.partition(_ALIKE)[0]
    first = finding.suspects[0][0] if finding.suspects and finding.suspects[0] else ""
    if first.startswith(("fill-doubled", "fill-missed")) and finding.size is not None:
        claim = _fill_claim(first, abs(finding.size.value), profile)
    others = [c for group in finding.suspects for c in group if c != first]
    out = [claim]
    if others:
        out.append(f"It may also be: {'; or '.join(on_the_phone(c) for c in dict.fromkeys(others))}. These numbers cannot part them.")
    if finding.worth_stopping and finding.state == "does-not-hold":
        out.append("Worth stopping for: settle it before the next hectare.")
    return [*out, finding.confirm_by] if finding.confirm_by else out


def _fill_claim(cause: str, size_kg: float, profile: Profile) -> str:
    """A caller speaks of what went in, not of a book: less or more of it than told."""
    mass = shown(10.0 * round(size_kg / 10.0), "mass", profile)
    if cause.startswith("fill-doubled"):
        return (
            f"Most likely about {mass} less went in than told: a ticket shared with another load, product still on the truck, a short fill."
        )
    return f"Most likely about {mass} more went in than told: a fill that nobody wrote down, or product already in the bin."


def on_the_phone(cause: str) -> str:
    """A cause in words that need no book. [text]

    Parameters
    ----------
    cause : str
        Such as "factor:A". [-]
    """
    if cause.startswith("fill-doubled"):
        return "less went in than told"
    if cause.startswith("fill-missed"):
        return "more went in than told"
    return described(cause).partition(" (bin")[0]


def _quiet(call: CallReadings, ratios: Sequence[Ratio], findings: Sequence[Finding]) -> list[str]:
    """Nobody is accused: what is usual, what the numbers cannot know."""
    if not ratios and not findings:
        return [] if call.thin_stand else [NOTHING]
    over = next((r for r in ratios if r.name == _AREA), None)
    if over is not None and stands_out(over):
        return [*_overlap(over.off), BEHIND]
    out = []
    odd = [r for r in ratios if stands_out(r)]
    if odd:
        what = "; ".join(apart(r) for r in odd if not _amount(call, r, "si"))
        if what:
            out.append(f"{what[:1].upper()}{what[1:]}.")
        out.append("That may still be chance with numbers known as they are: measure once more before a setting is changed.")
    elif call.asked_kg_ha is not None and call.seen_kg_ha is not None and len(ratios) == 1:
        out.append("That the display shows what was asked for only means that the motor follows: it weighs nothing.")
    else:
        unsure = any(f.state == "cannot-tell" for f in findings)
        out.append("These numbers agree as far as they go." if not unsure else "These numbers agree, and could still hide a fault.")
    return [*out, BEHIND]


def _overlap(off: float) -> list[str]:
    """A counter above its outline: ground sown twice comes first."""
    bare, shut, odd = default("overlap-no-sections"), default("overlap-sections"), default("overlap-odd-field")

    def span(low: float, high: float) -> str:
        return f"{rounded(100 * low, 0)} to {rounded(100 * high, 0)} %"

    if off < 0:
        return ["A counter below the outline is no overlap: wet spots left out, or width or distance short."]
    text = (
        f"Ground sown twice alone makes {span(shut.low, shut.high)} where sections shut off, {span(bare.low, bare.high)} where they do "
        f"not, {span(odd.low, odd.high)} on odd fields."
    )
    inside = "Do not change width or distance for it." if off <= bare.high else "More than that wants a tape, not a guess."
    return [text, inside]


def ask_next(call: CallReadings, ratios: Sequence[Ratio], findings: Sequence[Finding]) -> str:
    """The one reading that helps most now, as it is asked for.

    Parameters
    ----------
    call : CallReadings
        What was read. [see the class]
    ratios : sequence of Ratio
        Numbers side by side. [share]
    findings : sequence of Finding
        What the check makes of them. [-]
    """
    for finding in findings:
        if finding.state in ("does-not-hold", "doubtful") and finding.settle_by:
            return question(finding.settle_by)
    if call.thin_stand:
        return "How deep is the seed where it is thin, and how many plants stand in a counted length of row?"
    odd = {r.name for r in ratios if stands_out(r)}
    if _AREA in odd:
        if call.width_typed_m is None:
            return "Do sections shut off over sown ground, does the display count only new ground, and which width is typed?"
        if call.rows is None and call.width_taped_m is None:
            return "How many openers, how far apart, or what does a tape over the tool say?"
    again = next((text for name, text in _AGAIN.items() if name in odd), "")
    if again:
        return again
    open_ones = [f for f in findings if f.state == "cannot-tell" and f.settle_by]
    if odd and open_ones:
        return question(_likeliest(open_ones).settle_by)
    if call.asked_kg_ha is None:
        return "What rate was asked for, and which rate and unit does the display hold now?"
    if call.seen_kg_ha is None:
        return "Which rate does the display hold now? Read it digit by digit, with its unit."
    if call.area_counter_ha is None:
        return "What does the area counter read since the last fill, and since when does it count?"
    if call.put_kg is None or call.left_kg is None:
        return "How much went in at the last fill, how is that known, and what is left in the bin?"
    if open_ones:
        return question(_likeliest(open_ones).settle_by)
    return "Nothing more by telephone: dig behind one opener of each stream before the next hectare."


def _likeliest(findings: Sequence[Finding]) -> Finding:
    return max(findings, key=lambda f: sum(prior_odds(c) for group in f.suspects for c in group))


def question(settle_by: str) -> str:
    """'run bin B to the low-level light' as 'Can you run bin B to the low-level light?'. [text]

    Parameters
    ----------
    settle_by : str
        A reading that would settle it. [-]
    """
    text = settle_by.strip()
    if text.endswith("?") or not text:
        return text
    text = text.removesuffix(".")
    if text.lower().startswith("catch test"):
        return f"Can you do a {text[:1].lower()}{text[1:]}, and what does it weigh?"
    first = text.split(" ", 1)[0].lower().strip(",;:")
    if first in _VERBS:
        return f"Can you {text[:1].lower()}{text[1:]}?"
    return f"{text[:1].upper()}{text[1:]}."


def apart(ratio: Ratio) -> str:
    """One ratio as a line. [text]

    Parameters
    ----------
    ratio : Ratio
        From `call_ratios`. [-]
    """
    if not -0.34 < ratio.off < 0.5:
        return f"{ratio.name}: {rounded(1 + ratio.off)} times"
    if round(abs(100 * ratio.off), 1) == 0:
        return f"{ratio.name}: the same (± {rounded(100 * ratio.sd, 1)} %)"
    word = "more" if ratio.off > 0 else "less"
    return f"{ratio.name}: {rounded(abs(100 * ratio.off), 1)} % {word} (± {rounded(100 * ratio.sd, 1)})"


def far_off(ratio: Ratio) -> bool:
    """Whether two numbers are so far apart that one is misread before a machine is at fault. [-]"""
    return abs(math.log1p(ratio.off)) > math.log(1.6)

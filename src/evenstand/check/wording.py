"""What a verdict says, in plain sentences: one finding for each cause found, each thing that holds, each that cannot be told."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from evenstand.base.estimate import Est
from evenstand.base.units import Profile, rounded, shown
from evenstand.check.causes import described, stop_share, words
from evenstand.check.relations import Relation, label
from evenstand.check.runs import into_day
from evenstand.check.slips import typing_slip
from evenstand.check.verdicts import Estimate, Located, Verdict
from evenstand.model import Finding, Place, State
from evenstand.reference.practice import default

_SURE_GAIN = 1.0  # log-evidence beyond the limit from which "doubtful" becomes "does not hold"
_ODD_Z = 2.5
_ROLLER = (0.75, 1.35)  # no lot is lighter or heavier than the last by more: past these it is another roller
_NO_CLOCK_S = 60.0  # an interval that ends sooner comes from readings without a log: its times are unknown
_SMALL_FILL_KG = 0.35  # share of the usual fill below which no missing fill is looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What the sentences need beside the verdict. width_m typed [m]; asked by bin [kg/ha]; kinds: product kind by bin;
    usual_put_kg by bin [kg]; believe: the log-evidence limit that was used [-]; rows: number of openers; bins: letters in use."""

    width_m: float | None = None
    asked: Mapping[str, float] = field(default_factory=dict)
    kinds: Mapping[str, str] = field(default_factory=dict)
    usual_put_kg: Mapping[str, float] = field(default_factory=dict)
    believe: float = 0.0
    rows: int | None = None
    profile: Profile = "si"
    bins: tuple[str, ...] = ()


def findings_from(verdict: Verdict, context: Context) -> tuple[Finding, ...]:
    """Findings in the order they are read: what does not hold, what cannot be told, what holds.

    Parameters
    ----------
    verdict : Verdict
        From `judge`. [-]
    context : Context
        Units and known numbers for the sentences. [-]
    """
    found = [located_finding(f, verdict, context) for f in verdict.found]
    covered = {name for f in verdict.found for name in f.cause_class}
    rest = [f for name in _subjects(verdict) if name not in covered and (f := _quiet_finding(name, verdict, context)) is not None]
    odd = [
        Finding(
            claim=f"The arithmetic of the display does not fit: {text}.",
            state="doubtful",
            evidence=(text,),
            settle_by="read both numbers again",
            about="display",
        )
        for text in verdict.echo_off
    ]
    order = {"does-not-hold": 0, "doubtful": 1, "cannot-tell": 2, "holds": 3}
    return tuple(sorted([*found, *odd, *rest], key=lambda f: order[f.state]))


def _subjects(verdict: Verdict) -> tuple[str, ...]:
    """Causes worth a line of their own when nothing was found."""
    seen = dict.fromkeys(label(v) for v in verdict.system.variants)
    return tuple(n for n in seen if not n.startswith("density"))


def located_finding(found: Located, verdict: Verdict, context: Context) -> Finding:
    """The finding for one cause that was found.

    Parameters
    ----------
    found : Located
        The cause, its class and size. [-]
    verdict : Verdict
        For the evidence. [-]
    context : Context
        Units and known numbers. [-]
    """
    name = label(found.variant)
    plain = words(name)
    size, unit = _size(found, context)
    stop = _worth_stopping(found, context)
    state: State = "does-not-hold" if found.strength > context.believe + _SURE_GAIN else "doubtful"
    claim = _claim(found, context)
    if len(found.cause_class) > 1:
        others = "; or ".join(described(n) for n in found.cause_class[1:])
        claim = f"{claim} These readings cannot tell it from: {others}."
    elif stop is False and name.partition(":")[0] in ("factor", "distance", "width"):
        claim = f"{claim} Small enough to leave for now."
    window = found.window
    return Finding(
        claim=claim,
        state=state,
        suspects=(found.cause_class,),
        size=size,
        size_unit=unit,
        place=Place(since_s=window.from_s, until_s=window.to_s) if window is not None else Place(),
        evidence=_evidence(found, verdict, context.profile),
        settle_by=found.settle_by,
        worth_stopping=stop,
        confirm_by=plain.act,
        not_claimed=plain.never,
        about=_about(name),
        low=size.value - 1.96 * size.sd if size is not None else None,
        high=size.value + 1.96 * size.sd if size is not None else None,
    )


def _about(name: str) -> str:
    kind, _, where = name.partition(":")
    heads = {
        "factor": "bin",
        "density": "bin",
        "lid": "bin",
        "bridge": "bin",
        "fill-missed": "fills",
        "fill-doubled": "fills",
        "slip": "rate",
    }
    return f"{heads[kind]} {where}".strip() if kind in heads else {"overlap": "area", "fixes": "distance"}.get(kind, kind)


def _size(found: Located, context: Context) -> tuple[Est | None, str]:
    kind = label(found.variant).partition(":")[0]
    value, sd = found.size, found.sd
    if kind == "slip":
        ratio = math.exp(value)
        return Est(value=ratio, sd=ratio * sd, basis="computed", source="check"), "ratio"
    if kind.startswith("fill"):
        return Est(value=value, sd=sd, basis="computed", source="check"), "kg"
    if kind == "width" and context.width_m:
        true = context.width_m * math.exp(-value)
        return Est(value=context.width_m - true, sd=true * sd, basis="computed", source="check"), "m"
    return Est(value=value, sd=sd, basis="computed", source="check"), "%"


def _worth_stopping(found: Located, context: Context) -> bool | None:
    kind, _, where = label(found.variant).partition(":")
    if kind in ("bridge", "fan"):
        return True
    if kind in ("factor", "distance", "width", "slip", "lid"):
        return abs(found.size) >= stop_share(context.kinds.get(where, "seed"))
    return False


def _percent(value: float, sd: float) -> str:
    return f"{rounded(abs(value) * 100, 1)} % (± {rounded(sd * 100, 1)})"


def _claim(found: Located, context: Context) -> str:
    kind, _, where = label(found.variant).partition(":")
    value, sd, p = found.size, found.sd, context.profile
    bin_name = f"Bin {where}" if where else "The bin"
    size = _percent(value, sd)
    if kind == "factor" and not _ROLLER[0] < 1 + value < _ROLLER[1]:
        times = rounded(1 + value, 2)
        return f"{bin_name} gives {times} times the mass typed for a turn: look at the roller, the slide and the segments first."
    if kind in _OTHER_CLAIMS:
        return _OTHER_CLAIMS[kind](found, bin_name, size)
    if kind == "factor":
        side, dose = ("more", "much") if value > 0 else ("less", "little")
        return f"{bin_name} gives {size} {side} per turn than typed: so much too {dose} went out."
    if kind == "distance":
        side, dose = ("long", "much") if value > 0 else ("short", "little")
        return f"Distance reads {size} {side}: about that much too {dose} of everything was sown."
    if kind == "width":
        side, dose = ("wider", "much") if value > 0 else ("narrower", "little")
        typed = (
            f"{shown(context.width_m, 'width', p)} is typed; the tool is {shown(context.width_m * math.exp(-value), 'width', p)}"
            if context.width_m
            else f"The typed width is {size} {side} than the tool"
        )
        return f"{typed}: about {size} too {dose} of everything was sown."
    if kind == "slip":
        return _slip_claim(found, where, context)
    if kind == "overlap":
        return f"About {size} of the ground was sown twice beyond the usual: it took product and gave no field area."
    if kind == "density":
        return f"{bin_name}: the bulk density taken for the volume fills is {size} {'low' if value > 0 else 'high'}."
    mass = f"{shown(value, 'mass', p)} (± {shown(sd, 'mass', p)})"
    when = _when(found)
    if kind == "fill-missed":
        return f"{bin_name}: most likely one fill of about {mass} is not on record{when}, not the meter."
    return f"{bin_name}: most likely one fill of about {mass} is on record twice{when}, not the meter."


def _lid_claim(found: Located, bin_name: str, size: str) -> str:
    right = "" if any(n.startswith("factor") for n in found.cause_class) else ", but right in the bag"
    if found.size < 0:
        return f"{bin_name} is light in the field by {size}{right}: look for air leaking at its lid, seal or hose."
    return f"{bin_name} lost {size} more than its meter gave{right}: look for a pile under the cart, a catch door left open."


def _bridge_claim(found: Located, bin_name: str, size: str) -> str:
    return f"{bin_name}: the meter turned, but {size} of what it should have taken did not leave the bin{_when(found)}: a bridge or lumps."


def _fan_claim(found: Located, bin_name: str, size: str) -> str:
    return f"The fan runs {size} {'below' if found.size < 0 else 'above'} its proven speed at work."


def _fixes_claim(found: Located, bin_name: str, size: str) -> str:
    return f"The receiver missed {size} of the way: its distance and area are short by that."


_OTHER_CLAIMS = {"lid": _lid_claim, "bridge": _bridge_claim, "fan": _fan_claim, "fixes": _fixes_claim}


def _slip_claim(found: Located, where: str, context: Context) -> str:
    ratio = math.exp(found.size)
    asked = context.asked.get(where)
    slips = typing_slip(
        1.0 if asked is None else asked, (1.0 if asked is None else asked) * ratio, sd=min(found.sd, 0.05), rows=context.rows
    )
    guess = f" {slips[0].text}" if slips else ""
    now = f": {shown(asked * ratio, 'rate', context.profile)} where {shown(asked, 'rate', context.profile)} was asked" if asked else ""
    name = f"Bin {where}" if where else "The rate"
    return f"{name}: the rate in force is {rounded(ratio, 3)} times the rate asked{now}.{guess}"


def _when(found: Located) -> str:
    window = found.window
    if window is None or window.from_s is None or window.to_s is None:
        return ""
    if window.stop_s is not None and found.variant.startswith("fill-missed"):
        minutes = round((window.stop_s[1] - window.stop_s[0]) / 60)
        return f" (the machine stood {minutes} min {into_day(window.stop_s[0])} with no fill entered)"
    if window.to_s < _NO_CLOCK_S:  # without a log nothing is known of when
        return ""
    return f" {into_day(window.from_s, window.to_s)}"


def _evidence(found: Located, verdict: Verdict, profile: Profile) -> tuple[str, ...]:
    """The relations that speak most for the cause, with what they show."""
    system = verdict.system
    j = system.variants.index(found.variant)
    spoken = []
    for k, relation in enumerate(system.relations):
        load, sd = system.signatures[k, j], math.sqrt(max(system.covariance[k, k], 1e-300))
        if load:
            spoken.append((abs(load * found.size / sd), _shown_residual(relation, float(system.residual[k]), sd, profile)))
    return tuple(text for _, text in sorted(spoken, key=lambda s: -s[0])[:4])


def _shown_residual(relation: Relation, residual: float, sd: float, profile: Profile) -> str:
    if relation.scale == "mass":
        side = "over" if residual >= 0 else "short"
        return f"{relation.text}: {shown(abs(residual), 'mass', profile)} {side} (± {shown(sd, 'mass', profile)})"
    return f"{relation.text}: {rounded(100 * math.expm1(residual), 1)} % (± {rounded(100 * sd, 1)})"


def _quiet_finding(name: str, verdict: Verdict, context: Context) -> Finding | None:
    """What holds, or cannot be told yet, about a cause that was not found."""
    kind, _, where = name.partition(":")
    known = verdict.sizes.get(name)
    if known is None or kind in _NO_LINE:
        return None
    if kind == "fan":
        return _quiet_fan(known, verdict, context)
    if kind == "fill-missed":
        return _quiet_fill(name, where, known, verdict, context)
    small = abs(known.size) <= _ODD_Z * known.sd  # a size that stands out is no good word, even where it is too little to believe
    told = kind == "overlap" or (small and known.bound <= stop_share(context.kinds.get(where, "seed")))
    subject = {
        "factor": f"Bin {where}: mass per turn" if where else "Mass per turn",
        "distance": "Distance",
        "width": "Typed width",
        "overlap": "Area counter against the outline",
        "slip": f"Bin {where}: rate in force" if where else "Rate in force",
    }.get(kind, name)
    if kind == "overlap":
        claim = f"{subject} holds: nothing beyond the usual overlap."
    elif told:
        claim = f"{subject} holds, to within {rounded(100 * known.bound, 1)} %."
    else:
        claim = f"{subject} cannot be told yet: {_may_hide(known)}."
    size = Est(value=known.size, sd=known.sd, basis="computed", source="check") if math.isfinite(known.sd) else None
    return Finding(
        claim=claim,
        state="holds" if told else "cannot-tell",
        suspects=() if told else (_could_hide(name, verdict),),
        size=size,
        settle_by="" if told else verdict.settles.get(name, ""),
        worth_stopping=False if told else None,
        not_claimed="That every row got its share: the mass does not show it." if kind == "factor" and told else "",
        about=_about(name),
        evidence=_relations_about(name, verdict, context.profile),
        low=None if size is None else size.value - 1.96 * size.sd,
        high=None if size is None else size.value + 1.96 * size.sd,
    )


def _quiet_fan(known: Estimate, verdict: Verdict, context: Context) -> Finding:
    told = abs(known.size) <= _ODD_Z * known.sd and known.bound <= default("fan-alarm-low").value
    within = f"to within {rounded(100 * known.bound, 1)} %"
    return Finding(
        claim=f"Fan speed holds, {within} of the proven." if told else f"Fan speed cannot be told yet: {_may_hide(known)}.",
        state="holds" if told else "cannot-tell",
        suspects=() if told else (("fan",),),
        settle_by="" if told else "the puff test: product out of every opener within about 3 s",
        worth_stopping=False if told else None,
        not_claimed=words("fan").never,
        about="fan",
        evidence=_relations_about("fan", verdict, context.profile),
    )


_NO_LINE = ("fill-doubled", "lid", "bridge", "fixes")  # causes that get no line of their own while nothing stands out


def _could_hide(name: str, verdict: Verdict) -> tuple[str, ...]:
    """A cause, and those without a line of their own that look like it."""
    alike = next((group for group in verdict.classes if name in group), ())
    return (name, *(n for n in alike if n != name and n.partition(":")[0] in _NO_LINE))


def _may_hide(known: Estimate) -> str:
    """What could still be wrong, in words."""
    if not math.isfinite(known.sd) or known.bound > 1:
        return "an error of any size could hide in these readings"
    seen = (
        f"it reads {rounded(100 * known.size, 1)} % off (± {rounded(100 * known.sd, 1)}), which may be chance; "
        if abs(known.size) > 1.5 * known.sd
        else ""
    )
    return f"{seen}an error of {math.ceil(known.bound * 100)} % could hide in these readings"


def _relations_about(name: str, verdict: Verdict, profile: Profile) -> tuple[str, ...]:
    system = verdict.system
    columns = [j for j, v in enumerate(system.variants) if label(v) == name]
    spoken = []
    for k, relation in enumerate(system.relations):
        load = max(abs(float(system.signatures[k, j])) for j in columns)
        if load:
            sd = math.sqrt(max(system.covariance[k, k], 1e-300))
            spoken.append((load / sd, _shown_residual(relation, float(system.residual[k]), sd, profile)))
    return tuple(text for _, text in sorted(spoken, key=lambda s: -s[0])[:2])


def _quiet_fill(name: str, where: str, known: Estimate, verdict: Verdict, context: Context) -> Finding:
    told = known.bound <= _SMALL_FILL_KG * context.usual_put_kg.get(where, 2000.0)
    head = f"Fills of bin {where}" if where else "Fills"
    mass = shown(known.bound, "mass", context.profile) if math.isfinite(known.bound) else "any size"
    claim = (
        f"{head} hold: none over {mass} is missing or doubled." if told else f"{head} cannot be told yet: one of {mass} could be missing."
    )
    return Finding(
        claim=claim,
        state="holds" if told else "cannot-tell",
        suspects=() if told else (_could_hide(name, verdict),),
        settle_by="" if told else verdict.settles.get(name, ""),
        worth_stopping=False if told else None,
        about=_about(name),
    )


def sentences(findings: Sequence[Finding]) -> tuple[str, ...]:
    """The claims alone, in order. [-]

    Parameters
    ----------
    findings : sequence of Finding
        From a check. [-]
    """
    return tuple(f.claim for f in findings)

"""What is wrong on paper, in sentences: what is most likely, what else it could be, what speaks for it, what would settle it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from evenstand.base.estimate import Est
from evenstand.base.units import LB_KG, Profile, rounded, shown
from evenstand.check.loading import LoadFault, LoadVerdict
from evenstand.model import Finding
from evenstand.supply.splitting import LoadBalance

_SETTLE = {
    "fill-missed": "Lay the loader's memory, the tickets and the hours of that bin side by side: which stop has no fill?",
    "fill-doubled": "Lay the two entries side by side: one load, or two?",
    "digits": "Read the ticket digit by digit.",
    "unit-slip": "Read the unit on the ticket, and where its decimal point stands.",
    "wrong-lot": "Look at the tags or the ticket in the truck: which lot was it?",
    "delivery-missed": "Ask the supplier for the tickets of that lot.",
    "elsewhere": "Look where that lot may still lie: truck box, hopper, wagon, another bin, spilled.",
}
_NEVER = {
    "fill-missed": "A meter fault from one fill.",
    "fill-doubled": "A meter fault from one fill.",
    "wrong-lot": "What was sown where: only the tags and the ground know.",
}
_TOLD = 2  # of several that explain it alike; the rest is counted
_OWN = frozenset({"fill-missed", "fill-doubled"})


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadNames:
    """How a person calls things. record: a fill or load by its key; job, lot, bin: by key."""

    record: Callable[[str], str]
    job: Callable[[str], str]
    lot: Callable[[str], str]
    bin: Callable[[str], str]
    mass_of: Callable[[str], float | None]


def load_findings(
    verdict: LoadVerdict, balance: LoadBalance, names: LoadNames, *, product: str, profile: Profile = "si"
) -> tuple[Finding, ...]:
    """The verdict of one product as findings.

    Parameters
    ----------
    verdict : LoadVerdict
        From `judge_loads`. [-]
    balance : LoadBalance
        The account as it was written. [kg]
    names : LoadNames
        How a person calls things. [-]
    product : str
        Its name. [-]
    profile : str
        Units of the sentences. [-]

    Returns
    -------
    tuple of Finding
        One for each thing wrong; one that it holds, or cannot be told, where nothing is. [-]
    """
    evidence = account_lines(balance, names, profile)
    out = [_finding(faults, evidence, names, product, profile) for faults in verdict.found]
    if verdict.unexplained:
        more = "What is left does" if out else "The tickets, fills and left-overs do"
        out.append(
            Finding(
                claim=f"{product}: {more} not agree, and no single slip explains it.",
                state="doubtful",
                evidence=evidence,
                settle_by="Weigh what is left in the shed and in the bins, lot by lot, and go through the tickets in order.",
                about=product,
            )
        )
    if out:
        return tuple(out)
    if not verdict.told:
        return (
            Finding(
                claim=f"{product}: nothing to hold the tickets and fills against yet.",
                state="cannot-tell",
                settle_by="Say what is left over of it, by lot; or read the area counter, so that rate times ground speaks for the fills.",
                about=product,
            ),
        )
    return (Finding(claim=f"{product}: tickets, fills and what is left agree.", state="holds", evidence=evidence, about=product),)


def _finding(faults: tuple[LoadFault, ...], evidence: tuple[str, ...], names: LoadNames, product: str, profile: Profile) -> Finding:
    best, rest = faults[0], faults[1:]
    claim = f"{product}: most likely {fault_text(best, names, profile)}."
    if rest:
        told, more = rest[:_TOLD], len(rest) - _TOLD
        claim += f" It could also be that {'; or that '.join(fault_text(f, names, profile) for f in told)}"
        claim += f"; or one of {more} more entries of about that mass." if more > 0 else "."
    suspects = tuple(dict.fromkeys(f"{f.kind}:{f.place.partition(':')[2]}" for f in faults if f.kind in _OWN and ":" in f.place))
    return Finding(
        claim=claim,
        state="doubtful" if rest else "does-not-hold",
        suspects=(suspects,) if len(suspects) == len(faults) else (),
        size=Est(value=best.size_kg, sd=best.size_sd_kg, basis="computed", source="loads"),
        size_unit="kg",
        evidence=evidence,
        settle_by=_SETTLE[best.kind],
        confirm_by=_SETTLE[rest[0].kind] if rest and rest[0].kind != best.kind else "",
        not_claimed=_NEVER.get(best.kind, ""),
        about=product,
        low=best.size_kg - 1.96 * best.size_sd_kg,
        high=best.size_kg + 1.96 * best.size_sd_kg,
    )


def fault_text(fault: LoadFault, names: LoadNames, profile: Profile) -> str:
    """One thing wrong as half a sentence. [text]

    Parameters
    ----------
    fault : LoadFault
        From `judge_loads`. [-]
    names : LoadNames
        How a person calls things. [-]
    profile : str
        Units. [-]
    """
    size = f"about {_mass(fault.size_kg, profile)} (± {_mass(1.96 * fault.size_sd_kg, profile)})"
    on = f" on {names.job(fault.job)}" if fault.job else ""
    which = names.record(fault.record) if fault.record else ""
    if fault.kind == "fill-missed":
        return f"a fill of {size} into {names.bin(fault.place)}{on} is not entered"
    if fault.kind == "fill-doubled":
        return f"{which} is entered twice"
    if fault.kind == "digits":
        return f"digits changed places in {which}: {_mass(float(fault.should_be), profile)} would agree (the two differ by a multiple of 9)"
    if fault.kind == "unit-slip":
        return f"the mass of {which} is {_slip(fault, names)}: {_mass(float(fault.should_be), profile)} would agree"
    if fault.kind == "wrong-lot":
        return f"{which} came out of {_lot_or_ticket(fault.should_be, names)}, not where it is written"
    if fault.kind == "delivery-missed":
        return f"a delivery of {size}{_of_lot(fault.place, names)} is not entered"
    return f"{size}{_of_lot(fault.place, names)} is neither in a bin nor where somebody looked"


def _slip(fault: LoadFault, names: LoadNames) -> str:
    """Which slip it is, by the ratio of what is written to what would agree."""
    was = names.mass_of(fault.record)
    ratio = was / float(fault.should_be) if was else math.nan
    if math.isclose(ratio, 1 / LB_KG, rel_tol=0.01):
        return "in pounds, not kilograms"
    return "in kilograms, not pounds" if math.isclose(ratio, LB_KG, rel_tol=0.01) else "ten times off"


def _of_lot(lot: str, names: LoadNames) -> str:
    return f" of {names.lot(lot)}" if lot else ""


def _lot_or_ticket(key: str, names: LoadNames) -> str:
    named = names.record(key)
    return named if named else names.lot(key)


def _mass(value_kg: float, profile: Profile) -> str:
    """No more figures than it is good for."""
    step = 10.0 if abs(value_kg) >= 500 else 1.0
    return shown(step * round(value_kg / step), "mass", profile) if math.isfinite(value_kg) else rounded(value_kg)


def account_lines(balance: LoadBalance, names: LoadNames, profile: Profile) -> tuple[str, ...]:
    """What the account rests on: sums as they are written, and the readings that stand out. [text]

    Parameters
    ----------
    balance : LoadBalance
        As written. [kg]
    names : LoadNames
        How a person calls things. [-]
    profile : str
        Units. [-]
    """
    sums: dict[str, float] = {}
    for s in balance.moved.seen:
        what = balance.moved.flows[s.weights[0][0]].what
        sums[what] = sums.get(what, 0.0) + s.at_kg
    words = (("came", "came"), ("fill", "filled into bins"), ("sown", "sown by rate and ground"), ("stock", "left by what was looked at"))
    out = ["as written: " + ", ".join(f"{_mass(sums[k], profile)} {word}" for k, word in words if k in sums)] if sums else []
    for text, record, value, made, _ in balance.odd[:3]:
        called = names.record(record) or text
        out.append(f"{called}: {_mass(value, profile)} written, the rest of the account says {_mass(made, profile)}")
    if balance.dof > 0 and balance.p < 0.05:
        out.append(f"records kept without a slip are this far apart {_seldom(balance.p)}")
    return tuple(out)


def _seldom(p: float) -> str:
    if p >= 0.01:
        return f"in about {100 * p:.0f} of 100 accounts"
    return f"in about {1000 * p:.0f} of 1,000 accounts" if p >= 0.001 else "in less than 1 of 1,000 accounts"

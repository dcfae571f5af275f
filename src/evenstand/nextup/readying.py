"""What is still to be proven on the outfit: its commissioning items that are open, due again or outside their band."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from evenstand.model import Step
from evenstand.nextup.facts import Facts, Saying, cost
from evenstand.nextup.proving import proving_steps
from evenstand.nextup.unproven import OpenItem

_MOST = 3
_RANK = {"outside": 52.0, "due": 41.0}


def readying_steps(facts: Facts) -> Iterator[Step]:
    """One step each for what is outside its band or due again; one for all that was never measured, before the first hectare.

    What `proving` asks for already (a catch, the tape, the distance, the fan, the dig) is left to it.
    """
    if facts.outfit is None or facts.finished:
        return
    asked = {s.key for s in proving_steps(facts)}
    mine = [p for p in facts.proofs or () if not _asked(p, facts, asked)]
    letters = {b.bin for b in facts.plan.bins}
    for item in mine:
        if item.state in _RANK and (not item.bins or letters & set(item.bins)):
            yield _single(facts, item)
    never = [p for p in mine if p.state == "open" and (not p.bins or letters & set(p.bins))]
    if never and not facts.begun:
        yield _all(facts, never)


def _asked(item: OpenItem, facts: Facts, asked: set[str]) -> bool:
    """Whether a step of `proving` asks for the same now."""
    if item.step == "catch":
        return any(f"catch:{facts.job.key}:{letter}" in asked for letter in item.bins)
    return bool(item.step) and any(key.startswith(f"{item.step}:") for key in asked)


def _single(facts: Facts, item: OpenItem) -> Step:
    say = Saying(facts.profile)
    touched = [b for b in facts.plan.bins if b.bin in item.bins]
    share, usual = (item.share, False) if item.share is not None else (item.usual_high, True)
    return Step(
        key=f"prove:{item.outfit}:{item.key}",
        do=f"{item.title}: {item.do}",
        because=_because(item, say),
        cost_of_waiting=cost(facts, share, touched, usual=usual, say=say),
        confirm_by="Enter what was found on the outfit's record.",
        closes_when="it is measured, inside its band",
        family="readying",
        rank=_RANK[item.state] + (15.0 if item.state == "outside" and item.share is not None else 0.0),
        about=item.title,
        evidence=(f"since {item.since[:10]}",) if item.since else (),
        stated=say.stated,
    )


def _because(item: OpenItem, say: Saying) -> str:
    """Why it is open; outside its band: what was found, and what it should be."""
    found, spec = item.found, item.item
    if item.state != "outside" or found is None:
        return item.because
    what = say(found.value, spec.quantity) if spec.quantity and found.value is not None else found.text
    low, high = spec.low, spec.high
    if not spec.quantity:
        band = " or ".join(spec.good)
    elif low is not None and high is not None:
        band = say(low, spec.quantity) if low == high else f"{say(low, spec.quantity)} to {say(high, spec.quantity)}"
    elif low is not None:
        band = f"at least {say(low, spec.quantity)}"
    else:
        band = f"at most {say(high, spec.quantity)}" if high is not None else ""
    if not what or not band:
        return item.because
    when = f" on {found.at[:10]}" if found.at else ""
    return f"Found{when}: {what}. It should be {band}" + (f"; {spec.band_from}." if spec.band_from else ".")


def _all(facts: Facts, items: Sequence[OpenItem]) -> Step:
    say = Saying(facts.profile)
    first = ", ".join(i.title for i in items[:_MOST])
    rest = len(items) - _MOST
    more = f", and {say.count(rest)} more" if rest > 0 else ""
    shares = [i.usual_high for i in items if i.usual_high is not None]
    letters = {b for i in items if i.usual_high is not None for b in i.bins}
    touched = [b for b in facts.plan.bins if b.bin in letters] or list(facts.plan.bins)
    name = facts.outfit.name if facts.outfit is not None else "the outfit"
    never = f"{say.count(len(items))} {'thing was' if len(items) == 1 else 'things were'} never measured"
    return Step(
        key=f"prove:{items[0].outfit}",
        do=f"Prove the outfit before the first hectare: {never}.",
        because=f"{name[:1].upper()}{name[1:]}: {first}{more}.",
        cost_of_waiting=cost(facts, max(shares), touched, usual=True, say=say) if shares else cost(facts, None, touched, say=say),
        confirm_by="Go through the outfit's record line by line; each closes by itself.",
        closes_when="every item of the record is measured, or sowing has begun",
        family="readying",
        rank=34.0,
        about="proving the outfit",
        stated=say.stated,
    )

"""Alarms and rates to set before another product goes into a bin."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from evenstand.model import BinPlan, CardLine, Cost, Step
from evenstand.nextup.facts import Facts, Saying, cost


def setting_steps(facts: Facts) -> Iterator[Step]:
    """One step a job for the bins that are to hold another product than they held, with the alarm limits of the value card. None once it is
    being sown."""
    if facts.finished or facts.begun:
        return
    changed = []
    for b in facts.plan.bins:
        lines = [x for x in facts.plan.card if x.role == "alarm" and x.bin == b.bin and x.value is not None]
        if lines and facts.held.get(b.bin, "") != b.product:
            changed.append((b, lines))
    if changed:
        yield _step(facts, changed)


def _step(facts: Facts, changed: list[tuple[BinPlan, list[CardLine]]]) -> Step:
    say = Saying(facts.profile)
    values = "; ".join(
        f"{b.bin}, {facts.product_name(b.product)}: {', '.join(f'{_short(x)} {say(x.value or 0.0, x.quantity)}' for x in lines)}"
        for b, lines in changed
    )
    held = [f"{b.bin} held {facts.product_name(facts.held[b.bin])}" for b, _ in changed if facts.held.get(b.bin)]
    new = [b.bin for b, _ in changed if not facts.held.get(b.bin)]
    why = [f"Bin {', '.join(held)} before."] if held else []
    why += [f"No earlier fill of {_bins(new)} is on record."] if new else []
    return Step(
        key=f"alarm:{facts.job.key}:{_mark([x for _, lines in changed for x in lines])}",
        do=f"Set the alarms of {_bins([b.bin for b, _ in changed])} for this job.",
        because=f"{values}. {' '.join(why)}",
        cost_of_waiting=_unwarned(facts, [b for b, _ in changed], say),
        confirm_by="Read all back from the display, digit by digit, then say that they are set.",
        closes_when="somebody says that they are set, or sowing has begun; another limit opens it again",
        family="setting",
        rank=42.0,
        about="alarms",
        evidence=tuple(dict.fromkeys(x.why for _, lines in changed for x in lines if x.why and not any(c.isdigit() for c in x.why))),
        by_word=True,
        stated=say.stated,
    )


def _bins(letters: list[str]) -> str:
    """'bin A', 'bins A and B', 'bins A, B and C'. [text]"""
    if len(letters) == 1:
        return f"bin {letters[0]}"
    return f"bins {', '.join(letters[:-1])} and {letters[-1]}"


def _short(line: CardLine) -> str:
    return {"low-alarm": "low bin", "off-alarm": "rate off"}.get(line.key.partition(":")[0], line.label)


def _mark(lines: list[CardLine]) -> str:
    """Changes with the limits, so that a step that was called done opens again."""
    return hashlib.sha256("|".join(f"{x.key}={x.value:.4g}" for x in lines).encode()).hexdigest()[:6]


def _unwarned(facts: Facts, bins: list[BinPlan], say: Saying) -> Cost:
    """What an empty bin costs that no alarm tells of: all of its rate over one pass, at whose end it is seen; the dearest of the bins."""
    one = facts.one_pass_ha()
    if one is None:
        return Cost(text="A bin that runs empty unseen sows nothing until somebody looks.")
    quiet = Saying(facts.profile)

    def stake(b: BinPlan) -> float:
        found = cost(facts, 1.0, [b], say=quiet, over_ha=one)
        return found.money if found.money is not None else found.kg or 0.0

    worst = max(bins, key=stake)
    found = cost(facts, 1.0, [worst], say=say, over_ha=one, lost=f"of {facts.product_name(worst.product)} not sown")
    return Cost(kg=found.kg, ha=found.ha, money=found.money, text=f"An empty bin {worst.bin} seen a pass later: {found.text}")

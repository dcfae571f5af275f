"""Proofs of an outfit that are open: never made, gone stale, or outside their band; each with the reason and what it may cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from evenstand.nextup.commissioning import Item, Line, Measured, Moment, ProofFacts, record_lines
from evenstand.reference import default

OpenState = Literal["outside", "due", "open"]
ORDER: tuple[OpenState, ...] = ("outside", "due", "open")
_BIN_ITEMS = ("catch", "roller", "lid", "door")
_OF_ALL = ("width", "typed-width", "distance", "puff", "fan-idle", "fan-load", "fan-lift", "heads")
_USUAL = {"catch": "factor-between-lots", "roller": "factor-between-lots", "distance": "wheel-yard-to-field"}
_SAID_BY = {"catch": "catch", "width": "tape", "distance": "distance", "fan-load": "fan", "stream": "dig"}


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenItem:
    """One proof that is open.

    key: of the item, such as "distance" or "catch:B"; outfit: key; title, do: as a person calls it, and how it is done; because: why it
    is open, a sentence; state: "outside" its band, "due" again, "open" never measured; since: when it went stale, ISO, "" where nobody
    knows; moment: "yard" before the first hectare, "first-metres" where only the soil shows it; bins: letters it touches, () where it
    touches none; share: dose error it means, as measured, signed [-], None where nothing was measured or it moves no dose; found: what
    was measured last, None where nothing was; usual_low, usual_high: how far off it usually is while nobody has measured it [-], None
    where no figure is known; item: with its band; step: beginning of the key of the step of `nextup.proving` that asks for the same, ""
    where there is none.
    """

    key: str
    outfit: str
    title: str
    do: str
    because: str
    state: OpenState
    since: str = ""
    moment: Moment = "yard"
    bins: tuple[str, ...] = ()
    share: float | None = None
    found: Measured | None = None
    usual_low: float | None = None
    usual_high: float | None = None
    item: Item
    step: str = ""


def open_items(facts: ProofFacts) -> tuple[OpenItem, ...]:
    """Every open proof of an outfit: outside its band first, then due again, then never measured; the yard before the first metres.

    Parameters
    ----------
    facts : ProofFacts
        The outfit and all that was measured on it. [metric]

    Returns
    -------
    tuple of OpenItem
        Empty where everything is proven. [-]
    """
    found = [_open_item(line, facts) for line in record_lines(facts) if line.state in ORDER]
    return tuple(sorted(found, key=lambda x: (ORDER.index(x.state), x.moment != "yard")))


def _open_item(line: Line, facts: ProofFacts) -> OpenItem:
    item, state = line.item, _state(line)
    kind, _, letter = item.key.partition(":")
    usual = default(_USUAL[kind]) if kind in _USUAL else None
    return OpenItem(
        key=item.key,
        outfit=facts.outfit.key,
        title=item.title,
        do=item.how,
        because=_because(line),
        state=state,
        since=line.since,
        moment=item.moment,
        bins=(letter,) if kind in _BIN_ITEMS else tuple(b.letter for b in facts.outfit.bins) if kind in _OF_ALL else (),
        share=_share(line, facts) if state == "outside" else None,
        found=line.latest,
        usual_low=usual.low if usual else None,
        usual_high=usual.high if usual else None,
        item=item,
        step=_SAID_BY.get(kind, ""),
    )


def _state(line: Line) -> OpenState:
    return "outside" if line.state == "outside" else "due" if line.state == "due" else "open"


def _because(line: Line) -> str:
    if line.state == "open":
        return "Never measured on this outfit."
    when = f" on {line.latest.at[:10]}" if line.latest is not None and line.latest.at else ""
    if line.state == "due":
        return f"Measured{when}; since then: {line.due}." if line.since else f"{line.due[:1].upper()}{line.due[1:]}."
    return f"Found{when} outside its band; {line.item.band_from}." if line.item.band_from else f"Found{when} outside its band."


def _share(line: Line, facts: ProofFacts) -> float | None:
    """The dose error that a measured value means: true dose over asked, less one. None where it moves no dose. [-]"""
    kind, _, letter = line.item.key.partition(":")
    value = line.latest.value if line.latest is not None else None
    if value is None or value <= 0:
        return None
    if kind == "distance":
        return value - 1  # counted over taped: counted long, sown thick
    if kind == "catch" and facts.factors.get(letter):
        return value / facts.factors[letter] - 1
    if kind == "typed-width":
        taped = next((m.value for m in reversed(list(facts.measured)) if m.item == "width" and m.value), None)
        true = taped or facts.outfit.width_m
        return value / true - 1 if true else None
    return None

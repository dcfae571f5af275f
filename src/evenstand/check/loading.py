"""What is wrong on paper: a fill missing or entered twice, digits that changed places, a wrong lot, found by the account of the loads.

Each suspicion is an edited set of records: one fill less, one more, one with its digits turned, one out of another lot. The account is
solved for each; the one that agrees best, its prior odds and the size it needs weighed in, is named. Others that agree nearly as well are
named with it. Then that edit is taken as done and the rest is looked at again.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from evenstand.base.units import LB_KG
from evenstand.model import Fill, Load
from evenstand.reference.figures import figure
from evenstand.solve.portions import Portions
from evenstand.supply.movements import InBin, Movements, Sown
from evenstand.supply.splitting import solved

LoadFaultKind = Literal["fill-missed", "fill-doubled", "digits", "unit-slip", "wrong-lot", "delivery-missed", "elsewhere"]
MOST_FAULTS = 3
MOST_ALIKE = 24
"""Explanations that are kept of one thing wrong: a dozen fills of one mass may each have come out of the wrong lot."""
_ALIKE = 1.92  # half the 95 % point of chi-square on one degree of freedom
_TWIN = 0.01  # a fill entered twice has the same mass; one typed again from memory nearly so
_TWIN_LOAD = 0.001
_FEEL_SD = 3.0  # a turned number nearer to the first than this many sds would never be seen
_ADDED = "added"


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadFault:
    """One thing wrong on paper. record: key of the fill or load, "" where it is one that is missing; place: bin as "outfit:bin", lot, or
    ""; size_kg, size_sd_kg: of what is missing, or by how much the record is off [kg]; should_be: what the record should say, as text of
    the edit: a mass in kg, a lot or a ticket; job: the field; log_gain: how much better the account is with it [natural logarithm]."""

    kind: LoadFaultKind
    record: str
    place: str
    size_kg: float
    size_sd_kg: float
    should_be: str = ""
    job: str = ""
    log_gain: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadVerdict:
    """What the account of one product says. found: for each thing wrong, the faults that would explain it, likeliest first;
    unexplained: it does not agree and nothing of the list explains it; told: whether anything could be checked at all; chi2, dof, p: of the
    account as it was written."""

    product: str
    found: tuple[tuple[LoadFault, ...], ...]
    unexplained: bool
    told: bool
    chi2: float
    dof: int
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Records:
    product: str
    loads: tuple[Load, ...]
    fills: tuple[Fill, ...]
    sown: tuple[Sown, ...]
    in_bins: tuple[InBin, ...]

    def solved(self) -> tuple[Movements, Portions | None]:
        return solved(self.product, self.loads, self.fills, sown=self.sown, in_bins=self.in_bins)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edit:
    fault: LoadFault
    records: _Records
    chance: float
    prior_sd_kg: float = 0.0


def judge_loads(
    product: str, loads: Sequence[Load], fills: Sequence[Fill], *, sown: Sequence[Sown] = (), in_bins: Sequence[InBin] = ()
) -> LoadVerdict | None:
    """Hold the records of a product against one another and name what is most likely wrong with them.

    Parameters
    ----------
    product : str
        Key. [-]
    loads : sequence of Load
        All loads. [kg]
    fills : sequence of Fill
        All fills. [kg]
    sown : sequence of Sown
        Dose times ground by bin and job, where known. [kg]
    in_bins : sequence of InBin
        Looks into bins. [kg]

    Returns
    -------
    LoadVerdict or None
        None where nothing of the product is on record. [kg]
    """
    records = _Records(
        product=product,
        loads=tuple(x for x in loads if x.product == product),
        fills=tuple(f for f in fills if f.product == product),
        sown=tuple(sown),
        in_bins=tuple(in_bins),
    )
    _, first = records.solved()
    if first is None:
        return None
    records, found = _same_ticket(records)
    if found:
        _, again = records.solved()
        first = again or first
    now, state = records, first
    while len(found) < MOST_FAULTS and state.dof > 0 and state.p < 0.05:
        alike, gain = _best(_ranked(now, state))
        if not alike or gain < _limit("believe"):
            break
        best = alike[0][0]
        found.append(tuple(replace(e.fault, log_gain=g) for e, g in alike))
        now = best.records
        _, after = now.solved()
        if after is None:
            break
        state = after
    unexplained = state.dof > 0 and state.p < _limit("misfit")
    return LoadVerdict(
        product=product, found=tuple(found), unexplained=unexplained, told=first.dof > 0, chi2=first.chi2, dof=first.dof, p=first.p
    )


def _same_ticket(records: _Records) -> tuple[_Records, list[tuple[LoadFault, ...]]]:
    """A ticket number that stands on two deliveries needs no account to be seen; the later one is left out of it."""
    first: dict[str, Load] = {}
    found: list[tuple[LoadFault, ...]] = []
    twice: dict[str, str] = {}
    for x in (x for x in records.loads if x.kind == "delivery" and x.ticket and not x.part_of):
        if x.ticket in first:
            twice[x.key] = first[x.ticket].key
            size = x.mass_kg or 0.0
            found.append((LoadFault(kind="fill-doubled", record=x.key, place=x.lot, size_kg=size, size_sd_kg=x.sd_kg or 0.0),))
        else:
            first[x.ticket] = x
    if not twice:
        return records, []
    fills = tuple(replace(f, load=twice.get(f.load, f.load)) for f in records.fills)
    loads = tuple(replace(x, part_of=twice.get(x.part_of, x.part_of)) for x in records.loads if x.key not in twice)
    return replace(records, loads=loads, fills=fills), found


def _limit(name: str) -> float:
    return figure("loads", "limits", name).value


def _ranked(records: _Records, state: Portions) -> list[tuple[_Edit, float]]:
    """Edits by how much they gain, prior odds and sizes weighed in."""
    out = []
    for edit in _edits(records):
        moved, made = edit.records.solved()
        if made is None:
            continue
        size, sd = _size(edit, moved, made)
        if size <= 0:
            continue
        gain = 0.5 * (state.chi2 - made.chi2) + math.log(edit.chance)
        if edit.prior_sd_kg:
            gain += math.log(max(min(sd, edit.prior_sd_kg), 1e-9) / edit.prior_sd_kg)
        fault = replace(edit.fault, size_kg=size, size_sd_kg=sd)
        out.append((replace(edit, fault=fault), gain))
    return sorted(out, key=lambda e: -e[1])


def _size(edit: _Edit, moved: Movements, made: Portions) -> tuple[float, float]:
    """What is missing, by the account with it in; for an edit without a free mass, what it turns by. [kg]"""
    if not edit.prior_sd_kg:
        return edit.fault.size_kg, edit.fault.size_sd_kg
    mine = [float(f.record == _ADDED and f.what in ("fill", "came", "gone")) for f in moved.flows]
    total = sum(w * float(x) for w, x in zip(mine, made.values, strict=True))
    variance = sum(a * b * float(made.covariance[i, j]) for i, a in enumerate(mine) for j, b in enumerate(mine) if a and b)
    return total, math.sqrt(max(variance, 0.0))


def _best(ranked: Sequence[tuple[_Edit, float]]) -> tuple[list[tuple[_Edit, float]], float]:
    """The likeliest kind of slip with all its records that explain it alike, then other kinds nearly as likely; and its gain over all of
    its records: which fill it was may be open while what happened is not."""
    kinds: dict[str, list[tuple[_Edit, float]]] = {}
    for edit, gain in ranked:
        kinds.setdefault(edit.fault.kind, []).append((edit, gain))
    totals = {kind: edits[0][1] + math.log(sum(math.exp(g - edits[0][1]) for _, g in edits)) for kind, edits in kinds.items()}
    if not totals:
        return [], -math.inf
    order = sorted(totals, key=lambda kind: -totals[kind])
    near = [kind for kind in order if totals[kind] >= totals[order[0]] - _ALIKE]
    alike = [(e, g) for kind in near for e, g in kinds[kind] if g >= kinds[kind][0][1] - _ALIKE]
    return _distinct(alike), totals[order[0]]


def _distinct(edits: Sequence[tuple[_Edit, float]]) -> list[tuple[_Edit, float]]:
    """One of each kind and place, the likeliest."""
    seen: set[tuple[str, str, str]] = set()
    out = []
    for edit, gain in edits:
        f = edit.fault
        key = (f.kind, f.record, f.place if not f.record else f.should_be)
        if key not in seen:
            seen.add(key)
            out.append((edit, gain))
    return out[:MOST_ALIKE]


# suspicions ---------------------------------------------------------------------------------------------------------
def _edits(records: _Records) -> Iterator[_Edit]:
    for kind, make in (
        ("fill-missed", _missed),
        ("fill-doubled", _doubled),
        ("digits", _digits),
        ("unit-slip", _units),
        ("wrong-lot", _other_lots),
        ("delivery-missed", _undelivered),
        ("elsewhere", _elsewhere),
    ):
        edits = list(make(records))
        share = figure("loads", "chance", kind).value / max(1, len(edits))
        yield from (replace(e, chance=share) for e in edits)


def _usual(masses: Sequence[float]) -> float:
    known = sorted(m for m in masses if m > 0)
    return known[len(known) // 2] if known else 0.0


def _missed(records: _Records) -> Iterator[_Edit]:
    usual = _usual([f.put_kg for f in records.fills])
    if not usual:
        return
    sd = usual * figure("loads", "size", "fill").value
    for outfit, letter, job, lot in dict.fromkeys((f.outfit, f.bin, f.job, f.lot) for f in records.fills):
        at = max(f.at for f in records.fills if (f.outfit, f.bin, f.job) == (outfit, letter, job))
        extra = Fill(
            key=_ADDED, outfit=outfit, bin=letter, product=records.product, lot=lot, job=job, at=at, put_kg=usual, put_sd_kg=sd, how="share"
        )
        fault = LoadFault(kind="fill-missed", record="", place=f"{outfit}:{letter}", size_kg=0.0, size_sd_kg=0.0, job=job)
        yield _Edit(fault=fault, records=replace(records, fills=(*records.fills, extra)), chance=1.0, prior_sd_kg=sd)


def _doubled(records: _Records) -> Iterator[_Edit]:
    for n, f in enumerate(records.fills):
        twins = [g for g in records.fills[:n] if (g.outfit, g.bin, g.job) == (f.outfit, f.bin, f.job)]
        if any(abs(g.put_kg - f.put_kg) <= _TWIN * f.put_kg for g in twins):
            fault = LoadFault(
                kind="fill-doubled", record=f.key, place=f"{f.outfit}:{f.bin}", size_kg=f.put_kg, size_sd_kg=f.put_sd_kg, job=f.job
            )
            yield _Edit(fault=fault, records=replace(records, fills=(*records.fills[:n], *records.fills[n + 1 :])), chance=1.0)
    for n, x in enumerate(records.loads):
        came = [y for y in records.loads[:n] if y.kind == x.kind == "delivery" and y.mass_kg is not None and x.mass_kg is not None]
        twins_of = [y for y in came if (x.ticket and x.ticket == y.ticket) or abs(x.mass_kg - y.mass_kg) <= _TWIN_LOAD * x.mass_kg]  # type: ignore[operator]
        if twins_of:
            fault = LoadFault(kind="fill-doubled", record=x.key, place=x.lot, size_kg=x.mass_kg or 0.0, size_sd_kg=x.sd_kg or 0.0)
            rest = tuple(y for y in records.loads if y.key != x.key)
            fills = tuple(replace(f, load=twins_of[-1].key) if f.load == x.key else f for f in records.fills)
            yield _Edit(fault=fault, records=replace(records, loads=rest, fills=fills), chance=1.0)


def swapped_masses(mass_kg: float) -> tuple[float, ...]:
    """Numbers that come of exchanging two digits of a mass, as it is written in whole kilograms. [kg]

    Parameters
    ----------
    mass_kg : float
        As it was written down. [kg]
    """
    text = f"{mass_kg:.0f}"
    out = []
    for i in range(len(text)):
        for j in range(i + 1, len(text)):
            letters = list(text)
            letters[i], letters[j] = letters[j], letters[i]
            made = "".join(letters)
            if made != text and made[0] != "0":
                out.append(float(made))
    return tuple(dict.fromkeys(out))


def _digits(records: _Records) -> Iterator[_Edit]:
    yield from _retyped(records, "digits", swapped_masses)


def _units(records: _Records) -> Iterator[_Edit]:
    yield from _retyped(records, "unit-slip", lambda m: (m * LB_KG, m / LB_KG, m * 10.0, m / 10.0))


def _retyped(records: _Records, kind: LoadFaultKind, others: object) -> Iterator[_Edit]:
    """Every mass that was typed, as it would be with another number in its place."""
    assert callable(others)
    for n, f in enumerate(records.fills):
        for mass in others(f.put_kg):
            if abs(mass - f.put_kg) > _FEEL_SD * f.put_sd_kg:
                fault = _changed(kind, f.key, f"{f.outfit}:{f.bin}", f.put_kg, mass, f.put_sd_kg, f.job)
                other = replace(f, put_kg=mass, put_sd_kg=f.put_sd_kg * min(mass / f.put_kg, 1.0))
                yield _Edit(fault=fault, records=replace(records, fills=(*records.fills[:n], other, *records.fills[n + 1 :])), chance=1.0)
    for n, x in enumerate(records.loads):
        if x.mass_kg is None or x.kind == "fill":
            continue
        sd = x.sd_kg or 0.0
        for mass in others(x.mass_kg):
            if abs(mass - x.mass_kg) > _FEEL_SD * sd:
                fault = _changed(kind, x.key, x.lot, x.mass_kg, mass, sd, x.job)
                changed = replace(x, mass_kg=mass)
                yield _Edit(fault=fault, records=replace(records, loads=(*records.loads[:n], changed, *records.loads[n + 1 :])), chance=1.0)


def _changed(kind: LoadFaultKind, key: str, place: str, was: float, becomes: float, sd: float, job: str) -> LoadFault:
    return LoadFault(kind=kind, record=key, place=place, size_kg=abs(becomes - was), size_sd_kg=sd, should_be=f"{becomes:.0f}", job=job)


def _other_lots(records: _Records) -> Iterator[_Edit]:
    """A fill out of another lot, or another ticket, than is written."""
    lots = list(dict.fromkeys(x.lot for x in records.loads if x.kind in ("delivery", "yard") and x.lot))
    tickets = [x for x in records.loads if x.kind in ("delivery", "truck")]
    for n, f in enumerate(records.fills):
        rest = (records.fills[:n], records.fills[n + 1 :])
        if f.lot:
            for lot in lots:
                if lot != f.lot:
                    yield _moved(records, rest, f, replace(f, lot=lot, load=""), lot)
        if f.load:
            for x in tickets:
                if x.key != f.load and (not f.lot or x.lot in ("", f.lot)):
                    yield _moved(records, rest, f, replace(f, load=x.key), x.key)


def _moved(records: _Records, rest: tuple[tuple[Fill, ...], tuple[Fill, ...]], was: Fill, becomes: Fill, to: str) -> _Edit:
    fault = LoadFault(
        kind="wrong-lot",
        record=was.key,
        place=f"{was.outfit}:{was.bin}",
        size_kg=was.put_kg,
        size_sd_kg=was.put_sd_kg,
        should_be=to,
        job=was.job,
    )
    return _Edit(fault=fault, records=replace(records, fills=(*rest[0], becomes, *rest[1])), chance=1.0)


def _undelivered(records: _Records) -> Iterator[_Edit]:
    came = [x for x in records.loads if x.kind == "delivery" and not x.part_of]
    usual = _usual([x.mass_kg or 0.0 for x in came])
    if not usual:
        return
    sd = usual * figure("loads", "size", "delivery").value
    for lot in dict.fromkeys(x.lot for x in came):
        at = max(x.at for x in came if x.lot == lot)
        extra = Load(key=_ADDED, kind="delivery", product=records.product, lot=lot, mass_kg=usual, sd_kg=sd, at=at)
        fault = LoadFault(kind="delivery-missed", record="", place=lot, size_kg=0.0, size_sd_kg=0.0)
        yield _Edit(fault=fault, records=replace(records, loads=(*records.loads, extra)), chance=1.0, prior_sd_kg=sd)


def _elsewhere(records: _Records) -> Iterator[_Edit]:
    """Product that is neither in a bin nor where somebody looked."""
    usual = _usual([f.put_kg for f in records.fills]) or _usual([x.mass_kg or 0.0 for x in records.loads])
    if not usual:
        return
    sd = usual * figure("loads", "size", "fill").value
    for lot in dict.fromkeys(x.lot for x in records.loads if x.kind in ("delivery", "yard")):
        extra = Load(key=_ADDED, kind="return", product=records.product, lot=lot, mass_kg=usual, sd_kg=sd)
        fault = LoadFault(kind="elsewhere", record="", place=lot, size_kg=0.0, size_sd_kg=0.0)
        yield _Edit(fault=fault, records=replace(records, loads=(*records.loads, extra)), chance=1.0, prior_sd_kg=sd)

"""Heads and hoses of an outfit: what each carries, how unlike its hoses are, and how long a plug takes to show."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from evenstand.base.errors import MissingError, RangeError, require_range
from evenstand.base.worked import worked
from evenstand.machine.across import head_balance
from evenstand.machine.delays import transport_lag
from evenstand.machine.metering import mass_flow
from evenstand.model import Head, Outfit

LIKE_FOR_LIKE = (
    "Unequal hoses can be deliberate: the maker may balance a bend or a far wing with them. Do not level them; replace like for like, "
    "same length and bore."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadLoad:
    """What one head gets and gives.

    letter: of the head; stream: None not known; segment: of the meter, None not known; outlets: of the head; open_runs: of these with
    an open run; share: of the stream's product [-]; row_ratio: dose of its rows over the mean row [-]; solids_kg_s: through its
    primary [kg/s]; run_kg_s: through each of its open runs [kg/s]; air_kg_s: through its primary, None if no air flow is given [kg/s];
    loading: product per air in the primary, None without air [kg/kg]; when_one_shut: what an open run gets more when one more of
    this head is shut or plugged, infinite for a lone run [-].
    """

    letter: str
    stream: str | None
    segment: int | None
    outlets: int
    open_runs: int
    share: float
    row_ratio: float
    solids_kg_s: float
    run_kg_s: float
    air_kg_s: float | None
    loading: float | None
    when_one_shut: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamLoad:
    """What the heads of one stream carry.

    stream: None if heads name none; heads: in the outfit's order; total_kg_s: product of the stream [kg/s]; open_runs: of all its heads;
    worst: dose of the best fed row over the worst fed, less one [-]; loading: highest product per air of a primary, None without air
    [kg/kg]; notes: what was taken for granted, in sentences.
    """

    stream: str | None
    heads: tuple[HeadLoad, ...]
    total_kg_s: float
    open_runs: int
    worst: float
    loading: float | None
    notes: tuple[str, ...]

    def head(self, letter: str) -> HeadLoad:
        """The load of one head; `KeyError` if it carries nothing."""
        for load in self.heads:
            if load.letter == letter:
                return load
        raise KeyError(letter)


@dataclass(frozen=True, slots=True, kw_only=True)
class HoseSpread:
    """How unlike the hoses of one head are.

    letter: of the head; known: runs with a length; unknown: runs without; longest_m, shortest_m, mean_m: [m]; spread: longest less
    shortest, over the mean [-]; cv: standard deviation over the mean, divisor n - 1, None for one hose [-]; longest_run, shortest_run:
    opener numbers; late_s: how much later product leaves the longest than the shortest, None without an air speed [s]; note.
    """

    letter: str
    known: int
    unknown: int
    longest_m: float
    shortest_m: float
    mean_m: float
    spread: float
    cv: float | None
    longest_run: int
    shortest_run: int
    late_s: float | None
    note: str = LIKE_FOR_LIKE


def open_runs(outfit: Outfit, letter: str) -> int:
    """Runs of a head that are written down and not shut; its outlets if none of its runs is written down.

    Working: runs of the head that are not shut, counted.

    Parameters
    ----------
    outfit : Outfit
        With heads, and runs where known. [-]
    letter : str
        Of the head. [-]

    Returns
    -------
    int
        Open runs. [-]

    Raises
    ------
    MissingError
        If there is no such head.

    References
    ----------
    definition: runs written down less runs shut.
    """
    mine = [run for run in outfit.runs if run.head == letter]
    return sum(not run.shut for run in mine) if mine else written_head(outfit, letter).outlets


def head_loads(
    outfit: Outfit,
    rate_kg_ha: float,
    speed_m_s: float,
    *,
    stream: str | None = None,
    width_m: float | None = None,
    air_kg_s: float | Mapping[str, float] | None = None,
    segment_gives: Mapping[int, float] | None = None,
) -> StreamLoad:
    """Product through each primary and each run of one stream.

    Parameters
    ----------
    outfit : Outfit
        With its heads; runs tell which outlets are open, catches per head what each is given. [-]
    rate_kg_ha : float
        Rate of all products of this stream together. [kg/ha]
    speed_m_s : float
        Ground speed. [m/s]
    stream : str or None
        Key of the stream; None: the only one the heads name. [-]
    width_m : float or None
        Width the meters work with; None: the width typed for the rate, else the best known. [m]
    air_kg_s : float, mapping or None
        Air of all primaries of the stream, taken as shared evenly, or of each head by its letter. [kg/s]
    segment_gives : mapping of int to float, or None
        What a segment gives, in any unit, by its number; None: by the heads' catches if each has one, else all the same. [any]

    Returns
    -------
    StreamLoad
        Loads of the heads that have an open run. [units in the field names]

    Raises
    ------
    MissingError
        If there are no heads, no width, or several streams and none is chosen.
    RangeError
        If a rate, speed or width is out of range, or a segment gives nothing.
    """
    heads, key = _heads_of(outfit, stream)
    width = width_m if width_m is not None else outfit.widths.rate_m if outfit.widths.rate_m is not None else outfit.width_m
    if width is None:
        raise MissingError("no working width is known", where="width_m", cure="Tape it, or give rows and row spacing.")
    total = mass_flow(rate_kg_ha, speed_m_s, width)
    open_ = {h.letter: open_runs(outfit, h.letter) for h in heads}
    fed = [h for h in heads if open_[h.letter] > 0]
    if not fed:
        raise RangeError("every run is shut", where=f"stream {key or ''}".strip(), cure="Open the runs, or leave the stream out.")
    caught = [h.caught_kg for h in fed if h.caught_kg is not None]
    weighed = segment_gives is None and len(caught) == len(fed)
    gives = caught if weighed else _gives(fed, open_, segment_gives)
    balance = head_balance([open_[h.letter] for h in fed], gives, flow_kg_s=total)
    air = _air_of(fed, air_kg_s)
    assert balance.load_kg_s is not None
    loads = tuple(
        HeadLoad(
            letter=h.letter,
            stream=h.stream,
            segment=h.segment,
            outlets=h.outlets,
            open_runs=open_[h.letter],
            share=balance.share[i],
            row_ratio=balance.row_ratio[i],
            solids_kg_s=balance.load_kg_s[i],
            run_kg_s=balance.load_kg_s[i] / open_[h.letter],
            air_kg_s=air[i],
            loading=_over(balance.load_kg_s[i], air[i]),
            when_one_shut=balance.when_one_shut[i],
        )
        for i, h in enumerate(fed)
    )
    return StreamLoad(
        stream=key,
        heads=loads,
        total_kg_s=total,
        open_runs=sum(open_.values()),
        worst=balance.worst,
        loading=None if air_kg_s is None else max(h.loading for h in loads if h.loading is not None),
        notes=_load_notes(outfit, heads, open_, air_kg_s, known=weighed or segment_gives is not None),
    )


def hose_spread(outfit: Outfit, *, air_speed_m_s: float | None = None, slip: float = 0.8) -> tuple[HoseSpread, ...]:
    """How unlike the hoses of each head are; heads without a known length are left out.

    Parameters
    ----------
    outfit : Outfit
        With runs and their hose lengths. [m]
    air_speed_m_s : float or None
        Speed of the air in the hoses, to tell how much later the longest delivers. [m/s]
    slip : float
        Speed of the product over that of the air. [-]

    Returns
    -------
    tuple of HoseSpread
        In the order of the heads. [units in the field names]

    Raises
    ------
    RangeError
        If a length or speed is not above 0.
    """
    letters = dict.fromkeys([*(h.letter for h in outfit.heads), *(r.head for r in outfit.runs)])
    spreads = []
    for letter in letters:
        mine = [run for run in outfit.runs if run.head == letter]
        lengths = [(run.hose_m, run.number) for run in mine if run.hose_m is not None]
        if lengths:
            spreads.append(_spread(letter, lengths, len(mine) - len(lengths), air_speed_m_s, slip))
    return tuple(spreads)


def _spread(letter: str, lengths: Sequence[tuple[float, int]], unknown: int, air_speed_m_s: float | None, slip: float) -> HoseSpread:
    for length, number in lengths:
        require_range(f"hose_m of run {number}", length, 0, math.inf, low_open=True, high_open=True, unit="m")
    (shortest, shortest_run), (longest, longest_run) = min(lengths), max(lengths, key=lambda entry: (entry[0], -entry[1]))
    n = len(lengths)
    mean = sum(length for length, _ in lengths) / n
    squares = sum((length - mean) ** 2 for length, _ in lengths)
    late = None
    if air_speed_m_s is not None:
        late = transport_lag(longest, air_speed_m_s, slip=slip) - transport_lag(shortest, air_speed_m_s, slip=slip)
    return HoseSpread(
        letter=letter,
        known=n,
        unknown=unknown,
        longest_m=longest,
        shortest_m=shortest,
        mean_m=mean,
        spread=(longest - shortest) / mean,
        cv=math.sqrt(squares / (n - 1)) / mean if n > 1 else None,
        longest_run=longest_run,
        shortest_run=shortest_run,
        late_s=late,
    )


@worked(formula="pi / 4 * bore_m**2 * length_m * bulk_kg_m3", source="definition", where="cylinder x bulk density")
def hose_mass(length_m: float, bore_m: float, bulk_kg_m3: float) -> float:
    """Product that a hose holds when it is packed full.

    Parameters
    ----------
    length_m : float
        Length. [m]
    bore_m : float
        Inner diameter. [m]
    bulk_kg_m3 : float
        Bulk density of the product. [kg/m³]

    Returns
    -------
    float
        Mass. [kg]

    Raises
    ------
    RangeError
        If an argument is not above 0.

    Examples
    --------
    10 m of 64 mm with grain of 750 kg/m³:

    >>> round(hose_mass(10, 0.064, 750), 1)
    24.1
    """
    for name, value, unit in (("length_m", length_m, "m"), ("bore_m", bore_m, "m"), ("bulk_kg_m3", bulk_kg_m3, "kg/m³")):
        require_range(name, value, 0, math.inf, low_open=True, high_open=True, unit=unit)
    return math.pi / 4 * bore_m**2 * length_m * bulk_kg_m3


@worked(formula="pi / 4 * bore_m**2 * length_m * bulk_kg_m3 / flow_kg_s", source="definition", where="mass it holds / flow")
def plug_fill_time(length_m: float, bore_m: float, bulk_kg_m3: float, flow_kg_s: float) -> float:
    """Time until a primary plugged at its head has filled back to the meter; until then the mass balance sees nothing.

    Parameters
    ----------
    length_m : float
        Length of the primary. [m]
    bore_m : float
        Inner diameter. [m]
    bulk_kg_m3 : float
        Bulk density of the product. [kg/m³]
    flow_kg_s : float
        Product through this primary before it plugged. [kg/s]

    Returns
    -------
    float
        Time. [s]

    Raises
    ------
    RangeError
        If an argument is not above 0.

    Examples
    --------
    10 m of 64 mm at 230 kg/ha, 7.6 km/h, an eighth of 16.256 m: about four minutes.

    >>> round(plug_fill_time(10, 0.064, 750, 230 * 7.6 / 3.6 * 16.256 / 1e4 / 8) / 60, 1)
    4.1
    """
    require_range("flow_kg_s", flow_kg_s, 0, math.inf, low_open=True, high_open=True, unit="kg/s")
    return hose_mass(length_m, bore_m, bulk_kg_m3) / flow_kg_s


def written_head(outfit: Outfit, letter: str) -> Head:
    """The head of that letter.

    Parameters
    ----------
    outfit : Outfit
        With heads. [-]
    letter : str
        Of the head. [-]

    Returns
    -------
    Head
        As written down. [-]

    Raises
    ------
    MissingError
        Listing the heads there are.
    """
    for head in outfit.heads:
        if head.letter == letter:
            return head
    known = ", ".join(h.letter for h in outfit.heads) or "none yet"
    raise MissingError(f"no head {letter}", where="run map", limit=f"heads: {known}", cure="Write the head down first.")


def _heads_of(outfit: Outfit, stream: str | None) -> tuple[tuple[Head, ...], str | None]:
    """Heads of a stream, and its key."""
    if not outfit.heads:
        raise MissingError("no heads are written down", where="run map", cure="Walk the primaries and note each head and its outlets.")
    streams = list(dict.fromkeys(h.stream for h in outfit.heads))
    if stream is None and len(streams) > 1:
        known = ", ".join(str(s) for s in streams)
        raise MissingError("the heads belong to several streams", where="stream", limit=known, cure="Name one of them.")
    key = streams[0] if stream is None else stream
    heads = tuple(h for h in outfit.heads if h.stream == key)
    if not heads:
        raise MissingError(f"no head is on the stream {stream}", where="stream", cure=f"Known: {', '.join(str(s) for s in streams)}.")
    return heads, key


def _gives(heads: Sequence[Head], open_: Mapping[str, int], segment_gives: Mapping[int, float] | None) -> list[float]:
    """What each head is given: its segment's, shared by open runs where several heads hang on one segment."""
    on: dict[int, int] = {}
    for h in heads:
        if h.segment is not None:
            on[h.segment] = on.get(h.segment, 0) + open_[h.letter]
    gives = []
    for h in heads:
        if h.segment is None:
            gives.append(1.0)
            continue
        if segment_gives is not None and h.segment not in segment_gives:
            raise MissingError(f"nothing is said of segment {h.segment}", where="segment_gives", cure="Give every segment or none.")
        whole = 1.0 if segment_gives is None else float(segment_gives[h.segment])
        gives.append(whole * open_[h.letter] / on[h.segment])
    return gives


def _air_of(heads: Sequence[Head], air_kg_s: float | Mapping[str, float] | None) -> list[float | None]:
    if air_kg_s is None:
        return [None] * len(heads)
    if isinstance(air_kg_s, Mapping):
        lacking = [h.letter for h in heads if h.letter not in air_kg_s]
        if lacking:
            raise MissingError(f"no air flow for head {', '.join(lacking)}", where="air_kg_s", cure="Give every head, or one for all.")
        flows = [float(air_kg_s[h.letter]) for h in heads]
    else:
        flows = [float(air_kg_s) / len(heads)] * len(heads)
    for flow in flows:
        require_range("air_kg_s", flow, 0, math.inf, low_open=True, high_open=True, unit="kg/s")
    return list(flows)


def _over(solids: float, air: float | None) -> float | None:
    return None if air is None else solids / air


def _load_notes(
    outfit: Outfit,
    heads: Sequence[Head],
    open_: Mapping[str, int],
    air_kg_s: float | Mapping[str, float] | None,
    *,
    known: bool,
) -> tuple[str, ...]:
    notes = []
    if not known and len(heads) > 1:
        notes.append("All segments are taken to give the same: catch each head over the same turns to know.")
    shared = {h.segment for h in heads if h.segment is not None and sum(g.segment == h.segment for g in heads) > 1}
    for number in sorted(shared if not known else ()):
        letters = ", ".join(h.letter for h in heads if h.segment == number)
        notes.append(f"Heads {letters} hang on segment {number}: they are taken to share it by their open runs.")
    unknown = [h.letter for h in heads if h.segment is None]
    if unknown and not known and len(heads) > 1:
        notes.append(f"The segment of head {', '.join(unknown)} is not written down: it is taken to have one of its own.")
    for h in heads:
        if open_[h.letter] == 0:
            notes.append(f"Every run of head {h.letter} is shut: its segment must be shut too, or its product backs up.")
    if isinstance(air_kg_s, int | float) and len(heads) > 1:
        notes.append("The air is taken to split evenly over the primaries; a loaded primary gets less.")
    if any(not any(r.head == h.letter for r in outfit.runs) for h in heads):
        notes.append("Heads without written runs are counted with all their outlets open.")
    return tuple(notes)

"""Whether the run map of an outfit holds together: heads, outlets, openers, sensors, offsets, segments and what is shut."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

from evenstand.base.estimate import Est
from evenstand.base.units import Profile, shown
from evenstand.machine.across import head_balance
from evenstand.machine.runs import open_runs
from evenstand.model import Finding, Head, Outfit, Place, Run
from evenstand.model.finding import State
from evenstand.reference import figure

_OFFSET_M = 0.02  # offsets are taped to the nearest centimetre or two


def check_run_map(outfit: Outfit, *, profile: Profile = "si") -> tuple[Finding, ...]:
    """Every fault, gap and oddity of a run map, the worst first; one finding that it holds if there is none.

    Parameters
    ----------
    outfit : Outfit
        With heads, runs, streams, bins and sections as far as they are known. [-]
    profile : str
        Units in the sentences. [-]

    Returns
    -------
    tuple of Finding
        `does-not-hold`: the map contradicts itself; `doubtful`: true maps look so now and then; `cannot-tell`: something is not
        written down. `about` names the kind, `suspects` the heads and runs, `settle_by` what to look at. [-]
    """
    if not outfit.runs:
        return (
            _finding(
                "cannot-tell",
                "no-runs",
                "No runs are written down, so nothing can be said of heads, sensors or plugs.",
                "Walk from each head to its openers and note number, head, outlet and sensor.",
            ),
        )
    found: list[Finding] = []
    for look in _LOOKS:
        found += look(outfit, profile)
    if not any(f.state in ("does-not-hold", "doubtful") for f in found):
        found.append(_all_well(outfit))
    order = {"does-not-hold": 0, "doubtful": 1, "cannot-tell": 2, "holds": 3}
    return tuple(sorted(found, key=lambda f: order[f.state]))


def _finding(
    state: State,
    about: str,
    claim: str,
    settle_by: str = "",
    *,
    heads: Iterable[str] = (),
    runs: Iterable[int] = (),
    size: float | None = None,
    not_claimed: str = "",
) -> Finding:
    numbers = tuple(dict.fromkeys(runs))
    suspects = [*(f"head:{letter}" for letter in dict.fromkeys(heads)), *(f"run:{number}" for number in numbers)]
    return Finding(
        claim=claim,
        state=state,
        suspects=(tuple(suspects),) if suspects else (),
        size=None if size is None else Est(value=size, basis="computed"),
        place=Place(runs=numbers),
        settle_by=settle_by,
        about=f"run-map:{about}",
        not_claimed=not_claimed,
    )


def _all_well(outfit: Outfit) -> Finding:
    openers, heads = {r.number for r in outfit.runs}, {r.head for r in outfit.runs}
    sensors = [r.sensor for r in outfit.runs if r.sensor is not None]
    return _finding(
        "holds",
        "holds",
        f"The run map holds together: {len(openers)} openers, {len(outfit.runs)} runs, {len(heads)} heads, {len(sensors)} sensors.",
        not_claimed="It shows that the map does not contradict itself, not that the hoses lie as it says: walk them once.",
    )


def _listed(items: Iterable[object], most: int = 8) -> str:
    every = [str(item) for item in items]
    return ", ".join(every[:most]) + (f" and {len(every) - most} more" if len(every) > most else "")


def _stream(outfit: Outfit, letter: str) -> str | None:
    return next((h.stream for h in outfit.heads if h.letter == letter), None)


def _by_stream(outfit: Outfit) -> dict[str | None, list[Run]]:
    parts: dict[str | None, list[Run]] = {}
    for run in outfit.runs:
        parts.setdefault(_stream(outfit, run.head), []).append(run)
    return parts


def _heads(outfit: Outfit, profile: Profile) -> list[Finding]:
    """Heads written twice, runs on heads that do not exist, heads on streams that do not exist."""
    found = []
    twice = [letter for letter, n in Counter(h.letter for h in outfit.heads).items() if n > 1]
    if twice:
        found.append(
            _finding(
                "does-not-hold", "head-twice", f"Head {_listed(twice)} is written down twice.", "Give each its own letter.", heads=twice
            )
        )
    known = {h.letter for h in outfit.heads}
    lost = [r for r in outfit.runs if r.head not in known]
    if lost:
        letters = sorted({r.head for r in lost})
        found.append(
            _finding(
                "does-not-hold",
                "head-unknown",
                f"Runs {_listed(r.number for r in lost)} hang on head {_listed(letters)}, which is not written down.",
                "Write the head down, or follow those hoses back.",
                heads=letters,
                runs=(r.number for r in lost),
            )
        )
    streams = {s.key for s in outfit.streams}
    astray = [h.letter for h in outfit.heads if h.stream is not None and h.stream not in streams]
    if astray:
        found.append(
            _finding(
                "does-not-hold", "stream-unknown", f"Head {_listed(astray)} is on a stream that the outfit does not have.",
                "Correct the stream of the head, or add the stream.", heads=astray,
            )
        )  # fmt: skip
    none = [h.letter for h in outfit.heads if h.stream is None]
    if none and len(outfit.streams) > 1:
        found.append(
            _finding("cannot-tell", "stream-missing", f"The stream of head {_listed(none)} is not written down.",
                     "Follow its primary to the cart.", heads=none)
        )  # fmt: skip
    return found


def _outlets(outfit: Outfit, profile: Profile) -> list[Finding]:
    """Outlet numbers within the head's, each once; outlets nobody has written a run for."""
    found = []
    for head in outfit.heads:
        mine = [r for r in outfit.runs if r.head == head.letter]
        beyond = [r for r in mine if not 1 <= r.outlet <= head.outlets]
        if beyond:
            found.append(
                _finding(
                    "does-not-hold",
                    "outlet-beyond",
                    f"Head {head.letter} has {head.outlets} outlets, but run {_listed(r.number for r in beyond)} "
                    f"is on outlet {_listed(r.outlet for r in beyond)}.",
                    "Count the outlets of the head and follow the hose.",
                    heads=(head.letter,),
                    runs=(r.number for r in beyond),
                )
            )
        counts = Counter(r.outlet for r in mine)
        for outlet in sorted(number for number, n in counts.items() if n > 1):
            both = [r.number for r in mine if r.outlet == outlet]
            found.append(
                _finding(
                    "does-not-hold", "outlet-twice", f"Outlet {outlet} of head {head.letter} is given to runs {_listed(both)}.",
                    "Follow both hoses back to the head.", heads=(head.letter,), runs=both,
                )
            )  # fmt: skip
        bare = [n for n in range(1, head.outlets + 1) if n not in counts]
        if bare:
            found.append(
                _finding(
                    "cannot-tell",
                    "outlet-bare",
                    f"No run is written down for outlet {_listed(bare)} of head {head.letter}.",
                    "Look: is it capped, or is a hose missing in the map? An open outlet blows product out.",
                    heads=(head.letter,),
                )
            )
    return found


def _openers(outfit: Outfit, profile: Profile) -> list[Finding]:
    """One run of a stream per opener; numbers without gaps; as many as the outfit has rows; every stream at every opener."""
    found = []
    for key, runs in _by_stream(outfit).items():
        counts = Counter(r.number for r in runs)
        twice = sorted(number for number, n in counts.items() if n > 1)
        if twice:
            name = f" of stream {key}" if key else ""
            found.append(
                _finding(
                    "doubtful", "opener-twice", f"Two runs{name} end in opener {_listed(twice)}, which then gets double.",
                    "Look at that opener: one of the numbers is likely wrong.", runs=twice,
                )
            )  # fmt: skip
    numbers = sorted({r.number for r in outfit.runs})
    gaps = sorted(set(range(1, max(numbers) + 1)) - set(numbers))
    if gaps:
        found.append(
            _finding("doubtful", "opener-missing", f"No run is written down for opener {_listed(gaps)}, though {max(numbers)} is.",
                     "Count the openers from the left as seen from the seat.", runs=gaps)
        )  # fmt: skip
    below = [n for n in numbers if n < 1]
    if below:
        found.append(
            _finding("does-not-hold", "opener-number", f"Opener {_listed(below)} is below 1.", "Count from 1 at the left.", runs=below)
        )
    if outfit.rows is not None and not gaps and len(numbers) != outfit.rows:
        found.append(
            _finding(
                "does-not-hold",
                "rows",
                f"The outfit has {outfit.rows} rows, the run map {len(numbers)} openers.",
                "Count the openers, and correct the one that is wrong.",
            )
        )
    return found


def _sensors(outfit: Outfit, profile: Profile) -> list[Finding]:
    """Sensor numbers, each once; runs without one among runs with one."""
    found = []
    counts = Counter(r.sensor for r in outfit.runs if r.sensor is not None)
    for sensor in sorted(number for number, n in counts.items() if n > 1):
        both = [r.number for r in outfit.runs if r.sensor == sensor]
        found.append(
            _finding(
                "does-not-hold", "sensor-twice", f"Sensor {sensor} is given to runs {_listed(both)}: an alarm would not say which.",
                "Block one run with the fan on and see which number the cab shows.", runs=both,
            )
        )  # fmt: skip
    for runs in _by_stream(outfit).values():
        blind = [r.number for r in runs if r.sensor is None]
        if blind and len(blind) < len(runs):
            found.append(
                _finding("cannot-tell", "sensor-missing", f"No sensor is written down for run {_listed(blind)}.",
                         "A plug there shows only by digging: note the sensor, or that there is none.", runs=blind)
            )  # fmt: skip
    return found


def _offsets(outfit: Outfit, profile: Profile) -> list[Finding]:
    """Openers stand in the order of their numbers, evenly, and where both streams say they do."""
    found = []
    places: dict[int, list[Run]] = {}
    for run in outfit.runs:
        places.setdefault(run.number, []).append(run)
    apart = [n for n, runs in places.items() if max(r.offset_m for r in runs) - min(r.offset_m for r in runs) > _OFFSET_M]
    if apart:
        found.append(
            _finding("does-not-hold", "offset-two", f"Two runs put opener {_listed(sorted(apart))} at different places.",
                     "Tape its place once.", runs=sorted(apart))
        )  # fmt: skip
    across = [(n, places[n][0].offset_m) for n in sorted(places)]
    wrong = [b[0] for a, b in pairwise(across) if b[1] <= a[1]]
    if wrong:
        found.append(
            _finding("does-not-hold", "offset-order", f"Opener {_listed(wrong)} does not stand to the right of the one before it.",
                     "Numbers count from the left as seen from the seat: check number and place.", runs=wrong)
        )  # fmt: skip
    elif outfit.row_spacing_m is not None:
        steps = [(b[0], b[1] - a[1], b[0] - a[0]) for a, b in pairwise(across)]
        odd = [n for n, step, count in steps if abs(step - count * outfit.row_spacing_m) > _OFFSET_M]
        if odd:
            found.append(
                _finding(
                    "doubtful", "offset-spacing",
                    f"Opener {_listed(odd)} does not stand {shown(outfit.row_spacing_m, 'spacing', profile)} from the one before it.",
                    "Tape between those two openers.", runs=odd,
                )
            )  # fmt: skip
    return found


def _segments(outfit: Outfit, profile: Profile) -> list[Finding]:
    """Segments not written down, shared, or beyond what the meters have."""
    found = []
    none = [h.letter for h in outfit.heads if h.segment is None]
    if none:
        found.append(
            _finding("cannot-tell", "segment-missing", f"The meter segment of head {_listed(none)} is not written down.",
                     "Turn one segment by hand and see which primary it feeds.", heads=none)
        )  # fmt: skip
    shared: dict[tuple[str | None, int], list[str]] = {}
    for h in outfit.heads:
        if h.segment is not None:
            shared.setdefault((h.stream, h.segment), []).append(h.letter)
    for (_, segment), letters in sorted(shared.items(), key=lambda entry: entry[0][1]):
        if len(letters) > 1:
            found.append(
                _finding("doubtful", "segment-shared", f"Heads {_listed(letters)} are all on segment {segment}.",
                         "Follow both primaries to the meter.", heads=letters)
            )  # fmt: skip
    for b in outfit.bins:
        if b.meter.segments is None:
            continue
        mine = [h for h in outfit.heads if h.stream == b.stream and h.segment is not None]
        beyond = [h.letter for h in mine if h.segment is not None and not 1 <= h.segment <= b.meter.segments]
        if beyond:
            found.append(
                _finding("does-not-hold", "segment-beyond",
                         f"The meter of bin {b.letter} has {b.meter.segments} segments, head {_listed(beyond)} is on one beyond.",
                         "Count the segments of the meter.", heads=beyond)
            )  # fmt: skip
    return found


def _shut(outfit: Outfit, profile: Profile) -> list[Finding]:
    """Shut runs: siblings get more; a head all of whose runs are shut backs up; the width in work is less."""
    found = []
    for head in outfit.heads:
        mine = [r for r in outfit.runs if r.head == head.letter]
        shut = [r.number for r in mine if r.shut]
        left = len(mine) - len(shut)
        if shut and left == 0:
            found.append(
                _finding("doubtful", "head-shut", f"Every run of head {head.letter} is shut.",
                         "Shut its segment too, or its primary fills up.", heads=(head.letter,))
            )  # fmt: skip
        elif shut:
            more = len(shut) / left
            found.append(
                _finding(
                    "doubtful", "run-shut",
                    f"Run {_listed(shut)} of head {head.letter} is shut: its open runs get {more:.0%} more unless the segment gives less.",
                    "Bag an open run of that head beside one of another.", heads=(head.letter,), runs=shut, size=more,
                )
            )  # fmt: skip
    return found


def _balance(outfit: Outfit, profile: Profile) -> list[Finding]:
    """Heads of one stream with different numbers of open outlets, each on a segment of its own."""
    found = []
    for key in dict.fromkeys(h.stream for h in outfit.heads):
        heads = [h for h in outfit.heads if h.stream == key and h.outlets > 0 and open_runs(outfit, h.letter) > 0]
        if len(heads) > 1 and all(h.caught_kg for h in heads):
            found += _weighed(outfit, heads)
            continue
        segments = [h.segment for h in heads if h.segment is not None]
        if len(heads) < 2 or len(set(segments)) != len(segments):
            continue
        fed = {h.letter: open_runs(outfit, h.letter) for h in heads}
        outlets = list(fed.values())
        if len(set(outlets)) > 1:
            balance = head_balance(outlets)
            most = [letter for letter, n in fed.items() if n == min(outlets)]
            found.append(
                _finding(
                    "doubtful",
                    "head-balance",
                    f"Heads have {_listed(sorted(set(outlets)))} open outlets: on equal segments the rows of head {_listed(most)} get "
                    f"{balance.worst:.0%} more than the poorest.",
                    "Catch one turn of each segment apart, or bag one run of each head.",
                    heads=most,
                    size=balance.worst,
                )
            )
    return found


def _weighed(outfit: Outfit, heads: Sequence[Head]) -> list[Finding]:
    """Heads whose catches over the same turns do not suit their open runs, by the published limit for outlets."""
    balance = head_balance([open_runs(outfit, h.letter) for h in heads], [h.caught_kg or 0.0 for h in heads])
    limit = figure("thresholds", "evenness", "outlets-seed-code").value
    off = [(h.letter, ratio - 1) for h, ratio in zip(heads, balance.row_ratio, strict=True) if abs(ratio - 1) > limit]
    if not off:
        return []
    words = ", ".join(f"head {letter} {more:+.0%}" for letter, more in off)
    return [
        _finding(
            "does-not-hold",
            "head-balance",
            f"By the catches, rows against the mean row: {words}; a code quoted second-hand allows {limit:.0%}.",
            "Catch those heads once more; then look at segments, seals and primaries.",
            heads=(letter for letter, _ in off),
            size=max((more for _, more in off), key=abs),
        )
    ]


def _lengths(outfit: Outfit, profile: Profile) -> list[Finding]:
    without = [r.number for r in outfit.runs if r.hose_m is None]
    if not without or len(without) == len(outfit.runs):
        return []
    return [
        _finding("cannot-tell", "hose-missing", f"The hose of run {_listed(without)} has no length.",
                 "Tape it when it is next off; replace like for like.", runs=without)
    ]  # fmt: skip


_LOOKS: tuple[Callable[[Outfit, Profile], list[Finding]], ...] = (
    _heads, _outlets, _openers, _sensors, _offsets, _segments, _shut, _balance, _lengths,
)  # fmt: skip

"""What a file's columns are taken for. Names first, then units, then what the numbers themselves say; asked where they do not say it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from evenstand.formats.bydata import Bools, confirmed, is_bare_rate, rate_guess
from evenstand.formats.columns import BINNED, QUANTITY, ColumnGuess, ColumnUse, Named, Question, understand_name, valid_unit
from evenstand.formats.layouts import Layout
from evenstand.formats.measuring import distance_guess, growing, heading_guess, interval_guess, settle_scale, speed_guess
from evenstand.formats.naming import RATE_UNITS
from evenstand.formats.overriding import guess_as_told, named_as_told
from evenstand.formats.placing import propose_positions, take_reference, told_system
from evenstand.formats.recipes import Proposal, Recipe
from evenstand.formats.sampling import Sample, finite, guess_of
from evenstand.formats.states import is_states
from evenstand.formats.stating import sowing_rows, state_guess
from evenstand.formats.times import TimeGuess
from evenstand.formats.timing import propose_times
from evenstand.model.place import FloatArray

__all__ = ["Sample", "propose_from"]

MOSTLY = 0.98
FASTEST_FAN_TURNS_S = 500.0  # 30,000 turns a minute: what is above it cannot be turns a second
STATES_NAMED = ("section", "run", "work", "lifted", "sections", "tool")
PARTLY = "part of the name is not known, and the numbers do not bear the rest out: kept as it is"
FILE_SUFFIX = re.compile(r"\.[A-Za-z0-9]+$")


def propose_from(
    layout: Layout, sample: Sample, name: str, *, crs: str | None = None, start: str | None = None, zone: str | None = None,
    told: Sequence[ColumnUse] = (),
) -> Proposal:  # fmt: skip
    """What each column is taken for, why, and how sure that is; and what must be asked.

    Parameters
    ----------
    layout : Layout
        Where things are. [-]
    sample : Sample
        The first rows. [-]
    name : str
        The file's name. [-]
    crs, start, zone : str or None
        Answers already given. [-]
    told : sequence of ColumnUse
        What a person says some columns are. [-]

    Returns
    -------
    Proposal
        Guesses, questions, and a recipe of what is sure or likely. [-]
    """
    named = _numbered_alike(_lettered({c: understand_name(c, u) for c, u in zip(layout.header, layout.units, strict=True)}))
    named = named_as_told(named, told, name) if told else named
    asked: list[Question] = []
    guesses: dict[str, ColumnGuess] = {}
    above, line = told_system(layout.preamble)
    system = crs or above
    propose_positions(named, sample, guesses, asked, system, "" if crs or not above else f"line {line}")
    for use in told:
        if use.role in ("lat", "lon") and use.name in guesses:
            guesses[use.name] = guess_as_told(guesses[use.name], use, asked)
    times = propose_times(named, sample, guesses, asked, start, zone, layout.preamble)
    sample, times = _forwards(sample, times)
    take_reference(sample, guesses, times, system)
    settle_scale(sample, [(c, n) for c, n in named.items() if n.role == "speed" and c not in guesses])
    needed = any(n.soft or n.role in ("tool", "work", "lifted", "rate", "extra") for n in named.values())
    sowing = sowing_rows(named, sample) if needed else None
    for column, word in named.items():
        if column not in guesses:
            family = sum(n.role == word.role for n in named.values())
            guesses[column] = _other(column, word, sample, asked, family, sowing)
    _one_each(guesses, asked)
    _fill_gaps(named, sample, guesses, sowing)
    for use in told:
        if use.role not in ("lat", "lon"):
            guesses[use.name] = guess_as_told(guesses[use.name], use, asked)
    columns = tuple(replace(guesses[c], examples=_examples(sample, c)) for c in layout.header)
    kept = tuple(g.use for g in columns if g.sure != "unsure" and g.use.role != "ignore")
    projected = any(c.role == "east" for c in kept)
    recipe = Recipe(
        name=FILE_SUFFIX.sub("", name), columns=kept, crs=crs or (above if projected else ""), zone=zone or times.zone, start=start or "",
        time_form=times.form, decimal=layout.decimal,
    )  # fmt: skip
    return Proposal(
        file=name, rows=layout.rows, encoding=layout.encoding, decimal=layout.decimal,
        delimiter={"\t": "tab"}.get(layout.delimiter, layout.delimiter),
        header_line=layout.header_line, columns=columns, questions=tuple(asked), recipe=recipe, notes=layout.notes,
    )  # fmt: skip


def _forwards(sample: Sample, times: TimeGuess) -> tuple[Sample, TimeGuess]:
    """The sample in time order where the file begins with its newest row: counters and headings are looked at the right way round."""
    if times.seconds is None or times.seconds.size < 3 or not float((np.diff(times.seconds) <= 0).mean()) > MOSTLY:
        return sample, times
    cells = sample.cells
    turned = Sample(
        number={c: v[::-1] for c, v in sample.number.items()}, head={c: v[::-1] for c, v in sample.head.items()},
        cells=lambda c: cells(c)[::-1], words=sample.words,
    )  # fmt: skip
    return turned, replace(times, seconds=times.seconds[::-1])


def _numbered_alike(named: dict[str, Named]) -> dict[str, Named]:
    """Unknown names that differ in one number only are a family: they get that number. Bare rates get it as their bin."""
    stems: dict[str, list[tuple[str, int]]] = {}
    for column, name in named.items():
        numbers = [w for w in name.words if w.isdigit()]
        if name.role == "extra" and not name.known and len(numbers) == 1 and len(name.words) > 1:
            stems.setdefault(" ".join(w for w in name.words if not w.isdigit()), []).append((column, int(numbers[0])))
    out = dict(named)
    for many in stems.values():
        for column, number in many:
            if named[column].unit in RATE_UNITS and 1 <= number <= 26:
                out[column] = replace(named[column], bin=chr(64 + number))
            elif len(many) > 1 and len({n for _, n in many}) == len(many):
                out[column] = replace(named[column], number=number)
    return out


def _lettered(named: dict[str, Named]) -> dict[str, Named]:
    """Bins numbered from 0 as if from 1; seed and fertilizer, where they stand for bins, by the order they come in."""
    if any(n.bin == "@" for n in named.values()):
        named = {c: replace(n, bin=chr(ord(n.bin) + 1)) if n.bin else n for c, n in named.items()}
    products = tuple(dict.fromkeys(n.product for n in named.values() if n.product))
    return {c: replace(n, bin=chr(65 + products.index(n.product))) if n.product else n for c, n in named.items()}


def _examples(sample: Sample, column: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(t for t in sample.head.get(column, ()) if t))[:3]


# everything else


def _other(column: str, named: Named, sample: Sample, asked: list[Question], family: int, sowing: Bools | None) -> ColumnGuess:
    role = named.role
    values = finite(sample, column)
    if role == "ignore":
        return guess_of(column, "ignore", "sure", "a row number")
    if named.soft and role not in STATES_NAMED and (role not in BINNED or role == "turns"):
        if role == "rate" and named.unit in RATE_UNITS and values.size:
            return replace(rate_guess(column, replace(named, bin=""), sample, asked, sowing), sure="unsure")
        return confirmed(column, named, sample, sowing) or guess_of(column, "extra", "likely", PARTLY, unit=named.unit)
    if role in STATES_NAMED:
        return state_guess(column, named, sample, asked, family, sowing)
    if role == "extra" and not named.known and _numbered_state(column, named, sample):
        return _family_guess(column, named, asked)
    if values.size == 0:
        return guess_of(column, "ignore", "likely", "holds no numbers" if sample.words(column) else "empty")
    if role == "speed":
        return speed_guess(column, named, sample, asked)
    if role in ("step", "distance"):
        return distance_guess(column, named, sample, asked)
    if role == "interval":
        return interval_guess(column, named, sample)
    if role == "heading":
        return heading_guess(column, named, sample)
    if role == "fix":
        whole = bool(np.all(values == np.round(values)) and values.min() >= 0 and values.max() <= 9)
        why = "name, and whole numbers from 0 to 9" if whole else "no fix codes"
        return guess_of(column, "fix" if whole and named.certain else "extra", "likely", why)
    if role == "turns":
        if growing(values):
            return guess_of(column, "turns", "likely", "name, and it only grows", unit="turns", named=named)
        return guess_of(column, "extra", "likely", "no counter of turns: it does not grow", unit=named.unit)
    if role == "rate" or (named.soft and role in BINNED) or is_bare_rate(named):
        return rate_guess(column, named, sample, asked, sowing)
    if role in QUANTITY or role == "mass_rate":
        return _with_unit(column, named, values, asked)
    if named.known:
        return guess_of(column, "extra", "sure", "known by its name, kept and used for nothing yet", unit=named.unit)
    return guess_of(column, "extra", "likely", "the name is not known: kept as it is", unit=named.unit)


def _numbered_state(column: str, named: Named, sample: Sample) -> bool:
    """Whether a column of unknown name is a numbered state, such as "cut 3" with on and off."""
    words = sample.words(column)
    return named.number > 0 and bool(words) and is_states(words)


def _family_guess(column: str, named: Named, asked: list[Question]) -> ColumnGuess:
    """Numbered states of an unknown name: asked for once."""
    stem = " ".join(w for w in named.words if not w.isdigit())
    text = f"'{column}' is one of several states that are numbered: sections, or runs?"
    if not any(q.kind == "column" and q.options == ("section", "run") and stem in q.text.lower() for q in asked):
        asked.append(Question(kind="column", column=column, text=text, cure="Name them section 1 or run 1 and so on, or give a recipe.",
                              options=("section", "run"), blocking=False))  # fmt: skip
    return guess_of(column, "section", "unsure", "sections or runs is not known", named=replace(named, role="section"))


def _fill_gaps(named: dict[str, Named], sample: Sample, guesses: dict[str, ColumnGuess], sowing: Bools | None) -> None:
    """Columns of unknown names that by their numbers are what no other column is: speed, heading, distance, area."""
    taken = {g.use.role.replace("distance", "step") for g in guesses.values()}
    for column, guess in list(guesses.items()):
        name = named[column]
        if guess.use.role != "extra" or name.role != "extra" or name.known or name.soft:
            continue
        found = confirmed(column, name, sample, sowing)
        if found is not None and found.use.role.replace("distance", "step") not in taken:
            guesses[column] = found
            taken.add(found.use.role.replace("distance", "step"))


def _with_unit(column: str, named: Named, values: FloatArray, asked: list[Question]) -> ColumnGuess:
    unit = named.unit
    role = named.role
    if role == "area" and not growing(values):
        return guess_of(column, "extra", "likely", "no counter: it does not grow", unit=unit)
    if unit and valid_unit(role, unit):
        return guess_of(column, role, "sure" if named.certain else "likely", "name and unit", unit=unit, named=named)
    if role == "fan" and not unit and float(np.median(values)) > FASTEST_FAN_TURNS_S:
        return guess_of(column, role, "likely", "name, and too many for turns a second", unit="rpm")
    example = {"area": "ha", "mass_rate": "kg/s", "fan": "rpm"}.get(role, "kg/ha")
    asked.append(
        Question(
            kind="unit", column=column, text=f"'{column}' has no unit" if not unit else f"'{unit}' is no unit of '{column}'",
            cure=f"Write it in the header, such as '{column} ({example})', or in a recipe; until then it is left out.", blocking=False,
        )
    )  # fmt: skip
    return guess_of(column, role, "unsure", "the unit is not known", unit=unit, named=named)


def _one_each(guesses: dict[str, ColumnGuess], asked: list[Question]) -> None:
    """Two columns for one thing: the first is kept, the rest are asked for."""
    seen: dict[tuple[str, str, int], str] = {}
    for column, guess in list(guesses.items()):
        use = guess.use
        if use.role in ("extra", "ignore") or guess.sure == "unsure":
            continue
        key = (use.role if use.role != "distance" else "step", use.unit if use.role == "hemisphere" else use.bin, use.number)
        if key not in seen:
            seen[key] = column
            continue
        guesses[column] = replace(guess, sure="unsure", why=f"'{seen[key]}' is already taken for this")
        asked.append(
            Question(
                kind="column", column=column, text=f"'{column}' and '{seen[key]}' both look like {use.role}; '{seen[key]}' is used",
                cure="Name the right one in a recipe.", blocking=False,
            )
        )  # fmt: skip

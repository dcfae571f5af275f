"""Columns of states: the tool up or down, sections on or off one by one or packed into one, flow at a run."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from evenstand.formats.columns import ColumnGuess, Question, Sure
from evenstand.formats.naming import Named
from evenstand.formats.sampling import Sample, finite, guess_of
from evenstand.formats.states import DOWN_WORDS, OFF, ON, UP_WORDS, WORDS, is_states

MOST_SECTIONS = 64
AGREE, CONTRARY = 0.9, 0.15
VARIES = 0.05
Bools = np.ndarray[tuple[int], np.dtype[np.bool_]]


def state_guess(column: str, named: Named, sample: Sample, asked: list[Question], family: int, sowing: Bools | None) -> ColumnGuess:
    """A column named as a state. family: how many columns have names of this role; sowing: rows where product flows or sections are on."""
    words = sample.words(column)
    if named.role == "sections":
        return _sections(column, named, sample, asked)
    if named.role == "tool" or (named.role in ("work", "lifted") and words and is_states(words)):
        return _tool(column, named, sample, asked, sowing)
    if words and is_states(words):
        if not named.certain and family < 2:
            return guess_of(column, "extra", "likely", "a state by its words, but its name does not say of what", unit=named.unit)
        sure: Sure = "sure" if named.certain else "likely"
        return guess_of(column, named.role, sure, f"name, and only {' / '.join(sorted(words)[:4])}", named=named)
    if named.role in ("run", "section") and words and finite(sample, column).size:
        return guess_of(column, "extra", "likely", f"numbers of a {named.role} that are no yes or no", unit=named.unit)
    return guess_of(column, "ignore", "likely", f"its words are none of {', '.join(sorted(WORDS)[:6])} ..." if words else "empty")


def _sections(column: str, named: Named, sample: Sample, asked: list[Question]) -> ColumnGuess:
    """Sections packed into one: a text of ones and zeros, left first, or a number whose bits they are."""
    words = sample.words(column)
    hexed = bool(words) and all(re.fullmatch(r"0x[0-9a-f]+" if "hex" not in named.words else r"(0x)?[0-9a-f]+", w) for w in words)
    text = bool(words) and all(re.fullmatch(r"[01]+", w) for w in words)
    if text and not hexed and len({len(w) for w in words}) == 1 and len(next(iter(words))) > 1:
        return guess_of(column, "sections", "likely", "name, and ones and zeros of one length, left first")
    if words and (hexed or (not text and all(w.isdigit() for w in words))):
        states = {int(w, 16 if hexed else 10) for w in words}
        most = max(states)
        count = most.bit_length()
        if 2 <= count <= MOST_SECTIONS and most == 2**count - 1 and 0 in states:
            why = f"name, and numbers up to {most}: {count} sections as bits, the lowest taken as section 1, on the left"
            guess = guess_of(column, "sections", "likely", why, unit="hex" if hexed else "bits")
            return _numbered(guess, count)
    asked.append(
        Question(
            kind="column",
            text=f"'{column}' may pack sections in one number; the order is not known",
            cure="Export one column a section.",
            column=column,
            blocking=False,
        )
    )
    return guess_of(column, "sections", "unsure", "packed in an unknown order")


def _numbered(guess: ColumnGuess, number: int) -> ColumnGuess:
    from dataclasses import replace

    return replace(guess, use=replace(guess.use, number=number))


def _tool(column: str, named: Named, sample: Sample, asked: list[Question], sowing: Bools | None) -> ColumnGuess:
    """The tool's state: what its words say, held against where product flows."""
    words = sample.words(column)
    shown = f"name, and only {' / '.join(sorted(words)[:4])}"
    if not words or not is_states(words):
        why = f"its words are none of {', '.join(sorted(WORDS)[:6])} ..." if words else "empty"
        return guess_of(column, "ignore", "likely", why)
    told = bool(words & (UP_WORDS | DOWN_WORDS)) and words <= UP_WORDS | DOWN_WORDS
    role = "lifted" if told and named.role != "work" else named.role
    agree = _agreement(column, sample, sowing, lifted=role == "lifted")
    if role == "tool":
        if agree is not None and not CONTRARY < agree < AGREE:
            role = "work" if agree >= AGREE else "lifted"
            return guess_of(column, role, "likely", f"{shown}; by where product flows '{_on_word(words)}' means {role}", named=named)
        text = f"'{column}' is a state of the tool; whether '{_on_word(words)}' means lifted or at work is not known"
        asked.append(Question(kind="column", column=column, text=text, cure="Name it lifted or work, or give a recipe.", blocking=False))
        return guess_of(column, "work", "unsure", "which state means at work is not known")
    if agree is not None and agree <= CONTRARY:
        text = f"'{column}' is named {role}, but product flows where it says the tool is not at work"
        asked.append(
            Question(kind="column", column=column, text=text, cure="Say in a recipe whether it is lifted or work.", blocking=False)
        )
        return guess_of(column, role, "unsure", "the other way round than where product flows")
    if named.soft and not (told or (agree is not None and agree >= AGREE)):
        what = "lifted" if role == "lifted" else "at work"
        text = f"'{column}' may say whether the tool is {what}; part of its name is not known"
        asked.append(
            Question(kind="column", column=column, text=text, cure="Say in a recipe whether it is lifted or work.", blocking=False)
        )
        return guess_of(column, role, "unsure", "part of its name is not known, and nothing bears it out")
    sure: Sure = "sure" if named.certain else "likely"
    return guess_of(column, role, sure, shown, named=named)


def _on_word(words: set[str]) -> str:
    return next(iter(sorted(words & ON)), next(iter(sorted(words)), ""))


def _agreement(column: str, sample: Sample, sowing: Bools | None, *, lifted: bool) -> float | None:
    """Share of rows where the state agrees with product flowing; None where either never changes. [-]"""
    if sowing is None:
        return None
    state = states_of(sample.cells(column), "lifted" if lifted else "work")
    good = np.isfinite(state)
    at_work = (state < 0.5) if lifted else (state > 0.5)
    if good.sum() < 20 or any(not VARIES < float(v[good].mean()) < 1 - VARIES for v in (at_work, sowing)):
        return None
    return float((at_work[good] == sowing[good]).mean())


def states_of(cells: Any, role: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """A column of words as ones, zeros and not-a-number."""
    from evenstand.formats.states import true_words

    low = [(c or "").strip().lower() for c in cells]
    true = true_words(role, set(low))
    return np.array([1.0 if w in true else 0.0 if w in (ON | OFF) - true else np.nan for w in low])


def sowing_rows(named: dict[str, Named], sample: Sample) -> Bools | None:
    """Rows where a display reports a rate or a section is on, by columns that say so; None if there are none."""
    flows = [sample.number[c] > 0 for c, n in named.items() if n.role == "echoed" and not n.soft and finite(sample, c).size]
    on = [c for c, n in named.items() if n.role == "section"]
    parts = flows or [states_of(sample.cells(c), "section") > 0.5 for c in on if is_states(sample.words(c))]
    packed = [c for c, n in named.items() if n.role == "sections"]
    if not parts:
        parts = [np.array([bool(re.search(r"[1-9]", x or "")) for x in sample.cells(c)]) for c in packed]
    return np.asarray(np.any(parts, axis=0)) if parts else None

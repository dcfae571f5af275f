"""The value card laid out for reading: what to type first, then what to see, then limits and the rest; bins side by side."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from evenstand.expect.keeping import TAKES_UP
from evenstand.expect.lines import GROUPS
from evenstand.model import CardLine

PARTS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("type", "Type in", ("set", "alarm")),
    ("see", "What to see", ("expect",)),
    ("mind", "Limits, and what to know", ("limit", "know")),
)
"""Parts of the card: key, title, and the roles of the lines they hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the card, or the like lines of several bins side by side. label: what they share; lines: by bin letter, "" for one
    that belongs to no bin."""

    label: str
    lines: tuple[tuple[str, CardLine], ...]

    @property
    def line(self) -> CardLine:
        """The first of them. [-]"""
        return self.lines[0][1]

    def of(self, letter: str) -> CardLine | None:
        """The line of a bin, None if it has none such. [-]"""
        return next((x for b, x in self.lines if b == letter), None)

    def said(self, what: str) -> str:
        """A text of the lines, such as "why" or "stale": once where all say the same, else behind each letter. [text]"""
        texts = [(b, getattr(x, what).strip().rstrip(".")) for b, x in self.lines]
        return _merged(texts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part of the card. bins: (letter, product key) in the order of the columns; bin_rows: lines of the bins; groups: the other lines."""

    key: str
    title: str
    bins: tuple[tuple[str, str], ...]
    bin_rows: tuple[Row, ...]
    groups: tuple[tuple[str, tuple[Row, ...]], ...]

    def rows(self) -> tuple[Row, ...]:
        """All rows, bins first. [-]"""
        return (*self.bin_rows, *(row for _, rows in self.groups for row in rows))


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One thing that is missing: what, how to get it, and the lines that wait for it, as a person calls them."""

    what: str
    how: str
    lines: tuple[str, ...]


def laid_out(card: Sequence[CardLine], *, keep: Callable[[CardLine], bool] = lambda line: True) -> tuple[Part, ...]:
    """The parts of a card that hold anything, in reading order.

    Parameters
    ----------
    card : sequence of CardLine
        As planned. [metric]
    keep : callable
        Which lines to take; all where not given. [-]

    Returns
    -------
    tuple of Part
        Each line stands in exactly one of them. [-]
    """
    parts = []
    for key, title, roles in PARTS:
        mine = [line for line in card if role_of(line) in roles and keep(line)]
        bins = [line for line in mine if line.bin]
        letters = tuple(sorted({line.bin: line.product for line in bins}.items()))
        rows = tuple(_bin_rows(bins))
        others = [line for line in mine if not line.bin]
        groups = [
            (name, tuple(Row(label=x.label, lines=(("", x),)) for x in others if x.group == group)) for group, name in _groups(others)
        ]
        part = Part(key=key, title=title, bins=letters, bin_rows=rows, groups=tuple((n, r) for n, r in groups if r))
        if part.rows():
            parts.append(part)
    return tuple(parts)


def role_of(line: CardLine) -> str:
    """What a line is for; a line of the alarm group is an alarm whatever it says. [-]"""
    return "alarm" if line.group == "alarm" else line.role


def _groups(lines: Iterable[CardLine]) -> list[tuple[str, str]]:
    known = dict(GROUPS) | {"alarm": "Alarms"}
    names = [*known, *dict.fromkeys(line.group for line in lines if line.group not in known)]
    return [(name, known.get(name, name.capitalize())) for name in names]


def _bin_rows(lines: Sequence[CardLine]) -> list[Row]:
    """Like lines of all bins side by side: those whose keys are alike up to the letter."""
    kinds: dict[str, list[CardLine]] = {}
    for line in lines:
        kinds.setdefault(line.key.removesuffix(f":{line.bin}"), []).append(line)
    return [
        Row(label=_shared([x.label for x in same]), lines=tuple(sorted(((x.bin, x) for x in same), key=lambda p: p[0])))
        for same in kinds.values()
    ]


def _shared(labels: Sequence[str]) -> str:
    """What labels share: the whole where they are alike, else what stands before the comma."""
    return labels[0] if len(set(labels)) == 1 and "," not in labels[0] else labels[0].partition(",")[0]


def _merged(texts: Sequence[tuple[str, str]]) -> str:
    """Texts by letter as one, sentence by sentence: said once where all say it, else behind the letters that do."""
    by_sentence: dict[str, list[str]] = {}
    for letter, text in texts:
        for sentence in split_sentences(text):
            by_sentence.setdefault(sentence, []).append(letter)
    shared = [s for s, letters in by_sentence.items() if len(letters) == len(texts)]
    own: dict[str, list[str]] = {}
    for sentence, letters in by_sentence.items():
        if len(letters) < len(texts):
            own.setdefault(", ".join(letters), []).append(sentence)
    return " ".join([*shared, *(f"{letters}: {' '.join(said)}" for letters, said in own.items())])


def split_sentences(text: str) -> list[str]:
    """The sentences of a text, each ended. [-]"""
    return [f"{part.strip().rstrip('.')}." for part in re.split(r"(?<=[^\d])\. |(?<=\d)\. (?=[A-Z])", text) if part.strip(" .")]


def first_and_rest(text: str) -> tuple[str, str]:
    """A text's first sentence, and what follows. [text]"""
    found = split_sentences(text)
    return (found[0] if found else ""), " ".join(found[1:])


def suffix_of(line: CardLine, row: Row) -> str:
    """What a line's own label says beyond its row's: '5 turns' of 'Catch, 5 turns'; a product's name is in the column's head. [text]"""
    rest = line.label.removeprefix(row.label).lstrip(", ")
    return "" if line.quantity == "rate" else rest


def wanted(card: Iterable[CardLine]) -> tuple[Wanted, ...]:
    """What is missing, each thing once, with the lines that wait for it.

    Parameters
    ----------
    card : iterable of CardLine
        As planned. [-]

    Returns
    -------
    tuple of Wanted
        In the order in which they are first missed. [-]
    """
    found: dict[str, tuple[str, dict[str, list[str]]]] = {}
    for line in card:
        if line.state != "needs":
            continue
        _, lines = found.setdefault("; ".join(line.needs), (line.how, {}))
        lines.setdefault(line.label, []).append(line.bin)
    return tuple(
        Wanted(what=what, how=how, lines=tuple(_with_bins(label, bins) for label, bins in lines.items()))
        for what, (how, lines) in found.items()
    )


def _with_bins(label: str, bins: Sequence[str]) -> str:
    letters = ", ".join(b for b in bins if b)
    return f"{label} ({letters})" if letters else label


def flag_of(line: CardLine) -> str:
    """The word beside a value that no longer holds: "act now" for a clock or a humid bin, else "stale now"; "" where it holds. [text]"""
    return "" if not line.stale_now else "act now" if line.group == "keep" else "stale now"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:].rstrip(".")


def warned(card: Iterable[CardLine]) -> tuple[str, ...]:
    """What stands before everything else: limits that are passed, what must not be done, numbers that look wrong, values that are stale.

    Parameters
    ----------
    card : iterable of CardLine
        As planned. [-]

    Returns
    -------
    tuple of str
        Sentences in metric units, the gravest first. [text]
    """
    found: list[tuple[int, str]] = []
    for line in card:
        name = f"{line.label}, bin {line.bin}" if line.bin else line.label
        if line.key.startswith("refused:"):
            found.append((0, f"{line.why.rstrip('.')}."))
        elif line.over:
            found.append((1, f"{name}: {' '.join(split_sentences(line.why)[:2])}"))
        elif line.stale_now and line.key.startswith("humid:"):
            found.append((2, f"{line.label.removesuffix(TAKES_UP).strip()}: {_lower(line.stale_now)}, it takes up water from the air."))
        elif line.stale_now:
            found.append((2, f"{name}: {line.stale_now.rstrip('.')}."))
        elif line.key.startswith("doubt:"):
            found.append((3, f"{line.why.rstrip('.')}."))
    return tuple(text for _, text in sorted(found, key=lambda pair: pair[0]))

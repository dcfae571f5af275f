"""Words for on and off."""

from __future__ import annotations

from collections.abc import Iterable

ON = {
    "1",
    "1.0",
    "on",
    "true",
    "t",
    "yes",
    "y",
    "working",
    "work",
    "down",
    "lowered",
    "ok",
    "flow",
    "seeding",
    "sowing",
    "open",
    "active",
    "engaged",
    "enabled",
}
OFF = {
    "0", "0.0", "off", "false", "f", "no", "n", "not working", "up", "raised", "lifted", "no flow", "blocked", "idle",
    "stopped", "closed", "inactive", "disengaged", "disabled",
}  # fmt: skip
WORDS = ON | OFF
UP_WORDS = {"up", "raised", "lifted"}
DOWN_WORDS = {"down", "lowered"}


def is_states(words: Iterable[str]) -> bool:
    """Whether all words, in lower case, mean on or off. [-]"""
    return all(word in WORDS for word in words)


def true_words(role: str, words: Iterable[str]) -> set[str]:
    """Which words mean "true" for a role: a lift column's "up" and "1" mean lifted, a work column's "down" and "1" mean at work. [-]"""
    seen = set(words)
    if role == "lifted" and seen & (UP_WORDS | DOWN_WORDS):
        return set(UP_WORDS)
    if role == "lifted":
        return ON - DOWN_WORDS
    return ON

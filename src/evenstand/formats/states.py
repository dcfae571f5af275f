"""Words for on and off."""

from __future__ import annotations

from collections.abc import Iterable

UP_WORDS = {
    "alzata", "alzato", "angehoben", "arriba", "ausgehoben", "gehoben", "haut", "headland", "levantada", "levantado", "leve", "levé",
    "lifted", "oben", "raised", "releve", "relevé", "relevée", "sollevata", "sollevato", "transport", "up",
}  # fmt: skip
DOWN_WORDS = {
    "abaisse", "abaissé", "abaixada", "abaixado", "abajo", "abbassata", "abbassato", "abgesenkt", "baisse", "baissé", "baissée", "bajada",
    "bajado", "bas", "down", "gesenkt", "lowered", "unten",
}  # fmt: skip
ON = DOWN_WORDS | {
    "1", "1,0", "1.0", "actif", "active", "aktiv", "an", "arbeit", "ein", "enabled", "engaged", "flow", "ja", "marche", "o", "offen", "ok",
    "on", "open", "oui", "ouvert", "seeding", "sembrando", "si", "sim", "sowing", "sì", "sí", "t", "trabajando", "travail", "true", "vrai",
    "wahr", "work", "working", "y", "yes",
}  # fmt: skip
OFF = UP_WORDS | {
    "0", "0,0", "0.0", "arret", "arrêt", "aus", "blocked", "closed", "disabled", "disengaged", "f", "falsch", "false", "faux", "fermé",
    "idle", "inactif", "inactive", "inaktiv", "n", "nein", "no flow", "no", "non", "not working", "não", "off", "stopped", "zu",
}  # fmt: skip
WORDS = ON | OFF


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

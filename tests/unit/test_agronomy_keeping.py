"""Product left in bins: humidity against critical humidity, blends, several sources, and what is not known."""

from __future__ import annotations

import pytest

from evenstand.agronomy import bins_overnight, critical_humidity, keeps_overnight
from evenstand.base.errors import InputError, RangeError


def test_urea_carries_two_values_and_the_lower_warns() -> None:
    assert [(f.value, f.source) for f in critical_humidity("urea")] == [(0.70, "ipni-storage-2013"), (0.72, "common-practice")]
    found = keeps_overnight("urea", 0.71)
    assert (found.critical, found.critical_high, found.source) == (0.70, 0.72, "ipni-storage-2013")
    assert found.state == "doubtful"  # above the one, below the other
    assert found.empty
    assert "72 % (common practice)" in found.note


@pytest.mark.parametrize(
    ("humidity", "state", "empty"),
    [(0.50, "holds", False), (0.6499, "holds", False), (0.66, "doubtful", True), (0.70, "doubtful", True), (0.72, "does-not-hold", True)],
)
def test_states_of_urea(humidity: float, state: str, empty: bool) -> None:
    found = keeps_overnight("urea", humidity)
    assert (found.state, found.empty) == (state, empty)


def test_the_margin_of_the_forecast_is_yours_to_set() -> None:
    assert keeps_overnight("urea", 0.66, margin=0.0).state == "holds"
    assert keeps_overnight("urea", 0.60, margin=0.15).state == "doubtful"


def test_a_value_of_common_practice_alone_never_condemns() -> None:
    found = keeps_overnight("ammonium-sulphate", 0.95)
    assert (found.state, found.seen, found.empty) == ("doubtful", "practice", True)
    assert "common practice" in found.sentence
    assert keeps_overnight("ammonium-sulphate", 0.95, own_critical={"ammonium-sulphate": 0.79}).state == "does-not-hold"


def test_a_forecast_by_the_hour_counts_hours_and_names_the_first() -> None:
    found = keeps_overnight("urea", [0.55, 0.66, 0.74, 0.81, 0.69])
    assert (found.hours, found.hours_above, found.hours_near, found.first_hour, found.highest) == (5, 2, 2, 2, 0.81)
    assert "2 of 5 hours above" in found.sentence
    assert keeps_overnight("urea", 0.74).hours_above is None
    assert keeps_overnight("urea", [0.4, 0.5]).first_hour is None


def test_a_blend_starts_from_the_lower_value_and_below_it_nothing_is_published() -> None:
    above = keeps_overnight(["urea", "map"], 0.75)
    assert (above.state, above.critical) == ("does-not-hold", 0.70)
    below = keeps_overnight(["map", "urea"], 0.5)
    assert (below.state, below.empty) == ("cannot-tell", False)
    assert "lower than either" in below.sentence
    assert "not published" in below.sentence
    assert keeps_overnight(["map", "urea"], 0.5, own_blend_critical=0.60).state == "holds"
    assert keeps_overnight(["map", "urea"], 0.62, own_blend_critical=0.60).state == "does-not-hold"


def test_a_product_twice_is_no_blend() -> None:
    assert keeps_overnight(["urea", "urea"], 0.5).state == "holds"


def test_a_product_without_a_value_cannot_be_told_alone_nor_in_a_blend() -> None:
    alone = keeps_overnight("granular inoculant", 0.5)
    assert (alone.state, alone.critical) == ("cannot-tell", None)
    assert "ask the supplier" in alone.sentence
    mixed = keeps_overnight(["urea", "potassium-sulphate"], 0.3)
    assert mixed.state == "cannot-tell"
    assert "potassium sulphate" in mixed.note


def test_without_a_forecast_it_says_what_to_type_and_the_value() -> None:
    found = keeps_overnight("urea", None)
    assert (found.state, found.critical, found.highest) == ("cannot-tell", 0.70, None)
    assert "70 %" in found.sentence
    assert keeps_overnight("urea", []).state == "cannot-tell"


def test_temperature_is_noted_not_reckoned_with() -> None:
    warm, cold = (keeps_overnight("urea", 0.66, temperature_c=t) for t in (30, [4, 18]))
    assert warm.state == cold.state
    assert "30 °C" in warm.note
    assert "4 to 18 °C" in cold.note


def test_bins_to_empty_come_first() -> None:
    found = bins_overnight({"A": ["map"], "B": ["urea"], "C": ["ammonium-nitrate"], "D": []}, [0.6, 0.74])
    assert [letter for letter, _ in found] == ["B", "C", "A"]
    assert [keeping.empty for _, keeping in found] == [True, True, False]
    assert found[0][1].sentence.startswith("Empty this bin tonight")


@pytest.mark.parametrize(
    ("products", "humidity", "error"), [([], 0.5, InputError), ("urea", 74, RangeError), ("urea", [0.5, -0.1], RangeError)]
)
def test_wrong_input_is_refused(products: object, humidity: object, error: type[Exception]) -> None:
    with pytest.raises(error):
        keeps_overnight(products, humidity)  # type: ignore[arg-type]

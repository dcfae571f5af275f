"""The cited tables: no value without unit and source, no tag above its source's, everything frozen."""

from __future__ import annotations

import importlib
import tomllib
from importlib import resources
from pathlib import Path

import pytest

from evenstand import reference
from evenstand.base.errors import InputError, MissingError, UnitError
from evenstand.check.causes import KINDS
from evenstand.reference import SEEN, default, every_figure, fault_odds, figure, figures, fill_sd, source, sources, table, tables
from evenstand.reference.figures import _freeze


@pytest.mark.parametrize("name", tables())
def test_every_number_has_a_unit_and_a_source(name: str) -> None:
    table(name)  # raises with a list of what is missing
    found = list(every_figure(name))
    assert found
    for entry in found:
        assert entry.unit
        assert entry.where
        assert entry.source in sources()


@pytest.mark.parametrize("name", tables())
def test_no_figure_is_tagged_above_its_source(name: str) -> None:
    for entry in every_figure(name):
        assert SEEN.index(entry.seen) <= SEEN.index(source(entry.source).seen), entry


@pytest.mark.parametrize("name", tables())
def test_what_has_no_source_is_tagged_practice(name: str) -> None:
    for entry in every_figure(name):
        assert (entry.source == "common-practice") == (entry.seen == "practice"), entry


def test_there_are_tables_to_check() -> None:
    assert set(tables()) >= {"crops", "fertilizers", "seed_row", "oxides", "grain", "germination", "thresholds", "practice"}


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("[a]\nb = { value = 3, source = 'uky-seed-rate', where = 'x', seen = 'read' }", "has no unit"),
        ("[a]\nb = { value = 3, unit = 'g', where = 'x', seen = 'read' }", "has no source"),
        ("[a]\nb = { value = 3, unit = 'g', source = 'uky-seed-rate', seen = 'read' }", "has no where"),
        ("[a]\nb = { value = 3, unit = 'g', source = 'uky-seed-rate', where = 'x' }", "has no seen"),
        ("[a]\nb = { value = 3, unit = 'g', source = 'nobody', where = 'x', seen = 'read' }", "names the source 'nobody'"),
        ("[a]\nb = { value = 3, unit = 'g', source = 'irish-barley', where = 'x', seen = 'read' }", "its source only 'second-hand'"),
        ("[a]\nb = { value = 3, unit = 'g', source = 'irish-barley', where = 'x', seen = 'heard' }", "is tagged 'heard'"),
        ("[a]\nb = { low = 3, unit = 'g', source = 'irish-barley', where = 'x', seen = 'second-hand' }", "is no number or range"),
        ("[a]\nb = { low = 3, high = 2, unit = 'g', source = 'irish-barley', where = 'x', seen = 'second-hand' }", "is no number or range"),
        ("[a]\nb = { value = 3, units = 'g', unit = 'g', source = 'irish-barley', where = 'x', seen = 'second-hand' }", "carries units"),
        ("[a]\nb = 3", "has no unit"),
        ("[a]\nb = [1, 2]", "has no source"),
    ],
)
def test_a_value_without_its_citation_is_refused(text: str, complaint: str) -> None:
    faults: list = []
    _freeze(tomllib.loads(text), "made-up", {}, faults)
    assert any(complaint in str(fault) for fault in faults), [str(f) for f in faults]


def test_all_faults_of_a_table_come_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    module = importlib.import_module("evenstand.reference.figures")
    monkeypatch.setattr(module, "_raw", lambda name: tomllib.loads("[a]\nb = 1\nc = 2"))
    module.table.cache_clear()
    try:
        with pytest.raises(InputError) as caught:
            module.table("made-up")
        assert len(caught.value.faults) == 8  # unit, source, where, seen; twice
    finally:
        monkeypatch.undo()
        module.table.cache_clear()


def test_memory_is_shown_as_unconfirmed() -> None:
    assert figure("germination", "kernel_weight", "cv_limit").unconfirmed
    assert figure("oxides", "atomic_weights", "P").unconfirmed
    assert not figure("fertilizers", "urea", "analysis", "N").unconfirmed


def test_tables_cannot_be_changed() -> None:
    with pytest.raises(TypeError):
        table("grain")["bushel_weight"]["wheat"] = 1  # type: ignore[index]
    with pytest.raises(AttributeError):
        figure("grain", "bushel_weight", "wheat").low = 1.0  # type: ignore[misc]


def test_a_table_is_read_once() -> None:
    assert table("crops") is table("crops")


def test_several_publishers_are_kept_side_by_side() -> None:
    stands = figures("crops", "canola", "survival")
    assert len(stands) == 3
    assert len({entry.source for entry in stands}) == 3


def test_the_best_seen_of_several_figures_is_taken() -> None:
    assert figure("crops", "canola", "survival").seen == "read"
    assert figure("fertilizers", "urea", "critical_humidity").value == pytest.approx(0.70)


def test_a_figure_converts_to_metric_through_the_units() -> None:
    low, high = figures("crops", "pea", "depth")[0].metric("depth")
    assert (low, high) == (pytest.approx(0.03048), pytest.approx(0.08128))
    with pytest.raises(UnitError):
        figure("crops", "pea", "depth").metric("mass")


def test_unknown_places_are_empty_or_missing() -> None:
    assert figures("crops", "quinoa", "depth") == ()
    assert figures("crops", "wheat", "name") == ()
    with pytest.raises(MissingError, match="quinoa"):
        figure("crops", "quinoa", "depth")
    with pytest.raises(MissingError, match="no table"):
        table("soils")
    with pytest.raises(MissingError, match="no source"):
        source("nobody")


def test_every_stand_depth_weight_and_temperature_is_in_a_unit_we_convert() -> None:
    quantity = {
        "target_stand": "stand", "stand_after_winter": "stand", "target_seeds": "seeds_area", "seed_count": "seeds_mass", "rate": "rate",
        "depth": "depth", "depth_limit": "depth", "kernel_weight": "kernel", "soil_temperature": "temperature",
        "soil_temperature_best": "temperature",
    }  # fmt: skip
    seen = 0
    for entry in every_figure("crops"):
        field = entry.key.split(".")[1]
        if field in quantity:
            low, high = entry.metric(quantity[field])
            assert low <= high
            seen += 1
        else:
            assert field in {"survival", "mortality"}
            assert 0 < entry.low <= entry.high < 1
    assert seen > 40


def test_bulk_densities_and_analyses_are_plausible() -> None:
    for product, entry in table("fertilizers").items():
        shares = [figures("fertilizers", product, "analysis", n)[0].value for n in entry["analysis"]]
        assert 0 < sum(shares) <= 1, product
        for density in figures("fertilizers", product, "bulk_density"):
            assert 500 < density.low < density.high < 1500


def test_the_salt_index_orders_products_as_the_trade_knows_them() -> None:
    index = {p: figure("fertilizers", p, "salt_index").value for p in ("potash", "ammonium-nitrate", "ammonium-sulphate", "urea", "map")}
    assert sorted(index, key=index.__getitem__, reverse=True) == ["potash", "ammonium-nitrate", "ammonium-sulphate", "urea", "map"]


def test_seed_row_tables_have_a_cell_for_every_printed_utilisation() -> None:
    for crop, rows in table("seed_row")["manitoba"]["N"].items():
        assert list(rows["sbu"]) == sorted(rows["sbu"])
        for texture in ("light", "medium", "heavy"):
            cells = rows[texture]
            assert len(cells) == len(rows["sbu"]), (crop, texture)
            numbers = [c for c in cells if not isinstance(c, str)]
            assert numbers == sorted(numbers)


def test_the_germination_table_loses_no_row() -> None:
    rows = table("germination")["replicates"]
    assert rows["average"] == tuple(range(99, 70, -1))
    assert len(rows["four"]) == len(rows["two"]) == 29
    assert len(table("germination")["counts"]["allowed"]) == 31


@pytest.mark.parametrize(
    ("how", "sd"),
    [
        ("ticket", 8.0), ("truck-scale", 8.0), ("pads", 40.0), ("cart-scale", 40.0), ("tote", 20.0), ("brim", 160.0), ("conveyor", 280.0),
        ("share", 160.0),
    ],
)  # fmt: skip
def test_a_fill_of_four_tonnes_is_known_as_well_as_its_way_allows(how: str, sd: float) -> None:
    assert fill_sd(how, 4000.0) == pytest.approx(sd)


def test_a_glance_is_as_good_as_a_tenth_of_the_full_bin() -> None:
    assert fill_sd("glance", 1000.0, bin_full_kg=6000.0) == pytest.approx(600.0)
    assert fill_sd("glance", 1000.0) == pytest.approx(100.0)
    with pytest.raises(MissingError, match="truck-scale"):
        fill_sd("guess", 1000.0)


def test_every_way_of_knowing_a_fill_has_a_spread() -> None:
    from typing import get_args

    from evenstand.model.loads import HowKnown

    for how in get_args(HowKnown):
        assert fill_sd(how, 1000.0) > 0


def test_the_efficiency_range_is_second_hand_and_says_whose_it_is() -> None:
    efficiency = default("field-efficiency")
    assert (efficiency.low, efficiency.high, efficiency.seen) == (0.65, 0.70, "second-hand")
    assert "EP496" in efficiency.where
    with pytest.raises(MissingError, match="field-efficiency"):
        default("efficiency")


def test_slips_and_forgotten_fills_outnumber_instrument_drift_about_ten_to_one() -> None:
    odds = fault_odds()
    assert odds["distance"] == 1
    assert odds["fill-missed"] == 10
    assert set(odds) == set(KINDS)


def test_every_source_is_complete_and_names_no_address() -> None:
    for entry in sources().values():
        assert entry.title
        assert entry.publisher or entry.title
        assert entry.seen in SEEN
        text = f"{entry}".lower()
        assert "http" not in text
        assert "www." not in text
        assert str(entry)


def test_sources_stand_once() -> None:
    lines = resources.files(reference).joinpath("sources.toml").read_text(encoding="utf-8").splitlines()
    heads = [line for line in lines if line.startswith("[")]
    assert len(heads) == len(set(heads)) == len(sources())


def test_no_reference_number_hides_in_the_agronomy_code(root: Path) -> None:
    """Only small whole numbers, unit scales and bounds may stand in calculation code."""
    import ast

    allowed = {0, 0.05, 0.1, 0.5, 0.95, 1, 1e-9, 2, 3, 4, 99, 100, 101, 50, 200, 400, 1000, 1e4, 1e6}
    for path in (root / "src" / "evenstand" / "agronomy").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool):
                assert node.value in allowed, f"{path.name}, line {node.lineno}: {node.value}"

"""The tables of a book, in normal form. Every column name says its unit; every table is open to GIS programs.

Each table has an integer `fid`, which GIS programs need, and its own natural key, on which rows refer to each other.
`info` says how rows stand for the model: `key` names the natural key, `link` the columns that repeat the key of the row
a child belongs to. An estimate takes four columns: the value, `_sd`, `_basis` and `_source`. Unknown is NULL.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    Double,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from evenstand.book.columns import Geometry, Moment, MultiPolygonColumn, PointColumn, PolygonColumn

SCHEMA = 5
"""The schema these tables are; raised by one with each migration."""

metadata = MetaData()


def _text(name: str, *, null: bool = False) -> Column[Any]:
    return Column(name, Text, nullable=null)


def _late_text(name: str) -> Column[Any]:
    """A text that came with a later schema: "" in the model where an older row has none."""
    return Column(name, Text, nullable=False, server_default="")


def _number(name: str, *, null: bool = True) -> Column[Any]:
    return Column(name, Double, nullable=null)


def _whole(name: str, *, null: bool = True) -> Column[Any]:
    return Column(name, Integer, nullable=null)


def _yes_no(name: str, *, late: bool = False) -> Column[Any]:
    """late: it came with a later schema, and older rows mean no."""
    return Column(name, Boolean(create_constraint=False), nullable=False, server_default="0" if late else None)


def _at(name: str = "at") -> Column[Any]:
    return Column(name, Moment, nullable=True)


def _est(name: str) -> tuple[Column[Any], ...]:
    return (_number(name), _number(f"{name}_sd"), _text(f"{name}_basis", null=True), _text(f"{name}_source", null=True))


def _refers(name: str, target: str, *, null: bool = False) -> Column[Any]:
    """A column that names a row of another table; "" in the model is NULL where the row need not exist."""
    return Column(name, Text, ForeignKey(target, deferrable=True, initially="DEFERRED"), nullable=null)


def _table(name: str, *columns: Any, key: tuple[str, ...], about: str, link: tuple[str, ...] = (), **info: Any) -> Table:
    geometry = next((c.type.kind for c in columns if isinstance(c, Column) and isinstance(c.type, Geometry)), "")
    return Table(
        name,
        metadata,
        Column("fid", Integer, primary_key=True),
        *columns,
        *((UniqueConstraint(*key),) if key != ("fid",) else ()),
        sqlite_autoincrement=True,
        info={"key": key, "link": link, "about": about, "geometry": geometry, **info},
    )


def _top(name: str, *columns: Any, about: str, **info: Any) -> Table:
    """A table whose rows are things by themselves."""
    return _table(name, _text("key"), *columns, key=("key",), about=about, **info)


def _part(name: str, *columns: Any, of: str, key: str = "position", about: str, link: str = "", **info: Any) -> Table:
    """A table of the parts of a thing, in order where it has a `position`."""
    owner = link or of.rstrip("s")
    named = {c.name for c in columns if isinstance(c, Column)}
    position = () if "position" in named or key == "name" else (_whole("position", null=False),)
    return _table(
        name, _refers(owner, f"{of}.key"), *position, *columns, key=(owner, key), about=about, link=(owner,), **info
    )  # fmt: skip


# the farm -----------------------------------------------------------------------------------------------------------
farm = _top("farm", _text("name"), _text("profile"), about="Whose book it is and its units")
settings = _top("settings", _text("value"), about="What the program was told once and remembers")

# products -----------------------------------------------------------------------------------------------------------
products = _top(
    "products",
    _text("name"), _text("kind"), _text("crop"), *_est("density_kg_m3"), _number("price_kg"), _text("form"),
    about="What is sown and spread",
)  # fmt: skip
product_nutrients = _part(
    "product_nutrients", _text("name"), _number("value", null=False), of="products", key="name", about="Share of mass of each nutrient"
)
lots = _top(
    "lots",
    _refers("product", "products.key"), _text("label"), *_est("tkw_g"), *_est("germination"), *_est("density_kg_m3"),
    _text("treatment"), _text("treated_at"), _number("sow_within_h"),
    about="Delivered quantities with their tests",
)  # fmt: skip

# outfits ------------------------------------------------------------------------------------------------------------
outfits = _top(
    "outfits",
    _text("name"), _text("drive"), _text("speed_source"), _whole("rows"), _number("row_spacing_m"), _number("spread_m"), _text("opener"),
    *_est("widths_true_m"), _number("widths_rate_m"), _number("widths_guidance_m"), _number("speed_m_s"), *_est("pulse_m"),
    _number("wheel_m"), _number("turn_radius_m"), _number("antenna_ahead_m", null=False), *_est("fan_turns_s"),
    _number("overlap_low", null=False), _number("overlap_high", null=False), _number("stand_in_m_s"),
    _number("fan_proof_temperature_c"), _number("fan_proof_relative_humidity"), _number("fan_proof_pressure_pa"),
    _number("fan_proof_height_m"), _late_text("fan_proof_crop"), _number("fan_proof_load_kg_s"), _late_text("fan_proof_at"),
    *_est("flag_on_m"), *_est("flag_off_m"), _number("flag_speed_m_s"), _late_text("flag_at"),
    _number("costs_fuel_l_ha"), _number("costs_fuel_price_l"), _number("costs_wage_h"), _number("hitch_m"),
    about="Tractor, tool and cart as hitched",
)  # fmt: skip
outfit_bins = _part(
    "outfit_bins",
    _text("letter"), _text("label"), _text("place"), *_est("capacity_m3"), _number("fill_share", null=False), _text("stream", null=True),
    _text("meter_roller"), _text("meter_setting"), _whole("meter_segments"), _number("meter_feeding_m"), *_est("meter_litres_turn"),
    _number("meter_steady_low_turns_s"), _number("meter_steady_high_turns_s"), *_est("low_light_kg"), _yes_no("has_scale"),
    _whole("meter_flutes"),
    of="outfits", key="letter", about="Bins with their meters", names={"position": "place"},
)  # fmt: skip
outfit_streams = _part(
    "outfit_streams", _text("stream"), _text("placement", null=True), _text("label"),
    of="outfits", key="stream", about="Air paths and where they end", names={"key": "stream"},
)  # fmt: skip
outfit_heads = _part(
    "outfit_heads",
    _text("letter"), _whole("outlets", null=False), _text("stream", null=True), _whole("segment"), _number("primary_m"),
    _number("caught_kg"),
    of="outfits", key="letter", about="Distributor heads",
)  # fmt: skip
outfit_runs = _part(
    "outfit_runs",
    _whole("number", null=False), _text("head"), _whole("outlet", null=False), _number("offset_m", null=False),
    _whole("rank", null=False), _number("hose_m"), _whole("sensor"), _yes_no("shut"),
    of="outfits", key="number", about="Hoses from head to opener, counted from the left",
)  # fmt: skip
outfit_sections = _part(
    "outfit_sections", _whole("number", null=False), _number("left_m", null=False), _number("right_m", null=False),
    of="outfits", key="number", about="Parts of the tool that can be shut off",
)  # fmt: skip
outfit_sensor_streams = _part("outfit_sensor_streams", _text("value"), of="outfits", about="Streams with flow sensors")
outfit_pulses = _part(
    "outfit_pulses", _text("load"), _text("soil"), *_est("pulse_m"), _text("at"),
    of="outfits", about="Distance per pulse by load and soil",
)  # fmt: skip
meter_factors = _top(
    "meter_factors",
    _refers("outfit", "outfits.key"), _text("bin"), _refers("product", "products.key"), _refers("lot", "lots.key", null=True),
    _text("setting"), *_est("kg_turn"), _at(), _text("how"),
    about="Product per turn of a meter", made_key=("outfit", "bin", "product", "lot", "setting", "at"),
)  # fmt: skip
card_remarks = _top(
    "card_remarks", _refers("outfit", "outfits.key"), _text("line"), _text("yours"), _text("set_by"), _at(),
    about="What the owner's display calls a line of the value card", made_key=("outfit", "line"),
)  # fmt: skip

# fields -------------------------------------------------------------------------------------------------------------
fields = _top(
    "fields",
    _text("name"), _number("frame_lon_deg", null=False), _number("frame_lat_deg", null=False), _number("frame_height_m", null=False),
    Column("outline_m", LargeBinary, nullable=False), _number("area_m2", null=False), _number("geodesic_m2", null=False), _text("crs"),
    _text("file_hash"), Column("geom", MultiPolygonColumn, nullable=True),
    about="Fields: outline_m is exact, in metres of the frame; geom is made from it", names={"polygons": "outline_m"},
)  # fmt: skip
field_obstacles = _part(
    "field_obstacles", Column("outline_m", LargeBinary, nullable=False), Column("geom", PolygonColumn, nullable=True),
    of="fields", about="Kept out, inside the outline",
)  # fmt: skip
field_hazards = _part(
    "field_hazards",
    _text("kind"), _text("note"), _number("x_m", null=False), _number("y_m", null=False), Column("geom", PointColumn, nullable=True),
    of="fields", about="Things to mind on a field",
)  # fmt: skip
field_entries = _part(
    "field_entries", _number("x_m", null=False), _number("y_m", null=False), Column("geom", PointColumn, nullable=True),
    of="fields", about="Gates",
)  # fmt: skip
field_fill_points = _part(
    "field_fill_points", _number("x_m", null=False), _number("y_m", null=False), Column("geom", PointColumn, nullable=True),
    of="fields", about="Where the truck stands",
)  # fmt: skip
field_repairs = _part("field_repairs", _text("value"), of="fields", about="What was mended when the outline was read")

# jobs ---------------------------------------------------------------------------------------------------------------
jobs = _top(
    "jobs",
    _text("crop"), _whole("season", null=False), _refers("field_key", "fields.key", null=True), _refers("outfit", "outfits.key", null=True),
    _number("area_ha"), _number("target_plants_m2"), _number("survival"), _number("depth_m"), _text("texture"), _text("moisture"),
    _text("guideline"), _number("speed_m_s"), _whole("headland_rounds", null=False), _number("direction_deg"), _text("finish_by"),
    _text("variety"), _text("notes"), _number("survival_sd"), _late_text("start_on"), _number("day_hours"), _number("workable"),
    _number("weather_temperature_c"), _number("weather_relative_humidity"), _number("weather_pressure_pa"), _number("weather_height_m"),
    _number("weather_soil_temperature_c"), _at("weather_at"),
    about="One field or part of it, one crop, one season",
)  # fmt: skip
job_asks = _part(
    "job_asks",
    _refers("product", "products.key"), _number("rate_kg_ha", null=False), _number("second_rate_kg_ha"),
    _refers("lot", "lots.key", null=True), _number("step_kg_ha"), _yes_no("in_turn", late=True),
    of="jobs", about="Products wanted and their rates",
)  # fmt: skip
job_ask_bins = _table(
    "job_ask_bins",
    _text("job"), _whole("ask", null=False), _whole("position", null=False), _text("value"),
    ForeignKeyConstraint(["job", "ask"], ["job_asks.job", "job_asks.position"], deferrable=True, initially="DEFERRED"),
    key=("job", "ask", "position"), link=("job", "ask"), about="Bins a product shall come from",
)  # fmt: skip
job_extra = _part("job_extra", _text("name"), _text("value"), of="jobs", key="name", about="Further facts of a job")

# what was ordered ---------------------------------------------------------------------------------------------------
orders = _top(
    "orders",
    _refers("product", "products.key"), _number("quantity_kg", null=False), _number("price_kg"), _text("supplier"),
    _refers("lot", "lots.key", null=True), _text("ordered_at"), _text("wanted_by"), _at("closed_at"), _text("note"),
    about="Product that was ordered",
)  # fmt: skip

# what happened ------------------------------------------------------------------------------------------------------
loads = _top(
    "loads",
    _text("kind"), _refers("product", "products.key"), _refers("lot", "lots.key", null=True), _number("mass_kg"), _number("sd_kg"),
    _text("how"), _text("from_key"), _text("to_key"), _refers("part_of", "loads.key", null=True), _text("ticket"), _at(),
    _refers("order", "orders.key", null=True), _refers("job", "jobs.key", null=True), _number("share"), _number("share_sd"),
    _late_text("note"),
    about="Product on its way",
)  # fmt: skip
fills = _top(
    "fills",
    _refers("outfit", "outfits.key"), _text("bin"), _refers("product", "products.key"), _refers("lot", "lots.key", null=True),
    _refers("job", "jobs.key", null=True), _at(), _number("put_kg", null=False), _number("put_sd_kg", null=False), _text("how"),
    _number("area_ha"), _number("level_before_kg"), _number("level_before_sd_kg"), _number("low_light_at_ha"),
    _refers("load", "loads.key", null=True),
    about="Product put into bins",
)  # fmt: skip
readings = _top(
    "readings",
    _refers("job", "jobs.key"), _text("quantity"), _number("value", null=False), _number("sd", null=False), _at(), _text("instrument"),
    _text("by"), _text("note"),
    about="Numbers that were read", flat=("reading",),
)  # fmt: skip
reading_sources = _part("reading_sources", _text("value"), of="readings", about="Typed values and sensors a reading repeats")
job_events = _top(
    "job_events",
    _refers("job", "jobs.key"), _number("at_s", null=False), _text("bin"), _text("kind"), _number("value", null=False),
    _number("sd", null=False), _at(), _text("by"),
    about="What happened at a bin during a job", flat=("event",),
)  # fmt: skip
catch_tests = _top(
    "catch_tests",
    _refers("outfit", "outfits.key"), _text("bin"), _refers("product", "products.key"), _number("turns"), _number("shown_kg"),
    _number("share", null=False), _number("tare_kg", null=False), _number("scale_division_kg", null=False),
    _refers("lot", "lots.key", null=True), _text("setting"), *_est("factor"), _at(), _text("by"), _text("note"),
    about="Catch tests as done",
)  # fmt: skip
catch_masses = _part(
    "catch_masses", _number("value", null=False), of="catch_tests", link="catch_test", about="Each catch, with its bag [kg]"
)
call_notes = _top(
    "call_notes",
    _at(), _text("caller"), _refers("outfit", "outfits.key", null=True), _refers("job", "jobs.key", null=True), _text("asked"),
    _text("advice"), _text("note"),
    about="Telephone calls",
)  # fmt: skip
call_readings = _part(
    "call_readings",
    _text("quantity"), _number("value", null=False), _number("sd", null=False), _at(), _text("instrument"),
    of="call_notes", link="call_note", about="Numbers read out on the telephone",
)  # fmt: skip
call_reading_sources = _table(
    "call_reading_sources",
    _text("call_note"), _whole("reading", null=False), _whole("position", null=False), _text("value"),
    ForeignKeyConstraint(
        ["call_note", "reading"], ["call_readings.call_note", "call_readings.position"], deferrable=True, initially="DEFERRED"
    ),
    key=("call_note", "reading", "position"), link=("call_note", "reading"), about="What a number read out repeats",
)  # fmt: skip
call_causes = _part("call_causes", _text("value"), of="call_notes", link="call_note", about="Likely causes named on the telephone")
step_states = _top(
    "step_states", _text("state"), _at(), _at("until"), _text("by"), _text("note"), about="What became of the lines of the Next list"
)

proofs = _top(
    "proofs",
    _refers("outfit", "outfits.key"), _text("item"), _number("value"), _number("low"), _number("high"), _text("text"), _text("phase"),
    _at(), _text("by"), _text("note"),
    about="What was measured when an outfit was proven",
)  # fmt: skip
handovers = _top(
    "handovers", _refers("job", "jobs.key"), _at(), _text("by"), _text("note"), about="When a shift was handed over, and what was said"
)

# files --------------------------------------------------------------------------------------------------------------
originals = _top(
    "originals", _text("name"), _whole("size_bytes", null=False), _at(), about="Files kept as they came", names={"hash": "key"}
)
trails = _top(
    "trails",
    _text("parquet_hash"),
    _number("frame_lon_deg", null=False), _number("frame_lat_deg", null=False), _number("frame_height_m", null=False),
    _text("name"), _refers("job", "jobs.key", null=True), _refers("outfit", "outfits.key", null=True), _at(), _at("until"),
    _whole("points", null=False), _whole("rows", null=False), _whole("kept", null=False), _whole("repaired", null=False),
    _whole("set_aside", null=False), _refers("original_hash", "originals.key", null=True), _text("note"),
    about="What machines recorded; the rows are in trails/ under their hash",
)  # fmt: skip
imported_entries = _top("imported_entries", _text("kind"), _text("source"), _at(), about="Entries of pocket pages that have been taken in")

# the book itself ----------------------------------------------------------------------------------------------------
changes = _table(
    "changes", Column("at", Moment, nullable=False), _text("who"), _text("why"), _whole("undoes"), key=("fid",), about="When, who and why"
)
history = _table(
    "history",
    Column("change", Integer, ForeignKey("changes.fid"), nullable=False), _text("kind"), _text("key"), _text("table_name"),
    _text("row_key"), _text("field"), _text("before", null=True), _text("after", null=True),
    key=("fid",), about="Each change of a value: before and after as JSON; field * is a whole row",
)  # fmt: skip
derived = _table(
    "derived",
    _text("kind"), _text("input_hash"), _text("about"), Column("made_at", Moment, nullable=False), _text("body"),
    key=("kind", "input_hash"), about="Results that can be made again from the rest",
)  # fmt: skip
book_schema = _table(
    "book_schema", _whole("schema", null=False), Column("at", Moment, nullable=False), _text("release"), key=("schema",),
    about="Schemas this book has had",
)  # fmt: skip

Index("history_of_change", history.c.change)
Index("history_of_thing", history.c.kind, history.c.key)
Index("fills_of_job", fills.c.job)
Index("readings_of_job", readings.c.job)

SYSTEM_TABLES = ("gpkg_spatial_ref_sys", "gpkg_contents", "gpkg_geometry_columns")
NEVER_IN_HISTORY = frozenset({"fid", "geom"})

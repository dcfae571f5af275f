"""Schema 1: the first tables of the book. The statements stand in `schema_0001.sql`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

from evenstand.book.geopackage import register_table

if TYPE_CHECKING:
    import sqlite3

    from alembic.operations import Operations

TABLES = (
    ("book_schema", "", "Schemas this book has had"),
    ("changes", "", "When, who and why"),
    ("derived", "", "Results that can be made again from the rest"),
    ("farm", "", "Whose book it is and its units"),
    ("fields", "MULTIPOLYGON", "Fields: outline_m is exact, in metres of the frame; geom is made from it"),
    ("imported_entries", "", "Entries of pocket pages that have been taken in"),
    ("originals", "", "Files kept as they came"),
    ("outfits", "", "Tractor, tool and cart as hitched"),
    ("products", "", "What is sown and spread"),
    ("settings", "", "What the program was told once and remembers"),
    ("step_states", "", "What became of the lines of the Next list"),
    ("field_entries", "POINT", "Gates"),
    ("field_fill_points", "POINT", "Where the truck stands"),
    ("field_hazards", "POINT", "Things to mind on a field"),
    ("field_obstacles", "POLYGON", "Kept out, inside the outline"),
    ("field_repairs", "", "What was mended when the outline was read"),
    ("history", "", "Each change of a value: before and after as JSON; field * is a whole row"),
    ("jobs", "", "One field or part of it, one crop, one season"),
    ("lots", "", "Delivered quantities with their tests"),
    ("outfit_bins", "", "Bins with their meters"),
    ("outfit_heads", "", "Distributor heads"),
    ("outfit_runs", "", "Hoses from head to opener, counted from the left"),
    ("outfit_sections", "", "Parts of the tool that can be shut off"),
    ("outfit_sensor_streams", "", "Streams with flow sensors"),
    ("outfit_streams", "", "Air paths and where they end"),
    ("product_nutrients", "", "Share of mass of each nutrient"),
    ("catch_tests", "", "Catch tests as done"),
    ("job_asks", "", "Products wanted and their rates"),
    ("job_events", "", "What happened at a bin during a job"),
    ("job_extra", "", "Further facts of a job"),
    ("loads", "", "Product on its way"),
    ("meter_factors", "", "Product per turn of a meter"),
    ("readings", "", "Numbers that were read"),
    ("trails", "", "What machines recorded; the rows are in trails/ under their hash"),
    ("catch_masses", "", "Each catch, with its bag [kg]"),
    ("fills", "", "Product put into bins"),
    ("job_ask_bins", "", "Bins a product shall come from"),
    ("reading_sources", "", "Typed values and sensors a reading repeats"),
)


def upgrade(operations: Operations, at: str) -> None:
    """Make the tables in a file that `lay_out` has prepared, and list them in its contents."""
    connection = operations.get_bind()
    for statement in Path(__file__).with_suffix(".sql").read_text(encoding="utf-8").split(";"):
        if statement.strip():
            connection.exec_driver_sql(statement)
    driver = cast("sqlite3.Connection", connection.connection.driver_connection)
    for name, geometry, about in TABLES:
        register_table(driver, name, description=about, at=at, geometry=geometry)

"""A filter is a plain comparison, and what a stranger's database would run is bounded or refused."""

import sqlite3
from contextlib import closing

import pytest

from pipelines.inputs.errors import LayerError
from pipelines.inputs.shapes.where_filter import refuse_odd_where

NAMES = ("lot", "kind", "area_m2", "select", "Größe")
FOR_EVER = "with recursive n(x) as (select 1 union all select x + 1 from n) select x from n"


@pytest.mark.parametrize(
    "where",
    [
        "lot = 7", "lot=7", '"lot" = 7', "LOT <> 7 AND kind = 'o''k'", "NOT (lot = 1 OR lot = 2)", "lot IN (1, 2, 3)",
        "kind LIKE 'dr%' ESCAPE '!'", "kind IS NOT NULL", "lot BETWEEN -1 AND 2.5e3", "fid = 3", "area_m2 / 2 + 1 > 5",
        "lower(kind) = 'swale'", '"select" = 1', "Größe >= 2", "kind NOT IN ('a;b', '--', 'select 1')",
        "kind = 'load_extension(1)'", "",
    ],
)  # fmt: skip
def test_ordinary_filters_pass(where):
    refuse_odd_where(where, NAMES, "file, layer lots")


@pytest.mark.parametrize(
    "where, told",
    [
        ("lot = (select 1)", "select begins a query"),
        (f"lot in ({FOR_EVER})", "begins a query"),
        ("1) union select 1 from (select 1", "don't match"),
        ("lot = 1; drop table lots", "';' cannot stand"),
        ("load_extension('x.so')", "load_extension is none of its attributes"),
        ("\"load_extension\"('x.so')", "is none of its attributes"),
        ("\"lot\"('x.so')", "is called"),
        ("readfile('/etc/passwd') = 1", "readfile"),
        ("lot = 1 -- and more", "begins a comment"),
        ("lot = 1 /* more */", "begins a comment"),
        ("exists(select 1)", "exists begins a query"),
        ("kind like '%a%a%a%a%a%a%a%'", "at most 6 %"),
        ("kind like kind", "LIKE takes a text"),
        ("(" * 31 + "lot" + ")" * 31, "30 deep"),
        ("lot = 1 or " * 1000 + "lot = 1", "11,007 characters"),
        ("lot = `lot`", "'`' cannot stand"),
        ("lot = 'open", "cannot stand"),
        ("lot = :x", "':' cannot stand"),
        ("lot = 1\0", "cannot stand"),
        ("zeroblob(1000000000) = lot", "zeroblob"),
    ],
)
def test_what_is_no_plain_filter_is_refused(where, told):
    with pytest.raises(LayerError, match="where") as caught:
        refuse_odd_where(where, NAMES, "file, layer lots")
    assert told in str(caught.value)
    assert len(str(caught.value)) < 600


def test_no_command_runs_a_query(lot, refused, tmp_path):
    query = f"fid in ({FOR_EVER})"
    for text in (query, "kind = (select load_extension('x'))"):
        site = lot.with_name("odd.toml")
        site.write_text(lot.read_text().replace('layer = "outfalls"', f'layer = "outfalls"\nwhere = "{text}"'))
        assert "begins a query" in refused("screen", site, "--out", tmp_path / "out")
    ground, shapes = lot.with_name("ground.tif"), lot.with_name("shapes.gpkg")
    site = tmp_path / "site.toml"
    assert "begins a query" in refused("start", ground, shapes, "--layer", "parcel", "--where", query, "--out", site)
    swales = lot.with_name("swale.toml")
    swales.write_text(f'{lot.read_text()}\n[swales]\nfile = "shapes.gpkg"\nlayer = "outfalls"\nwhere = "{query}"\n')
    assert "begins a query" in refused("swale", swales, "--out", tmp_path / "out")
    given = ("--parcel", shapes, "--parcel-layer", "parcel", "--parcel-where", query, "--elevation", ground)
    assert "begins a query" in refused("step", "sub-catchments", *given, "--out", tmp_path / "o.gpkg")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "sql, told",
    [
        (f"create view v as {FOR_EVER}", "its view v is no plain look at tables"),
        ("create view v as select readfile('/etc/passwd')", "no such function"),
        ("create view v as select ogr_geocode('x')", "no such function"),
        ("create view v as select zeroblob(900000000) as z from parcel", "too big"),
        ("create table t (a, b as (hex(zeroblob(9))))", "column b of t is reckoned by the file"),
    ],
)
def test_what_a_database_would_run_is_refused(lot, refused, tmp_path, sql, told):
    with closing(sqlite3.connect(lot.with_name("shapes.gpkg"))) as database:
        database.execute(sql)
        database.commit()
    # bounded by work, not by a clock: for ever is what it must not be
    assert told in refused("screen", lot, "--out", tmp_path / "out", "--dry-run")
    files = (lot.with_name("ground.tif"), lot.with_name("shapes.gpkg"))
    assert told in refused("start", *files, "--layer", "parcel", "--out", tmp_path / "site.toml")


def test_plain_views_and_triggers_do_no_harm(lot, run, tmp_path):
    with closing(sqlite3.connect(lot.with_name("shapes.gpkg"))) as database:
        database.execute("create view v as select * from outfalls where kind = 'swale'")
        database.execute("create table n (x); ")
        database.execute("create trigger t after insert on n begin insert into n select x + 1 from n; end")
        database.commit()
    result = run("screen", lot, "--out", tmp_path / "out", "--dry-run")
    assert result.exit_code == 0, result.stderr

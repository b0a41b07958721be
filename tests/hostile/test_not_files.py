"""Pipes, devices, folders and sockets in the place of a file: told as that, at once, and none is opened."""

import os
import socket

import pytest

KINDS = {"pipe": "a named pipe", "device": "a device", "folder": "a folder", "socket": "a socket"}


@pytest.fixture
def put(tmp_path, monkeypatch):
    """Something that is no file, in place of one."""
    held = []

    def place(kind, path):
        path.unlink(missing_ok=True)
        if kind == "pipe":
            os.mkfifo(path)
        elif kind == "device":
            path.symlink_to("/dev/zero")
        elif kind == "folder":
            path.mkdir()
        else:
            # an address of a socket is short
            monkeypatch.chdir(path.parent)
            held.append(socket.socket(socket.AF_UNIX))
            held[-1].bind(path.name)
        return path

    yield place
    for each in held:
        each.close()


TABLES = {
    "rain": '[rain]\ntable = "odd.csv"\n',
    "prices": '[prices]\nfile = "odd.csv"\n',
    "pump": '[pump]\ncurve = "odd.csv"\n',
    "levels": '[levels]\nfile = "odd.csv"\n',
    "picture": '[picture]\nfile = "odd.csv"\n',
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("table", TABLES)
def test_tables_of_a_site(lot, refused, put, tmp_path, kind, table):
    put(kind, lot.with_name("odd.csv"))
    text = lot.read_text().replace('depth = "3 in"\nduration = "60 min"\n', "").replace("[rain]\n", "")
    lot.write_text(f"{text}\n{TABLES[table]}")
    told = refused("screen", lot, "--out", tmp_path / "out", "--dry-run")
    assert "odd.csv" in told
    assert f"is {KINDS[kind]}, and only regular files are read" in told


@pytest.mark.parametrize("kind", KINDS)
def test_rasters_shapes_and_the_site_file(lot, refused, put, tmp_path, kind):
    odd = put(kind, lot.with_name("odd"))
    ground, shapes, out = lot.with_name("ground.tif"), lot.with_name("shapes.gpkg"), tmp_path / "out"
    given = {"ground.tif": lot.with_name("a.toml"), "shapes.gpkg": lot.with_name("b.toml")}
    for name, site in given.items():
        site.write_text(lot.read_text().replace(f'"{name}"', '"odd"'))
    for command in (
        ("screen", odd, "--out", out),
        ("screen", given["ground.tif"], "--out", out),
        ("screen", given["shapes.gpkg"], "--dry-run"),
        ("swale", odd, "--out", out),
        ("swale", given["shapes.gpkg"], "--out", out),
        ("start", odd, shapes, "--layer", "parcel", "--out", tmp_path / "s.toml"),
        ("start", ground, odd, "--out", tmp_path / "s.toml"),
        ("storm", "--table", odd, "--depth", "3 in", "--duration", "20 min"),
        ("pump", "--curve", odd, "--static-lift", "8 ft", "--pipe", "1-1/2 in sch 40", "--length", "99 ft"),
        ("step", "low-spots", "--elevation", odd, "--out", tmp_path / "o.gpkg"),
        ("step", "sub-catchments", "--elevation", ground, "--parcel", odd, "--out", tmp_path / "o.gpkg"),
        ("step", "troubles", "--site", odd, "--out", tmp_path / "o.gpkg"),
    ):
        told = refused(*command)
        assert f"is {KINDS[kind]}, and only regular files are read" in told, command
    assert not out.exists()


@pytest.mark.parametrize("name", ["ground.prj", "ground.tif.aux.xml", "shapes.gpkg-wal"])
def test_what_gdal_reads_beside_a_file(lot, refused, put, tmp_path, name):
    put("pipe", lot.with_name(name))
    assert "is a named pipe" in refused("screen", lot, "--out", tmp_path / "out")


def test_a_geodatabase_holds_files_alone(lot, refused, tmp_path):
    folder = tmp_path / "shapes.gdb"
    folder.mkdir()
    os.mkfifo(folder / "a00000001.gdbtable")
    told = refused("start", lot.with_name("ground.tif"), folder, "--out", tmp_path / "s.toml")
    assert "a00000001.gdbtable in it is no regular file" in told

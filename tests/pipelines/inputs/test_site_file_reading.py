"""The site file: what it says, and one message for all that is wrong with it."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.inputs.errors import InputFileError, SiteFileError
from pipelines.inputs.site_file import SECTIONS, read_site_file

SAMPLES = sorted((Path(__file__).parents[3] / "sample_data").glob("*.toml"))
LEAST = '[elevation]\nfile = "ground.tif"\n[parcel]\nfile = "parcel.gpkg"\n'


@pytest.fixture
def site(tmp_path):
    """Write a site file beside files of every name that it may need."""
    for name in ("ground.tif", "parcel.gpkg", "roofs.gpkg", "rain.csv", "pump.csv", "shots.csv", "lots"):
        (tmp_path / name).touch()

    def write(text, *, least=True):
        path = tmp_path / "site.toml"
        path.write_text((text + "\n" if not least else f"{text}\n{LEAST}"), encoding="utf-8")
        return path

    return write


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_sample_reads(path):
    read = read_site_file(path)
    assert read.name
    assert read.elevation.file.is_file()
    assert read.elevation.rmse == pytest.approx(0.1)


def test_only_elevation_and_parcel_are_needed(site, tmp_path):
    read = read_site_file(site(""))
    assert (read.name, read.units) == ("", "us")
    assert read.elevation.file == tmp_path / "ground.tif"
    assert read.parcel.file == tmp_path / "parcel.gpkg"
    assert read.roofs is None
    assert read.house.foundation is None
    assert read.rain.table is None
    assert read.rules["cover_lawn"].mark == "CP"
    assert read.folder == tmp_path


def test_everything_that_may_stand_in_it(site, tmp_path):
    read = read_site_file(
        site(
            """
name = "Lot 7"
units = "si"
[elevation]
file = "ground.tif"
unit = "ftUS"
rmse = "10 cm"
flown = 2019
[parcel]
file = "parcel.gpkg"
layer = "parcels"
where = "lot = 7"
[house]
foundation = "crawl"
floor = "101.2 ft"
footing_depth = "2 ft 6 in"
built = 2015
[roofs]
file = "roofs.gpkg"
[rain]
table = "rain.csv"
return_period = "10 yr"
distribution = "II"
[soil]
group = "B"
cover = "lawn, fair"
compacted = false
tested_rate = "0.5 in/h"
water_table = "6 ft"
[pump]
curve = "pump.csv"
[levels]
file = "shots.csv"
[layout]
basins = [[1.5, 2], [3, 4]]
forbidden = { file = "roofs.gpkg", layer = "no" }
pipe = "4 in SDR-35"
slope = "1 %"
cover = "12 in"
lift = "pump"
[rules]
cover_lawn = "10 in"
[swales]
file = "roofs.gpkg"
spacing = "5 m"
freeboard = "6 in"
roughness = 0.035
discharges = "lots"
side_slope = "1 ft/3 ft"
""",
            least=False,
        )
    )
    assert read.house.footing_depth == pytest.approx(0.762)
    assert read.rain.return_period == 10.0
    assert read.soil.tested_rate == pytest.approx(0.5 * 0.0254 / 3600)
    assert read.layout.basins.points == ((1.5, 2.0), (3.0, 4.0))
    assert read.layout.forbidden.layer == "no"
    assert read.rules["cover_lawn"].mark == "given"
    assert read.swales.discharges == (tmp_path / "lots",)
    assert read.swales.side_slope == pytest.approx(1 / 3)


def test_it_is_frozen(site):
    read = read_site_file(site(""))
    with pytest.raises(ValueError, match="frozen"):
        read.name = "x"


def test_absolute_paths_and_a_mark_of_byte_order(site, tmp_path):
    path = site(f'[roofs]\nfile = "{tmp_path}/roofs.gpkg"')
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert read_site_file(path).roofs.file == tmp_path / "roofs.gpkg"


@pytest.mark.parametrize(
    "text, message",
    [
        ('[roof]\nfile = "roofs.gpkg"', 'unknown key "roof"; did you mean "roofs"?'),
        ('[swale]\nfile = "roofs.gpkg"', 'unknown key "swale"; did you mean "swales"?'),
        ("unit = 3", 'unknown key "unit"; did you mean "units"?'),
        ("path = 3", 'unknown key "path"; known are name, units'),
        ("[house]\nfloors = 3", '[house] unknown key "floors"; did you mean "floor"?'),
        ('[layout.forbidden]\nfile = "roofs.gpkg"\nlayr = "x"', '[layout.forbidden] unknown key "layr"; did you mean'),
        ("[roofs]", "[roofs] file: is missing; it is needed"),
        ('[roofs]\nfile = "no.gpkg"', '[roofs] file: "no.gpkg" does not exist (looked for '),
        ("[roofs]\nfile = 3", "[roofs] file: must be a path in quotes"),
        ('roofs = "roofs.gpkg"', "roofs: must be a table, as in [roofs] with keys under it"),
        ('units = "imperial"', 'units: "imperial" is not known; it may be "us" or "si"'),
        ('[house]\nfoundation = "pier"', '"pier" is not known; it may be "slab", "crawl" or "basement"'),
        ("[house]\nfloor = 101.2", "[house] floor: the bare number 101.2 has no unit; write a length"),
        ('[house]\nfloor = "101.2 gpm"', "[house] floor: \"101.2 gpm\" is a flow, and this is a length"),
        ('[house]\nfooting_depth = "0 in"', "must be more than zero"),
        ('[house]\nbuilt = "2015"', "is no year; write it plainly, as in 2019"),
        ("[house]\nbuilt = 15", "[house] built: 15: input should be greater than or equal to 1500"),
        ('[rain]\ndepth = "3 in"', "rain: duration is missing; one storm is given by depth and duration together"),
        ('[rain]\nduration = "3 h"', "rain: depth is missing"),
        ('[rain]\ndepth = "3 in"\nduration = "3 h"\ntype = "IV"', '"IV" is not known; it may be "I", "IA", "II"'),
        ('[rain]\ntable = "rain.csv"\ntype = "II"', "type is for a depth and duration; a table says itself"),
        ('[rain]\ntable = "rain.csv"\ndistribution = "constant"', 'distribution = "constant" is for a depth and'),
        ('[rain]\ndepth = "3 in"\nduration = "3 h"\ntype = "II"\ndistribution = "constant"', "give either type, or a"),
        ('[rain]\ndepth = "-3 in"\nduration = "20 min"', '[rain] depth: "-3 in" must be more than zero'),
        ('[rain]\ndepth = "3 ft"\nduration = "20 min"', "914 mm in 20 min is more than any storm has brought"),
        ('[rain]\ndepth = "9 m"\nduration = "9 d"', "is more than any storm has brought"),
        ('[rain]\ndepth = "3 in"\nduration = "20 gal"', '[rain] duration: "20 gal" is a volume, and this is a time'),
        ('[rain]\ntable = "rain.csv"\ndepth = "3 in"\nduration = "1 h"', "either table or depth and duration"),
        ('[rain]\ntable = "rain.csv"\nreturn_period = 10', "return_period: the bare number 10 has no unit"),
        ('[rain]\ndepth = "3 in"\nduration = "1 h"\nreturn_period = "10 yr"', "return_period goes with a table"),
        ('[soil]\ngroup = "E"', '[soil] group: "E" is not known; it may be "A", "B", "C", "D", "A/D"'),
        ('[soil]\nlayer = "soils"', "soil: layer, where and crs need a file"),
        ("[layout]\nbasins = [[1, 2, 3]]", "[1, 2, 3] is no [easting, northing]"),
        ('[layout]\nbasins = [["a", 2]]', '"a" is no [easting, northing]'),
        ("[layout]\nbasins = []", "give a list of [easting, northing], or a file"),
        ('[layout]\nlift = "up"', 'it may be "gravity" or "pump"'),
        ('[layout]\nslope = "150 %"', '"150 %" is out of range; it may be from 0.001 % to 99.9 %'),
        ('[rules]\ncover_lwan = "3 in"', 'rules: unknown rule "cover_lwan", did you mean "cover_lawn"?'),
        ("rules = 3", "rules: must be a table of rules by name"),
        ('[swales]\nfile = "roofs.gpkg"\nroughness = 35', "roughness: 35: input should be less than 1"),
        ("name = 7", "name: 7: input should be a valid string"),
    ],
)
def test_what_is_refused(site, text, message):
    with pytest.raises(SiteFileError) as caught:
        read_site_file(site(text))
    assert message in str(caught.value)
    assert "site.toml has 1 fault:" in str(caught.value)
    assert "pydantic" not in str(caught.value)


@pytest.mark.parametrize(
    "key, value, message",
    [
        ("unit", '"feet"', 'unit: "feet" is not known; it may be "m", "ft" or "ftUS"'),
        ("rmse", "10", "rmse: the bare number 10 has no unit"),
        ("rmse", '"-1 cm"', "must be more than zero"),
        ("rmse", '"100 ft"', '"100 ft" is out of range; it may be from 1 mm to 10 m'),
        ("flown", "true", "True is no year"),
        ("cell", "1", '[elevation] unknown key "cell"'),
    ],
)
def test_what_the_elevation_may_not_say(site, key, value, message):
    text = f'[elevation]\nfile = "ground.tif"\n{key} = {value}\n[parcel]\nfile = "parcel.gpkg"'
    with pytest.raises(SiteFileError) as caught:
        read_site_file(site(text, least=False))
    assert message in str(caught.value)


def test_all_faults_of_a_file_stand_in_one_message(site):
    with pytest.raises(SiteFileError) as caught:
        read_site_file(site('nmae = "x"\n[house]\nfloor = 3\n[rain]\ndepth = "3 gal"\n[parcel]\n', least=False))
    text = str(caught.value)
    assert "has 5 faults:" in text
    for part in ("nmae", "[house] floor", "[rain] depth", "elevation: is missing", "[parcel] file: is missing"):
        assert part in text
    assert len(text.splitlines()) == 6


def test_broken_toml_names_line_and_column(site):
    with pytest.raises(SiteFileError, match=r"site.toml is broken TOML: .*at line 2, column \d+"):
        read_site_file(site('name = "x"\nunits = us', least=False))


def test_a_key_twice_is_broken_toml(site):
    with pytest.raises(SiteFileError, match=r"is broken TOML: .*line"):
        read_site_file(site('name = "x"\nname = "y"'))


def test_missing_no_text_or_a_folder(tmp_path):
    with pytest.raises(InputFileError, match="does not exist; `lotshed start` writes one"):
        read_site_file(tmp_path / "no.toml")
    with pytest.raises(InputFileError, match="is a folder, and only regular files are read"):
        read_site_file(tmp_path)
    (tmp_path / "b.toml").write_bytes(b"name = \"\xff\xfe\"")
    with pytest.raises(SiteFileError, match="no text in UTF-8"):
        read_site_file(tmp_path / "b.toml")


def test_sections_are_those_of_the_design():
    assert " ".join(SECTIONS) == (
        "name units elevation parcel house roofs hardscape barriers keep_out utilities right_of_way downspouts "
        "culverts outfalls complaints traced picture levels rain soil pump prices layout rules swales"
    )


def as_toml(value):
    """A value as inline TOML."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {as_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(each) for each in value) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return json.dumps(value) if isinstance(value, (str, int)) else repr(value)


PLAIN = st.one_of(
    st.text(st.characters(min_codepoint=32, max_codepoint=0x2FF, exclude_characters="\x7f"), max_size=12),
    st.sampled_from(["3 ft", "1 %", "10 yr", "2 gpm", "A", "slab", "ground.tif", "rain.csv"]),
    st.integers(-(2**40), 2**40), st.floats(), st.booleans(),
)  # fmt: skip
KEYS = st.one_of(
    st.sampled_from(["file", "layer", "where", "unit", "floor", "depth", "duration", "table", "basins", "group", "low",
                     "slope", "likely", "built", "discharges", "roughness", "cover_lawn", "n_smooth"]),
    st.text("abc_ é", max_size=5),
)  # fmt: skip
VALUES = st.recursive(
    PLAIN, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4), max_leaves=8
)


@given(st.dictionaries(st.one_of(st.sampled_from(SECTIONS), KEYS), VALUES, max_size=6))
def test_whatever_a_site_file_says_it_reads_or_gives_one_message(tmp_path_factory, table):
    folder = tmp_path_factory.getbasetemp()
    for name in ("ground.tif", "rain.csv"):
        (folder / name).touch()
    path = folder / "any.toml"
    lines = [f"{json.dumps(key)} = {as_toml(value)}" for key, value in table.items()]
    path.write_text("\n".join(lines), encoding="utf-8")
    try:
        read_site_file(path)
    except SiteFileError as error:
        text = str(error)
    else:
        text = "any.toml"
    assert "any.toml" in text
    assert "pydantic" not in text

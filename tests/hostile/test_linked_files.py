"""Files that point elsewhere: nothing is fetched, and nothing outside the named file's own folder is read."""

import http.server
import json
import shutil
import threading
import zipfile

import geopandas as gpd
import pytest
import rasterio
import rasterio.shutil
from shapely import box

from pipelines.inputs.shapes.vector_file import find_layer
from pipelines.inputs.site_sections import VectorFile
from terrain.errors import GroundFileError
from terrain.reading.linked_files import links_anywhere
from terrain.reading.raster_source import open_raster
from terrain.reading.surface import read_window

SIMPLE = '<SimpleSource><SourceFilename relativeToVRT="{relative}">{file}</SourceFilename><SourceBand>1</SourceBand>'
LINE = ("--pipe", "2 in sch 40", "--length", "9 ft")
BAND = '<VRTRasterBand dataType="Float64" band="1">{inside}</VRTRasterBand>'


def virtual_raster(ground, inside):
    with rasterio.open(ground) as file:
        place = ",".join(str(each) for each in file.transform.to_gdal())
        head = f'<VRTDataset rasterXSize="{file.width}" rasterYSize="{file.height}"><SRS>{file.crs.to_string()}</SRS>'
    return f"{head}<GeoTransform>{place}</GeoTransform>{BAND.format(inside=inside)}</VRTDataset>"


def source(file, relative=1):
    return SIMPLE.format(file=file, relative=relative) + "</SimpleSource>"


def virtual_vector(inside):
    return f'<OGRVRTDataSource><OGRVRTLayer name="parcel">{inside}</OGRVRTLayer></OGRVRTDataSource>'


def rasters(ground, url):
    """Rasters that lead elsewhere, by name: what they hold."""
    script = (
        '<PixelFunctionType>f</PixelFunctionType><PixelFunctionLanguage>Python</PixelFunctionLanguage>'
        f"<PixelFunctionCode>import urllib.request; urllib.request.urlopen('{url}')</PixelFunctionCode>"
    )
    wms = f'<GDAL_WMS><Service name="TMS"><ServerUrl>{url}/${{z}}</ServerUrl></Service></GDAL_WMS>'
    texts = {
        "address": source(f"/vsicurl/{url}/a.tif"),
        "plain address": source(f"{url}/a.tif", 0),
        "streamed": source(f"/vsicurl_streaming/{url}/a.tif", 0),
        "below a folder": source(f"x/../../vsicurl/{url}/a.tif"),
        "in other letters": source(f"/vsiCURL/{url}/a.tif").replace("relativeToVRT", "RELATIVETOVRT"),
        "in a comment's shade": source(f"/vsicurl/{url}/<!-- -->ground.tif", 0),
        "as a service": source("&lt;GDAL_WMS&gt;" + url, 0),
        "by a driver's name": source(f"WMS:{url}", 0),
        "above": source("../../../../../etc/passwd"),
        "absolute": source("/etc/passwd", 0),
        "script": script + source("ground.tif"),
        "raw bytes": "<SourceFilename>/etc/passwd</SourceFilename><ImageOffset>0</ImageOffset>",
        "options": source("ground.tif").replace("</Simple", "<OpenOptions><OOI key='a'>b</OOI></OpenOptions></Simple"),
    }
    found = {name: virtual_raster(ground, inside) for name, inside in texts.items()}
    found["warped"] = (
        f'<VRTDataset rasterXSize="9" rasterYSize="9" subClass="VRTWarpedDataset"><GDALWarpOptions>'
        f"<SourceDataset>/vsicurl/{url}/a.tif</SourceDataset></GDALWarpOptions></VRTDataset>"
    )
    found["entities"] = f'<!DOCTYPE a [<!ENTITY b SYSTEM "{url}">]>' + virtual_raster(ground, "&b;")
    return found | {
        "service": wms,
        "catalogue": json.dumps({"type": "FeatureCollection", "stac_version": "1.0.0", "features": [{"href": url}]}),
        "web": f"<WCS_GDAL><ServiceURL>{url}/?</ServiceURL><CoverageName>a</CoverageName></WCS_GDAL>",
        "tiles": f"<GDALTileIndexDataset><IndexDataset>{url}</IndexDataset></GDALTileIndexDataset>",
        "meta": f"<MRF_META><CachedSource><Source>{url}</Source></CachedSource><Raster/></MRF_META>",
    }


def vectors(url):
    service = f"<OGRWFSDataSource><URL>{url}</URL></OGRWFSDataSource>"
    own = "<SrcDataSource relativeToVRT='1'>shapes.gpkg</SrcDataSource>"
    return {
        "address": virtual_vector(f"<SrcDataSource>/vsicurl/{url}/a.gpkg</SrcDataSource>"),
        "plain address": virtual_vector(f"<SrcDataSource>{url}/a.geojson</SrcDataSource>"),
        "query": virtual_vector(f"{own}<SrcSQL>select 1</SrcSQL>"),
        "above": virtual_vector("<SrcDataSource relativeToVRT='1'>../../../etc/passwd</SrcDataSource>"),
        "service": service,
        "in a KML": f"<!-- {service} --><kml></kml>",
        "step": json.dumps({"type": "gdal_streamed_alg", "command_line": f"gdal vector pipeline ! read {url}"}),
        "schema": f'<FeatureCollection xmlns:xsi="xsi" xsi:schemaLocation="a {url}/a.xsd"/>',
    }


def test_no_raster_and_no_layer_fetches_or_leads_outside(lot, refused, tmp_path, listener):
    """Every hostile file through every command that reads rasters or shapes: the listener counts no hit."""
    ground, shapes, out = lot.with_name("ground.tif"), lot.with_name("shapes.gpkg"), tmp_path / "out"
    odd = lot.with_name("odd.tif")
    named = lot.with_name("odd.toml")
    swale = '\n[swales]\nfile = "shapes.gpkg"\nlayer = "outfalls"\n'
    named.write_text(lot.read_text().replace('"ground.tif"', '"odd.tif"') + swale)
    for number, (name, text) in enumerate(rasters(ground, listener.url).items()):
        odd.write_text(text)
        command = (
            ("screen", named, "--out", out), ("swale", named, "--out", out), ("screen", named, "--dry-run"),
            ("start", odd, shapes, "--layer", "parcel", "--out", tmp_path / "s.toml"),
            ("step", "low-spots", "--elevation", odd, "--out", tmp_path / "o.gpkg"),
        )[number % 5]  # fmt: skip
        assert "odd.tif" in refused(*command), name
        # as a picture too, which is read by another way
        if number % 5 == 0:
            pictured = lot.with_name("pictured.toml")
            pictured.write_text(lot.read_text() + '\n[picture]\nfile = "odd.tif"\n')
            assert "odd.tif" in refused("screen", pictured, "--out", out), name
    odd_shapes = lot.with_name("odd.geojson")
    named.write_text(lot.read_text().replace('"shapes.gpkg"\nlayer = "parcel"', '"odd.geojson"') + swale)
    for number, (name, text) in enumerate(vectors(listener.url).items()):
        odd_shapes.write_text(text)
        command = (
            ("screen", named, "--out", out), ("swale", named, "--out", out),
            ("start", ground, odd_shapes, "--out", tmp_path / "s.toml"),
            ("step", "sub-catchments", "--elevation", ground, "--parcel", odd_shapes, "--out", tmp_path / "o.gpkg"),
        )[number % 4]  # fmt: skip
        assert "odd.geojson" in refused(*command), name
    # what is typed in place of a table is a file's name and no address
    for command in (
        ("storm", "--table", f"{listener.url}/rain.csv", "--depth", "3 in", "--duration", "20 min"),
        ("pump", "--curve", f"/vsicurl/{listener.url}/p.csv", "--static-lift", "8 ft", *LINE),
    ):
        assert "does not exist" in refused(*command)
    assert listener.hits == 0
    assert not out.exists()


def test_what_lies_beside_a_raster_leads_nowhere(lot, refused, tmp_path, listener):
    ground = lot.with_name("ground.tif")
    wms = f'<GDAL_WMS><Service name="TMS"><ServerUrl>{listener.url}/${{z}}</ServerUrl></Service></GDAL_WMS>'
    for name, text in (("ground.tif.ovr", wms), ("ground.tif.msk", wms), ("ground.tif.aux.xml", "<PAMDataset><Metadata "
        f'domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">/vsicurl/{listener.url}/a</MDI></Metadata></PAMDataset>')):
        lot.with_name(name).write_text(text)
        assert name in refused("screen", lot, "--out", tmp_path / "out")
        lot.with_name(name).unlink()
    with rasterio.open(ground, "r+") as file:
        file.update_tags(ns="OVERVIEWS", OVERVIEW_FILE=f"/vsicurl/{listener.url}/a.tif")
    assert "keeps its overviews in another file" in refused("screen", lot, "--out", tmp_path / "out")
    assert listener.hits == 0


def test_virtual_rasters_of_their_own_folder_are_read_through_all_levels(lot, tmp_path):
    ground = lot.with_name("ground.tif")
    below = lot.parent / "tiles"
    below.mkdir()
    shutil.copy(ground, below / "a.tif")
    (below / "one.vrt").write_text(virtual_raster(ground, source("a.tif")))
    top = lot.with_name("top.vrt")
    top.write_text(virtual_raster(ground, source("tiles/one.vrt")))
    made, plain = open_raster(top), open_raster(ground)
    assert (read_window(made, made.grid.bounds).elevation == read_window(plain, plain.grid.bounds).elevation).all()
    # GDAL's own writer
    rasterio.shutil.copy(ground, lot.with_name("own.vrt"), driver="VRT")
    assert open_raster(lot.with_name("own.vrt")).grid == plain.grid
    # a level below leads out of its own folder, though not out of the first one's
    (below / "one.vrt").write_text(virtual_raster(ground, source("../ground.tif")))
    with pytest.raises(GroundFileError, match=r"lies outside its folder .*--allow-linked"):
        open_raster(top)
    (below / "one.vrt").write_text(virtual_raster(ground, source("../top.vrt")))
    with pytest.raises(GroundFileError), links_anywhere():
        open_raster(top)


def test_linked_files_are_read_where_that_is_allowed(lot, run, refused, tmp_path):
    away = tmp_path / "away"
    away.mkdir()
    ground = shutil.move(lot.with_name("ground.tif"), away / "ground.tif")
    lot.with_name("ground.vrt").write_text(virtual_raster(ground, source(ground, 0)))
    lot.write_text(lot.read_text().replace("ground.tif", "ground.vrt"))
    elevation, shapes = lot.with_name("ground.vrt"), lot.with_name("shapes.gpkg")
    swale = lot.with_name("swale.toml")
    swale.write_text(lot.read_text() + '\n[swales]\nfile = "shapes.gpkg"\nlayer = "outfalls"\n')
    for command in (
        ("screen", lot, "--dry-run"),
        ("swale", swale, "--dry-run"),
        ("start", elevation, shapes, "--layer", "parcel", "--out", tmp_path / "s.toml"),
        ("step", "filled-ground", "--elevation", elevation, "--out", tmp_path / "o.tif"),
    ):
        assert "--allow-linked" in refused(*command)
        result = run(*command, "--allow-linked")
        assert result.exit_code == 0, (command, result.stderr)
    # and no longer than the command lasts
    assert "--allow-linked" in refused("screen", lot, "--dry-run")
    elevation.write_text(virtual_raster(ground, source("http://127.0.0.1:9/a.tif", 0)))
    assert "nothing that a file points at is fetched" in refused("screen", lot, "--dry-run", "--allow-linked")


def test_a_zip_holds_a_shapefile_and_nothing_else(tmp_path, refused, lot):
    parcel = gpd.GeoDataFrame({"a": [1]}, geometry=[box(500006, 4400005, 500024, 4400025)], crs=32617)
    parcel.to_file(tmp_path / "p.shp")
    with zipfile.ZipFile(tmp_path / "p.zip", "w") as archive:
        for each in tmp_path.glob("p.*"):
            if each.suffix != ".zip":
                archive.write(each, each.name)
    zipped = VectorFile.model_construct(file=tmp_path / "p.zip", layer=None, where=None)
    assert find_layer(zipped, "parcel").features == 1
    with zipfile.ZipFile(tmp_path / "p.zip", "a") as archive:
        archive.writestr("q.vrt", virtual_vector("<SrcDataSource>/etc/passwd</SrcDataSource>"))
    told = refused("start", lot.with_name("ground.tif"), tmp_path / "p.zip", "--out", tmp_path / "s.toml")
    assert "q.vrt in it is no part of a shapefile" in told


def test_an_address_that_a_person_typed_is_read_by_parts(lot, run, refused, tmp_path):
    served = tmp_path / "served"
    served.mkdir()
    rasterio.shutil.copy(lot.with_name("ground.tif"), served / "ground.tif", driver="COG")
    whole = (served / "ground.tif").read_bytes()
    ranges = []

    class Ranges(http.server.BaseHTTPRequestHandler):
        def do_HEAD(self):
            self.send_response(200)
            self.send_header("Content-Length", str(len(whole)))
            self.send_header("Accept-Ranges", "bytes")
            self.end_headers()

        def do_GET(self):
            asked = self.headers.get("Range")
            ranges.append((self.path, asked))
            first, last = (int(each or len(whole)) for each in (asked or "bytes=0-").removeprefix("bytes=").split("-"))
            part = whole[first : min(last, len(whole) - 1) + 1]
            self.send_response(206)
            self.send_header("Content-Range", f"bytes {first}-{first + len(part) - 1}/{len(whole)}")
            self.send_header("Content-Length", str(len(part)))
            self.end_headers()
            self.wfile.write(part)

        def log_message(self, *_):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Ranges)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        url = f"http://127.0.0.1:{server.server_port}/ground.tif"
        site = tmp_path / "s.toml"
        result = run("start", url, lot.with_name("shapes.gpkg"), "--layer", "parcel", "--out", site)
        assert result.exit_code == 0, result.stderr
        assert f'file = "{url}"' in site.read_text()
        assert ranges
        assert all(asked is not None and path == "/ground.tif" for path, asked in ranges)
        result = run("screen", site, "--out", tmp_path / "out", "--grounds", "1")
        assert result.exit_code == 0, result.stderr
    finally:
        server.shutdown()
        server.server_close()
    assert url in (tmp_path / "out" / "summary.json").read_text()

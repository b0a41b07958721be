"""Level books: heights from the rod are exact, show how they close, and are refused where they hang on nothing."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from pipelines.deliverables.words.say import say_all
from pipelines.inputs.errors import TableError
from pipelines.inputs.tables.shots import read_level_shots
from terrain.grid import Frame

FRAME = Frame(CRS(32617), 1.0, 1.0, 1.0)
HEAD = "point,what,easting,northing,backsight_ft,foresight_ft\n"
BOOK = HEAD + "shot-1,sill,500001,4100002,4.10,\nshot-2,low,500003,4100004,,5.30\nTP,nail,,,3.00,6.10\n" + (
    "shot-3,swale,500005,4100006,,7.25\nshot-1,sill,500001,4100002,,0.99\n"
)


@pytest.fixture
def read(tmp_path):
    def run(text, closure=0.006):
        (tmp_path / "level_shots.csv").write_text(text)
        return read_level_shots(tmp_path / "level_shots.csv", FRAME, closure=closure)

    return run


def test_a_book_with_a_turning_point(read):
    shots = read(BOOK)
    assert shots.points == ("shot-1", "shot-2", "shot-3")
    assert shots.heights / 0.3048 == pytest.approx([0.0, -1.20, -2.0 + 3.0 - 7.25])
    assert shots.own_datum
    (said,) = say_all(shots.warnings, "us")
    assert said == "Level shots: shot-1, read again, closes within 0.01 ft."


def test_a_height_that_is_given_carries_its_datum(read):
    shots = read(
        "point,easting,northing,height_ft,backsight_ft,foresight_ft\n"
        "BM,500001,4100002,651.25,4.10,\nlow,500003,4100004,,,5.30\nunread,500003,4100009,,,\n"
    )
    assert not shots.own_datum
    assert shots.heights / 0.3048 == pytest.approx([651.25, 650.05])
    assert [each.code for each in shots.warnings] == ["shots_unread", "shots_not_closed"]


@given(st.integers(0, 10**6))
def test_any_loop_gives_back_the_heights_that_it_was_read_from(tmp_path_factory, number):
    rng = np.random.default_rng(number)
    count = int(rng.integers(2, 9))
    heights = np.concatenate([[0.0], rng.uniform(-2.0, 2.0, count - 1)])
    rows, instrument = [], heights[0] + rng.uniform(0.1, 4.0)
    rows.append(f"p0,10,20,{instrument:.6f},")
    for k in [*range(1, count), 0]:
        fore = instrument - heights[k]
        moved = k > 0 and bool(rng.integers(2))
        instrument = heights[k] + rng.uniform(0.1, 4.0) if moved else instrument
        rows.append(f"p{k},{10 + k},20,{f'{instrument - heights[k]:.6f}' if moved else ''},{fore:.6f}")
    path = tmp_path_factory.mktemp("loop") / "book.csv"
    path.write_text("point,easting,northing,backsight_m,foresight_m\n" + "\n".join(rows) + "\n")
    assert read_level_shots(path, FRAME, closure=0.001).heights == pytest.approx(heights, abs=3e-5)


@pytest.mark.parametrize(
    "old, new, message",
    [
        (",,0.99", ",,0.90", "read again, shot-1 is 0.100 ft higher than before, more than the 0.020 ft that the rule"),
        (",4.10,", ",,", "line 3: the foresight on shot-2 comes before any backsight"),
        ("TP,nail,,,3.00,6.10", "TP,nail,,,3.00,", "line 4: the backsight on TP hangs on nothing"),
        ("5.30", "five", 'line 3, column foresight_ft: "five" is no number'),
        ("backsight_ft,", "backsight_m,", None),
        ("foresight_ft", "seen", "has no column foresight_m or foresight_ft"),
        ("500005,4100006", "500005,", 'column northing: "" is no number'),
        (BOOK[len(HEAD) :], "shot-1,sill,500001,4100002,,\nshot-2,low,1,2,,\n", "fewer than two points are read"),
    ],
)
def test_books_that_are_refused(read, old, new, message):
    assert old in BOOK
    if message is None:
        # a rod in feet and one in meters in one book don't close
        message = "more than the 0.006 m"
    with pytest.raises(TableError) as caught:
        read(BOOK.replace(old, new))
    assert message in str(caught.value)

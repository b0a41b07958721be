"""The pipe catalogue: what people write for a pipe, and the table's own consistency."""

from itertools import pairwise

import pytest

from pipelines.hydraulics.channel.culvert_sizes import culvert_sizes
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.pipe_catalogue import find_pipe, next_sizes_up, pipe_catalogue, sizes_of


@pytest.mark.parametrize("text, key", [
    ("1-1/2 in sch 40", "1-1/2 in sch 40"),
    ("1 1/2 in sch 40", "1-1/2 in sch 40"),
    ("1.5 in sch40", "1-1/2 in sch 40"),
    ('1-1/2" Schedule 40 PVC', "1-1/2 in sch 40"),
    ("4 in SDR-35", "4 in SDR-35"),
    ('4" sdr35 pvc', "4 in SDR-35"),
    ("4 inch SDR 35", "4 in SDR-35"),
    ("4 in D2729", "4 in D2729"),
    ("4 in D2729 solid", "4 in D2729"),
    ("4 in D2729 perforated", "4 in D2729 perforated"),
    ("6 in corrugated", "6 in corrugated"),
])
def test_what_people_write(text, key):
    assert find_pipe(text).key == key


@pytest.mark.parametrize("pipe", pipe_catalogue(), ids=lambda pipe: pipe.key)
def test_every_key_finds_its_own_pipe(pipe):
    assert find_pipe(pipe.key) is pipe


@pytest.mark.parametrize("text, says", [
    ("4 in", "may be 4 in sch 40, 4 in SDR-35"),
    ("4 in perforated", "may be 4 in D2729 perforated, 4 in corrugated perforated"),
    ("3 in SDR-35", "it holds 3 in sch 40, 3 in D2729"),
    ("SDR-35", "does not start with a size"),
    ("1/0 in sch 40", "does not start with a size"),
    ("4 sch 40", "does not start with a size"),
    ("", "does not start with a size"),
])
def test_what_is_not_a_pipe(text, says):
    with pytest.raises(HydraulicsError, match=says):
        find_pipe(text)


def test_the_wall_of_a_corrugated_culvert_grows_with_its_size():
    for small, large in pairwise(culvert_sizes()):
        assert 1.0 < large.inside / small.inside < 1.34
        assert large.outside - large.inside > small.outside - small.inside > 0.1 * small.inside


@pytest.mark.parametrize("pipe", pipe_catalogue(), ids=lambda pipe: pipe.key)
def test_the_table_is_consistent(pipe):
    assert pipe.outside > pipe.inside > 0.7 * pipe.nominal
    assert pipe.outside - 2 * pipe.wall == pytest.approx(pipe.inside, abs=1e-9)
    assert (pipe.hazen_williams is not None) == (pipe.standard == "sch 40")
    assert pipe.key == f"{pipe.size} {pipe.standard}"


def test_next_sizes_up():
    assert [pipe.key for pipe in next_sizes_up(find_pipe("1-1/2 in sch 40"))] == ["2 in sch 40", "3 in sch 40"]
    assert next_sizes_up(find_pipe("6 in sch 40")) == ()
    assert [pipe.key for pipe in sizes_of("D2729")] == ["3 in D2729", "4 in D2729", "6 in D2729"]
    with pytest.raises(HydraulicsError, match="is not in the pipe catalogue: it has D2729"):
        sizes_of("sdr-26")

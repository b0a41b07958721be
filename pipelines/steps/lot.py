"""The stages of the main job as steps: each gives what `screen` has there, from the site file and earlier steps' files.

What a file cannot carry (directions of flow, storms, the field that lines are laid in) is worked out again.
"""

from datetime import date

from geopandas import GeoDataFrame
from pandas import DataFrame

from pipelines.deliverables.files.layer_table import make_layer
from pipelines.deliverables.findings.gathering import leaving_of
from pipelines.deliverables.lot.layers import (
    collector_layers,
    hidden_culverts_layer,
    leaving_table,
    level_shot_layer,
    line_layers,
    moves_layer,
    outfall_layer,
    runoff_table,
    sited_layers,
    spare_layer,
    standing_layer,
    sub_catchment_layer,
    surface_layer,
    take_off_table,
    trouble_layer,
)
from pipelines.deliverables.lot.written import report_page
from pipelines.hydrology.surface_map import curve_numbers
from pipelines.layout.diagnosis.lot_water import outlined
from pipelines.lot import findings_of
from pipelines.steps.inputs import Collectors, Ground, Lines, Lot, LowSpots, Sized, StepParameters, given
from pipelines.steps.registry import Layers, Page
from terrain.raster import Raster
from terrain.reading.surface import Surface


def ground(site: Lot) -> Surface:
    """Read the ground that drains to the lot, brought to the level shots where there are any."""
    return site.ground[0]


def surfaces(site: Lot, elevation: Ground = None) -> Raster:
    """Map surfaces and soils, as the curve number of each cell."""
    stages = given(site, elevation)
    reckoning = stages.reckoning
    numbers = curve_numbers(reckoning.surfaces, compacted=reckoning.compacted)
    return Raster(stages.situation.grid, numbers, "", "curve number")


def rain(site: Lot, *, parameters: StepParameters) -> DataFrame:
    """Give the design storm: its rain step by step."""
    storm = site.lot.rain.storm
    return make_layer(
        "storm",
        parameters.written_in(site),
        time=[storm.step * (k + 1) for k in range(len(storm.depths))],
        depth=storm.depths.tolist(),
        intensity=(storm.depths / storm.step).tolist(),
    )


def runoff(
    site: Lot,
    elevation: Ground = None,
    low_spots: LowSpots = None,
    collectors: Collectors = None,
    lines: Lines = None,
    *,
    parameters: StepParameters,
) -> Layers:
    """Run the design storm over the sub-catchments: of the lot as it is, or with the improvements of routing.

    Gives the layer sub_catchments and the table runoff.
    """
    stages = given(site, elevation, low_spots=low_spots, collectors=collectors, works=(lines,))
    of = stages if lines is None else stages.planned
    rows = outlined(of.water.runoff, of.division)
    units = parameters.written_in(site)
    return Layers({"sub_catchments": sub_catchment_layer(rows, units), "runoff": runoff_table(rows, units)})


def standing_water(
    site: Lot,
    elevation: Ground = None,
    low_spots: LowSpots = None,
    collectors: Collectors = None,
    lines: Lines = None,
    *,
    parameters: StepParameters,
) -> Layers:
    """Follow the water that stands in each low spot in the design storm, and with the improvements of routing.

    Gives the layer low_spots; without routing's file the columns that end in `_after` are empty.
    """
    stages = given(site, elevation, low_spots=low_spots, collectors=collectors, works=(lines,))
    after = stages.water if lines is None else stages.planned.water
    rows = stages.standing(after)
    return Layers({"low_spots": standing_layer(rows, parameters.written_in(site), improved=lines is not None)})


def troubles(
    site: Lot, elevation: Ground = None, low_spots: LowSpots = None, *, parameters: StepParameters
) -> GeoDataFrame:
    """Name what is wrong: water that stands too long, and water that runs at what must stay dry."""
    stages = given(site, elevation, low_spots=low_spots)
    return GeoDataFrame(trouble_layer(stages.diagnosis.troubles, parameters.written_in(site)))


def siting(
    site: Lot, elevation: Ground = None, low_spots: LowSpots = None, *, parameters: StepParameters
) -> Layers:
    """Site what would catch the water: basins, stone trenches and channels, not yet sized.

    A downspout that is tied in stands in the site file, and in no layer here.
    """
    stages = given(site, elevation, low_spots=low_spots)
    known = stages.situation.roofs_known
    return Layers(sited_layers(stages.sited.catching, parameters.written_in(site), provisional=not known))


def surface_works(
    site: Lot, elevation: Ground = None, low_spots: LowSpots = None, *, parameters: StepParameters
) -> GeoDataFrame:
    """Try what moving soil and leading downspouts away does by itself: regrading, berms, a swale, fills, a raised edge.

    Gives the layer surface_works, each kept only where it helps; `proposed` where they end every trouble for less
    than any line, or where they and smaller lines do what larger lines would.
    """
    stages = given(site, elevation, low_spots=low_spots)
    return GeoDataFrame(surface_layer(stages.planned.plan.surface, parameters.written_in(site)))


def fall_to_spare(
    site: Lot, elevation: Ground = None, low_spots: LowSpots = None, *, parameters: StepParameters
) -> GeoDataFrame:
    """Measure the fall that a small gravity line has left over, from everywhere on the lot to the best outfall."""
    stages = given(site, elevation, low_spots=low_spots)
    return GeoDataFrame(spare_layer(stages.fall_to_spare, parameters.written_in(site)))


def routing(
    site: Lot,
    elevation: Ground = None,
    low_spots: LowSpots = None,
    collectors: Collectors = None,
    *,
    parameters: StepParameters,
) -> Layers:
    """Lay every way off the lot from the collectors, and give the lines of the one that is chosen.

    Gives the layers pipe_runs, sumps and fittings. The choice compares prices, so all ways are sized and priced too.
    """
    stages = given(site, elevation, low_spots=low_spots, collectors=collectors)
    return Layers(line_layers(stages.planned.plan, parameters.written_in(site)))


def sizing(
    site: Lot,
    elevation: Ground = None,
    low_spots: LowSpots = None,
    collectors: Collectors = None,
    lines: Lines = None,
    *,
    parameters: StepParameters,
) -> Layers:
    """Size the collectors on their lines: grates, trenches, and what each takes.

    Gives the layers catch_basins, french_drains and channel_drains.
    """
    stages = given(site, elevation, low_spots=low_spots, collectors=collectors, works=(lines,))
    return Layers(collector_layers(stages.planned.plan, parameters.written_in(site)))


def take_off(
    site: Lot,
    elevation: Ground = None,
    low_spots: LowSpots = None,
    collectors: Collectors = None,
    lines: Lines = None,
    sized: Sized = None,
    *,
    parameters: StepParameters,
) -> DataFrame:
    """List what the improvements take, and what that costs."""
    stages = given(site, elevation, low_spots=low_spots, collectors=collectors, works=(lines, sized))
    return take_off_table(stages.planned.plan.take_off, parameters.written_in(site))


def outfall_check(
    site: Lot,
    elevation: Ground = None,
    low_spots: LowSpots = None,
    collectors: Collectors = None,
    lines: Lines = None,
    *,
    parameters: StepParameters,
) -> Layers:
    """Check the outfalls that are used: fall to spare, verdict, what to confirm or read, what leaves the lot.

    Gives the layers outfalls, outfall_moves, level_shots and hidden_culverts, and the table leaving.
    `lotshed swale` checks what a swale carries.
    """
    stages = given(site, elevation, low_spots=low_spots, collectors=collectors, works=(lines,))
    planned, units = stages.planned, parameters.written_in(site)
    leaves = leaving_of(stages.water, planned.water, planned.served, planned.limits)
    outfalls = outfall_layer(planned.plan.outfalls, units, planned.looks)
    moves = moves_layer(planned.plan.outfalls, units)
    return Layers({
        "outfalls": outfalls, "outfall_moves": moves, "level_shots": level_shot_layer(planned.plan.level_shots, units),
        "hidden_culverts": hidden_culverts_layer(stages.unseen, units), "leaving": leaving_table(leaves, units),
    })  # fmt: skip


def report(site: Lot, low_spots: LowSpots = None, collectors: Collectors = None) -> Page:
    """Write the report of the lot as one page.

    It tells what was met with in reading the ground, so it reads that itself.
    """
    stages = given(site, None, low_spots=low_spots, collectors=collectors)
    return Page(report_page(findings_of(stages), made_on=date.today()))

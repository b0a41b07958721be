"""What every worker needs to know to do a town's lots, and the work on one of them."""

import atexit
import contextlib
import contextvars
import gc
import time
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import shapely

from pipelines.deliverables.findings.town import Depth, LotRecord, LotRow
from pipelines.inputs.rules import RuleOverride
from pipelines.inputs.shapes.shared_reads import ChosenLot, shared_reads, sharing_reads
from pipelines.inputs.site_file import SiteFile
from pipelines.inputs.site_ground import SiteInputs, open_named
from pipelines.layout.swale.found_outfall import GivenWater
from pipelines.lot_inputs import lot_inputs
from pipelines.lot_stages import LotStages
from pipelines.town.lot_answer import LotAnswer, answer_lot
from pipelines.town.same_reads import reads_same
from pipelines.town.town_lots import TownLot, neighbors_of, site_of_lot
from terrain.errors import LotshedError
from terrain.grid import Frame
from terrain.reading.linked_files import links_anywhere
from terrain.reading.raster_file import kept_open
from terrain.reading.read_log import PlaceRead, noting_reads

NEAR = 200.0
"""Features farther off are read only where a lot's ground reaches there. At the depth `ground`. [m]"""


@dataclass(frozen=True, slots=True)
class TownJob:
    """What is asked of every lot.

    Attributes
    ----------
    site : SiteFile
        Of the town, its heights in one raster or one virtual one.
    depth : str
        ground or plan.
    linked : bool
        A virtual raster may name files outside its own folder.
    key : str
        Hash of the inputs and of what is asked.
    frame : Frame or None
        Of the town's map, by which a lot's own parcel is found among those around it; None where it reads that itself.
    """

    site: SiteFile
    depth: Depth
    linked: bool
    key: str
    frame: Frame | None = None


@dataclass(frozen=True, slots=True)
class LotTask:
    """One lot's work.

    Attributes
    ----------
    lot : TownLot
        The lot.
    grounds : int
        That lidar allows, on which it is tried. [-]
    water : tuple of GivenWater
        At its outfalls, of the town's run; none in the first pass.
    known : tuple of PlaceRead
        What an earlier run read for it, whose record holds where that comes again.
    """

    lot: TownLot
    grounds: int
    water: tuple[GivenWater, ...] = ()
    known: tuple[PlaceRead, ...] = ()

    @property
    def id(self) -> str:
        """Of its lot."""
        return self.lot.id


def site_of(job: TownJob, task: LotTask) -> SiteFile:
    """The site file of a lot, which is told to the shared reads."""
    site = site_of_lot(job.site, task.lot.id)
    shared = shared_reads()
    if shared is not None and job.frame is not None:
        bounds = job.frame.from_map(task.lot.parcel).bounds
        # each lot brings a copy of the job with it: one frame of them all is compared sooner
        frame = shared.once(("frame", job.key, site.parcel.file, site.elevation.file), lambda: job.frame)
        shared.lot = ChosenLot(site.parcel.where or "", task.lot.id, bounds, frame)
    return site


def screen_lot_of(job: TownJob, task: LotTask, *, chosen_alone: bool = False) -> LotAnswer:
    """Do one lot as `lotshed screen` would.

    Parameters
    ----------
    job : TownJob
        What is asked.
    task : LotTask
        The lot.
    chosen_alone : bool
        Tell no way off the lot beside the chosen one; a record holds no other.

    Returns
    -------
    LotAnswer
        What the town keeps of it.

    Raises
    ------
    LotshedError
        If what it reads cannot be used.
    """
    site = site_of(job, task)
    stages = _stages(_seeing(site, NEAR) if job.depth == "ground" else site, task, job.depth, chosen_alone)
    if job.depth == "ground" and not _sees_enough(stages):
        stages = _stages(site, task, job.depth, chosen_alone)
    return answer_lot(stages, task.lot.id, job.depth, neighbors_of(job.site, stages.situation.grid), inputs_key=job.key)


def _stages(site: SiteFile, task: LotTask, depth: Depth, chosen_alone: bool) -> LotStages:
    opened = lot_inputs(with_its_outfalls(open_named(site)), grounds=task.grounds)
    return LotStages(
        opened, beside_pysheds=False, given_water=task.water, whole=depth == "plan", chosen_alone=chosen_alone
    )


def _seeing(site: SiteFile, reach: float) -> SiteFile:
    """The site with features read no farther off than that."""
    least = min(site.rules["layer_reach"].likely, reach)
    return site.model_copy(update={"overrides": (*site.overrides, RuleOverride("layer_reach", None, least, None))})


def _sees_enough(stages: LotStages) -> bool:
    """Whether all ground that was read lies where features were read too."""
    west, south, east, north = stages.lot.opened.layers.parcel.bounds
    reach, bounds = stages.lot.opened.site.rules["layer_reach"].likely, stages.situation.grid.bounds
    around = (west - reach, south - reach, east + reach, north + reach)
    return all(one <= other for one, other in zip((*around[:2], *bounds[2:]), (*bounds[:2], *around[2:]), strict=True))


def with_its_outfalls(opened: SiteInputs) -> SiteInputs:
    """Of a town's outfalls a lot has those within reach, where there are any."""
    layers, reach = opened.layers, opened.site.rules["outfall_reach"].likely
    near = shapely.distance(layers.outfalls.geometry.to_numpy(), layers.parcel) <= reach
    if near.all() or not near.any():
        return opened
    return replace(opened, layers=replace(layers, outfalls=layers.outfalls[near]))


def record_of(job: TownJob, task: LotTask) -> LotRecord:
    """One lot's record, whatever comes of it: what is at fault becomes its message."""
    began = time.perf_counter()
    try:
        with noting_reads() as reads:
            record = screen_lot_of(job, task, chosen_alone=True).record
        record = replace(record, reads=tuple(reads))
    except LotshedError as fault:
        record = failed(task.lot, str(fault))
    except MemoryError:
        raise
    except Exception as defect:
        record = failed(task.lot, f"a defect of lotshed: {type(defect).__name__}: {defect}")
    row = replace(record.row, seconds=time.perf_counter() - began, inputs_key=job.key)
    return replace(record, row=row)


def failed(lot: TownLot, message: str, *, aside: bool = False, attempts: int = 1) -> LotRecord:
    """Record of a lot of which nothing is known but what went wrong."""
    row = LotRow(
        lot=lot.id,
        name=lot.name,
        status="set_aside" if aside else "failed",
        parcel=lot.parcel,
        message=message,
        attempts=attempts,
    )
    return LotRecord(row)


def _unless_known(job: TownJob, task: LotTask) -> LotRecord | None:
    return None if task.known and reads_same(site_of(job, task), task.known) else record_of(job, task)


@dataclass(slots=True)
class SharedGround:
    """Rasters kept open and layers read for a block of lots, for as long as a worker does one job."""

    key: str
    context: contextvars.Context = field(default_factory=contextvars.copy_context)
    stack: contextlib.ExitStack = field(default_factory=contextlib.ExitStack)
    settled: bool = False

    def run(self, job: TownJob, task: LotTask) -> LotRecord | None:
        """One lot on the shared ground; None where its earlier record holds."""
        return self.context.run(_unless_known, job, task)

    def enter(self, job: TownJob) -> None:
        """Begin to share."""

        import rasterio

        def begin() -> None:
            # one for all that is drawn on rasters, in place of one for each shape
            self.stack.enter_context(rasterio.Env())
            if job.linked:
                self.stack.enter_context(links_anywhere())
            self.stack.enter_context(kept_open())
            self.stack.enter_context(sharing_reads())

        self.context.run(begin)

    def leave(self) -> None:
        """Close what is open; at the end of a process another thread does that, which rasterio minds."""
        with contextlib.suppress(Exception):
            self.context.run(self.stack.close)


_SHARED: dict[str, Any] = {}


def do_lot(job: TownJob, task: LotTask) -> LotRecord | None:
    """One lot in a worker, on ground that it shares with the lots before it; None where its earlier record holds."""
    shared = _SHARED.get("ground")
    if shared is None or shared.key != job.key:
        if shared is not None:
            atexit.unregister(shared.leave)
            shared.leave()
        shared = SharedGround(job.key)
        shared.enter(job)
        atexit.register(shared.leave)
        _SHARED["ground"] = shared
    record: LotRecord | None = shared.run(job, task)
    if not shared.settled:
        # what is loaded and found by now stays as long as the process: nothing looks for garbage in it again
        gc.collect()
        gc.freeze()
        shared.settled = True
    return record


def mosaic_place(folder: Path) -> Path:
    """Where the virtual raster over a town's tiles lies."""
    return folder / "mosaic.vrt"

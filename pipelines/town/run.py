"""A town's run: its lots on a cluster, each kept as it is done, then the swales with the water of all."""

import math
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import date
from importlib.metadata import version
from itertools import chain
from pathlib import Path
from typing import Any

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.place import Writer
from pipelines.deliverables.findings.lot import Caution
from pipelines.deliverables.findings.town import Depth, LotRecord, TownFigures, TownFindings
from pipelines.deliverables.findings.town_swales import SwalesRecord, TownSwales
from pipelines.deliverables.town.packed_tables import PackedTables
from pipelines.deliverables.town.partitions import Partitions, file_name, write_mosaic
from pipelines.deliverables.unit_systems import unit_system
from pipelines.hydrology.rain.design_rain import design_rain
from pipelines.inputs.site_ground import SiteInputs, open_named
from pipelines.inputs.tables.rain_table_file import read_rain_table
from pipelines.inputs.town_file import read_town_file
from pipelines.layout.quantities.cautions import swale_cautions
from pipelines.town.alone import Limits
from pipelines.town.cluster import TownCluster, connected
from pipelines.town.dealing import LOTS, SWALES, Deal, Dealer, Row
from pipelines.town.errors import TownRunError
from pipelines.town.job import LotTask, TownJob, mosaic_place
from pipelines.town.keys import asked_key, files_of, read_key, swales_key, tables_key
from pipelines.town.reports import report_files
from pipelines.town.swales.street import route_street
from pipelines.town.swales.tailwater import planned_again, water_key, water_of_town
from pipelines.town.swales.task import SwalesTask
from pipelines.town.town_lots import TownLots, find_lots
from terrain.errors import LotshedError
from terrain.reading.linked_files import links_anywhere
from terrain.reason import Reason, reason

GROUNDS = 20
"""That lidar allows, on which a town's lots are tried unless the run says otherwise. [-]"""
NEED_MOST = 0.1
"""Share of the lots, those that need most, that the depth `ground` tries on all of these. [-]"""
EVERY = 1.0
"""Between two words on how far a run is. [s]"""

Tell = Callable[[str, float | None], None]
Event = Callable[[str, dict[str, Any]], None]


@dataclass(frozen=True, slots=True)
class TownWish:
    """What is asked of a town's run.

    Attributes
    ----------
    depth : str
        ground or plan.
    where : str or None
        Filter of parcels in place of the site file's.
    grounds : int or None
        That lidar allows, on which lots are tried; None for 20. [-]
    scheduler : str or None
        Address of one that runs.
    workers : int or None
        Processes that are started here, or waited for at the address. [-]
    resume : bool
        Take lots that an earlier run finished.
    limits : Limits
        Of one lot.
    """

    depth: Depth = "ground"
    where: str | None = None
    grounds: int | None = None
    scheduler: str | None = None
    workers: int | None = None
    resume: bool = False
    limits: Limits = field(default_factory=Limits)


def lots_folder(out: Path) -> Path:
    """Where the finished lots of a result are kept: beside it."""
    return out.with_name(f"{out.name}.lots")


def run_town(
    path: Path, out: Path, wish: TownWish, *, tell: Tell, event: Event, reports: int = 0
) -> tuple[TownFindings, dict[str, Writer]]:
    """Do every lot of a town that is not done, and route their water along the swales.

    Parameters
    ----------
    path : Path
        The town's site file.
    out : Path
        Folder of the result; finished lots are kept beside it.
    wish : TownWish
        What is asked.
    tell : callable
        Told in words how far it is, from 0 to 1. [-]
    event : callable
        Told the same for machines: a name, and values.
    reports : int
        How many lots that need most get a report page. [-]

    Returns
    -------
    findings : TownFindings
        For the rooms that write it down.
    pages : dict of str to Writer
        The report pages.

    Raises
    ------
    LotshedError
        If the town cannot be read, or no worker can do its lots.
    """
    began = time.monotonic()
    kept = Partitions(lots_folder(out))
    mosaic = mosaic_place(kept.folder)
    town = read_town_file(path, mosaic=mosaic, where=wish.where)
    kept.prepare()
    with ExitStack() as stack:
        if town.mosaic is not None:
            write_mosaic(mosaic, town.mosaic)
            stack.enter_context(links_anywhere())
        tell("reading the parcels", 0.01)
        lots = find_lots(town.site)
        inputs = files_of(town.site, town.rasters)
        run = _TownWork(
            kept,
            town.site,
            wish,
            lots,
            read_key(inputs),
            tables_key(inputs),
            town.mosaic is not None,
            tell,
            event,
            set(),
            began,
            stack,
            {each["lot"] for each in kept.noted() if each.get("how") == "worker" and "lot" in each}
            if wish.resume
            else set(),
        )
        records = run.all_records()
        tell("routing the water of all lots along the swales", 0.9)
        opened = open_named(town.site, several_parcels=True)
        swales, faults = run.routed(opened, records)
        records, again = run.with_town_water(records, swales)
        found = _findings(opened, records, swales, wish, lots, inputs, run.figures(), version("lotshed"))
        again_told = (reason("town_planned_again", count=again),) * bool(again)
        found = replace(found, warnings=(*found.warnings, *faults, *again_told))
        pages = report_files(found, town.site, reports, linked=town.mosaic is not None, made_on=date.today(), tell=tell)
        return found, pages


@dataclass(slots=True)
class _TownWork:
    kept: Partitions
    site: Any
    wish: TownWish
    lots: TownLots
    read: str
    tables: str
    linked: bool
    tell: Tell
    event: Event
    there: set[str]
    began: float
    stack: ExitStack
    ended_workers: set[str]
    done: int = 0
    wanted: int = 0
    resumed: int = 0
    faults: int = 0
    told: float = 0.0
    workers: int = 0
    working: float = 0.0
    cluster: TownCluster | None = None

    def all_records(self) -> tuple[LotRecord, ...]:
        """Every lot's record, those of earlier runs where they hold."""
        grounds = self.wish.grounds or GROUNDS
        first = grounds if self.wish.depth == "plan" else 1
        if self.wish.resume:
            self.there = self.kept.finished()
        extra = math.ceil(NEED_MOST * len(self.lots.lots)) if self.wish.depth == "ground" and grounds > 1 else 0
        self.wanted = len(self.lots.lots) + extra
        tasks = [LotTask(lot, first) for lot in self.lots.lots]
        found = self._pass(tasks)
        if extra:
            ranked = sorted(found, key=lambda lot: (-(found[lot].row.need or 0.0), lot))[:extra]
            most = set(ranked)
            found |= self._pass([LotTask(lot, grounds) for lot in self.lots.lots if lot.id in most])
        order = sorted(found, key=lambda lot: (len(lot), lot))
        return tuple(found[lot] for lot in order)

    def with_town_water(
        self, records: tuple[LotRecord, ...], swales: TownSwales | None
    ) -> tuple[tuple[LotRecord, ...], int]:
        """Records, those planned again whose outlets the water of all lots submerges, and how many these are. [-]"""
        water = {} if swales is None or self.wish.depth != "plan" else water_of_town(swales)
        if swales is None or not water:
            return records, 0
        self.tell("planning lots again whose outlets the water of all lots submerges", 0.9)
        grounds = self.wish.grounds or GROUNDS
        tasks = [LotTask(lot, grounds, water[lot.id]) for lot in self.lots.lots if lot.id in water]
        self.wanted += len(tasks)
        again = self._pass(tasks, water=water_key(water))
        return planned_again(records, again, swales, unit_system(self.site.units)), len(tasks)

    def routed(
        self, opened: SiteInputs, records: tuple[LotRecord, ...]
    ) -> tuple[TownSwales | None, tuple[Reason, ...]]:
        """The swales with all water; a fault of theirs leaves the lots' answers as they are, and is told."""
        try:
            swales = route_street(opened, records, progress=lambda text, _: self.tell(text, 0.9), router=self._route)
        except (TownRunError, HandoverError):
            raise
        except LotshedError as fault:
            return None, (reason("town_swales_not_routed", message=str(fault)),)
        return swales, ()

    def _route(self, tasks: Iterator[SwalesTask], count: int) -> Iterator[SwalesRecord]:
        """Each group of swales on a worker, but those of earlier runs that hold."""
        asked, keys = swales_key(self.site, self.tables), dict[str, str]()
        found: deque[SwalesRecord] = deque()

        def missing() -> Iterator[SwalesTask]:
            for task in tasks:
                key = task.key(asked)
                if self.wish.resume and self.kept.swales_place(task.id, key).is_file():
                    found.append(self.kept.read_swales(task.id, key))
                    continue
                keys[task.id] = key
                yield task

        def keep(task: SwalesTask, record: SwalesRecord) -> None:
            self.kept.write_swales(record, keys[task.id])
            found.append(record)
            told = {"swales": record.id, "status": record.status, "seconds": record.seconds, "message": record.message}
            self.event("swales", told)

        def far(in_work: int) -> None:
            self.tell(f"{len(found):,} of {count:,} groups of swales routed", 0.9)

        todo = missing()
        first = next(todo, None)
        if first is not None:
            row = Row(chain((first,), todo))
            del first
            Dealer(self._connected(), SWALES, None, self.wish.limits, keep, self._noted("swales"), far).run(row)
        return iter(found)

    def _pass(self, tasks: Sequence[LotTask], *, water: str = "") -> dict[str, LotRecord]:
        if not tasks:
            return {}
        grounds = tasks[0].grounds
        key = asked_key(self.site, self.wish.depth, grounds, water, self.tables)
        job = TownJob(self.site, self.wish.depth, self.linked, key, self.lots.frame)
        found: dict[str, LotRecord] = {}
        todo = []
        earlier = self.kept.earlier(key) if self.wish.resume else {}
        for task in tasks:
            if self.kept.place(task.lot.id, key, self.read).name in self.there:
                found[task.lot.id] = self._light(self.kept.read(task.lot.id, key, self.read))
                self.resumed += 1
                self.done += 1
            elif (place := earlier.get(file_name(task.lot.id))) is not None:
                # of other inputs; the worker looks whether the lot's own are the same
                todo.append(replace(task, known=self.kept.reads_of(place)))
            else:
                todo.append(task)
        if not todo:
            return found
        cluster = self._connected(len(todo))

        def keep(task: LotTask, record: LotRecord | None) -> None:
            if record is None:
                self.kept.hold(earlier[file_name(task.lot.id)], task.lot.id, key, self.read)
                record = self.kept.read(task.lot.id, key, self.read)
                self.resumed += 1
            else:
                self.kept.write(record, key, self.read, self.lots.frame.crs)
            found[task.lot.id] = self._light(record)
            self.done += 1
            self.faults += record.row.status != "done"
            self.event(
                "lot",
                {
                    "lot": task.lot.id,
                    "status": record.row.status,
                    "seconds": record.row.seconds,
                    "need": record.row.need,
                    "message": record.row.message,
                },
            )

        begins = time.monotonic()
        dealer = Dealer(cluster, LOTS, job, self.wish.limits, keep, self._noted("lot"), self._far)
        dealer.run(
            Deal([task for task in todo if task.lot.id not in self.ended_workers], len(cluster.workers())),
            [task for task in todo if task.lot.id in self.ended_workers],
        )
        self.working += time.monotonic() - begins
        return found

    def _light(self, record: LotRecord) -> LotRecord:
        """A record without what only its partition is asked for, its tables packed: a run holds thousands."""
        outflows = tuple(each for each in record.outflows if each.built)
        return replace(record, reads=(), outflows=outflows, layers=PackedTables(record.layers, self.lots.frame.crs))

    def _noted(self, kind: str) -> Callable[[Any, str, str], None]:
        """Who writes down each attempt that did not end well."""

        def note(task: Any, how: str, message: str) -> None:
            self.kept.note({kind: task.id, "how": how, "message": message, "at": time.time()})
            self.event("attempt", {kind: task.id, "how": how, "message": message})

        return note

    def _connected(self, to_do: int = 0) -> TownCluster:
        """The workers, from the first task to the end of the run."""
        if self.cluster is None:
            self.tell("starting workers", 0.02)
            self.cluster = self.stack.enter_context(self._connect())
            self.workers = len(self.cluster.workers())
            self.event(
                "started",
                {
                    "lots": len(self.lots.lots),
                    "to_do": to_do,
                    "workers": self.workers,
                    "resumed": self.resumed,
                    "dashboard": self.cluster.dashboard,
                },
            )
            if self.cluster.dashboard:
                self.tell(f"dashboard at {self.cluster.dashboard}", None)
            if self.cluster.compiles:
                self.tell("compiling, first run only on a machine: about a minute", None)
        return self.cluster

    def _connect(self) -> Any:
        reads = (str(self.site.elevation.file), str(self.site.parcel.file))
        return connected(
            scheduler=self.wish.scheduler,
            workers=self.wish.workers,
            reads=tuple(str(Path(each).absolute()) for each in reads),
            memory_limit=self.wish.limits.memory,
        )

    def _far(self, in_work: int) -> None:
        now = time.monotonic()
        share = 0.02 + 0.88 * self.done / max(self.wanted, 1)
        if now - self.told < EVERY:
            self.tell(self._words(), share)
            return
        self.told = now
        rate = self._rate(now)
        left = (self.wanted - self.done) / rate if rate > 0.0 else None
        self.tell(self._words(), share)
        self.event(
            "progress",
            {
                "done": self.done,
                "of": self.wanted,
                "in_work": in_work,
                "faults": self.faults,
                "lots_a_second": rate,
                "seconds_left": left,
            },
        )

    def _rate(self, now: float) -> float:
        return (self.done - self.resumed) / max(now - self.began, 1e-9)

    def _words(self) -> str:
        rate = self._rate(time.monotonic())
        left = f", {(self.wanted - self.done) / rate / 60.0:,.0f} min left" if rate > 0.0 else ""
        faults = f", {self.faults} failed" if self.faults else ""
        return f"{self.done:,} of {self.wanted:,} lots, {rate:.1f} a second{left}{faults}"

    def figures(self) -> TownFigures:
        """Of this run."""
        fresh = self.done - self.resumed
        return TownFigures(
            time.monotonic() - self.began,
            max(self.workers, 1),
            self.resumed,
            fresh / self.working if self.working > 0.0 else 0.0,
        )


def _findings(
    opened: SiteInputs,
    records: tuple[LotRecord, ...],
    swales: Any,
    wish: TownWish,
    lots: TownLots,
    inputs: Any,
    figures: TownFigures,
    program: str,
) -> TownFindings:
    site, layers, frame = opened.site, opened.layers, lots.frame
    rain = design_rain(site.rain, None if site.rain.table is None else read_rain_table(site.rain.table), site.rules)
    roads = layers.right_of_way
    return TownFindings(
        name=site.name,
        version=program,
        units=unit_system(site.units),
        crs=frame.crs,
        depth=wish.depth,
        grounds=wish.grounds or GROUNDS,
        records=records,
        swales=swales,
        return_period=rain.return_period,
        storm_depth=rain.storm.depth,
        warnings=(*opened.source.warnings, *layers.warnings, *rain.notes),
        cautions=tuple(Caution(name, text) for name, text in swale_cautions()),
        inputs=inputs,
        figures=figures,
        roofs=None if layers.roofs.empty else frame.to_map(layers.roofs).set_crs(frame.crs),
        roads=None if roads.empty else frame.to_map(roads).set_crs(frame.crs),
    )

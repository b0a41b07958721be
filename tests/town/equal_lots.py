"""Lots of a town at random, held against a screen of each by itself: every value before the swales' pass.

    python tests/town/equal_lots.py --town DIR/town.toml --lots 50 --seed 1

A screen reads for itself, with all features in its reach, and shares no read between lots; the town's side
is done as a worker does it, in the order in which a worker comes to its lots.
"""

import argparse
import json
import random
import tempfile
import time
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from rasterio import Env

from pipelines.deliverables.town.partitions import write_mosaic
from pipelines.deliverables.town.record_text import plain
from pipelines.inputs.site_ground import open_named
from pipelines.inputs.town_file import read_town_file
from pipelines.lot_inputs import lot_inputs
from pipelines.lot_stages import LotStages
from pipelines.town.job import LotTask, TownJob, do_lot, with_its_outfalls
from pipelines.town.lot_answer import answer_lot
from pipelines.town.town_lots import find_lots, neighbors_of, site_of_lot
from terrain.reading.linked_files import links_anywhere


def screened(job: TownJob, task: LotTask):
    """A lot's record out of the stages of a screen, with nothing shared and nothing left out."""
    opened = with_its_outfalls(open_named(site_of_lot(job.site, task.lot.id)))
    with Env():
        stages = LotStages(lot_inputs(opened, grounds=task.grounds))
        around = neighbors_of(job.site, stages.situation.grid)
        return answer_lot(stages, task.lot.id, job.depth, around, inputs_key=job.key).record


def values(record) -> str:
    """All of a record but how long it took, and what the run noted of its reads."""
    return json.dumps(plain(replace(record, reads=(), row=replace(record.row, seconds=0.0))), sort_keys=True)


def main() -> None:
    """Compare, and print how many were equal."""
    parser = argparse.ArgumentParser(description="Hold a town's lots against screens.")
    parser.add_argument("--town", type=Path, required=True)
    parser.add_argument("--lots", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--grounds", type=int, default=1)
    parser.add_argument("--depth", choices=("ground", "plan"), default="ground")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as held, ExitStack() as stack:
        mosaic = Path(held, "mosaic.vrt")
        town = read_town_file(asked.town, mosaic=mosaic)
        if town.mosaic is not None:
            write_mosaic(mosaic, town.mosaic)
            stack.enter_context(links_anywhere())
        lots = find_lots(town.site)
        job = TownJob(town.site, asked.depth, town.mosaic is not None, "equal", lots.frame)
        chosen = set(random.Random(asked.seed).sample(range(len(lots.lots)), min(asked.lots, len(lots.lots))))
        seconds, differ = [0.0, 0.0], []
        for number in sorted(chosen):
            task = LotTask(lots.lots[number], asked.grounds)
            began = time.process_time()
            one = do_lot(job, task)
            between = time.process_time()
            other = screened(job, task)
            seconds = [seconds[0] + between - began, seconds[1] + time.process_time() - between]
            if values(one) != values(other):
                differ.append(task.lot.id)
    print(json.dumps({"lots": len(chosen), "equal": len(chosen) - len(differ), "differ": differ,
                      "processor_seconds_town": seconds[0], "processor_seconds_screen": seconds[1]}))  # fmt: skip
    raise SystemExit(bool(differ))


if __name__ == "__main__":
    main()

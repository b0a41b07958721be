"""summary.json of a town: always in SI, null for what is unknown; the lots one by one stand in lots.csv."""

from collections import Counter
from typing import Any

from pipelines.deliverables.findings.town import LotRow, TownFindings
from pipelines.deliverables.findings.town_swales import TownSwales
from pipelines.deliverables.words.say import say, say_all


def town_summary(findings: TownFindings) -> dict[str, Any]:
    """The summary of a town."""
    rows = findings.rows
    return {
        "name": findings.name,
        "version": findings.version,
        "depth": findings.depth,
        "grounds": findings.grounds,
        "return_period_yr": findings.return_period,
        "storm_depth_m": findings.storm_depth,
        "inputs": [
            {"key": file.key, "file": file.file, "sha256": file.sha256, "crs": file.crs, "cell_size_m": file.cell_size}
            for file in findings.inputs
        ],
        "lots": {
            "all": len(rows),
            **{state: sum(row.status == state for row in rows) for state in ("done", "failed", "set_aside")},
            "modes": dict(sorted(Counter(row.planned.mode for row in rows if row.planned).items())),
            "verdicts": {
                part: dict(sorted(Counter(getattr(row.planned, part) for row in rows if row.planned).items()))
                for part in ("cause", "fall", "outfall", "cure")
            },
            "cost_low": _total(rows, "low"),
            "cost_likely": _total(rows, "likely"),
            "cost_high": _total(rows, "high"),
        },
        "most_need": [
            {"lot": row.lot, "name": row.name, "need": row.need, "why": row.need_why} for row in by_need(rows)[:50]
        ],
        "not_finished": [
            {"lot": row.lot, "status": row.status, "message": row.message, "attempts": row.attempts}
            for row in rows
            if row.status != "done"
        ],
        "run_on_links": sum(len(record.links) for record in findings.records),
        "swales": None if findings.swales is None else _swales(findings.swales),
        "run": {
            "seconds": findings.figures.seconds,
            "workers": findings.figures.workers,
            "resumed": findings.figures.resumed,
            "lots_per_second": findings.figures.rate,
        },
        "warnings": list(say_all(findings.all_warnings, "si")),
        "cautions": [say(caution.text, "si") for caution in findings.cautions],
    }


def by_need(rows: tuple[LotRow, ...]) -> list[LotRow]:
    """Lots that have a need, the most first."""
    return sorted((row for row in rows if row.need), key=lambda row: (-(row.need or 0.0), row.lot))


def _total(rows: tuple[LotRow, ...], name: str) -> float | None:
    given = [getattr(row.planned, name) for row in rows if row.planned and getattr(row.planned, name) is not None]
    return sum(given) if given else None


def _swales(swales: TownSwales) -> dict[str, Any]:
    built = {each.id: each for each in swales.built.swales} if swales.built else {}
    return {
        "swales": [
            {
                "id": each.id,
                "name": each.name,
                "status": each.status,
                "message": each.message,
                "answer": each.answer,
                "why": None if each.why is None else say(each.why, "si"),
                "peak_flow_m3s": each.peak,
                "first_overtops_yr": each.first_overtops,
                "answer_improved": built[each.id].answer if built else None,
                "peak_flow_improved_m3s": built[each.id].peak if built else None,
                "first_overtops_improved_yr": built[each.id].first_overtops if built else None,
                "standing_water": each.ponds,
                "culverts": [{"id": one.id, "answer": one.answer} for one in each.culverts],
                "recut": each.recut,
            }
            for each in swales.now.swales
        ],
        "full": [
            {
                "swale": each.swale, "storm_yr": each.storm, "improved": each.built,
                "station_from_m": each.station_from, "station_to_m": each.station_to, "over_m": each.over,
                "lot": each.lot or None, "from_s": each.from_time, "to_s": each.to_time,
            }
            for each in swales.full
        ],
        "outlets": [
            {
                "lot": each.lot or None, "outlet": each.outlet, "swale": each.swale, "level_now_m": each.now,
                "level_improved_m": each.built, "rise_m": each.rise, "submerged_s": each.submerged,
                "answer": each.answer, "why": say(each.why, "si"),
            }
            for each in swales.rises
        ],
        "balance": [
            {
                "swale": each.swale, "storm_yr": each.storm, "improved": each.built,
                "lots_surface_m3": each.lots_surface, "lots_piped_m3": each.lots_works, "other_m3": each.other,
                "above_m3": each.above, "arrives_m3": each.arrives, "stands_m3": each.stands, "soaks_m3": each.soaks,
                "left_over": each.left_over,
            }
            for each in swales.balances
        ],
    }  # fmt: skip

"""Tables of the runs: shares and means with 95 % intervals, lots drawn again with what belongs to them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd

TIMES, SEED = 1000, 1
BUILT = ("gravity", "daylight", "pump", "soakaway", "surface", "no way", "refused")
"""Answers that say that something is wrong."""
CLEAR = (0.30, -0.60)
"""Truth is clear with so much to spare, or so much short. [m]"""


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a table: each run's value, NaN where it does not count, and how they are taken together."""

    name: str
    values: np.ndarray
    taken: Callable[[np.ndarray], float] = np.mean
    share: bool = True


def right(runs: pd.DataFrame) -> pd.Series:
    """Whether what was said holds on the exact ground.

    Gravity holds where its lines have their fall there by the trade's floors; a lift where they have not, and the
    tool on the exact ground finds something wrong at all; nothing to build, no way and works on the surface where the
    tool on the exact ground says the same.
    """
    said, floor = runs["said"], runs["floor_true_m"]
    same = said == runs["true_said"]
    wrong_there = runs["true_said"] != "nothing"
    by_fall = (said.isin(["gravity", "daylight"]) & (floor >= 0.0)) | ((said == "pump") & (floor < 0.0))
    return by_fall.where(floor.notna() & said.isin(["gravity", "daylight", "pump"]), same) & (
        wrong_there | (said == "nothing")
    )


def figures(runs: pd.DataFrame) -> list[Figure]:
    """Every figure of the table."""
    whole, runs = runs, runs[runs["crash"] == ""]
    said, sure, good = runs["said"], runs["sure"] == "sure", right(runs)
    same = said == runs["true_said"]
    dry, built = runs["true_said"] == "nothing", said.isin(BUILT)
    z = (runs["spare_m"] - runs["spare_true_m"]) / runs["error_m"]
    alone = (runs["spare_seen_m"] - runs["spare_true_m"]) / runs["error_m"]
    clear = (runs["spare_true_m"] >= CLEAR[0]) | (runs["spare_true_m"] <= CLEAR[1])
    ratio = (runs["cost"] / runs["true_cost"]).where((runs["cost"] > 0.0) & (runs["true_cost"] > 0.0))

    def among(value: pd.Series, count: pd.Series) -> np.ndarray:
        return value.astype(float).where(count).to_numpy()

    def pooled(part: str, whole_of: str) -> Figure:
        pairs = runs[[part, whole_of]].to_numpy(dtype=float)
        return Figure("", np.array([complex(*pair) if pair[1] else np.nan for pair in pairs], complex), _pooled)

    every = pd.Series(True, index=runs.index)
    cure, lines = runs["cure"], said.isin(["gravity", "daylight", "pump"])
    drawn, leaves = lines & runs["left_true"].notna(), runs["left_true"] > 0
    modes = [
        Figure(f"{mode}: sure and wrong, of its sure runs", among(~good, sure & (said == mode)))
        for mode in ("gravity", "pump", "nothing", "surface", "no way")
    ]
    called, met = pooled("ponds_called_real", "ponds_called"), pooled("ponds_real_called", "ponds_real")
    told = pooled("ponds_real_told", "ponds_real")
    held = (runs["floor_true_m"] >= 0.0).astype(float).where(runs["floor_true_m"].notna())
    after = runs["after_said"] != ""
    again = runs.assign(said=runs["after_said"], sure=runs["after_sure"], floor_true_m=runs["after_floor_true_m"])
    sure_again = after & (again["sure"] == "sure")
    off, off_again = (
        (runs[f"{name}spare_m"] - runs[f"{name}spare_true_m"]).where(runs["after_spare_true_m"].notna())
        for name in ("", "after_")
    )
    z_again = off_again / runs["after_error_m"]
    return [
        Figure("sure, of all runs", among(sure, every)),
        Figure("sure and wrong, of the sure runs", among(~good, sure)),
        Figure("sure and not what the tool says on the exact ground, of the sure runs", among(~same, sure)),
        *modes,
        Figure("headline sure, of all runs", among(runs["headline"] == "sure", every)),
        Figure("headline sure and wrong, of those", among(~good, runs["headline"] == "sure")),
        Figure("works that end it for sure by the answer, of those with lines", among(cure == "sure", lines)),
        Figure("the same on the exact ground", among(runs["true_cure"] == "sure", lines)),
        Figure("cure sure and wrong, of those sure", among(leaves, drawn & (cure == "sure"))),
        Figure("cure sure, and cannot_tell, that leaves trouble", among(leaves, drawn & (cure != "no"))),
        Figure("no cure by the answer that ends it all the same", among(~leaves, drawn & (cure == "no"))),
        Figure("odds of the cure less what held, mean",
               (runs["cure_odds"] - (~leaves).astype(float)).where(drawn).to_numpy(), share=False),
        Figure("cannot_tell, of all runs", among(runs["sure"] == "cannot_tell", every)),
        Figure("cannot_tell where truth is clear", among(runs["sure"] == "cannot_tell", clear)),
        Figure("works proposed on dry lots", among(built, dry)),
        Figure("works proposed for sure on dry lots", among(built & sure, dry)),
        Figure("works missed where they are needed", among(~built, ~dry)),
        Figure("ponds called that are real", called.values, _pooled),
        Figure("real ponds that are called", met.values, _pooled),
        Figure("real ponds that are called or there on 20 of 100 grounds", told.values, _pooled),
        Figure("odds of the fall less what held, mean", (runs["odds"] - held).to_numpy(), share=False),
        Figure("collectors, mean", runs["collectors"].to_numpy(float), share=False),
        Figure("collectors on the exact ground, mean", runs["true_collectors"].to_numpy(float), share=False),
        Figure("cost over truth's, median", ratio.to_numpy(), np.median, share=False),
        Figure("z of the stated spare, mean", z.to_numpy(), share=False),
        Figure("z of the stated spare, sd", z.to_numpy(), np.std, share=False),
        Figure("z by the formula alone, mean", alone.to_numpy(), share=False),
        Figure("z by the formula alone, sd", alone.to_numpy(), np.std, share=False),
        Figure("stated spare less the formula's on the same raster, median, m",
               (runs["spare_m"] - runs["spare_seen_m"]).to_numpy(), np.median, share=False),
        Figure("spare off truth, rms, m", (runs["spare_m"] - runs["spare_true_m"]).to_numpy(), _rms, share=False),
        Figure("rmse of the raster, mean, m", runs["rmse_m"].to_numpy(), share=False),
        Figure("shots: sure before, of runs with them", among(sure, after)),
        Figure("shots: sure after", among(sure_again, after)),
        Figure("shots: sure and wrong after, of those sure", among(~right(again), sure_again)),
        Figure("shots: z of the stated spare after, mean", z_again.to_numpy(), share=False),
        Figure("shots: z of the stated spare after, sd", z_again.to_numpy(), np.std, share=False),
        Figure("shots: spare off truth before, rms, m", off.to_numpy(), _rms, share=False),
        Figure("shots: spare off truth after, rms, m", off_again.to_numpy(), _rms, share=False),
        Figure("shots: spare over 3 cm worse after", among(off_again.abs() > off.abs() + 0.03, off_again.notna())),
        Figure("seconds a run, median", runs["seconds"].to_numpy(), np.median, share=False),
        Figure("seconds a run, most", runs["seconds"].to_numpy(), np.max, share=False),
        Figure("crashed, of all runs", ((whole["crash"] != "") | (whole["after_crash"] != "")).to_numpy(float)),
    ]


def _pooled(pairs: np.ndarray) -> float:
    """Sum of the parts over the sum of the wholes."""
    return float(pairs.real.sum() / pairs.imag.sum())


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def interval(lots: np.ndarray, figure: Figure) -> tuple[float, float, float, int]:
    """A figure, its 95 % interval by drawing whole lots again, and the runs that count."""
    counts = ~np.isnan(figure.values.real)
    values, lots = figure.values[counts], lots[counts]
    if not values.size:
        return float("nan"), float("nan"), float("nan"), 0
    rng = np.random.default_rng(SEED)
    groups = [values[lots == lot] for lot in np.unique(lots)]
    if len(groups) == 1:
        return float(figure.taken(values)), float("nan"), float("nan"), len(values)
    again = [
        figure.taken(np.concatenate([groups[k] for k in rng.integers(0, len(groups), len(groups))]))
        for _ in range(TIMES)
    ]
    low, high = np.percentile(again, [2.5, 97.5])
    return float(figure.taken(values)), float(low), float(high), len(values)


def table_of(runs: pd.DataFrame) -> str:
    """One table as markdown."""
    lines = ["| | figure | 95 % by lot | runs |", "| --- | ---: | ---: | ---: |"]
    good = runs[runs["crash"] == ""]
    for figure in figures(runs):
        lots = (runs if len(figure.values) == len(runs) else good)["lot"].to_numpy()
        value, low, high, count = interval(lots, figure)
        tell = (lambda each: f"{100.0 * each:.0f} %") if figure.share else (lambda each: f"{each:.2f}")
        between = "-" if np.isnan(low) else f"{tell(low)} to {tell(high)}"
        cells = (tell(value) if count else "-", between)
        lines.append(f"| {figure.name} | {cells[0]} | {cells[1]} | {count} |")
    return "\n".join(lines)


TEXTS = (
    "strength", "foundation", "crash", "said", "sure", "headline", "cure", "true_said", "true_cure", "rolling",
    "fenced", "meant_dry", "after_crash", "after_said", "after_sure",
)


def write_tables(rows: Sequence[dict[str, str]], pond_rows: Sequence[dict[str, str]], out: Path) -> str:
    """Write tables.md and calibration.png of a folder's runs: all, each strength, and what was said where."""
    runs = pd.DataFrame(rows)
    numbers = [name for name in runs if name not in TEXTS]
    runs[numbers] = runs[numbers].replace("", np.nan).astype(float)
    parts = [f"## All {len(runs)} runs on {runs['lot'].nunique()} lots\n\n{table_of(runs)}"]
    parts += [f"## Lidar: {name}\n\n{table_of(group)}" for name, group in runs.groupby("strength", sort=False)]
    said = pd.crosstab(runs["true_said"], runs["said"] + ", " + runs["sure"])
    parts.append("## Said on the exact ground (rows) and through lidar\n\n```\n" + said.to_string() + "\n```")
    parts.append("## Stated odds and what was so\n\n" + _calibration(runs, pd.DataFrame(pond_rows), out))
    crashes = runs.loc[(runs["crash"] != "") | (runs["after_crash"] != ""), ["lot", "draw", "crash", "after_crash"]]
    if len(crashes):
        parts.append("## Crashes\n\n```\n" + crashes.to_string(index=False) + "\n```")
    text = "\n\n".join(parts) + "\n"
    (out / "tables.md").write_text(text, encoding="utf-8")
    return text


def _calibration(runs: pd.DataFrame, ponds: pd.DataFrame, out: Path) -> str:
    """What was so for each tenth of the odds that were stated of it, as a table and a figure."""
    fall = runs[runs["odds"].notna() & runs["floor_true_m"].notna()]
    odds = {"the line has its fall": (fall["odds"], fall["floor_true_m"] >= 0.0, fall["lot"])}
    cured = runs[runs["cure_odds"].notna() & runs["left_true"].notna()]
    if len(cured):
        odds["the works end it"] = (cured["cure_odds"], cured["left_true"] == 0, cured["lot"])
    if len(ponds):
        odds["the pond is there"] = (ponds["found"].astype(float), ponds["real"] == "True", ponds["lot"])
    figure, axes = plt.subplots(figsize=(5.0, 5.0), layout="constrained")
    axes.plot([0.0, 100.0], [0.0, 100.0], color="0.6", linewidth=1.0)
    lines = ["| | stated, % | mean of it | was so, % | 95 % by lot | counted |",
             "| --- | ---: | ---: | ---: | ---: | ---: |"]  # fmt: skip
    for what, (stated, so, lots) in odds.items():
        tenth = np.minimum((stated * 10.0).astype(int), 9)
        told = []
        for each in range(10):
            here = (tenth == each).to_numpy()
            if here.sum() >= 5:
                share, low, high, count = interval(lots[here].to_numpy(), Figure("", so[here].astype(float).to_numpy()))
                told.append((100.0 * stated[here].mean(), 100.0 * share, 100.0 * low, 100.0 * high))
                mean, *shares = (f"{value:.0f}" for value in told[-1])
                lines.append(f"| {what} | {10 * each} to {10 * each + 10} | {mean} | {shares[0]} | "
                             f"{shares[1]} to {shares[2]} | {count} |")  # fmt: skip
        if told:
            x, y, low, high = np.array(told).T
            axes.errorbar(x, y, [y - low, high - y], marker="o", capsize=3.0, label=what)
    axes.set(xlabel="Stated: on so many of 100 possible grounds", ylabel="Was so on the exact ground (%)",
             xlim=(0.0, 100.0), ylim=(0.0, 100.0))  # fmt: skip
    if axes.containers:
        axes.legend(loc="upper left")
    figure.savefig(out / "calibration.png", dpi=120)
    plt.close(figure)
    return "\n".join(lines) + "\n\n![Stated odds and what was so](calibration.png)"

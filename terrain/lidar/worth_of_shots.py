"""Which level shots are worth taking: by how much reading each is expected to lessen the doubt, before it is read."""

from itertools import combinations
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri

from terrain.arrays import FloatArray

OFFSET = 10.0
"""Standard error of a level's own height, where it is set up at no known height. [m]"""
LEAST_GAIN = 0.03
"""A shot that is expected to lessen the doubt by less than this is not asked for. [-]"""


class WorthOfShot(NamedTuple):
    """One shot of a series: its candidate, the figure whose doubt it lessens most, and that doubt before and after; no
    figure for the one that the others are read against. [-]"""

    candidate: int
    figure: int | None
    before: float
    after: float


def shots_worth_taking(
    figures: FloatArray, heights: FloatArray, error: float, *, known: bool, most: int = 5
) -> tuple[WorthOfShot, ...]:
    """Shots in the order in which they lessen most the doubt whether figures are above 0, as far as they do.

    Parameters
    ----------
    figures : (figures, grounds) float ndarray
        What decides, on each ground that lidar allows. [m]
    heights : (candidates, grounds) float ndarray
        Height of each place where a level may be read. [m]
    error : float
        Standard error of the fall between two shots. [m]
    known : bool
        A height on site is known already; else the first two shots are worth something together alone.
    most : int
        How many are asked for. [-]

    Returns
    -------
    tuple of WorthOfShot
        In order.
    """
    if not len(figures) or not len(heights):
        return ()
    now = [doubt_after(figure, heights[:0], error, known=known) for figure in figures]
    taken: list[int] = []
    found: list[WorthOfShot] = []
    left = [at for at in range(len(heights)) if heights[at].std() > 0.0]
    while len(taken) < most:
        more = 1 if taken or known else 2
        tried = [(*taken, *added) for added in combinations([at for at in left if at not in taken], more)]
        if len(taken) + more > most or not tried:
            break
        doubts = {each: [doubt_after(figure, heights[list(each)], error, known=known, among=len(left))
                         for figure in figures]
                  for each in tried}  # fmt: skip
        best = min(tried, key=lambda each: sum(doubts[each]))
        gains = np.subtract(now, doubts[best])
        told = int(np.argmax(gains))
        if gains[told] < LEAST_GAIN:
            break
        found += [WorthOfShot(first, None, now[told], now[told]) for first in best[len(taken) : -1]]
        found.append(WorthOfShot(best[-1], told, now[told], doubts[best][told]))
        taken, now = list(best), doubts[best]
    return tuple(found)


def doubt_after(figure: FloatArray, read: FloatArray, error: float, *, known: bool, among: int = 1) -> float:
    """Chance of being wrong whether a figure is above 0, as it is expected once some heights are read. [-]

    Notes
    -----
    The figure's normal score is regressed on the heights as they are read; what is left of its variance is the same
    whatever they read, so that the doubt after them can be expected before they are taken (preposterior analysis
    [1]_). The variance left is raised by what a regression on shots picked `among` so many explains by chance [2]_.

    References
    ----------
    .. [1] Raiffa and Schlaifer, "Applied Statistical Decision Theory", Harvard, 1961, chapter 5 (from memory).
    .. [2] Foster and George, "The risk inflation criterion for multiple regression", Annals of Statistics 22, 1994,
       pp. 1947-1975: 2 ln p of the variance left a variable (from memory).
    """
    holds = float(np.mean(figure >= 0.0))
    if min(holds, 1.0 - holds) == 0.0 or not len(read):
        return min(holds, 1.0 - holds)
    count, taken = figure.size, len(read)
    score = ndtri((_ranks(figure) - 0.5) / count)
    score -= score.mean()
    limit = float(ndtri(1.0 - holds))
    off = read - read.mean(axis=1, keepdims=True)
    spread = off @ off.T / count
    # a fall between two shots errs by the given error, each of them by its share
    spread[np.diag_indices(taken)] += 0.5 * error**2
    if not known:
        spread += OFFSET**2
    shared = off @ score / count
    weights = np.linalg.solve(spread, shared)
    whole, told = float(score.var()), float(weights @ shared)
    freedom = count - 1 - taken + (0 if known else 1)
    chance = 1.0 + 2.0 * taken * np.log(among) / count
    rest = min(max(whole - told, 1e-12) * (count - 1) / max(freedom, 1) * chance, whole)
    expected = weights @ off
    if expected.std() > 0.0:
        expected *= np.sqrt(max(whole - rest, 0.0)) / expected.std()
    above = ndtr((expected - limit) / np.sqrt(rest))
    return min(float(np.minimum(above, 1.0 - above).mean()), holds, 1.0 - holds)


def _ranks(values: FloatArray) -> FloatArray:
    """Ranks from 1, of equals their mean; the same in SciPy's statistics takes a third of a second to import."""
    _, which, counts = np.unique(values, return_inverse=True, return_counts=True)
    ranks: FloatArray = (np.cumsum(counts) - 0.5 * (counts - 1))[which]
    return ranks

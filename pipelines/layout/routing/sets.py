"""Which collectors are tried on one line, and how sets of them make up a forest."""

import numpy as np

from pipelines.layout.routing.bounds import Bounds
from pipelines.layout.routing.graph import SearchGround
from terrain.arrays import FloatArray, IntArray


def sets_to_search(search: SearchGround, count: int, bounds: Bounds | None) -> list[int]:
    """Sets of collectors to search, as bits, small ones first."""
    if bounds is None:
        masks = set(range(1, 1 << count))
    else:
        order, masks = _tree_order(search, bounds)
        for begin in range(count):
            for many in range(1, count + 1):
                masks.add(sum(1 << order[(begin + k) % count] for k in range(many)))
    return sorted(masks, key=lambda mask: (mask.bit_count(), mask))


def sets_of_tree(search: SearchGround, bounds: Bounds) -> list[int]:
    """Sets of collectors that the tree behind their lower bounds joins, as bits, small ones first."""
    return sorted(_tree_order(search, bounds)[1], key=lambda mask: (mask.bit_count(), mask))


def cheapest_partitions(value: FloatArray) -> tuple[FloatArray, IntArray]:
    """Cheapest way to make up every set of collectors from disjoint sets. [money]"""
    best, choice = np.full(value.size, np.inf), np.zeros(value.size, dtype=np.int64)
    best[0] = 0.0
    for mask in range(1, value.size):
        part = mask
        while part > 0:
            if part & mask & -mask and value[part] + best[mask ^ part] < best[mask]:
                best[mask], choice[mask] = value[part] + best[mask ^ part], part
            part = (part - 1) & mask
    return best, choice


def chosen_sets(choice: IntArray, whole: int) -> list[int]:
    """The sets that `cheapest_partitions` makes a set up from."""
    parts = []
    while whole and choice[whole]:
        parts.append(int(choice[whole]))
        whole ^= parts[-1]
    return parts


def _tree_order(search: SearchGround, bounds: Bounds) -> tuple[list[int], set[int]]:
    """Collectors in the order of the branches of the trees behind the lower bound, and the sets that they join."""
    order: list[int] = []
    joined: set[int] = set()
    for part in chosen_sets(cheapest_partitions(bounds.tree)[1], bounds.tree.size - 1):
        waiting = [(part, int(np.argmin(bounds.least_gathered(part) + bounds.least_left(part))))]
        while waiting:
            mask, cell = waiting.pop()
            joined.add(mask)
            if mask.bit_count() == 1:
                order.append(mask.bit_length() - 1)
                continue
            cell, split = _split(search, bounds, mask, cell)
            waiting += [(mask ^ split, cell), (split, cell)]
    return order, joined


def _split(search: SearchGround, bounds: Bounds, mask: int, cell: int) -> tuple[int, int]:
    """Go up the cheapest tree of a set from a cell to where two smaller ones meet: that cell and one of them."""
    gathered = {part: bounds.least_gathered(part) for part in range(1, mask + 1) if part & mask == part}
    costs = bounds.step_costs(mask)
    ways = search.cell_onward.shape[1]
    while True:
        here = gathered[mask][cell] * (1.0 + 1e-12)
        part = (mask - 1) & mask
        while part > 0:
            if gathered[part][cell] + gathered[mask ^ part][cell] + bounds.meet[cell] <= here:
                return cell, part
            part = (part - 1) & mask
        back = search.cell_onward[cell]
        reverse = (np.arange(ways) + ways // 2) % ways
        through = np.where(back >= 0, gathered[mask][back] + costs[back, reverse], np.inf)
        cell = int(back[int(np.argmin(through))])

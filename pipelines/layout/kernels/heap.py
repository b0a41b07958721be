"""A binary heap on two plain arrays, for the compiled searches."""

from typing import Any

import numpy as np
from numba import njit


@njit(cache=True)
def heap_push(keys: Any, items: Any, size: int, key: float, item: int) -> Any:
    """Add an item; returns keys, items (grown where they were full) and the new size.

    Equal keys leave in no promised order.
    """
    if size == keys.size:
        more_keys = np.empty(2 * size)
        more_items = np.empty(2 * size, np.int64)
        more_keys[:size] = keys
        more_items[:size] = items
        keys, items = more_keys, more_items
    child = size
    while child > 0:
        parent = (child - 1) >> 1
        if keys[parent] <= key:
            break
        keys[child] = keys[parent]
        items[child] = items[parent]
        child = parent
    keys[child] = key
    items[child] = item
    return keys, items, size + 1


@njit(cache=True)
def heap_drop_first(keys: Any, items: Any, size: int) -> int:
    """Take away the first item, which `keys[0]` and `items[0]` hold; returns the new size."""
    size -= 1
    key, item = keys[size], items[size]
    parent = 0
    while True:
        child = 2 * parent + 1
        if child >= size:
            break
        if child + 1 < size and keys[child + 1] < keys[child]:
            child += 1
        if keys[child] >= key:
            break
        keys[parent] = keys[child]
        items[parent] = items[child]
        parent = child
    keys[parent] = key
    items[parent] = item
    return size

"""A binary heap on two plain arrays, for the compiled searches."""

from typing import Any

from numba import njit


@njit(cache=True)
def heap_push(keys: Any, items: Any, size: int, key: float, item: int) -> int:
    """Add an item to arrays that have room for it; returns the new size.

    Equal keys leave in no promised order.
    """
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
    return size + 1


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

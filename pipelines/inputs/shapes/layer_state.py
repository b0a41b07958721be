"""What a layer hangs on while it is read again and again: the state of its file, or its own features of a drawing."""

import json
import re
from collections import defaultdict
from functools import lru_cache
from hashlib import blake2b
from pathlib import Path
from typing import Any

from pipelines.inputs.file_hash import FileState, state_of

LayerState = FileState | str
_TABLE = re.compile(r"\"table\" = '([a-z_.]+)'")
_FILES = 4
"""Whose features are kept in hand. [-]"""


def layer_state(path: Path, where: str | None) -> LayerState | None:
    """What differs when a layer does: of one table of a drawing, its features alone; None where that is not known."""
    state, table = state_of(path), _TABLE.fullmatch(where or "")
    if state is None or table is None or path.suffix.lower() != ".geojson":
        return state
    return _tables(path, state).get(table[1], state)


@lru_cache(maxsize=_FILES)
def _tables(path: Path, _: FileState) -> dict[str, str]:
    """A digest of each table's features where they stand, and of what kinds of value the file has by name; empty where
    it is no drawing."""
    try:
        content = json.loads(path.read_bytes().decode("utf-8-sig"))
        features = content.pop("features")
        kinds: dict[str, set[str]] = defaultdict(set)
        tables: dict[str, list[Any]] = defaultdict(list)
        for at, feature in enumerate(features):
            tables[feature["properties"]["table"]].append([at, feature])
            for name, value in feature["properties"].items():
                kinds[name].add(type(value).__name__)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, OSError):
        return {}
    around = [content, len(features), {name: sorted(each) for name, each in kinds.items()}]
    return {
        table: blake2b(json.dumps([around, own], sort_keys=True).encode("utf-8", "surrogatepass")).hexdigest()
        for table, own in tables.items()
    }

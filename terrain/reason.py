"""Facts as a code and values. The room of words has a sentence for each code; no other room writes one."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Reason:
    """Why something is as it is.

    Attributes
    ----------
    code : str
        Of its sentence.
    values : tuple of (str, value)
        What the sentence tells, by name: numbers, names, further reasons, tuples of these. [SI]
    """

    code: str
    values: tuple[tuple[str, Any], ...] = ()

    def __getitem__(self, name: str) -> Any:
        return dict(self.values)[name]

    def __contains__(self, text: object) -> bool:
        # else `"words" in reason` would search by position
        raise TypeError(f"{self.code} is a fact, not words: say it first")


def reason(code: str, **values: Any) -> Reason:
    """A reason from its code and what it tells. [SI]"""
    return Reason(code, tuple(sorted(values.items())))

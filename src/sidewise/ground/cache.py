"""A bounded memory of what was worked out: the last used stay, the others go."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock
from typing import Generic, TypeVar

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class LastUsed(Generic[Key, Value]):
    """The values used last, at most `most` of them; several threads may ask at once.

    It says nothing of whether a value still holds: either the key names all that the value
    depends on, or whoever asks compares the value with its source. The lock is held only while
    the table is looked at, never while a value is worked out, so two threads may work out the
    same value; the later one stays.

    Raises ValueError where `most` is below 1.
    """

    def __init__(self, most: int) -> None:
        if most < 1:
            raise ValueError("a cache keeps at least one value")
        self.most = most
        self._values: OrderedDict[Key, Value] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Key) -> Value | None:
        """The value under this key, which is then the one used last; None if there is none."""
        with self._lock:
            if key not in self._values:
                return None
            self._values.move_to_end(key)
            return self._values[key]

    def put(self, key: Key, value: Value) -> Value:
        """Keep `value` under this key, and return it; the longest unused go beyond `most`."""
        with self._lock:
            self._values[key] = value
            self._values.move_to_end(key)
            while len(self._values) > self.most:
                self._values.popitem(last=False)
        return value

    def clear(self) -> None:
        """Forget everything."""
        with self._lock:
            self._values.clear()

    def __len__(self) -> int:
        return len(self._values)

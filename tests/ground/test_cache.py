"""The bounded memory: what was used last stays, and threads do not disturb each other."""

from __future__ import annotations

from threading import Thread

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidewise.ground.cache import LastUsed


def test_what_was_used_last_stays() -> None:
    cache: LastUsed[str, int] = LastUsed(2)
    cache.put("a", 1)
    cache.put("b", 2)
    assert cache.get("a") == 1
    cache.put("c", 3)
    assert cache.get("b") is None
    assert (cache.get("a"), cache.get("c"), len(cache)) == (1, 3, 2)


def test_a_later_value_takes_the_place_of_an_earlier_one() -> None:
    cache: LastUsed[str, int] = LastUsed(2)
    assert (cache.put("a", 1), cache.put("a", 2)) == (1, 2)
    assert (cache.get("a"), len(cache)) == (2, 1)


def test_it_can_be_emptied() -> None:
    cache: LastUsed[str, int] = LastUsed(2)
    cache.put("a", 1)
    cache.clear()
    assert (cache.get("a"), len(cache)) == (None, 0)


def test_room_for_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        LastUsed(0)


@given(st.integers(1, 5), st.lists(st.tuples(st.booleans(), st.integers(0, 8)), max_size=60))
def test_it_keeps_what_a_plain_list_of_uses_says(most: int, steps: list[tuple[bool, int]]) -> None:
    cache: LastUsed[int, int] = LastUsed(most)
    uses: list[int] = []
    for puts, key in steps:
        known = key in uses
        if puts:
            cache.put(key, -key)
        else:
            assert cache.get(key) == (-key if known else None)
        if puts or known:
            uses = [*(u for u in uses if u != key), key][-most:]
    assert len(cache) == len(uses)
    assert all(cache.get(key) == -key for key in uses)


def test_threads_find_only_whole_values_and_the_bound_holds() -> None:
    cache: LastUsed[int, tuple[int, int]] = LastUsed(7)
    wrong: list[object] = []

    def work(start: int) -> None:
        for number in range(2_000):
            key = (start + number) % 11
            cache.put(key, (key, -key))
            found = cache.get((key * 3) % 11)
            if found is not None and found[0] != -found[1]:
                wrong.append(found)

    threads = [Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not wrong
    assert len(cache) == 7

"""Views kept beside a region: the same values, and believed only where nothing has changed."""

from __future__ import annotations

import dataclasses
import io
import os
import pickle
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from sidewise import regions as door
from sidewise.knowledge import kept_views
from sidewise.knowledge.kept_views import ABSENT, KeptViews, _Reader, views_key, write_views
from sidewise.knowledge.manifest import VIEWS
from sidewise.knowledge.region import Region, open_region, shipped_folders
from sidewise.regions import KEPT, ROOMS, check_region, load_region

SHIPPED = sorted(shipped_folders().items())
NAMES = [name for names in KEPT.values() for name in names]


@pytest.fixture(scope="module")
def fresh() -> Region:
    """A shipped region, every view of it made and checked anew."""
    region = open_region(SHIPPED[0][1])
    check_region(region)
    return region


@pytest.fixture
def file(fresh: Region, tmp_path: Path) -> Path:
    path = tmp_path / VIEWS
    assert write_views(path, "key", fresh.made_views(), KEPT)
    return path


def believed(path: Path) -> dict[str, Any]:
    kept = kept_views.kept_views(path, "key")
    assert kept is not None
    return {name: kept._named(name) for name in NAMES}


def test_every_kept_view_is_the_one_that_is_made(fresh: Region, file: Path) -> None:
    made, kept = fresh.made_views(), believed(file)
    assert len(NAMES) == 12
    for name in NAMES:
        assert kept[name] == made[name], name
        assert type(kept[name]) is type(made[name]), name


def test_what_views_share_they_still_share(fresh: Region, file: Path) -> None:
    # A part that several rules share is judged once: it is known by identity.
    kept = believed(file)
    rules = kept["sidewise.reason.judging.called_for._rules"]
    protocol = kept["sidewise.protocol.loader._protocol"]
    assert _shared(protocol, rules) == _shared(
        *(
            fresh.made_views()[name]
            for name in (
                "sidewise.protocol.loader._protocol",
                "sidewise.reason.judging.called_for._rules",
            )
        )
    )
    assert _shared(protocol, rules) > 5


def _shared(protocol: Any, rules: Any) -> int:
    criteria = {id(reading.criterion) for reading in protocol.readings}
    return len(criteria & {id(found) for found in _criteria(rules)})


def _criteria(part: Any) -> Iterator[Any]:
    if isinstance(part, tuple):
        for one in part:
            yield from _criteria(one)
    elif hasattr(part, "criterion"):
        yield part.criterion
    elif hasattr(type(part), "model_fields"):
        for name in type(part).model_fields:
            yield from _criteria(getattr(part, name))


def test_a_start_of_an_unchanged_program_makes_no_view(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "shelf" / SHIPPED[0][0]
    shutil.copytree(SHIPPED[0][1], folder, ignore=shutil.ignore_patterns("packed.*"))
    monkeypatch.setattr("sidewise.knowledge.region.SHIPPED", folder.parent)
    load_region(folder, cache=tmp_path / "cache")
    assert (folder / VIEWS).exists()
    second = load_region(folder, cache=tmp_path / "cache")
    monkeypatch.setattr("sidewise.protocol.loader.validate_model", pytest.fail)
    assert len(door._protocol_checks()[0](second).items) > 50


@pytest.mark.parametrize("harm", ["cut", "letters", "key", "empty", "writable", "format"])
def test_a_file_not_to_be_believed_counts_for_nothing(harm: str, file: Path) -> None:
    content = file.read_bytes()
    file.write_bytes({
        "cut": content[: len(content) // 2], "letters": content[:-50] + bytes(50),
        "key": content.replace(b'"key": "key"', b'"key": "old"'), "empty": b"",
        "format": content.replace(b"sidewise-views/1", b"sidewise-views/0"),
    }.get(harm, content))  # fmt: skip
    file.chmod(0o666 if harm == "writable" else 0o644)
    found = kept_views.kept_views(file, "key")
    assert found is None or found._named(NAMES[-1]) is ABSENT


@pytest.mark.skipif(not hasattr(os, "getuid") or os.getuid() != 0, reason="owners need root")
def test_a_file_of_another_owner_counts_for_nothing(file: Path) -> None:
    os.chown(file, 12345, 12345)
    assert kept_views.kept_views(file, "key") is None


class Harm:
    """What a file that somebody else wrote might hold."""

    def __reduce__(self) -> tuple[Any, tuple[str, ...]]:
        return os.system, ("true",)


@pytest.mark.parametrize("data", [
    pickle.dumps(Harm()), pickle.dumps(io.BytesIO), pickle.dumps(os.path.join),
    b"\x80\x04\x8c\x1dsidewise.knowledge.kept_views\x8c\x0epickle.Pickler\x93.",
    b"\x80\x04\x8c\x1dsidewise.knowledge.kept_views\x8c\x09views_key\x93.",
])  # fmt: skip
def test_nothing_but_values_is_made(data: bytes) -> None:
    with pytest.raises(pickle.UnpicklingError):
        _Reader(io.BytesIO(data), lambda _name: None).load()


def test_the_key_changes_with_every_module_of_its_rooms(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for room in ("one", "two"):
        (tmp_path / room / "inner").mkdir(parents=True)
        (tmp_path / room / "inner" / "module.py").write_text("x = 1\n")
    monkeypatch.setattr(kept_views, "ROOT", tmp_path)
    before = views_key("text", ("one",))
    assert views_key("another text", ("one",)) != before
    (tmp_path / "two" / "inner" / "module.py").write_text("x = 22\n")
    assert views_key("text", ("one",)) == before
    (tmp_path / "one" / "inner" / "module.py").write_text("x = 22\n")
    assert views_key("text", ("one",)) != before


def test_every_module_that_makes_a_kept_view_is_in_the_rooms_of_the_key(file: Path) -> None:
    inside = tuple(f"sidewise.{room}." for room in ROOMS)
    seen = _modules_named(file)
    assert len(seen) > 20
    assert all(name.startswith(inside) for name in seen), seen


def _modules_named(path: Path) -> set[str]:
    kept = kept_views.kept_views(path, "key")
    assert isinstance(kept, KeptViews)
    seen: set[str] = set()
    for value in kept._group_of.values():
        data = path.read_bytes()[value.start : value.start + value.bytes]

        class Noting(_Reader):
            def find_class(self, module: str, name: str) -> Any:
                seen.add(module)
                return super().find_class(module, name)

        Noting(io.BytesIO(data), kept._named).load()
    return {name for name in seen if name.startswith("sidewise.")}


def test_a_region_of_a_data_folder_keeps_no_views(tmp_path: Path) -> None:
    folder = tmp_path / "knowledge" / SHIPPED[0][0]
    shutil.copytree(SHIPPED[0][1], folder, ignore=shutil.ignore_patterns("packed.*", "atlas"))
    load_region(folder, cache=tmp_path / "cache")
    assert not (folder / VIEWS).exists()
    assert not list((tmp_path / "cache").glob("*.views"))


def test_a_region_of_other_parts_believes_nothing(fresh: Region, file: Path) -> None:
    kept = kept_views.kept_views(file, "key")
    assert kept is not None
    fresh_one = open_region(fresh.folder)
    fresh_one.believe(kept)
    assert dataclasses.replace(fresh_one, parts={**fresh_one.parts})._kept is None

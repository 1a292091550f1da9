"""The house in figures: names, repetitions, functions nobody calls, the walk of one record.

`python -m tests.house.measures` prints them for this tree; `--source FOLDER` for another one that
can be imported from there (an earlier version, unpacked elsewhere).
"""

from __future__ import annotations

import ast
import inspect
import re
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import Any

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "sidewise"
EXAMPLE = ROOT / "examples" / "frozen.json"

IRREGULAR = frozenset(
    {
        "begun",
        "bought",
        "broken",
        "brought",
        "caught",
        "chosen",
        "cut",
        "dealt",
        "done",
        "drawn",
        "fallen",
        "felt",
        "found",
        "given",
        "gone",
        "grown",
        "held",
        "kept",
        "known",
        "laid",
        "lent",
        "left",
        "lost",
        "made",
        "meant",
        "met",
        "paid",
        "put",
        "read",
        "said",
        "seen",
        "sent",
        "set",
        "shown",
        "spoken",
        "taken",
        "taught",
        "thought",
        "told",
        "torn",
        "worn",
        "written",
    }
)
"""Participles that do not end in -ed; `read`, `put`, `cut` and `set` are counted although they are
verbs too, so that the figure errs upwards."""
NO_PARTICIPLES = frozenset({"speed", "seed", "need", "feed", "bed", "red"})

Function = ast.FunctionDef | ast.AsyncFunctionDef
Named = Function | ast.ClassDef


def trees(source: Path = SOURCE) -> dict[str, ast.Module]:
    """Every module of the program by its path, migrations apart."""
    return {
        path.relative_to(source).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
        for path in sorted(source.rglob("*.py"))
        if "migrations" not in path.parts
    }


def public_names(tree: ast.Module) -> Iterator[Named]:
    """Classes and functions at module level without an underscore."""
    for node in tree.body:
        if isinstance(node, Named) and not node.name.startswith("_"):
            yield node


def repeated_names(modules: dict[str, ast.Module]) -> dict[str, tuple[str, ...]]:
    """Public names that stand in two or more modules, and which."""
    homes: dict[str, list[str]] = defaultdict(list)
    for path, tree in modules.items():
        for node in public_names(tree):
            homes[node.name].append(path)
    return {name: tuple(paths) for name, paths in sorted(homes.items()) if len(set(paths)) > 1}


def functions(modules: dict[str, ast.Module]) -> Iterator[str]:
    """The name of every function and method that is no special one, its underscore removed."""
    for tree in modules.values():
        for node in ast.walk(tree):
            if isinstance(node, Function) and not node.name.startswith("__"):
                yield node.name.strip("_")


def is_participle(name: str) -> bool:
    """Whether a name is one past participle and nothing else."""
    return name in IRREGULAR or (
        "_" not in name and name.endswith("ed") and name not in NO_PARTICIPLES
    )


def uncalled_functions(source: Path = SOURCE) -> list[str]:
    """Public functions that nothing in the program names, their own module included."""
    texts = {path: path.read_text(encoding="utf-8") for path in source.rglob("*.py")}
    beside = [*source.rglob("*.html"), *source.rglob("*.js"), source.parents[1] / "pyproject.toml"]
    pages = " ".join(path.read_text(encoding="utf-8") for path in beside if path.exists())
    named = defaultdict(int)
    for path, text in texts.items():
        # A face that offers a name does not call it.
        if path.name != "__init__.py":
            for word in re.findall(r"\w+", text):
                named[word] += 1
    return [
        f"{path}: {node.name}"
        for path, tree in trees(source).items()
        for node in public_names(tree)
        if isinstance(node, Function)
        and not node.decorator_list
        and named[node.name] == 1
        and not re.search(rf"\b{node.name}\b", pages)
    ]


def regions_by_name(modules: dict[str, ast.Module]) -> int:
    """How many functions take a region as text."""
    return sum(
        argument.arg == "region" and ast.unparse(argument.annotation or argument) == "str"
        for tree in modules.values()
        for node in ast.walk(tree)
        if isinstance(node, Function)
        for argument in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
    )


def calls_of_loaders(modules: dict[str, ast.Module]) -> int:
    """How many calls of a `load_*(...)` there are that is given one region."""
    return sum(
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id.startswith("load_")
        and any("region" in ast.unparse(argument) for argument in node.args)
        for tree in modules.values()
        for node in ast.walk(tree)
    )


def walk_of_a_record(source: Path = SOURCE, example: Path = EXAMPLE) -> list[str]:
    """The rooms that one `interpret` enters, in order; a function counts at its first call.

    A room is a folder right below the program's. The record is read and, where there is a door, its
    region opened before; what `interpret` loads itself is part of the walk.
    """
    from sidewise.reason import interpret
    from sidewise.record import read_record

    record, region = _opened(read_record, example)
    entered: set[Any] = set()
    rooms: list[str] = []

    def note(frame: FrameType, event: str, _argument: object) -> None:
        code = frame.f_code
        # Not the bodies of modules and classes: an import is no step of the work.
        if event != "call" or code in entered or not code.co_flags & inspect.CO_OPTIMIZED:
            return
        entered.add(code)
        path = Path(code.co_filename)
        if path.is_relative_to(source):
            room = path.relative_to(source).parts[0]
            if not rooms or rooms[-1] != room:
                rooms.append(room)

    sys.setprofile(note)
    try:
        interpret(record, *region)
    finally:
        sys.setprofile(None)
    return rooms


def _opened(read_record: Any, example: Path) -> tuple[Any, tuple[Any, ...]]:
    """The record, and the region where it is handed along (in version 0.1.0 it is a name)."""
    try:
        from sidewise.regions import region_of_record, regions
    except ImportError:
        return read_record(example), ()
    record = read_record(example, regions())
    return record, (region_of_record(record),)


def main(words: list[str]) -> int:
    """Print every figure."""
    source = Path(words[1]).resolve() if words[:1] == ["--source"] else SOURCE
    if source != SOURCE:
        sys.path.insert(0, str(source.parent))
    modules = trees(source)
    names = list(functions(modules))
    one_word = sum("_" not in name for name in names)
    participles = sum(is_participle(name) for name in names)
    walk = walk_of_a_record(source)
    print(f"modules                          {len(modules):6,}")
    print(f"functions                        {len(names):6,}")
    print(f"  of one word                    {one_word / len(names):6.1%}")
    print(f"  one participle                 {participles / len(names):6.1%}")
    print(f"public names in two modules      {len(repeated_names(modules)):6}")
    print(f"public functions nobody names    {len(uncalled_functions(source)):6}")
    print(f"functions given a region's name  {regions_by_name(modules):6}")
    print(f"calls of a loader for a region   {calls_of_loaders(modules):6}")
    print(f"one record interpreted: rooms    {len(set(walk)):6}")
    print(f"  stays                          {len(walk):6}")
    print(f"  returns                        {len(walk) - len(set(walk)):6}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

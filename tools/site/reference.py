"""Reference pages, written from the code: commands, Python, formats, settings."""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer.main
from typer.core import TyperArgument, TyperCommand, TyperGroup, TyperOption

import sidewise
from sidewise.cli import command_line
from sidewise.schemas import FORMATS, file_name, schema_of

EXIT_STATUS = (
    "Written from the program. Exit status 0 is fine, 1 valid but incomplete or a flag raised "
    "(`check`), 2 input that cannot be used."
)
SETTINGS = Path(sidewise.__file__).parent / "web" / "settings.py"


def pages() -> dict[str, str]:
    """Each reference page by its name."""
    return {
        "reference-commands.md": commands_page(),
        "reference-python.md": python_page(),
        "reference-formats.md": formats_page(),
        "reference-settings.md": settings_page(),
    }


def commands_page() -> str:
    """Every command with its arguments and options, as `--help` has them."""
    root = typer.main.get_command(command_line())
    assert isinstance(root, TyperGroup)
    parts = ["# Commands\n", f"{EXIT_STATUS}\n"]
    for name, command in root.commands.items():
        parts += [f"## {name}\n", f"{_paragraphs(command.help)}\n", _options(name, command)]
    return "\n".join(parts)


def _options(name: str, command: TyperCommand) -> str:
    context = typer.Context(command, info_name=f"sidewise {name}")
    usage = command.get_usage(context).removeprefix("Usage: ")
    rows = [
        f"| `{_option_name(one)}` | {_cell(_help(one))} |" for one in command.get_params(context)
    ]
    table = ["| | |", "| --- | --- |", *rows]
    return "\n".join([f"```text\n{usage}\n```\n", *table, ""])


def _option_name(parameter: TyperArgument | TyperOption) -> str:
    if isinstance(parameter, TyperArgument):
        return (parameter.metavar or parameter.name or "").upper()
    return ", ".join([*parameter.opts, *parameter.secondary_opts])


def _help(parameter: TyperArgument | TyperOption) -> str:
    text = getattr(parameter, "help", None) or ""
    default = parameter.default
    plain = isinstance(default, str | int | float) and not isinstance(default, bool)
    return f"{text} Default {default}." if plain and default != "" else text


def python_page() -> str:
    """What `import sidewise` offers, with signatures and docstrings."""
    parts = [
        "# Python\n",
        "Written from the program; [in Python](python.md) shows how to use it.\n",
    ]
    for name in sidewise.__all__:
        thing = getattr(sidewise, name)
        if callable(thing):
            parts += [f"## {name}\n", f"```python\n{_signature(name, thing)}\n```\n",
                      f"{_paragraphs(inspect.getdoc(thing))}\n"]  # fmt: skip
    return "\n".join(parts)


def _signature(name: str, thing: Any) -> str:
    signature = inspect.signature(thing)
    inner = ",\n".join(f"    {parameter}" for parameter in signature.parameters.values())
    end = "" if inspect.isclass(thing) else f" -> {signature.return_annotation}"
    return f"{name}(\n{inner},\n){end}" if inner else f"{name}(){end}"


def formats_page() -> str:
    """Every format of a file or of `--json`, with the fields of its outermost level."""
    parts = ["# Formats\n", "Written from the schemas, which are shipped and given by"
             " `sidewise.schema_of(format)`.\n"]  # fmt: skip
    for name in FORMATS:
        schema = schema_of(name)
        parts += [f"## {name}\n", f"{_paragraphs(schema.get('description'))}\n",
                  f"[JSON Schema](schema/{file_name(name)})\n", *_fields(schema), ""]  # fmt: skip
    return "\n".join(parts)


def _fields(schema: dict[str, Any]) -> Iterator[str]:
    needed = set(schema.get("required", ()))
    yield "| field | needed | what |"
    yield "| --- | --- | --- |"
    for name, field in schema.get("properties", {}).items():
        what = field.get("description") or field.get("type") or ""
        kind = what if isinstance(what, str) else json.dumps(what)
        yield f"| `{name}` | {'yes' if name in needed else 'no'} | {_cell(kind)} |"


def settings_page() -> str:
    """What the environment can set, from the head of the settings."""
    text = SETTINGS.read_text(encoding="utf-8").split('"""')[1]
    head, _, table = text.partition("\n\n")
    # A line that stands further in belongs to the one before.
    joined = "\n".join(table.splitlines()).replace("\n" + " " * 24, " ")
    rows = [re.split(r"\s{2,}", line, maxsplit=1) for line in joined.splitlines() if line.strip()]
    lines = [f"| `{name}` | {_cell(what)} |" for name, what in rows]
    return "\n".join(["# Settings\n", f"{head}\n", "| name | what |", "| --- | --- |", *lines, ""])


def _paragraphs(text: str | None) -> str:
    return inspect.cleandoc(text or "")


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|").replace("<", "&lt;")

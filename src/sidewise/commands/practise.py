"""`sidewise practise`: a simulated patient examined line by line, and the feedback."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from sidewise.practice.case_file import CaseTruth
    from sidewise.practice.feedback import Feedback
    from sidewise.practice.room import Attempt, Room

    Say = Callable[..., None]


def practise(
    seed: int | None = typer.Option(None, min=0, help="Draw the patient of this seed."),
    case: Path | None = typer.Option(
        None, metavar="FILE", help="Examine the patient of this file."
    ),
    truth: Path | None = typer.Option(None, metavar="FILE", help="Their truth, told at the end."),
    hints: str = typer.Option("none", help="How much help: none, some or many."),
    script: Path | None = typer.Option(None, metavar="FILE", help="Lines to play, one a step."),
    attempt: Path = typer.Option(
        Path("attempt.json"), "--attempt", metavar="FILE", help="Keep the attempt here."
    ),
    go_on: bool = typer.Option(False, "--continue", help="Go on with the attempt kept there."),
    region: str = typer.Option("", help="The region of --seed."),
    as_json: bool = typer.Option(
        False, "--json", help="Print the feedback as JSON, and what is said to standard error."
    ),
) -> None:
    """Examine a simulated patient by typed lines. Practice only: nothing here is a patient."""
    from sidewise.practice.feedback import feedback, feedback_lines

    room, known_truth = _room(seed, case, truth, region)
    kept = _begun(room, attempt, go_on, hints)
    say = partial(typer.echo, err=as_json)
    say(room.case.warnings[0])
    say(f"{_who(room)} says: {room.opening}\nType help for the words.\n")
    for taken in kept.taken:
        say(f"  {taken.said}")
    try:
        kept = _played(room, kept, attempt, _lines(script, say), say)
    except (KeyboardInterrupt, EOFError):
        say(f"\nKept in {attempt}; --continue goes on with it.")
        return
    if not kept.finished:
        say(f"Not finished. Kept in {attempt}; --continue goes on with it.")
    elif known_truth is None:
        say("Finished. Without --truth there is no feedback.")
    else:
        typer.echo("Weighing what you found ...", err=True)
        told = feedback(room, kept, known_truth)
        typer.echo(_json(told) if as_json else "\n".join(("", *feedback_lines(told))))


def _json(told: Feedback) -> str:
    import json

    return json.dumps(told.to_json(), indent=1, ensure_ascii=False)


def _room(
    seed: int | None, case: Path | None, truth: Path | None, region: str
) -> tuple[Room, CaseTruth | None]:
    from sidewise.errors import UserError
    from sidewise.practice import practice_case
    from sidewise.practice.case_file import (
        case_file,
        parse_truth,
        read_case,
        read_truth,
        truth_document,
    )
    from sidewise.practice.room import open_room
    from sidewise.regions import regions

    if (seed is None) == (case is None):
        got = "both" if case is not None else "neither"
        raise UserError("practise", got, "--seed NUMBER or --case FILE")
    if case is not None:
        read = read_case(case, regions())
        return open_room(regions()[read.record.region], read), read_truth(truth) if truth else None
    assert seed is not None, "one of the two is given"
    known = regions().chosen(region)
    made = practice_case(known, seed)
    return open_room(known, case_file(made)), parse_truth(truth_document(made, known))


def _begun(room: Room, path: Path, go_on: bool, hints: str) -> Attempt:
    from sidewise.errors import UserError
    from sidewise.practice.room import HINT_LEVELS, attempt_warnings, begin_attempt

    if hints not in HINT_LEVELS:
        raise UserError("--hints", hints, f"one of {', '.join(HINT_LEVELS)}")
    if not path.absolute().parent.is_dir():
        raise UserError("--attempt", str(path.parent), "a folder that exists")
    there = _read(path)
    if not go_on:
        if there is not None and not there.finished:
            raise UserError("--attempt", path.name, "a place without an unfinished attempt",
                            "Add --continue to go on with it, or name another file.")  # fmt: skip
        return begin_attempt(room, hints)  # type: ignore[arg-type]
    if there is None:
        raise UserError("--continue", path.name, "the file of an attempt", "None is kept there.")
    if there.case_hash != room.case.case_hash:
        raise UserError("--continue", there.case, f"an attempt at {room.hidden.id}",
                        "Name the seed or the case that it was begun with.")  # fmt: skip
    for warning in attempt_warnings(there, room.region):
        typer.echo(warning, err=True)
    return there


def _read(path: Path) -> Attempt | None:
    from sidewise.practice.room import read_attempt
    from sidewise.regions import regions

    return read_attempt(path, regions()).attempt if path.exists() else None


def _who(room: Room) -> str:
    context = room.context
    age = f"{context.age} years" if context.age is not None else "age not known"
    return f"A {'woman' if context.sex == 'female' else 'man'} of {age}"


def _lines(script: Path | None, say: Say) -> Iterator[str]:
    """The lines of a script, or those that are typed."""
    from sidewise.errors import UserError

    if script is None:
        while True:
            # The prompt of input() would stand in the JSON.
            say("> ", nl=False)
            yield input()
    try:
        text = script.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UserError("--script", str(error), "a file of lines in UTF-8") from None
    for line in text.splitlines():
        if line.strip() and not line.startswith("#"):
            say(f"> {line}")
            yield line


def _played(room: Room, kept: Attempt, path: Path, lines: Iterator[str], say: Say) -> Attempt:
    """Every line a step or more, kept after each; what is refused is said, and changes nothing."""
    from sidewise.errors import UserError
    from sidewise.practice.room import take_step
    from sidewise.practice.room.line import HELP, parse_line

    for line in lines:
        if line.strip() == "help":
            say(HELP)
            continue
        if not line.strip():
            continue
        try:
            for step in parse_line(room, line):
                kept = take_step(room, kept, step)
                say(f"  {kept.taken[-1].said}")
        except UserError as error:
            say(f"  {error.message}")
        _keep(kept, path)
        say(f"  [{kept.seconds / 60:.1f} min, soreness {kept.soreness:g}]")
        if kept.finished:
            break
    return kept


def _keep(kept: Attempt, path: Path) -> None:
    from sidewise.ground.whole_file import write_text
    from sidewise.practice.room import attempt_text

    write_text(path, attempt_text(kept))

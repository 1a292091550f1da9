"""`make docs`: builds the site into build/site; a warning ends it with status 1."""

from __future__ import annotations

import logging
import shutil
import sys
from pathlib import Path

from mkdocs.commands.build import build
from mkdocs.config import load_config
from mkdocs.exceptions import Abort

from tools.site.sources import ROOT, write_sources

SETTINGS = Path(__file__).with_name("mkdocs.yaml")


def main(build_folder: Path = ROOT / "build") -> int:
    """Write the sources, then the site; 0 if there was no warning."""
    sources, site = build_folder / "site-sources", build_folder / "site"
    for folder in (sources, site):
        shutil.rmtree(folder, ignore_errors=True)
    build_folder.mkdir(exist_ok=True)
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(message)s")
    count = write_sources(sources)
    config = load_config(str(SETTINGS), docs_dir=str(sources), site_dir=str(site), strict=True)
    try:
        build(config)
    except Abort as error:
        print(error, file=sys.stderr)
        return 1
    print(f"{count} pages; open {site / 'index.html'}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""The folder of a person's own data: `$SIDEWISE_HOME`, else the platform's user folder."""

from __future__ import annotations

import os
from pathlib import Path


def home_folder() -> Path:
    """The folder; it need not be there yet."""
    if named := os.environ.get("SIDEWISE_HOME"):
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_data_dir("sidewise"))

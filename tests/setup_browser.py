"""Finds the browsers of the browser tests, or installs the distribution's where it can.

Run before the tests. Prints what it did; never fails outside CI, where a browser is required.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
OTHERS = {"firefox": "firefox-esr", "certutil": "libnss3-tools"}
"""A second browser, and what puts a root into a browser's own list."""
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def find_browser() -> str | None:
    """The path of a Chromium, from $SIDEWISE_BROWSER or the usual names."""
    named = os.environ.get("SIDEWISE_BROWSER")
    return named or next((path for name in NAMES if (path := shutil.which(name))), None)


def install_package(name: str) -> bool:
    """Install a package of the distribution where this user may; True if it worked."""
    if not shutil.which("apt-get") or os.geteuid() != 0:
        return False
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    subprocess.run(["apt-get", "update", "-qq"], check=False, **quiet)
    command = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", name]
    return subprocess.run(command, check=False, **quiet).returncode == 0


def main() -> int:
    """Say which browser the tests will use; 1 only in CI without one."""
    if not find_browser():
        print("No Chromium found; trying to install the distribution's package ...", flush=True)
        install_package("chromium")
    for command, package in OTHERS.items():
        if not shutil.which(command):
            install_package(package)
    browser = find_browser()
    if browser:
        second = shutil.which("firefox") or "no second browser"
        print(f"Browser tests use {browser}; the tablet's address also {second}")
        return 0
    print("No Chromium: browser tests will be skipped. Install one or set SIDEWISE_BROWSER.")
    return 1 if os.environ.get("CI") else 0


if __name__ == "__main__":
    sys.exit(main())

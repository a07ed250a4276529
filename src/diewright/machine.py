"""Which system libraries the CAD, meshing and picture libraries need, and how to get the missing ones.

Standard library only: it is read before anything is installed.
"""

from __future__ import annotations

import ctypes
import glob
import os
import shutil
import sys

# shared object -> (Debian and Ubuntu, Fedora, Arch)
LIBRARIES = {
    "libGL.so.1": ("libgl1", "mesa-libGL", "libglvnd"),
    "libEGL.so.1": ("libegl1", "mesa-libEGL", "libglvnd"),
    "libGLU.so.1": ("libglu1-mesa", "mesa-libGLU", "glu"),
    "libX11.so.6": ("libx11-6", "libX11", "libx11"),
    "libXft.so.2": ("libxft2", "libXft", "libxft"),
    "libXcursor.so.1": ("libxcursor1", "libXcursor", "libxcursor"),
    "libXinerama.so.1": ("libxinerama1", "libXinerama", "libxinerama"),
    "libXrender.so.1": ("libxrender1", "libXrender", "libxrender"),
    "libXfixes.so.3": ("libxfixes3", "libXfixes", "libxfixes"),
    "libfontconfig.so.1": ("libfontconfig1", "fontconfig", "fontconfig"),
}
DRIVER = ("libgl1-mesa-dri", "mesa-dri-drivers", "mesa")
BROWSER = ("chromium", "chromium", "chromium")
MANAGERS = (("apt-get", "apt-get install -y"), ("dnf", "dnf install -y"), ("pacman", "pacman -S --noconfirm"))


def missing_packages(*, browser: bool = False) -> list[str]:
    """Names of the packages, in this machine's own package manager, that hold libraries that cannot be loaded."""
    if not sys.platform.startswith("linux"):
        return []
    column = next((i for i, (tool, _) in enumerate(MANAGERS) if shutil.which(tool)), 0)
    missing = []
    for name, packages in LIBRARIES.items():
        try:
            ctypes.CDLL(name)
        except OSError:
            missing.append(packages[column])
    if not any(glob.glob(f"/usr/lib*/{p}") for p in ("*/dri/*_dri.so", "dri/*_dri.so", "*/libgallium*", "libgallium*")):
        missing.append(DRIVER[column])
    if browser and not find_browser():
        missing.append(BROWSER[column])
    return list(dict.fromkeys(missing))


def find_browser() -> str:
    """Path of Chromium for the browser tests, or an empty string."""
    return next((path for path in (shutil.which(n) for n in ("chromium", "chromium-browser")) if path), "")


def install_command(packages: list[str]) -> str:
    """The one line that installs the packages."""
    manager = next((line for tool, line in MANAGERS if shutil.which(tool)), "install with your package manager:")
    sudo = "" if not hasattr(os, "geteuid") or os.geteuid() == 0 else "sudo "
    return f"{sudo}{manager} {' '.join(packages)}"

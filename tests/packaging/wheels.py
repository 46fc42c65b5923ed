"""Builds of this tree: source distribution and wheel, without the network."""

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[2]


def build(folder: Path, tree: Path = ROOT) -> tuple[Path, Path]:
    """Source distribution and wheel of a tree.

    Raises
    ------
    AssertionError
        If it cannot be built; with what was said.
    """
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "hatchling",
            "build",
            "-d",
            str(folder),
            "-t",
            "sdist",
            "-t",
            "wheel",
        ],
        cwd=tree,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    (sdist,) = folder.glob("*.tar.gz")
    (wheel,) = folder.glob("*.whl")
    return sdist, wheel


def unpacked(sdist: Path, folder: Path) -> Path:
    """Tree out of a source distribution."""
    with tarfile.open(sdist) as archive:
        if hasattr(tarfile, "data_filter"):  # from 3.11.4 on; our own archive either way
            archive.extraction_filter = tarfile.data_filter
        archive.extractall(folder)  # noqa: S202  our own archive
    (tree,) = folder.iterdir()
    return tree


def contents(wheel: Path) -> dict[str, bytes]:
    """Files in a wheel, by their paths."""
    with zipfile.ZipFile(wheel) as archive:
        return {name: archive.read(name) for name in archive.namelist()}

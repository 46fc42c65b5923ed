"""Where the files of `config/` are: beside the checkout, or inside the installed package."""

from pathlib import Path


def shipped(name: str) -> Path:
    """Path of a file that comes with millpond, such as ``demo.toml``.

    Raises
    ------
    FileNotFoundError
        If no such file comes with it.
    """
    here = Path(__file__).parent
    for folder in (here / "shipped", here.parent / "config"):
        if (folder / name).exists():
            return folder / name
    raise FileNotFoundError(f"{name} does not come with this installation of millpond")

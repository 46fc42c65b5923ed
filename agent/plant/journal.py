"""The journal of changes that were made on the page: who wrote the plant file as it stands."""

import hashlib
import json
from pathlib import Path


def journal_of(file: Path) -> Path:
    """Where it is written down who changed what in a plant file."""
    return file.with_name(f"{file.name}.journal")


def digest_of(content: bytes) -> str:
    """What a file's content is told by."""
    return hashlib.sha256(content).hexdigest()


def written_by(file: Path) -> str:
    """Who wrote a plant file on the page, if it stands as it was written there; else nobody."""
    try:
        file = file.resolve()
        lines = journal_of(file).read_bytes().splitlines()
        last = json.loads(lines[-1])
        is_same = last["digest"] == digest_of(file.read_bytes())
        return str(last["by"]) if is_same else ""
    except (OSError, ValueError, LookupError, TypeError):
        return ""

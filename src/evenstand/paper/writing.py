"""A PDF into a file, with a designed error where it cannot be written."""

from __future__ import annotations

from pathlib import Path

from evenstand.base.errors import InputError


def write_pdf(path: Path, content: bytes) -> Path:
    """Write a document; the folder it stands in is made if it is not there.

    Parameters
    ----------
    path : Path
        Of the file; one that is there is replaced. [-]
    content : bytes
        The document. [-]

    Raises
    ------
    InputError
        If it cannot be written there.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", where=str(path), cure="Name a file that can be written.") from None
    return path

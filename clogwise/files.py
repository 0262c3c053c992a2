"""Reading cases and writing what was asked for: faults in words, and never half a file."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from kb.faults import Fault, Faults


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path`` in one step: either the whole file is there afterwards, or none of it.

    Raises
    ------
    Faults : the place cannot be written; the sentence says why
    """
    if path.is_dir():
        raise Faults([Fault(str(path), 0, "", "this is a folder; name a file in it")])
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".clogwise-")
    except FileNotFoundError:
        raise Faults([Fault(str(path), 0, "", f"there is no folder '{path.parent}'; make it first")]) from None
    except OSError as error:
        raise Faults([Fault(str(path), 0, "", f"cannot be written ({error.strerror})")]) from None
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(name, 0o666 & ~mask)  # mkstemp made it private; a result is meant to be passed on
        os.replace(name, path)
    except OSError as error:
        Path(name).unlink(missing_ok=True)
        raise Faults([Fault(str(path), 0, "", f"cannot be written ({error.strerror})")]) from None

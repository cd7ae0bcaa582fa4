"""Where the data lies: a folder on a network share is told at the start, for SQLite can be damaged there.

SQLite's own papers: "Write-Ahead Logging" (every process must be on the same host; not over a network file system) and
"How To Corrupt An SQLite Database File", 2.1 (locks that a network file system does not keep).
"""

from __future__ import annotations

import re
from pathlib import Path

#: What Linux has mounted; proc(5) gives the columns.
MOUNTS = Path("/proc/self/mountinfo")
#: Kinds of file system that are kept by another machine, or by the one this one runs in.
SHARES = frozenset({
    "9p", "afs", "beegfs", "ceph", "cifs", "coda", "davfs", "gfs2", "glusterfs", "gpfs", "lustre", "ncpfs", "nfs",
    "nfs4", "ocfs2", "prl_fs", "smb2", "smb3", "smbfs", "sshfs", "vboxsf", "virtiofs", "vmhgfs", "vmhgfs-fuse"})


def share_under(folder: Path) -> str | None:
    """The kind of network share that the folder lies on, such as nfs4; None for a local disk, and where it cannot be
    known (other systems than Linux)."""
    try:
        lines = MOUNTS.read_text("utf-8", "surrogateescape").splitlines()
    except OSError:
        return None
    at, longest, kind = folder.resolve(), -1, ""
    for line in lines:
        before, _, after = line.partition(" - ")
        mounted = Path(re.sub(r"\\([0-7]{3})", lambda m: chr(int(m[1], 8)), before.split(" ")[4]))
        # Of two mounts on one place the later one covers the earlier.
        if at.is_relative_to(mounted) and len(mounted.parts) >= longest:
            longest, kind = len(mounted.parts), after.split(" ")[0].removeprefix("fuse.")
    return kind if kind in SHARES else None

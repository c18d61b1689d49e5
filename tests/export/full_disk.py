"""A program of its own: publishes builds on disks of many sizes, most of which are too small.

Usage: unshare --map-root-user --mount python full_disk.py FOLDER SIZES
Prints one line a size: how large it was, and whether the folder holds the old build or the new one.
"""

import shutil
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from export.builds import built
from export.killed_build import CASES, STL_ONLY, bytes_of

from moulddesign.core import WriteError
from moulddesign.export import publish_failing


def bytes_in(folder):
    return sum(path.stat().st_size for path in folder.iterdir())


def main(place, sizes):
    old, new = (place / case for case in CASES)
    for folder, case in zip((old, new), CASES, strict=True):
        publish_failing(built(case), folder, STL_ONLY)
    disk, whole = place / "disk", {"old": bytes_of(old), "new": bytes_of(new)}
    disk.mkdir()
    # From a disk that has room for little more than the old build to one that holds both.
    least, most = 1.1 * bytes_in(old) + 1e5, 1.1 * (bytes_in(old) + bytes_in(new)) + 3e5
    for number in range(sizes):
        size = int(least + (most - least) * number / max(sizes - 1, 1))
        mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "none", str(disk)]
        subprocess.run(mount, check=True)  # noqa: S603 (our own command)
        target, said = disk / "cakes", ""
        shutil.copytree(old, target)
        try:
            publish_failing(built(CASES[1]), target, STL_ONLY)
        except WriteError as error:
            said = str(error)
        (found,) = (name for name, one in whole.items() if bytes_of(target) == one)
        if (found == "old") != said.endswith("(No space left on device)."):
            raise SystemExit(f"{size}: {found}, but it said: {said}")
        if left := [path.name for path in disk.iterdir() if path != target]:
            raise SystemExit(f"{size}: left {left}")
        sys.stdout.write(f"{size}: {found}\n")
        subprocess.run(["umount", str(disk)], check=True)  # noqa: S603, S607 (our own command)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))

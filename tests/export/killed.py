"""A program of its own: publishes a folder again and again in a child, and kills it at random.

Usage: python killed.py FOLDER ROUNDS exchange|renames
Prints one line a round: the round, and whether what is there is whole.
"""

import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from moulddesign.export import folder as export_folder
from moulddesign.export.held_moulds import REPORT

FILES = 12
LONGEST_S = 0.06


def publish_for_ever(target, version):
    while True:
        version += 1
        with export_folder.atomic_folder(target) as inside:
            names = [f"part {number}.stl" for number in range(FILES)]
            for name in names:
                (inside / name).write_text(f"{version}\n" * 200)
            report = {"moulddesign": version, "files": names}
            (inside / REPORT).write_text(json.dumps(report))


def state(target):
    """Return the version that a whole folder holds, 0 where none is there."""
    if not target.exists():
        return 0
    version = json.loads((target / REPORT).read_text())["moulddesign"]
    for number in range(FILES):
        if (target / f"part {number}.stl").read_text() != f"{version}\n" * 200:
            raise SystemExit(f"torn: part {number} is not of version {version}")
    if len(list(target.iterdir())) != FILES + 1:
        raise SystemExit("torn: other files")
    return version


def main(target, rounds, way):
    if way == "renames":
        export_folder.exchange = lambda *_: False
    # What is left is tidied at once, so that no round meets old leftovers.
    export_folder.LEFTOVER_AGE_S = -1.0
    chance = random.Random(7)  # noqa: S311 (moments, not secrets)
    version = 0  # none is there yet
    for number in range(rounds):
        child = os.fork()
        if child == 0:
            publish_for_ever(target, version)
        time.sleep(chance.uniform(0.0, LONGEST_S))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        if way == "renames":
            export_folder.recover(target)  # what the next run does first
        found = state(target)
        if found < version:
            raise SystemExit(f"lost: version {version} was there, now {found}")
        version = found
        sys.stdout.write(f"round {number}: whole, version {version}\n")
    export_folder.recover(target)
    left = [path.name for path in target.parent.iterdir() if path != target]
    sys.stdout.write(f"left: {left}\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3])

"""A program of its own: two processes publish different builds into one folder at one moment.

Usage: python two_writers.py FOLDER TURNS
Prints one line a turn: whose build the folder holds whole, and how many writers were refused.
"""

import os
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from export.builds import built
from export.killed_build import CASES, STL_ONLY, bytes_of

from moulddesign.core import MouldError
from moulddesign.export import folder as export_folder
from moulddesign.export import publish_failing

REFUSED = 3
"""Exit code of a writer that was refused in a sentence."""


def write(case, target, moment):
    time.sleep(max(moment - time.monotonic(), 0.0))
    try:
        publish_failing(built(case), target, STL_ONLY)
    except MouldError as error:
        sys.stderr.write(f"{error}\n")
        return REFUSED
    return 0


def main(target, turns):
    whole = {}
    for case in CASES:
        publish_failing(built(case), target, STL_ONLY)
        whole[case] = bytes_of(target)
    for number in range(turns):
        moment, children = time.monotonic() + 0.05, []
        for case in CASES:
            child = os.fork()
            if child == 0:
                os._exit(write(case, target, moment))
            children.append(child)
        codes = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
        if not set(codes) <= {0, REFUSED} or 0 not in codes:
            raise SystemExit(f"turn {number}: exit codes {codes}")
        found = [case for case, one in whole.items() if one == bytes_of(target)]
        refused = codes.count(REFUSED)
        sys.stdout.write(f"turn {number}: {'whole' if found else 'torn'} {found}, {refused}\n")
    export_folder.recover(target)
    left = [path.name for path in target.parent.iterdir() if path != target]
    sys.stdout.write(f"left: {left}\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))

"""A program of its own: publishes a build again and again in a child, and kills it at random.

Usage: python killed_build.py FOLDER ROUNDS
Prints one line a round: the round, and whether the folder holds the whole of one build. Where the
machine got slower and only one of the two builds was found, later rounds last longer.
"""

import hashlib
import json
import os
import random
import signal
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from export.builds import built

from moulddesign.design import parse_formats
from moulddesign.export import ExportOptions, publish_failing
from moulddesign.export import folder as export_folder

# Quick, and what starts no process of its own.
STL_ONLY = ExportOptions(formats=parse_formats("stl"), overwrite=True)
CASES = ("little", "hexagon")
MOST_ROUNDS = 5
"""Times as many rounds as asked for, at most."""


def bytes_of(folder):
    """Return the digest of every file; of the report, which holds times, the names it lists."""
    digests = {path.name: hashlib.sha256(path.read_bytes()).digest() for path in folder.iterdir()}
    report = json.loads((folder / "report.json").read_text("utf-8"))
    return digests | {"report.json": sorted(report["files"])}


def publish_by_turns(target):
    while True:
        for case in CASES:
            publish_failing(built(case), target, STL_ONLY)


def main(target, rounds):
    whole, took = {}, 0.0
    for case in (*CASES, *CASES):  # the first round loads the libraries
        start = time.perf_counter()
        publish_failing(built(case), target, STL_ONLY)
        took = time.perf_counter() - start
        whole[case] = bytes_of(target)
    # What is left is tidied at once, so that no round meets old leftovers.
    export_folder.LEFTOVER_AGE_S = -1.0
    chance = random.Random(11)  # noqa: S311 (moments, not secrets)
    number, span_s, met = 0, 4.0 * took, set()  # two builds take half of that
    while number < rounds or (len(met) < len(CASES) and number < MOST_ROUNDS * rounds):
        child = os.fork()
        if child == 0:
            publish_by_turns(target)
        time.sleep(chance.uniform(0.0, span_s))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        found = [case for case, one in whole.items() if one == bytes_of(target)]
        sys.stdout.write(f"round {number}: whole {found}\n" if found else "torn\n")
        met.update(found)
        number += 1
        span_s *= 1.0 if number < rounds else 1.5
    export_folder.recover(target)
    left = [path.name for path in target.parent.iterdir() if path != target]
    sys.stdout.write(f"left: {left}\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))

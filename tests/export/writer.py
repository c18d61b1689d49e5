"""A program of its own: writes a build into a folder, so that processes can be compared."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from export.builds import built

from moulddesign.export import publish_failing

if __name__ == "__main__":
    publish_failing(built(sys.argv[1]), Path(sys.argv[2]))

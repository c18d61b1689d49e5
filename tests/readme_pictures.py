"""Makes the README's pictures from what its `make` wrote, whose folder is named."""

import io
import sys
from pathlib import Path

from PIL import Image

FOLDER = Path(__file__).parents[1] / "exports" / "pictures"
PICTURES = {"piece.png": "pastry.png", "mould.png": "parts.png", "card.png": "card-1.png"}
"""Each by the file of a build that it shows."""
HEIGHT_PX = 600


def picture(path):
    """Return a file's picture as a PNG of the README's height and 256 colours."""
    with Image.open(path) as image:
        width_px = round(image.width * HEIGHT_PX / image.height)
        small = image.convert("RGB").resize((width_px, HEIGHT_PX), Image.Resampling.LANCZOS)
    content = io.BytesIO()
    small.quantize(256).save(content, "PNG", optimize=True)
    return content.getvalue()


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, source in PICTURES.items():
        (FOLDER / name).write_bytes(picture(Path(sys.argv[1]) / source))

"""Pictures of meshes without a screen: a z-buffer, light baked from above, baked dough, plaster.

- `rasteriser`: a z-buffer in numpy: which facet each sample of a picture sees, and where on it.
- `baked_map`: what light from above leaves on a piece: sky, lamp and browning on a map of its top.
- `shading`: how surfaces look: smooth normals with creases, dough and plaster, and their light.
- `scenes`: bodies on a board in parallel projection, their pictures, and thumbnails.
"""

from moulddesign.render.baked_map import BakedMap, HeightGrid, baked_map
from moulddesign.render.scenes import (
    THUMBNAIL_PX,
    BoardShadow,
    Body,
    Picture,
    Scene,
    board_shadow,
    cutout,
    height_picture,
    picture,
    picture_png,
    png_bytes,
    thumbnail,
    thumbnail_png,
)

__all__ = [
    "THUMBNAIL_PX",
    "BakedMap",
    "BoardShadow",
    "Body",
    "HeightGrid",
    "Picture",
    "Scene",
    "baked_map",
    "board_shadow",
    "cutout",
    "height_picture",
    "picture",
    "picture_png",
    "png_bytes",
    "thumbnail",
    "thumbnail_png",
]

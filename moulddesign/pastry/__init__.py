"""The pastry: outlines, artwork, the roof over it, and the pressed piece as one solid."""

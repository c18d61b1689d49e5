"""What is true of written meshes and numbers, by other code than made them.

- `soundness`: whether a mesh is one sound solid with the volume it has to have, as made and as
  read back from its file, and what else is true of any mesh.
- `press_checks`: the assembled press, from the meshes alone: closed cavity, stroke, lean, stop.
- `press_limits`: what a press bears in the hand: its joint, stem, disc, vanes, lobes and stop.
- `printed_layers`: a part as the printer builds it, layer by layer.
- `printed_press`: a press as printed: its layers, its printing error, how a gap is judged.
- `printed_joint`: its foot in the slot: goes in, seats, hangs locked, holds.
- `printed_fit`: whether it goes together, works and comes apart at printing error.
- `block_checks`: whether a block or a casting master holds what it has to.
- `coupon_checks`: whether a clearance gauge and a relief sampler are what is marked on them.
- `block_limits`: what a block and a casting tray bear, and whether a hand can hold and a piece
  leave them.
- `piece_checks`: whether the crust is thick enough, the centres fit, and the relief reads,
  prints and fills.
- `face_checks`: whether a carved face is what was asked for, and what crust it leaves.
- `legible`: whether artwork can be read once it is pressed, and what of it is not seen.
- `pull`: whether a moulded body comes out of its mould: no undercut, enough draft, a free way.
- `printing`: whether a part prints: bed, first layer, overhang, bridges, walls, layers of the
  relief.
- `walls`: thickness of walls by rays, hand force, and stress and bow of the sleeve's wall by
  published formulas.
"""

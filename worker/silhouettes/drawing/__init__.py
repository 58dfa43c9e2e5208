"""LoopOutlines from drawings: SVG and DXF to closed loops, and from loops to a silhouette."""

"""Growth: chains of placements for rising capacities, and what a machine can become from what lies in it."""

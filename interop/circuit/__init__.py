"""The DC network: solve, sharing, one out, faults, joining, endurance."""

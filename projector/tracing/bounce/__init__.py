"""Light that surfaces send to each other: cells that hold it, rays that find it, and a plain path tracer as judge."""

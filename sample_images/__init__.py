"""The demo's pictures and the simulator that draws them with exact truth."""

"""The console's side, in CPU cycles: read routines, the sample fetch, frames and latency."""

"""From a source of speed to a motion, and which source decides."""

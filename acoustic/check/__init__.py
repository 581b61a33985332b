"""The main job: one recording judged, graded and written down."""

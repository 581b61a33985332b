"""An analysis for people and for programs: text, JSON, picture."""

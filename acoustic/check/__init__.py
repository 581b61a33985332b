"""The main job: one recording judged, graded and written down."""

import sys

from acoustic import CallablePackage

sys.modules[__name__].__class__ = CallablePackage  # `acoustic.check(...)` works, and so do the modules in it

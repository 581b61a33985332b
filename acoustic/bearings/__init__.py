"""The catalogue of bearings and its search."""

import sys

from acoustic import CallablePackage

sys.modules[__name__].__class__ = CallablePackage  # `acoustic.bearings(...)` works, and so do the modules in it

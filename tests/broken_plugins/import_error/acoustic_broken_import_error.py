"""Broken on purpose: it needs a package that is not there."""

import a_package_that_nobody_wrote  # noqa: F401

ACOUSTIC_API = (1, 0)

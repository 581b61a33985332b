"""The workshop's book: bikes, their bearings, visits, and the recordings they rest on."""

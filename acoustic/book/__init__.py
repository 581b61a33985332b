"""The workshop's book: bikes, the bearings in them, visits, and the recordings they rest on."""

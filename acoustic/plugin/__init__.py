"""What plugins may offer, which are found, and how they are called safely.

A plugin that failed, even one that merely failed to load, leaves the bearing undecided: nobody knows what it
would have found.
"""

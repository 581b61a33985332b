"""The press-fit sheet: interference, seat, clearance, advice."""

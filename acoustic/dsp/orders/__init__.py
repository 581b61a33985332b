"""Order spectra, the likelihood of lines in them, and the ranking of parts."""

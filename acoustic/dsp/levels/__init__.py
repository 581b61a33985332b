"""How loud a sound is, band by band, and when it turns."""

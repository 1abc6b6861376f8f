"""The ways in: events from UDP, lines of text, growing ADIF files and recordings."""

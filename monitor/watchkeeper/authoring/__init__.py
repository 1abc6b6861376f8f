"""For those who write plugins: the manual, made from what the program itself says."""

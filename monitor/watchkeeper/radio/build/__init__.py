"""Makes the files of ``watchkeeper.radio.data`` from the raw ones: ``python -m watchkeeper.radio.build RAW``."""
